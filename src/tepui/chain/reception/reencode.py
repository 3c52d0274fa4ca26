"""Decoded bits encoded once more: what the transmitter must have sent.

Theory  Where decoding succeeds, the re-encoded bits are the sent ones; soft values of the other sign are the errors
        before the Viterbi decoder, and the re-encoded cells are what MER is measured against.
Source  [EN300744] V1.6.2 clause 4.3.3; [TR101290] V1.4.1 clause 9.14 (BER before Viterbi).
Holds   Where decoding fails the count is too low: the decoder moves towards what was received.
"""

from dataclasses import dataclass
from fractions import Fraction
from functools import cache

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.reencode_kernels import count_sign_differences, encode_punctured
from tepui.ground.errors import RangeError
from tepui.signals.dvbt.inner_code import CONSTRAINT_LENGTH, G1, G2, puncturing

MEMORY_BITS = CONSTRAINT_LENGTH - 1
MAX_WORD_CODED = 8
# whole puncturing periods whose coded bits fill a word of eight bytes as far as they can
WORD_BITS = {Fraction(1, 2): 4, Fraction(2, 3): 4, Fraction(3, 4): 6, Fraction(5, 6): 5, Fraction(7, 8): 7}


@dataclass(frozen=True, kw_only=True)
class EncodingTables:
    """What the kernel looks up for one code rate; the arrays are described there."""

    words: npt.NDArray[np.uint64]
    word_bits: int
    word_coded: int
    pairs: npt.NDArray[np.uint8]
    sent: npt.NDArray[np.uint8]


@cache
def encoding_tables(code_rate: Fraction) -> EncodingTables:
    """Tables of the encoder for one code rate."""
    order, period = puncturing(code_rate), code_rate.numerator
    register = np.arange(2**CONSTRAINT_LENGTH)
    taps = [int(f"{generator:0{CONSTRAINT_LENGTH}b}"[::-1], 2) for generator in (G1, G2)]  # here the newest is lowest
    pairs = np.stack([np.bitwise_count(register & tap) & 1 for tap in taps], axis=1).astype(np.uint8)
    sent = np.zeros((period, 2), np.uint8)
    sent[order[:, 0], order[:, 1]] = 1
    word_bits = WORD_BITS[code_rate]
    index = np.arange(2 ** (MEMORY_BITS + word_bits), dtype=np.int64)
    words = np.zeros(len(index), np.uint64)
    word_coded = 0
    for step in range(word_bits):
        seven = (index >> (word_bits - 1 - step)) % len(register)
        for output in np.flatnonzero(sent[step % period]):
            words |= pairs[seven, output].astype(np.uint64) << np.uint64(8 * word_coded)
            word_coded += 1
    return EncodingTables(words=words, word_bits=word_bits, word_coded=word_coded, pairs=pairs, sent=sent)


def reencode(
    packed: npt.NDArray[np.uint8], code_rate: Fraction, *, start_phase: int = 0, state: int = 0
) -> npt.NDArray[np.uint8]:
    """Coded bits as sent, from decoded bits.

    packed       (n,) bytes, the first bit on the most significant side
    start_phase  place of the first bit in its puncturing period
    state        the six bits before the first, the newest lowest (``last_state``); 0 at the start of a stream
    returns      (n_coded,) of 0 and 1
    """
    tables = encoding_tables(code_rate)
    n_bits = 8 * len(packed)
    if not 0 <= start_phase < len(tables.sent):
        raise RangeError(
            f"start_phase must lie in 0..{len(tables.sent) - 1} at code rate {code_rate}, not {start_phase}."
        )
    per_step = tables.sent.sum(axis=1)
    whole, rest = divmod(n_bits, len(per_step))
    n_coded = int(whole * per_step.sum() + np.roll(per_step, -start_phase)[:rest].sum())
    out = np.empty(n_coded, np.uint8)
    packed = np.require(packed, np.uint8, ["C", "W"])  # what the kernel takes; copied only if it must be
    encode_punctured(packed, n_bits, start_phase, state, tables.words, tables.word_bits,
                     tables.word_coded, tables.pairs, tables.sent, out)  # fmt: skip
    return out


def last_state(packed: npt.NDArray[np.uint8]) -> int:
    """The encoder's memory after these bytes (at least one): the ``state`` the next ones start from.

    >>> last_state(np.array([0b11000001], np.uint8))
    1
    """
    return int(packed[-1] & (2**MEMORY_BITS - 1))


def count_differences(coded: npt.NDArray[np.uint8], soft: npt.NDArray[np.int8]) -> tuple[int, int]:
    """Errors before the Viterbi decoder.

    coded    (n,) of 0 and 1, re-encoded
    soft     (n,) positive for 0; values of 0 are counted neither as right nor as wrong
    returns  (errors, bits counted)
    raises   RangeError if the two differ in length
    """
    if coded.shape != soft.shape:
        raise RangeError(f"coded and soft must be of one length, not {coded.size} and {soft.size}.")
    counts = np.zeros(2, np.int64)
    count_sign_differences(np.require(coded, np.uint8, ["C", "W"]), np.require(soft, np.int8, ["C", "W"]), counts)
    return int(counts[0]), int(counts[1])
