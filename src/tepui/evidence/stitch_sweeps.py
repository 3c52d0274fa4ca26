"""Several sweeps through one receiver, each stitched by itself with what the others found of floor and input noise.

Theory  The converter's floor in steps^2 is one for all sweeps; the input's noise over the signal goes against the gain
        ahead of it. What one sweep tells badly another may tell well.
Source  H. T. Friis 1944, Proc. IRE 32, for noise behind gains.
Holds   One converter; sweeps that name the gain ahead of the distortion, else the noise is each sweep's own.
"""

import math
from collections.abc import Sequence

import numpy as np

from tepui.evidence.narrow import NarrowSpectrum
from tepui.evidence.stitch import Stitched, stitch
from tepui.evidence.stitch_layout import KnownShape
from tepui.evidence.stitch_set import gain_ahead_db
from tepui.ground.doubt import Estimate, estimate

NOISE_STEPS = 0.3  # relative: a front end's noise figure moves with its gain (this program's limit)


def stitch_sweeps(
    sweeps: Sequence[Sequence[NarrowSpectrum]],
    *,
    centre_hz: float,
    occupied_width_hz: float,
    find_tuning_error: bool = True,
    known_floor: Estimate | None = None,
    known_shape: KnownShape | None = None,
) -> tuple[Stitched, ...]:
    """Several sweeps through one receiver, each by itself, but every one with the floor that the others found.

    sweeps       as ``stitch_set.sweeps`` parts them; the rest, and what is raised, as in ``stitch``
    known_floor  of the converter from a terminated input, in steps^2
    """
    place = {"centre_hz": centre_hz, "occupied_width_hz": occupied_width_hz}

    def stitched(one: Sequence[NarrowSpectrum], floor: Estimate | None, noise: Estimate | None) -> Stitched:
        return stitch(
            one,
            **place,
            find_tuning_error=find_tuning_error,
            shared_floor=floor,
            known_shape=known_shape,
            shared_noise=noise,
        )

    alone = [stitched(one, known_floor, None) for one in sweeps]
    same = len({one.converter.step for sweep in sweeps for one in sweep}) == 1
    if len(alone) == 1 or not same:
        return tuple(alone)
    given = [] if known_floor is None else [known_floor]
    return tuple(
        stitched(
            one,
            _mean_floor([*given, *(other.floor_lsb2 for k, other in enumerate(alone) if k != number)]),
            _noise_of_others(sweeps, alone, number),
        )
        for number, one in enumerate(sweeps)
    )


def _noise_of_others(
    sweeps: Sequence[Sequence[NarrowSpectrum]], alone: Sequence[Stitched], number: int
) -> Estimate | None:
    """Noise of a sweep's input as the other sweeps saw it: over the signal it goes against the gain ahead of it."""
    gains_db = [gain_ahead_db(sweep[0].settings) for sweep in sweeps]
    if any(gain_db is None for gain_db in gains_db):
        return None
    ratio = [10 ** ((float(gain_db or 0.0) - float(gains_db[number] or 0.0)) / 10) for gain_db in gains_db]
    unit = alone[number].inband_steps2
    found = [
        (one.input_noise.value * ratio[k] * unit, max(one.input_noise.std * ratio[k] * unit, 1e-12))
        for k, one in enumerate(alone)
        if k != number
    ]
    weight = np.array([1 / std**2 for _, std in found])
    mean = float((weight * [value for value, _ in found]).sum() / weight.sum())
    return estimate(mean, others=float(weight.max()) ** -0.5, front_end=NOISE_STEPS * mean)


def _mean_floor(floors: Sequence[Estimate]) -> Estimate:
    """Weighted mean, no surer than the best of them, for sweeps may share what misleads them; scatter adds doubt."""
    value = np.array([one.value for one in floors])
    weight = np.array([1 / one.std**2 for one in floors])
    mean = float((value * weight).sum() / weight.sum())
    excess = float((weight * (value - mean) ** 2).sum()) / max(len(floors) - 1, 1)
    return estimate(mean, other_sweeps=math.sqrt(max(1.0, excess) / float(weight.max())))
