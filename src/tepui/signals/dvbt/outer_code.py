"""The outer code: Reed-Solomon (204, 188), eight bytes corrected in every packet.

Theory  Shortened from (255, 239) over GF(256), p(x) = x^8 + x^4 + x^3 + x^2 + 1, g(x) = product of (x - 2^i), i < 16.
Source  [EN300744] V1.6.2 clause 4.3.2.
Holds   Systematic: 188 bytes of packet, then 16 of parity, the highest power first.
"""

from functools import cache

import numpy as np
import numpy.typing as npt

from tepui.signals.dvbt.sequences import locked

N_BYTES, K_BYTES, T_BYTES = 204, 188, 8
PARITY_BYTES = N_BYTES - K_BYTES
FIELD_POLYNOMIAL = 0x11D
FIRST_ROOT = 0


@cache
def exponentials() -> npt.NDArray[np.uint8]:
    """2^i in the field: (510,), i and i + 255 alike, so that sums of two logarithms need no reduction. Read-only."""
    values = np.zeros(510, np.uint8)
    element = 1
    for i in range(255):
        values[i] = values[i + 255] = element
        element <<= 1
        if element & 0x100:
            element ^= FIELD_POLYNOMIAL
    locked(values)
    return values


@cache
def logarithms() -> npt.NDArray[np.int16]:
    """i with 2^i = element: (256,); -1 at element 0, which has none. Read-only."""
    values = np.full(256, -1, np.int16)
    values[exponentials()[:255]] = np.arange(255)
    locked(values)
    return values


def multiply(a: int, b: int) -> int:
    """Product of two field elements.

    >>> multiply(0x80, 2) == FIELD_POLYNOMIAL ^ 0x100
    True
    """
    if a == 0 or b == 0:
        return 0
    log = logarithms()
    return int(exponentials()[int(log[a]) + int(log[b])])


@cache
def generator_polynomial() -> npt.NDArray[np.uint8]:
    """g(x): (17,), the highest power (coefficient 1) first. Read-only."""
    coefficients = [1]
    for i in range(PARITY_BYTES):
        root = int(exponentials()[FIRST_ROOT + i])
        shifted = [*coefficients, 0]
        for j, c in enumerate(coefficients):
            shifted[j + 1] ^= multiply(c, root)
        coefficients = shifted
    polynomial = np.array(coefficients, np.uint8)
    locked(polynomial)
    return polynomial
