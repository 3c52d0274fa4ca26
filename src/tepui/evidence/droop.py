"""Shape of the receiver's filters from a recording of noise alone.

Theory  Noise at the input passes the same filters as the signal, so that its density, the converter's floor taken off,
        is their shape. Noise that does not stand well above the floor says nothing.
Source  common practice (no published source).
Holds   Recordings at the sweep's own rate and filter setting, without signals; the floor is flat over the band.
"""

from collections.abc import Sequence

import numpy as np

from tepui.evidence.converter import IDEAL_LSB2
from tepui.evidence.narrow import NarrowSpectrum
from tepui.evidence.stitch_layout import HANN_BINS_AS_ONE, MODEL_STD, KnownShape
from tepui.evidence.stitch_set import bins_a_cell
from tepui.ground.doubt import Estimate, estimate

LEAST_OVER_FLOOR = 3.0
FLOOR_NOT_KNOWN = estimate(1.5 * IDEAL_LSB2, guess=IDEAL_LSB2)


def known_shape(noise: Sequence[NarrowSpectrum], *, floor: Estimate | None) -> KnownShape | None:
    """The shape that all recordings of noise show together; None where none stands above the floor."""
    known = floor or FLOOR_NOT_KNOWN
    parts = [part for one in noise if (part := _shape_of(one, known)) is not None]
    if not parts:
        return None
    return KnownShape(
        x=np.concatenate([part.x for part in parts]),
        log=np.concatenate([part.log for part in parts]),
        weight=np.concatenate([part.weight for part in parts]),
    )


def _shape_of(one: NarrowSpectrum, floor: Estimate) -> KnownShape | None:
    m = bins_a_cell(one)
    count = len(one.density) // m
    x = (one.frequency_hz[: count * m].reshape(count, m).mean(axis=1) - one.tuned_hz) / one.rate_hz
    clear = np.abs(one.frequency_hz - one.tuned_hz) > one.dc_half_width_hz
    whole = clear[: count * m].reshape(count, m).all(axis=1)
    density = one.density[: count * m].reshape(count, m).mean(axis=1)[whole] / one.unit_density
    if len(density) == 0 or float(np.median(density)) < LEAST_OVER_FLOOR * floor.value:
        return None
    left = np.maximum(density - floor.value, 0.2 * density)
    averages = one.n_averages * max(1.0, m / HANN_BINS_AS_ONE)
    variance = (density / left) ** 2 / averages + (floor.std / left) ** 2 + MODEL_STD**2
    log = np.log(left)
    weight = 1 / variance
    return KnownShape(x=x[whole], log=log - float(weight @ log / weight.sum()), weight=weight)
