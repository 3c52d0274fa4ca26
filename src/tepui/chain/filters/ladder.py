"""Prototype values of a band-pass filter: ladder elements, and what they ask of resonators and couplings.

Theory  Elements g_1 to g_n of the low-pass ladder by the closed forms; the last, g_{n+1}, is 1, or coth^2(beta / 4)
        of an even Chebyshev ladder, beta = ln coth(L_ar / 17.37). Coupling k_ij = w / sqrt(g_i g_j), external
        Q = g0 g1 / w. Midband loss 4.343 sum(g) / (w Qu).
Source  G. Matthaei, L. Young, E. Jones, Microwave Filters (1964), 4.05 and 8.02 (equations from memory; values checked
        against the printed tables). S. Cohn, Proc. IRE 47 (1959), for the loss at midband.
Holds   All poles at infinity, narrow bands: w below about a tenth.
"""

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_between

Floats = npt.NDArray[np.float64]
MOST_POLES = 12
CHEBYSHEV_DB = 40 / math.log(10)  # 17.37
OUR_LIMIT = "this program's limit"


def prototype_elements(poles: int, ripple_db: float) -> list[float]:
    """g_1 to g_n of the low-pass prototype.

    >>> [round(g, 4) for g in prototype_elements(3, 0.1)]
    [1.0316, 1.1474, 1.0316]
    """
    sines = [math.sin((2 * k - 1) * math.pi / (2 * poles)) for k in range(1, poles + 1)]
    if ripple_db == 0:
        return [2 * sine for sine in sines]
    beta = math.log(1 / math.tanh(ripple_db / CHEBYSHEV_DB))
    gamma = math.sinh(beta / (2 * poles))
    found = [2 * sines[0] / gamma]
    for k in range(2, poles + 1):
        b = gamma**2 + math.sin((k - 1) * math.pi / poles) ** 2
        found.append(4 * sines[k - 2] * sines[k - 1] / (b * found[-1]))
    return found


def ladder_values(*, n_poles: int, ripple_db: float) -> tuple[float, ...]:
    """Elements g0 to g_{n+1} of the low-pass ladder; a ripple of 0 means Butterworth. [1]

    >>> [round(g, 4) for g in ladder_values(n_poles=3, ripple_db=0.1)]
    [1.0, 1.0316, 1.1474, 1.0316, 1.0]
    """
    require_between("n_poles", n_poles, 1, MOST_POLES, unit="poles", source=OUR_LIMIT)
    require_between("ripple_db", ripple_db, 0, 3, unit="dB", source=OUR_LIMIT)
    last = 1.0
    if ripple_db > 0 and n_poles % 2 == 0:
        last = 1 / math.tanh(math.log(1 / math.tanh(ripple_db / CHEBYSHEV_DB)) / 4) ** 2
    return (1.0, *prototype_elements(n_poles, ripple_db), last)


def width_ratio_3db(*, n_poles: int, ripple_db: float) -> float:
    """Width between the 3 dB points over the ripple width; 1 for Butterworth. [1]"""
    if ripple_db == 0:
        return 1.0
    edge = (10**0.30103 - 1) / (10 ** (ripple_db / 10) - 1)
    return math.cosh(math.acosh(math.sqrt(edge)) / n_poles)


def external_q(g: Sequence[float], *, fraction: float) -> tuple[float, float]:
    """External Q at input and output, for a ripple width of ``fraction`` of the centre. [1]"""
    return g[0] * g[1] / fraction, g[-2] * g[-1] / fraction


def couplings(g: Sequence[float], *, fraction: float) -> tuple[float, ...]:
    """Coupling coefficients k12, k23 and on. [1]"""
    inner = g[1:-1]
    return tuple(fraction / math.sqrt(inner[i] * inner[i + 1]) for i in range(len(inner) - 1))


def midband_loss_db(g: Sequence[float], *, fraction: float, unloaded_q: float) -> float:
    """Loss at the centre from resonators of finite Q. [dB]"""
    return 10 / math.log(10) * sum(g[1:-1]) / (fraction * unloaded_q)


def ideal_loss_db(detuning: npt.ArrayLike, *, n_poles: int, ripple_db: float, fraction: npt.ArrayLike) -> Floats:
    """Loss of the lossless filter, detuning being f/f0 - f0/f. Arrays of any one shape. [dB]

    Chebyshev: 10 lg(1 + e^2 T_n^2(detuning / fraction)); Butterworth: 10 lg(1 + (detuning / fraction)^2n).
    """
    ratio = np.abs(np.asarray(detuning, dtype=np.float64)) / np.asarray(fraction, dtype=np.float64)
    if ripple_db == 0:
        return np.asarray(10 * np.log10(1 + ratio ** (2 * n_poles)))
    inside = np.cos(n_poles * np.arccos(np.minimum(ratio, 1.0)))
    outside = np.cosh(n_poles * np.arccosh(np.maximum(ratio, 1.0)))
    polynomial = np.where(ratio <= 1, inside, outside)
    return np.asarray(10 * np.log10(1 + (10 ** (ripple_db / 10) - 1) * polynomial**2))
