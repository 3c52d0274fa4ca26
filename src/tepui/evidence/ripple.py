"""How flat the signal is in band: ripple and tilt.

Theory  The density in band, averaged over a thirty-second of the channel, spans ``ripple``; the straight line fitted to
        it in decibels rises by ``tilt`` from the lowest to the highest carrier.
Source  common practice (no published source).
Holds   A spectrum whose averaging is good: what scatter alone would span is taken off as a square and counted as doubt.
        Pilots stand at slightly uneven distances, which is 0.05 dB of ripple by itself. The outermost part, where the
        filter of the spectrum reaches over the edge, is left out.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.ground.doubt import Estimate, estimate
from tepui.ground.errors import RangeError
from tepui.signals.spectrum import Spectrum

PARTS = 32
RANGE_OF_SCATTER = 4.0  # standard deviations spanned by 32 Gaussian values on the mean; order statistics
PILOTS_DB = 0.05


@dataclass(frozen=True, kw_only=True)
class Flatness:
    """Ripple and tilt, and the averaged density they were read from.

    frequency_hz, level_db   (n,) offsets from the tuned frequency; decibels above the mean in band
    """

    ripple_db: Estimate
    tilt_db: Estimate
    frequency_hz: npt.NDArray[np.float64]
    level_db: npt.NDArray[np.float64]


def flatness(spectrum: Spectrum, *, centre_offset_hz: float, occupied_width_hz: float) -> Flatness:
    """Ripple (highest less lowest) and tilt (upper end less lower end) in band.

    raises  RangeError where the spectrum has too few points in band or the recording is narrower than the channel
    """
    offset_hz = spectrum.frequency_hz - centre_offset_hz
    inside = np.abs(offset_hz) <= occupied_width_hz / 2 - spectrum.resolution_bandwidth_hz
    count = int(np.count_nonzero(inside))
    reach = min(-float(offset_hz[0]), float(offset_hz[-1]))
    if count < 2 * PARTS or reach < occupied_width_hz / 2:
        raise RangeError(
            f"Ripple needs the whole channel in at least {2 * PARTS} points; this spectrum has {count}: "
            "take a finer spectrum of a wider recording."
        )
    index = np.array_split(np.flatnonzero(inside), PARTS)
    density = np.array([spectrum.density[part].mean() for part in index])
    where_hz = np.array([spectrum.frequency_hz[part].mean() for part in index])
    level_db = 10 * np.log10(density / density.mean())
    correlated = max(1.0, spectrum.resolution_bandwidth_hz / spectrum.bin_hz)
    scatter_db = 10 / math.log(10) / math.sqrt(spectrum.n_averages * max(1.0, count / PARTS / correlated))
    x = (where_hz - centre_offset_hz) / occupied_width_hz
    slope = float(np.polyfit(x, level_db, 1)[0])
    spread = float(np.sqrt(np.sum((x - x.mean()) ** 2)))
    span, by_scatter = float(np.ptp(level_db)), RANGE_OF_SCATTER * scatter_db
    return Flatness(
        ripple_db=estimate(
            math.sqrt(max(span**2 - by_scatter**2, 0.0)),
            averaging=max(math.sqrt(2) * scatter_db, by_scatter / 2 if span < 2 * by_scatter else 0.0),
            pilots=PILOTS_DB,
        ),
        tilt_db=estimate(slope, averaging=scatter_db / spread, pilots=PILOTS_DB / 2),
        frequency_hz=where_hz,
        level_db=level_db,
    )
