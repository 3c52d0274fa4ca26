"""The inner coder: every bit leaves as two sums over the last seven, some of which are not sent.

Theory  X and Y are sums (mod 2) of the bits chosen by G1 and G2; puncturing sends n of the 2k sums of k bits.
Source  [EN300744] V1.6.2 clause 4.3.3, figure 7 and Table 2.
Holds   All five rates. Whole puncturing periods; every OFDM symbol of every mode holds a whole number of them.
"""

from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tepui.signals.dvbt.inner_code import CONSTRAINT_LENGTH, G1, G2, puncturing

Bits = npt.NDArray[np.uint8]
MEMORY_BITS = CONSTRAINT_LENGTH - 1


def _sum_over(stretch: Bits, generator: int) -> Bits:
    """Sum of the bits a generator taps, for every bit after the six of memory."""
    n_bits = len(stretch) - MEMORY_BITS
    delays = [d for d in range(CONSTRAINT_LENGTH) if generator >> (MEMORY_BITS - d) & 1]
    total = stretch[MEMORY_BITS:].copy()  # both generators tap the newest bit
    for delay in delays[1:]:
        total ^= stretch[MEMORY_BITS - delay : MEMORY_BITS - delay + n_bits]
    return total


def encode_inner(bits: Bits, memory: Bits, *, code_rate: Fraction) -> tuple[Bits, Bits]:
    """Encode and puncture.

    bits     (m k,) information bits 0 or 1, the first sent first; k the numerator of the rate
    memory   (6,) the bits before them, oldest first; zeros at the start
    returns  (m n,) coded bits in transmission order, and the memory for the next call
    """
    stretch = np.concatenate([memory, bits])
    sums = [_sum_over(stretch, generator).reshape(-1, code_rate.numerator) for generator in (G1, G2)]
    coded = np.empty((sums[0].shape[0], code_rate.denominator), np.uint8)
    for place, (step, which) in enumerate(puncturing(code_rate).tolist()):
        coded[:, place] = sums[which][:, step]
    return coded.ravel(), stretch[len(bits) :].copy()
