"""Where to tune a narrow receiver so that both shoulders can be read: two recordings, or three.

Theory  Counted outwards from the outermost carrier, a shoulder needs 300 to 700 kHz, and some of the signal beside it
        for its zero. A receiver that sees u on either side of its frequency, tuned t outside the edge, sees t - u to
        t + u, and its line at zero stands at t, which must lie where nothing is read. Both fit in one recording where
        t >= 700 kHz - u, t <= 300 kHz - d (d half the line's width) and t <= u - 300 kHz: from u = 0.5 MHz on, with t
        = 200 kHz. Narrower receivers take the signal in a third recording.
Source  [TR101290] 9.7 for the offsets; 0.3 MHz of signal is common practice (no published source).
Holds   One gain for all recordings of the set. Below u = 0.25 MHz the window does not fit in one recording.
"""

import math
from dataclasses import dataclass

from tepui.evidence.shoulders import OFFSETS_HZ
from tepui.ground.checks import require_positive
from tepui.ground.errors import RangeError

NEAR_HZ, _, FAR_HZ = OFFSETS_HZ
SIGNAL_HZ = 300e3  # of the signal beside the edge
PREFERRED_HZ = 150e3  # the middle of the empty part, where the receiver is wide enough
LEAST_REACH_HZ = 250e3


@dataclass(frozen=True, kw_only=True)
class EdgeTuning:
    """One recording of the set.

    side     "lower", "upper", or "middle" for the signal alone
    low_hz, high_hz   between which it may be tuned as well
    """

    side: str
    frequency_hz: float
    low_hz: float
    high_hz: float


def edge_tunings(
    *, centre_hz: float, occupied_width_hz: float, reach_hz: float, dc_half_width_hz: float
) -> tuple[EdgeTuning, ...]:
    """Frequencies to tune to, lower side first.

    reach_hz          usable on either side of the tuned frequency
    dc_half_width_hz  of the line at zero, on either side
    raises            RangeError for a receiver too narrow
    """
    require_positive("reach_hz", reach_hz, unit="Hz")
    half_hz = occupied_width_hz / 2
    low, high = FAR_HZ - reach_hz, min(NEAR_HZ - dc_half_width_hz, reach_hz - SIGNAL_HZ)
    if high >= low - 1.0:
        outside = min(max(PREFERRED_HZ, low), high)
        return tuple(
            EdgeTuning(
                side=side,
                frequency_hz=centre_hz + sign * (half_hz + outside),
                low_hz=centre_hz + min(sign * (half_hz + low), sign * (half_hz + high)),
                high_hz=centre_hz + max(sign * (half_hz + low), sign * (half_hz + high)),
            )
            for side, sign in (("lower", -1), ("upper", 1))
        )
    return _three(centre_hz, half_hz, reach_hz, dc_half_width_hz)


def _three(centre_hz: float, half_hz: float, reach_hz: float, dc_hz: float) -> tuple[EdgeTuning, ...]:
    """The window from just inside it where it fits beside the line at zero, else from its middle."""
    if reach_hz < LEAST_REACH_HZ:
        raise RangeError(
            f"A receiver that sees {reach_hz / 1e6:g} MHz on either side is too narrow for a shoulder ([TR101290] "
            f"9.7): at least {LEAST_REACH_HZ / 1e6:g} MHz is needed; raise the sample rate."
        )
    beside = NEAR_HZ - dc_hz if reach_hz >= FAR_HZ - NEAR_HZ + dc_hz else math.nan
    outside = (NEAR_HZ + FAR_HZ) / 2 if math.isnan(beside) else beside
    room = reach_hz - max(FAR_HZ - outside, outside - NEAR_HZ)
    places = [("lower", centre_hz - half_hz - outside), ("upper", centre_hz + half_hz + outside)]
    tunings = [EdgeTuning(side=side, frequency_hz=at, low_hz=at - room, high_hz=at + room) for side, at in places]
    middle_hz = centre_hz - half_hz / 2
    room = half_hz / 2 - reach_hz
    tunings.append(
        EdgeTuning(
            side="middle", frequency_hz=middle_hz, low_hz=middle_hz - max(room, 0.0), high_hz=middle_hz + max(room, 0.0)
        )
    )
    return tuple(tunings)
