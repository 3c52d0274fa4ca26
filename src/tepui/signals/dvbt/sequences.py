"""Binary shift-register sequences, from which pilots and energy dispersal are made.

Theory  A register of n bits whose next bit is the sum (mod 2) of two or more earlier ones.
Source  [EN300744] V1.6.2 clauses 4.3.1 and 4.5.2, figures of the two generators.
Holds   Any lags; the caller's start values are the first bits of the history, oldest first.
"""

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt


def recurrence(start: Sequence[int], lags: Sequence[int], n_bits: int) -> npt.NDArray[np.uint8]:
    """Bits s[0..n_bits) with s[n] = sum of s[n - lag] (mod 2) and s[0..len(start)) = start.

    >>> recurrence([1, 1, 1], [3, 2], 7).tolist()
    [1, 1, 1, 0, 0, 1, 0]
    """
    bits = list(start)
    for n in range(len(bits), n_bits):
        total = 0
        for lag in lags:
            total ^= bits[n - lag]
        bits.append(total)
    return np.array(bits[:n_bits], np.uint8)


def locked(array: npt.NDArray[np.generic]) -> None:
    """Make an array read-only, in place."""
    array.setflags(write=False)
