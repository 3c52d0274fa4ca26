"""Both shoulders off a stitched spectrum, by the one standard procedure.

Theory  The floor is off already, recording by recording. What gains, filter shape and floor leave in doubt is common to
        the points of a side and is added to the doubt of the reading.
Source  [TR101290] clause 9.7 by way of shoulders.py.
Holds   The spectrum behind the receiver's front end: what the receiver made is in it (see instrument.py).
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.evidence.floor import Floor
from tepui.evidence.shoulders import Shoulders, shoulders
from tepui.evidence.stitch import Stitched
from tepui.evidence.stitch_fit import NEPER
from tepui.ground.doubt import Estimate, estimate
from tepui.signals.spectrum import Spectrum

Floats = npt.NDArray[np.float64]

SHOULDER_HZ = (300e3, 700e3)
SMALLEST_LEVEL = 1e-7


@dataclass(frozen=True, kw_only=True)
class StitchedShoulder:
    """One side: the lifted line at 500 kHz over the highest value in band, floor off, behind the receiver's front end.

    level_db       with its doubt: averaging, highest values, resolution filter, gains and floor
    shape          the construction it was read from
    """

    lower: Estimate
    upper: Estimate
    shape: Shoulders


def stitched_shoulders(stitched: Stitched, *, carrier_spacing_hz: float) -> StitchedShoulder:
    """Both shoulders by the standard procedure.

    raises  RangeError where the set does not reach 700 kHz outside the channel on both sides
    """
    half_hz = stitched.occupied_width_hz / 2
    away_hz = np.abs(stitched.frequency_hz) - half_hz
    window = (away_hz >= SHOULDER_HZ[0]) & (away_hz <= SHOULDER_HZ[1]) & (stitched.source >= 0)
    averages = float(np.median(stitched.n_averages[window])) if window.any() else 1.0
    density = np.maximum(stitched.level, SMALLEST_LEVEL)
    spectrum = Spectrum(
        frequency_hz=stitched.frequency_hz.copy(),
        density=density,
        std=density / math.sqrt(averages),
        resolution_bandwidth_hz=stitched.resolution_bandwidth_hz,
        window="hann",
        n_averages=averages,
        n_samples=round(averages * len(density)),
    )
    found = shoulders(
        spectrum,
        centre_offset_hz=0.0,
        occupied_width_hz=stitched.occupied_width_hz,
        carrier_spacing_hz=carrier_spacing_hz,
        floor=Floor(density=0.0, std=0.0, at_most=False, method="taken off recording by recording"),
    )
    sides = []
    for sign, side in ((-1, found.lower), (1, found.upper)):
        read = side.corrected or side.shown
        near = window & (np.sign(stitched.frequency_hz) == sign)
        common_db = float(np.mean(stitched.common_std[near]) / np.mean(density[near])) / NEPER
        parts = {**read.contributions, "gains_and_floor": common_db}
        sides.append(estimate(read.value, **parts))
    return StitchedShoulder(lower=sides[0], upper=sides[1], shape=found)
