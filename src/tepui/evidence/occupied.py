"""Occupied width: the band outside which half a per cent of the power lies on either side.

Theory  The running sum of the power density reaches 0.5 % of the total at the lower and 99.5 % at the upper end.
Source  [RR] 1.153 and ITU-R SM.328: beta/2 = 0.5 % on either side (from memory).
Holds   Only what the recording shows counts: noise far from the channel widens the band, so the floor is taken off
        where it is known. The resolution of the spectrum and its averaging are in the doubt.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.evidence.floor import Floor
from tepui.ground.doubt import Estimate, estimate
from tepui.ground.errors import RangeError
from tepui.signals.spectrum import Spectrum

Floats = npt.NDArray[np.float64]

PART_OUTSIDE = 0.01


@dataclass(frozen=True, kw_only=True)
class OccupiedWidth:
    """The width and its two ends, as offsets from the tuned frequency."""

    width_hz: Estimate
    lower_hz: float
    upper_hz: float


def occupied_width(
    spectrum: Spectrum, *, part_outside: float = PART_OUTSIDE, floor: Floor | None = None
) -> OccupiedWidth:
    """Width that holds all but ``part_outside`` of the power, half of that left out on each side.

    floor   noise density to take off first; None leaves it in
    raises  RangeError where nothing is left above the floor
    """
    floor_density, floor_std = (floor.density, floor.std) if floor else (0.0, 0.0)
    density = spectrum.density - floor_density
    total = float(density.sum())
    if total <= 0:
        raise RangeError("Nothing in the recording stands above its floor, so no width can be told: give more signal.")
    lower_hz, upper_hz = _ends(spectrum, floor_density, part_outside)
    moved = [np.subtract(*_ends(spectrum, level, part_outside)[::-1]) for level in _floors(floor_density, floor_std)]
    shares = [_scatter_hz(spectrum, density, total, end) for end in (lower_hz, upper_hz)]
    resolution = spectrum.resolution_bandwidth_hz / math.sqrt(12)
    width = estimate(
        upper_hz - lower_hz,
        averaging=math.hypot(*shares),
        resolution=resolution,
        floor=float(abs(moved[1] - moved[0])) / 2,
    )
    return OccupiedWidth(width_hz=width, lower_hz=lower_hz, upper_hz=upper_hz)


def _floors(density: float, std: float) -> tuple[float, float]:
    return max(density - std, 0.0), density + std


def _ends(spectrum: Spectrum, floor_density: float, part_outside: float) -> tuple[float, float]:
    """Where the running sum, counted in from either side, reaches half of the part left out."""
    density = spectrum.density - floor_density
    edges_hz = np.append(spectrum.frequency_hz, spectrum.frequency_hz[-1] + spectrum.bin_hz) - spectrum.bin_hz / 2
    target = float(density.sum()) * part_outside / 2

    def reached(values: Floats) -> float:
        running = np.cumsum(values)
        first = int(np.argmax(running >= target))
        before = float(running[first - 1]) if first else 0.0
        return first + (target - before) / float(values[first])

    steps = np.arange(len(edges_hz))
    lower = float(np.interp(reached(density), steps, edges_hz))
    upper = float(np.interp(len(density) - reached(density[::-1]), steps, edges_hz))
    return lower, upper


def _scatter_hz(spectrum: Spectrum, density: Floats, total: float, end_hz: float) -> float:
    """How far an end moves with the scatter of the power beyond it; neighbouring bins of a window are correlated."""
    below, above = spectrum.frequency_hz < end_hz, spectrum.frequency_hz > end_hz
    outside = below if density[below].sum() < density[above].sum() else above
    correlated = spectrum.resolution_bandwidth_hz / spectrum.bin_hz
    scatter = math.sqrt(correlated * float(np.sum(spectrum.std[outside] ** 2))) * spectrum.bin_hz
    all_scatter = math.sqrt(correlated * float(np.sum(spectrum.std**2))) * spectrum.bin_hz
    scatter = math.hypot(scatter, all_scatter * PART_OUTSIDE / 2)
    near = np.abs(spectrum.frequency_hz - end_hz) <= 2 * spectrum.resolution_bandwidth_hz
    there = float(density[near].mean())
    return scatter / there if there > 0 else total
