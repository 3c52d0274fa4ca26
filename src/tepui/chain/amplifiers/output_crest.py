"""Peaks of the envelope before and behind an amplifier: the CCDF of a Gaussian signal through a curve.

Theory  The power u of a Gaussian envelope over its mean has the density e^-u. A memoryless amplifier turns each u into
        one output power, so the output's CCDF is a sum over the u that lie above; where the curve rises throughout,
        the level passed with probability p is the output at u = -ln p.
Source  Rayleigh's law; the level passed one time in ten thousand is common practice (no published source).
Holds   Waveforms of many carriers; no memory. u up to 20, passed 2e-9 of the time.
"""

import math
from functools import cache

import numpy as np
import numpy.typing as npt

from tepui.chain.amplifiers.closed_form import Amplifier, Floats
from tepui.ground.checks import require_between

PROBABILITY = 1e-4
FARTHEST, CELLS = 20.0, 4000


@cache
def _cells() -> tuple[Floats, Floats]:
    """Middles of equal cells of u, and the probability of each."""
    edges = np.linspace(0.0, FARTHEST, CELLS + 1)
    share = np.exp(-edges[:-1]) - np.exp(-edges[1:])
    share[-1] += math.exp(-FARTHEST)
    middle = (edges[1:] + edges[:-1]) / 2
    middle.flags.writeable = share.flags.writeable = False
    return middle, share


def gaussian_crest_db(probability: float) -> float:
    """Level above the mean that the envelope of many carriers passes with this probability. [dB]

    >>> round(gaussian_crest_db(1e-4), 2)
    9.64
    """
    require_between("probability", probability, 1e-8, 0.9, unit="of one", source="this program's limit")
    return 10 * math.log10(-math.log(probability))


def _sorted_output(amplifier: Amplifier, input_w: float) -> tuple[Floats, Floats]:
    """Output power over its mean, falling, and the probability of passing each."""
    u, share = _cells()
    power = np.abs(amplifier(np.sqrt(input_w * u).astype(np.complex128))) ** 2
    order = np.argsort(power)[::-1]
    passed = np.cumsum(share[order]) - share[order] / 2
    return power[order] / float(share @ power), passed


def output_crest_db(amplifier: Amplifier, input_w: npt.ArrayLike, *, probability: float = PROBABILITY) -> Floats:
    """Level above the mean output power passed with this probability, at each mean input power. (n,) [dB]"""
    found = []
    for one in np.atleast_1d(np.asarray(input_w, dtype=np.float64)):
        level, passed = _sorted_output(amplifier, float(one))
        found.append(10 * np.log10(np.interp(math.log(probability), np.log(passed), level)))
    return np.array(found)


def output_ccdf(amplifier: Amplifier, input_w: float, level_db: npt.ArrayLike) -> Floats:
    """Probability of the output envelope's power to pass levels above its mean. (n,)"""
    level, passed = _sorted_output(amplifier, input_w)
    wanted = 10 ** (np.asarray(level_db, dtype=np.float64) / 10)
    return np.asarray(np.interp(wanted, level[::-1], passed[::-1], left=1.0, right=0.0))
