"""Bits to points: Gray-coded QPSK, 16-QAM and 64-QAM, uniform or with the centre opened for hierarchy.

Theory  Even-numbered bits set the I axis, odd ones Q; the first pair chooses the quadrant. alpha widens the gap
        between quadrants to alpha times the distance inside one. Mean power 1 over all points.
Source  [EN300744] V1.6.2 clause 4.3.5, figures 9a to 9c; normalisation factors of clause 4.4, Table 6.
Holds   alpha 1, 2, 4; 0 (no hierarchy) is the same constellation as 1.
"""

from functools import cache

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_one_of
from tepui.signals.dvbt.mode import BITS_PER_CELL, CONSTELLATIONS
from tepui.signals.dvbt.sequences import locked

# magnitude's rank (0 = innermost) by the axis bits that follow the sign, the first of them the most significant
_RANKS = {"QPSK": (0,), "16QAM": (1, 0), "64QAM": (3, 2, 0, 1)}


@cache
def levels(constellation: str, alpha: int = 0) -> npt.NDArray[np.float64]:
    """Positive amplitudes of one axis, ascending, normalised to mean point power 1: (1,), (2,) or (4,). Read-only."""
    require_one_of("constellation", constellation, CONSTELLATIONS, source="EN 300 744 4.3.5")
    require_one_of("alpha", alpha, (0, 1, 2, 4), source="EN 300 744 4.3.5")
    steps = 2.0 * np.arange(len(_RANKS[constellation])) + max(alpha, 1)
    if constellation == "QPSK":
        steps = np.ones(1)
    amplitudes: npt.NDArray[np.float64] = steps / np.sqrt(2 * np.mean(steps**2))
    locked(amplitudes)
    return amplitudes


@cache
def constellation_points(constellation: str, alpha: int = 0) -> npt.NDArray[np.complex64]:
    """Point of every bit pattern: (2**v,), index = y0 y1 .. y(v-1) with y0 the most significant. Read-only."""
    amplitudes = levels(constellation, alpha)
    v = BITS_PER_CELL[constellation]
    index = np.arange(2**v)
    axes = []
    for first in (0, 1):
        bits = [(index >> (v - 1 - e)) & 1 for e in range(first, v, 2)]
        rank = np.zeros_like(index)
        for bit in bits[1:]:
            rank = 2 * rank + bit
        axes.append((1 - 2 * bits[0]) * amplitudes[np.array(_RANKS[constellation])[rank]])
    points: npt.NDArray[np.complex64] = (axes[0] + 1j * axes[1]).astype(np.complex64)
    locked(points)
    return points
