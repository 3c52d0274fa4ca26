"""Kernels of the inner encoder and of the count of differing signs.

Theory  The coded bits of a few whole puncturing periods depend on those bits and the six before them: one look-up
        writes up to eight of them.
Source  [EN300744] V1.6.2 clause 4.3.3, through the tables the caller brings.
Holds   Bits are taken from bytes, the first on the most significant side.
"""

import numpy as np
import numpy.typing as npt

from tepui.ground.kernels import kernel

Bytes = npt.NDArray[np.uint8]
BLOCK = 192  # so short that a byte can count it


@kernel("int64(uint8[::1], int64, int64, int64, uint64[::1], int64, int64, uint8[:, ::1], uint8[:, ::1], uint8[::1])")
def encode_punctured(
    packed: Bytes,
    n_bits: int,
    phase: int,
    state: int,
    words: npt.NDArray[np.uint64],
    word_bits: int,
    word_coded: int,
    pairs: Bytes,
    sent: Bytes,
    out: Bytes,
) -> int:
    """Coded bits of packed information bits, one to a byte; returns how many.

    phase       place of the first bit in its puncturing period
    state       the six bits before it, the newest lowest
    words       [state and word_bits bits] -> word_coded coded bits, one to a byte, the first lowest
    pairs       (128, 2): [state and one bit] -> X, Y        sent  (period, 2): whether X and Y are sent
    """
    period = len(sent)
    index = np.uint64(state)
    at, done = 0, 0
    mask = np.uint64((1 << (6 + word_bits)) - 1)
    while done < n_bits:
        if phase == 0 and n_bits - done >= word_bits and at + 8 <= len(out):
            byte = done >> 3
            pair = np.uint64(packed[byte]) << np.uint64(8)
            if (done + word_bits - 1) >> 3 > byte:
                pair |= np.uint64(packed[byte + 1])
            fresh = (pair >> np.uint64(16 - (done & 7) - word_bits)) & np.uint64((1 << word_bits) - 1)
            index = ((index << np.uint64(word_bits)) | fresh) & mask
            word = words[index]
            for i in range(8):
                out[np.uint64(at + i)] = np.uint8((word >> np.uint64(8 * i)) & np.uint64(0xFF))
            at += word_coded
            done += word_bits
        else:
            bit = (packed[done >> 3] >> (7 - (done & 7))) & 1
            index = ((index << np.uint64(1)) | np.uint64(bit)) & np.uint64(127)
            for output in range(2):
                if sent[phase, output]:
                    out[at] = pairs[index, output]
                    at += 1
            phase = phase + 1 if phase + 1 < period else 0
            done += 1
    return at


@kernel("void(uint8[::1], int8[::1], int64[::1])")
def count_sign_differences(coded: Bytes, soft: npt.NDArray[np.int8], counts: npt.NDArray[np.int64]) -> None:
    """counts[0] = soft values whose sign contradicts the coded bit (0 or 1), counts[1] = soft values other than 0."""
    counts[0] = counts[1] = 0
    for start in range(0, len(coded), BLOCK):
        wrong, known = np.uint8(0), np.uint8(0)
        bits, values = coded[start : start + BLOCK], soft[start : start + BLOCK]
        for i in range(len(bits)):
            is_known = np.uint8(values[i] != 0)
            known = np.uint8(known + is_known)
            wrong = np.uint8(wrong + (is_known & (np.uint8(values[i] < 0) ^ bits[i])))
        counts[0] += wrong
        counts[1] += known
