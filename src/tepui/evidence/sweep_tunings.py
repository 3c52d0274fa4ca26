"""A whole sweep for a narrow receiver: where to tune, how long, and how the gain should go.

Theory  Neighbours overlap by two fifths of the usable width, so that every frequency but the ends is seen by two
        recordings and every line at zero by another. 2000 averages at ten carrier spacings leave 0.1 dB of scatter.
Source  common practice (no published source); evidence/stitch.py for what overlaps must tell.
Holds   Receivers whose usable width is at least four times the line at zero.
"""

import math
from dataclasses import dataclass

from tepui.evidence.shoulders import SPACINGS_OF_RESOLUTION
from tepui.ground.checks import require_positive
from tepui.ground.errors import RangeError

STEP_SHARE = 0.6  # of the usable width
BESIDE_HZ = 1e6  # seen beside the channel on either side
AVERAGES = 2000
LEAST_TIMES_DC = 4.0


@dataclass(frozen=True, kw_only=True)
class SweepTunings:
    """Frequencies by rising order, the step between them, and how long to record at each."""

    frequency_hz: tuple[float, ...]
    step_hz: float
    duration_s: float


def sweep_tunings(
    *,
    centre_hz: float,
    occupied_width_hz: float,
    carrier_spacing_hz: float,
    usable_hz: float,
    dc_width_hz: float,
    beside_hz: float = BESIDE_HZ,
) -> SweepTunings:
    """The tunings of a sweep over the channel and ``beside_hz`` on either side of it.

    usable_hz    width that the receiver shows truly
    dc_width_hz  width of its line at zero
    raises       RangeError for a receiver whose line at zero leaves too little
    """
    require_positive("usable_hz", usable_hz, unit="Hz")
    if usable_hz < LEAST_TIMES_DC * dc_width_hz:
        raise RangeError(
            f"Of {usable_hz / 1e6:g} MHz that the receiver shows, its line at zero takes {dc_width_hz / 1e6:g} MHz: a "
            f"sweep needs a usable width of at least {LEAST_TIMES_DC * dc_width_hz / 1e6:g} MHz."
        )
    whole_hz = occupied_width_hz + 2 * beside_hz
    count = max(2, math.ceil((whole_hz - usable_hz) / (STEP_SHARE * usable_hz)) + 1)
    step_hz = max((whole_hz - usable_hz) / (count - 1), usable_hz / 4)
    first_hz = centre_hz - step_hz * (count - 1) / 2
    return SweepTunings(
        frequency_hz=tuple(first_hz + number * step_hz for number in range(count)),
        step_hz=step_hz,
        duration_s=recording_time_s(carrier_spacing_hz),
    )


def recording_time_s(carrier_spacing_hz: float) -> float:
    """How long to record at one tuning, for 0.1 dB of scatter at the resolution of the shoulders. [s]"""
    return AVERAGES / (SPACINGS_OF_RESOLUTION * carrier_spacing_hz)
