"""Both shoulders off a stitched spectrum, by the one standard procedure.

Theory  The floor is off already, recording by recording. What gains, filter shape and floor leave in doubt is common to
        the points of a side and is added to the doubt of the reading.
Source  [TR101290] clause 9.7 by way of shoulders.py.
Holds   The spectrum behind the receiver's front end: what the receiver made is in it (see instrument.py).
"""

import math
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tepui.evidence.floor import Floor
from tepui.evidence.shoulders import Shoulders, shoulders
from tepui.evidence.stitch import Stitched
from tepui.evidence.stitch_beliefs import NEPER
from tepui.ground.doubt import Estimate, estimate
from tepui.ground.errors import RangeError
from tepui.signals.spectrum import Spectrum

Floats = npt.NDArray[np.float64]

SHOULDER_HZ = (300e3, 700e3)
SMALLEST_LEVEL = 1e-7
COMMON = ("highest_of_trace", "pilots", "window", "band_unseen", "receiver_shape")
MOST_DOUBT = 3.0  # relative: beyond, nothing is known
NO_FLOOR = Floor(density=0.0, std=0.0, at_most=False, method="taken off by recording")


LEAST_AVERAGES = 1e-2
FEWEST_PERCENT = 10  # what fewer recordings saw scatters more: it must not stand out for that
LEAST_SEEN = 0.8  # of the points between 300 and 700 kHz on either side


@dataclass(frozen=True, kw_only=True)
class StitchedShoulder:
    """Both sides: the lifted line at 500 kHz over the highest value in band, behind the receiver's front end.

    lower, upper   floor off, with the doubt of averaging, highest values, resolution filter, gains and floor
    shown_lower, shown_upper   floor left in, as a trace would show them
    shape          the construction the first two were read from
    """

    lower: Estimate
    upper: Estimate
    shown_lower: Estimate
    shown_upper: Estimate
    shape: Shoulders

    @property
    def common_db(self) -> float:
        """Larger of both sides. [dB]"""
        return max(
            math.hypot(*(side.contributions.get(name, 0.0) for name in COMMON)) for side in (self.lower, self.upper)
        )


def stitched_spectrum(stitched: Stitched, *, with_floor: bool = False) -> Spectrum:
    """The stitched spectrum as any other, density over the in-band mean; what the floor hides may be below zero."""
    density = stitched.level + stitched.floor if with_floor else stitched.level.copy()
    averages = float(np.median(stitched.n_averages[stitched.source >= 0]))
    return Spectrum(
        frequency_hz=stitched.frequency_hz.copy(),
        density=density,
        std=stitched.std.copy(),
        resolution_bandwidth_hz=stitched.resolution_bandwidth_hz,
        window="hann",
        n_averages=averages,
        n_samples=round(averages * len(density)),
    )


def stitched_shoulders(
    stitched: Stitched, *, carrier_spacing_hz: float, guard: Fraction | None = None
) -> StitchedShoulder:
    """Both shoulders by the standard procedure.

    guard   over the useful part, where it is known: pilots look otherwise with each

    raises  RangeError where the set does not show 300 to 700 kHz outside the channel on both sides
    """
    half_hz = stitched.occupied_width_hz / 2
    away_hz = np.abs(stitched.frequency_hz) - half_hz
    there = (away_hz >= SHOULDER_HZ[0]) & (away_hz <= SHOULDER_HZ[1])
    window = there & (stitched.source >= 0)
    wanted = LEAST_SEEN * (SHOULDER_HZ[1] - SHOULDER_HZ[0]) / stitched.bin_hz
    for sign in (-1, 1):
        if np.count_nonzero(window & (np.sign(stitched.frequency_hz) == sign)) < wanted:
            raise RangeError("The set does not show 300 to 700 kHz outside the channel on both sides ([TR101290] 9.7).")
    inside = (np.abs(stitched.frequency_hz) < half_hz) & (stitched.source >= 0)
    sides, shown_sides, clean_sides = [], [], []
    for sign in (-1, 1):
        near = window & (np.sign(stitched.frequency_hz) == sign)
        mean = max(float(np.mean(np.maximum(stitched.level[near], 0.0))), SMALLEST_LEVEL)
        averages = max(float(np.percentile((mean / stitched.std[near]) ** 2, FEWEST_PERCENT)), LEAST_AVERAGES)
        clean, shown = (
            shoulders(
                _as_read(stitched, averages, with_floor=with_floor),
                centre_offset_hz=0.0,
                occupied_width_hz=stitched.occupied_width_hz,
                carrier_spacing_hz=carrier_spacing_hz,
                floor=None if with_floor else NO_FLOOR,
                guard=guard,
                picked=0.0,
                inband_more=float(np.median(stitched.n_averages[inside])) / averages,
            )
            for with_floor in (False, True)
        )
        side = clean.lower if sign < 0 else clean.upper
        read = side.corrected or side.shown
        common_db = min(float(np.mean(stitched.common_std[near])) / mean, MOST_DOUBT) / NEPER
        sides.append(estimate(read.value, **{**read.contributions, "gains_and_floor": common_db}))
        shown_sides.append(shown.lower.shown if sign < 0 else shown.upper.shown)
        clean_sides.append(clean)
    lower, upper = clean_sides[0].lower, clean_sides[1].upper
    shape = replace(
        clean_sides[0],
        upper=upper,
        worst=max((lower, upper), key=lambda side: (side.corrected or side.shown).value),
    )
    return StitchedShoulder(
        lower=sides[0], upper=sides[1], shown_lower=shown_sides[0], shown_upper=shown_sides[1], shape=shape
    )


def _as_read(stitched: Stitched, averages: float, *, with_floor: bool) -> Spectrum:
    """The spectrum with the scatter that it has beside the channel."""
    density = stitched.level + stitched.floor if with_floor else stitched.level.copy()
    return Spectrum(
        frequency_hz=stitched.frequency_hz.copy(),
        density=density,
        std=np.maximum(density, SMALLEST_LEVEL) / math.sqrt(averages),
        resolution_bandwidth_hz=stitched.resolution_bandwidth_hz,
        window="hann",
        n_averages=averages,
        n_samples=round(averages * len(density)),
    )
