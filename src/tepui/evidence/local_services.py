"""Strong occupied channels of the local band, found in its spectrum.

Theory  The floor is the spectrum's lower quartile. Where the level, smoothed over a quarter of a channel, stands well
        above it over a good part of a channel's width, a service is on the air; its ends are where half its power
        density is reached.
Source  common practice (no published source): 12 dB above the floor, at least 0.6 of a channel wide.
Holds   Services as wide as a television channel. Narrow carriers are left out. A receiver's own products look like
        services: a strong band needs a pad.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_positive
from tepui.ground.errors import RangeError

Floats = npt.NDArray[np.float64]
ABOVE_DB = 12.0
LEAST_SHARE = 0.6
FLOOR_QUANTILE = 0.25


@dataclass(frozen=True, kw_only=True)
class Occupied:
    """One occupied channel.

    above_floor_db  its mean level over the floor
    """

    centre_hz: float
    width_hz: float
    above_floor_db: float


def occupied_channels(frequency_hz: Floats, level_db: Floats, *, width_hz: float) -> tuple[Occupied, ...]:
    """Services of about one channel's width or more, by frequency.

    frequency_hz  (n,) rising, absolute;  level_db  (n,) any zero
    raises        RangeError where the spectrum is narrower than a channel
    """
    require_positive("width_hz", width_hz, unit="Hz")
    span = float(frequency_hz[-1] - frequency_hz[0])
    if len(frequency_hz) < 8 or span < width_hz:
        raise RangeError(f"The local band's spectrum spans {span / 1e6:.2f} MHz, less than one channel.")
    step = width_hz / 64
    grid = np.arange(frequency_hz[0], frequency_hz[-1] + step / 2, step)
    level = np.interp(grid, frequency_hz, level_db)
    power = np.convolve(np.pad(10 ** (level / 10), 8, mode="edge"), np.ones(17) / 17, mode="valid")
    smooth = 10 * np.log10(np.maximum(power, 1e-30))
    floor = float(np.quantile(smooth, FLOOR_QUANTILE))
    busy = np.r_[False, smooth > floor + ABOVE_DB, False]
    starts, stops = np.flatnonzero(busy[1:] & ~busy[:-1]), np.flatnonzero(busy[:-1] & ~busy[1:])
    found = []
    for start, stop in zip(starts, stops, strict=True):
        inside = smooth[start:stop]
        strong = np.flatnonzero(inside > np.quantile(inside, 0.75) - 3)
        low, high = grid[start + strong[0]], grid[start + strong[-1]]
        if high - low >= LEAST_SHARE * width_hz:
            mean = 10 * np.log10(np.mean(10 ** (inside / 10)))
            found.append(
                Occupied(
                    centre_hz=float(low + high) / 2, width_hz=float(high - low), above_floor_db=float(mean - floor)
                )
            )
    return tuple(found)
