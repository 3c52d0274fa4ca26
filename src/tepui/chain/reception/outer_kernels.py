"""The Reed-Solomon kernel: packets taken from the interleaved stream, checked and corrected in place.

Theory  The remainder of a codeword by the generator polynomial is zero where nothing is wrong; a table-driven shift
        register finds it, four packets side by side. Otherwise: syndromes from the remainder, Berlekamp-Massey for
        the error locator, Chien's search for the places, Forney's formula for the values (first root 2^0).
Source  [EN300744] V1.6.2 clause 4.3.2, through the tables the caller brings; the algorithms are common knowledge.
Holds   Up to eight wrong bytes of 204. More are reported as uncorrectable, save the few that fall within eight bytes
        of another codeword, which no decoder can tell.
"""

import numpy as np
import numpy.typing as npt

from tepui.ground.kernels import kernel

Bytes = npt.NDArray[np.uint8]
N_BYTES, K_BYTES, PARITY, CORRECTABLE = 204, 188, 16, 8
FIELD = 255
EIGHT, TOP = np.uint64(8), np.uint64(56)


@kernel("void(uint8[::1], int64, int64, int64[::1], uint64[:, ::1], uint8[:, ::1], uint64[:, ::1])")
def packet_remainders(
    stream: Bytes,
    first: int,
    last: int,
    places: npt.NDArray[np.int64],
    table: npt.NDArray[np.uint64],
    words: Bytes,
    remainders: npt.NDArray[np.uint64],
) -> None:
    """Four codewords out of the interleaved stream, and their remainders.

    stream       packet p, byte i stands at 204 p + places[i]
    first, last  four packets from the first on; those beyond the last repeat the last
    table        (256, 2): byte times x^16, modulo the generator polynomial; high and low eight bytes
    words        (n, 204): rows of the four written, the codewords as received
    remainders   (4, 2), written: the highest power in the top byte of the first; zero where the codeword is clean
    """
    pa, pb, pc, pd = first, min(first + 1, last), min(first + 2, last), min(first + 3, last)
    a0 = a1 = b0 = b1 = c0 = c1 = d0 = d1 = np.uint64(0)
    for i in range(K_BYTES):
        place = places[i]
        a, b = stream[pa * N_BYTES + place], stream[pb * N_BYTES + place]
        c, d = stream[pc * N_BYTES + place], stream[pd * N_BYTES + place]
        words[pa, i], words[pb, i], words[pc, i], words[pd, i] = a, b, c, d
        ia, ib = (a0 >> TOP) ^ np.uint64(a), (b0 >> TOP) ^ np.uint64(b)
        ic, id_ = (c0 >> TOP) ^ np.uint64(c), (d0 >> TOP) ^ np.uint64(d)
        a0, a1 = ((a0 << EIGHT) | (a1 >> TOP)) ^ table[ia, 0], (a1 << EIGHT) ^ table[ia, 1]
        b0, b1 = ((b0 << EIGHT) | (b1 >> TOP)) ^ table[ib, 0], (b1 << EIGHT) ^ table[ib, 1]
        c0, c1 = ((c0 << EIGHT) | (c1 >> TOP)) ^ table[ic, 0], (c1 << EIGHT) ^ table[ic, 1]
        d0, d1 = ((d0 << EIGHT) | (d1 >> TOP)) ^ table[id_, 0], (d1 << EIGHT) ^ table[id_, 1]
    remainders[0, 0], remainders[0, 1], remainders[1, 0], remainders[1, 1] = a0, a1, b0, b1
    remainders[2, 0], remainders[2, 1], remainders[3, 0], remainders[3, 1] = c0, c1, d0, d1
    for j in range(4):
        p = min(first + j, last)
        for half in range(2):
            received = np.uint64(0)
            for i in range(8):
                k = K_BYTES + 8 * half + i
                words[p, k] = stream[p * N_BYTES + places[k]]
                received = (received << EIGHT) | np.uint64(words[p, k])
            remainders[j, half] ^= received


