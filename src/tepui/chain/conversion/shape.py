"""The spectral shape of an n-th order product: the signal's flat top convolved with itself n times.

Theory  An OFDM signal is Gaussian, so the spectrum of its n-th power is the n-fold convolution of its own (Isserlis).
        Of a flat one it is the density of a sum of n uniform variables, [Irwin-Hall]:
        F(y) = 1/n! sum over k <= y of (-1)^k C(n, k) (y - k)^n, y counted in widths from the lower edge.
        Its mean power is n! times that of a steady tone of the same mean power: 10 lg n! dB more.
Source  J. O. Irwin, P. Hall, Biometrika 19 (1927). L. Isserlis, Biometrika 12 (1918).
Holds   Products that go as the n-th power, hence below overload. The signal's own roll-off is left out.
"""

import math
from functools import lru_cache

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
TABLE_POINTS = 4097


def _lower_half(y: Floats, n: int) -> Floats:
    total = np.zeros_like(y)
    for k in range(n // 2 + 1):
        total += (-1) ** k * math.comb(n, k) * np.maximum(y - k, 0.0) ** n
    return total / math.factorial(n)


def share_below(x: npt.ArrayLike, *, n: int) -> Floats:
    """Share of an n-th order product's power below x, in widths of the signal from its centre. (k,) -> (k,) [1]

    >>> float(share_below([0.0], n=3)[0]), float(share_below([-1.5], n=3)[0])
    (0.5, 0.0)
    """
    x = np.asarray(x, dtype=np.float64)
    if n == 0:
        return np.asarray(np.where(x >= 0, 1.0, 0.0))
    tail = np.asarray(np.clip(_lower_half(np.clip(n / 2 - np.abs(x), 0.0, n / 2), n), 0.0, 0.5))
    return np.where(x <= 0, tail, 1 - tail)


def density(x: npt.ArrayLike, *, n: int) -> Floats:
    """Power density of an n-th order product of total power one, x in widths from its centre. (k,) -> (k,) [1]"""
    x = np.asarray(x, dtype=np.float64)
    y = np.clip(n / 2 - np.abs(x), 0.0, None)
    total = np.zeros_like(y)
    for k in range(n // 2 + 1):
        power = np.where(y > k, 1.0, 0.0) if n == 1 else np.maximum(y - k, 0.0) ** (n - 1)
        total += (-1) ** k * math.comb(n, k) * power
    return np.asarray(np.maximum(total, 0.0) / math.factorial(n - 1))


@lru_cache(maxsize=32)
def share_table(n: int) -> tuple[Floats, Floats]:
    """x and share below it, for interpolation; x from -n/2 to n/2."""
    x = np.linspace(-n / 2, n / 2, TABLE_POINTS)
    share = share_below(x, n=n)
    x.flags.writeable = share.flags.writeable = False
    return x, share


def gaussian_excess_db(n: int) -> float:
    """Power of an n-th order product of a Gaussian signal over that of a tone of the same mean power. [dB]"""
    return 10 * math.log10(math.factorial(n))
