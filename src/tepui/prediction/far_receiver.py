"""Whether the far receiver can tune to the channel: ranges, gaps and raster, directly or behind a converter.

Theory  Behind a converter the channel stands at |RF - LO|, mirrored where the oscillator is above. A channel is tuned
        when it lies whole inside one range and its centre is within the pull-in of a raster frequency, errors of
        transmitter and converter included.
Source  Arithmetic. Raster: channels of the given width filling each range from its lower end, common practice.
Holds   Frequencies only: level, path and the receiver's own support of the mode are other questions.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tepui.ground.errors import RangeError


@dataclass(frozen=True, kw_only=True)
class FarReceiver:
    """What the other station has.

    tunes         ranges, each as low and high end of what it tunes
    raster_hz     distance of the frequencies it offers, from the lower end on; None where any is offered
    converter_hz  oscillator of a converter before it; None where there is none
    converter_ppm error of that oscillator, 95 %
    pull_in_hz    error the receiver follows by itself; None where unknown
    """

    tunes: tuple[tuple[float, float], ...]
    raster_hz: float | None = None
    converter_hz: float | None = None
    converter_ppm: float = 0.0
    pull_in_hz: float | None = None

    def __post_init__(self) -> None:
        if not self.tunes or any(not 0 < low < high for low, high in self.tunes):
            raise RangeError("A tuning range runs from its lower to its upper end, both above zero.")
        if self.raster_hz is not None and not self.raster_hz > 0:
            raise RangeError(f"The far receiver's raster must be above zero, not {self.raster_hz:g} Hz.")
        if self.pull_in_hz is not None and self.pull_in_hz < 0:
            raise RangeError(f"The far receiver's pull-in must be 0 or more, not {self.pull_in_hz:g} Hz.")


@dataclass(frozen=True, kw_only=True)
class FarTuning:
    """Where the channel arrives.

    if_hz       at the receiver
    inverted    against the channel on the air
    inside      the whole channel lies in one range
    off_hz      from the nearest raster frequency of that range; None where not inside or no raster
    error_hz    of transmitter and converter, 95 %
    pulled_in   off and error together are within the pull-in; None where unknown
    move_hz     how far the channel must move to reach the nearest channel that can be tuned; 0 where it is one
    """

    if_hz: float
    inverted: bool
    inside: bool
    off_hz: float | None
    error_hz: float
    pulled_in: bool | None
    move_hz: float


def far_tuning(far: FarReceiver, *, wanted_hz: float, width_hz: float, transmit_error_hz: float) -> FarTuning:
    """Where a channel arrives at the far receiver, and whether it can be tuned."""
    oscillator = far.converter_hz or 0.0
    at = abs(wanted_hz - oscillator)
    above = oscillator > wanted_hz
    places = [place for low, high in far.tunes for place in _places(low, high, width_hz, far.raster_hz, near=at)]
    if not places:
        raise RangeError("None of the far receiver's ranges is as wide as the channel.")
    inside = any(low <= at - width_hz / 2 and at + width_hz / 2 <= high for low, high in far.tunes)
    nearest = min(places, key=lambda place: (abs(place - at), place))
    error = transmit_error_hz + oscillator * far.converter_ppm * 1e-6
    off = nearest - at if far.raster_hz is not None and inside else None
    pulled = None if far.pull_in_hz is None else abs(off or 0.0) + error <= far.pull_in_hz
    move = 0.0 if inside else (nearest - at) * (-1 if above else 1)
    return FarTuning(
        if_hz=at, inverted=above, inside=inside, off_hz=off, error_hz=error, pulled_in=pulled, move_hz=move
    )


def _places(low: float, high: float, width_hz: float, raster_hz: float | None, *, near: float) -> Sequence[float]:
    """Centres that can be tuned in one range, as far as they may be nearest to a frequency."""
    step = raster_hz or width_hz
    half = max(step, width_hz) / 2
    first, last = low + half, high - half
    if last < first:
        return []
    if raster_hz is None:
        return [min(max(near, low + width_hz / 2), high - width_hz / 2)]
    count = math.floor((last - first) / step + 1e-9)
    at = min(max(round((near - first) / step), 0), count)
    return [first + step * at]