@kernel("int64(uint64[::1], uint8[::1], int16[::1], int64[:, ::1])")
def locate_errors(
    remainder: npt.NDArray[np.uint64], exp: Bytes, log: npt.NDArray[np.int16], work: npt.NDArray[np.int64]
) -> int:
    """Errors of one codeword from its remainder; returns their number, or -1 where there are more than eight.

    exp, log  powers of 2 in the field (510,) and their logarithms (256,)
    work      (8, 32) scratch; places of the errors (0 is the first byte) are left in row 6, values in row 7
    """
    syndromes, locator, previous, scratch, logs = work[0], work[1], work[2], work[3], work[4]
    omega, places, values = work[5], work[6], work[7]
    for i in range(PARITY):
        total = np.int64(0)
        for j in range(PARITY):
            if total:
                total = np.int64(exp[log[total] + i])
            total ^= np.int64((remainder[j >> 3] >> np.uint64(56 - 8 * (j & 7))) & np.uint64(0xFF))
        syndromes[i] = total
    for i in range(PARITY + 2):
        locator[i] = previous[i] = 0
    locator[0] = previous[0] = 1
    degree, gap, last = 0, 1, np.int64(1)
    for n in range(PARITY):
        discrepancy = syndromes[n]
        for i in range(1, degree + 1):
            if locator[i] and syndromes[n - i]:
                discrepancy ^= np.int64(exp[log[locator[i]] + log[syndromes[n - i]]])
        if discrepancy:
            factor = (log[discrepancy] - log[last] + FIELD) % FIELD
            grows = 2 * degree <= n
            if grows:
                for i in range(PARITY + 1):
                    scratch[i] = locator[i]
            for i in range(PARITY + 1 - gap):
                if previous[i]:
                    locator[i + gap] ^= np.int64(exp[log[previous[i]] + factor])
            if grows:
                for i in range(PARITY + 1):
                    previous[i] = scratch[i]
                degree, last, gap = n + 1 - degree, discrepancy, 0
        gap += 1
    if degree > CORRECTABLE or locator[degree] == 0:
        return -1
    found = 0
    for j in range(1, degree + 1):
        logs[j] = (log[locator[j]] - j * (N_BYTES - 1) % FIELD + FIELD) % FIELD if locator[j] else -1
    for place in range(N_BYTES):
        total = np.int64(1)
        for j in range(1, degree + 1):
            if logs[j] >= 0:
                total ^= np.int64(exp[logs[j]])
                logs[j] = logs[j] + j if logs[j] + j < FIELD else logs[j] + j - FIELD
        if total == 0:
            places[found] = place
            found += 1
    if found != degree:
        return -1
    for i in range(degree):
        omega[i] = 0
        for j in range(i + 1):
            if syndromes[i - j] and locator[j]:
                omega[i] ^= np.int64(exp[log[syndromes[i - j]] + log[locator[j]]])
    for e in range(degree):
        root = (FIELD - (N_BYTES - 1 - places[e])) % FIELD
        above, below = np.int64(0), np.int64(0)
        for i in range(degree):
            if omega[i]:
                above ^= np.int64(exp[(log[omega[i]] + i * root) % FIELD])
            if i % 2 == 0 and locator[i + 1]:
                below ^= np.int64(exp[(log[locator[i + 1]] + i * root) % FIELD])
        if above == 0 or below == 0:
            return -1
        values[e] = exp[(log[above] - log[below] - root + 2 * FIELD) % FIELD]
    return degree


@kernel(
    "void(uint8[::1], int64[::1], uint64[:, ::1], uint8[::1], int16[::1], uint8[::1], uint8[:, ::1], int16[::1],"
    " int32[::1])"
)
def correct_packets(
    stream: Bytes,
    places: npt.NDArray[np.int64],
    table: npt.NDArray[np.uint64],
    exp: Bytes,
    log: npt.NDArray[np.int16],
    ones: Bytes,
    words: Bytes,
    corrected: npt.NDArray[np.int16],
    bit_errors: npt.NDArray[np.int32],
) -> None:
    """Correct every packet, in the interleaved stream and in ``words``.

    ones        (256,) bits set in a byte
    words       (n, 204), written: the codewords
    corrected   (n,), written: wrong bytes put right, -1 where there were too many and nothing was changed
    bit_errors  (n,), written: wrong bits put right
    """
    remainders = np.zeros((4, 2), np.uint64)
    work = np.zeros((8, 32), np.int64)
    for first in range(0, len(words), 4):
        packet_remainders(stream, first, len(words) - 1, places, table, words, remainders)
        for p in range(first, min(first + 4, len(words))):
            j = p - first
            corrected[p] = bit_errors[p] = 0
            if remainders[j, 0] | remainders[j, 1]:
                n = locate_errors(remainders[j], exp, log, work)
                corrected[p] = n
                for e in range(n):
                    i, value = work[6, e], np.uint8(work[7, e])
                    words[p, i] ^= value
                    stream[p * N_BYTES + places[i]] ^= value
                    bit_errors[p] += ones[value]
