"""Packets made ready for the inner code: whitened, given parity, spread over twelve packets.

Theory  Reed-Solomon parity is linear: each byte of a packet adds its own sixteen parity bytes, whatever the others
        are. The interleaver delays branch j = b mod 12 by 17 j of its own bytes, which is j whole packets of 204.
Source  [EN300744] V1.6.2 clauses 4.3.1 and 4.3.2.
Holds   Packets of 188 bytes that begin with 0x47. Before the first packet the interleaver holds zeros.
"""

from functools import cache

import numpy as np
import numpy.typing as npt

from tepui.ground.errors import FormatError
from tepui.signals.dvbt.dispersal import GROUP_PACKETS, PACKET_BYTES, SYNC, dispersal_mask
from tepui.signals.dvbt.interleavers import OUTER_BRANCHES
from tepui.signals.dvbt.outer_code import (
    K_BYTES,
    N_BYTES,
    PARITY_BYTES,
    exponentials,
    generator_polynomial,
    logarithms,
)

Bytes = npt.NDArray[np.uint8]
HISTORY_PACKETS = OUTER_BRANCHES - 1


def require_packets(packets: npt.NDArray[np.generic]) -> None:
    """Refuse anything but (n, 188) bytes with the sync byte first.

    raises  FormatError
    """
    if packets.ndim != 2 or packets.shape[1] != PACKET_BYTES or packets.dtype != np.uint8:
        raise FormatError(
            f"Transport packets must be an array (n, 188) of uint8 (ISO/IEC 13818-1), not {packets.shape} of "
            f"{packets.dtype}."
        )
    wrong = np.flatnonzero(packets[:, 0] != SYNC)
    if wrong.size:
        first = int(wrong[0])
        raise FormatError(
            f"Packet {first} begins with 0x{int(packets[first, 0]):02X}, not with the sync byte 0x47 "
            "(ISO/IEC 13818-1); find the packets' start first."
        )


def disperse(packets: Bytes, *, first_packet: int) -> Bytes:
    """Whiten packets; the same call undoes it.

    packets       (n, 188)
    first_packet  number of the first of them; numbers that 8 divides carry the inverted sync
    returns       (n, 188)
    """
    numbers = (first_packet + np.arange(len(packets))) % GROUP_PACKETS
    whitened: Bytes = packets ^ dispersal_mask()[numbers]
    return whitened


@cache
def _contributions() -> npt.NDArray[np.uint64]:
    """Parity of a packet that is zero but for one byte: (188, 256, 2), sixteen bytes seen as two words."""
    log, exp = logarithms().astype(np.int64), exponentials()
    generator = generator_polynomial()[1:]  # g(x) without its leading 1; no coefficient is zero
    products = np.zeros((256, PARITY_BYTES), np.uint8)  # element times each coefficient
    products[1:] = exp[log[1:256, None] + log[generator][None, :]]
    table = np.zeros((K_BYTES, 256, PARITY_BYTES), np.uint8)
    table[K_BYTES - 1] = products  # the last byte: v x^16 mod g
    for position in range(K_BYTES - 2, -1, -1):  # one place earlier: times x, mod g
        later = table[position + 1]
        table[position, :, :-1] = later[:, 1:]
        table[position] ^= products[later[:, 0]]
    words = table.view(np.uint64)
    words.setflags(write=False)
    return words


def parity_bytes(packets: Bytes) -> Bytes:
    """The sixteen Reed-Solomon bytes of each packet: (n, 188) -> (n, 16)."""
    table = _contributions()
    columns = np.ascontiguousarray(packets.T)
    total = np.zeros((len(packets), 2), np.uint64)
    for position in range(K_BYTES):
        total ^= table[position].take(columns[position], axis=0)
    return total.view(np.uint8)


def with_parity(packets: Bytes) -> Bytes:
    """Packets followed by their parity: (n, 188) -> (n, 204)."""
    return np.concatenate([packets, parity_bytes(packets)], axis=1)


def interleave(coded: Bytes, history: Bytes) -> tuple[Bytes, Bytes]:
    """Spread every packet's bytes over twelve.

    coded    (n, 204), the next packets
    history  (11, 204), the packets before them; zeros at the start
    returns  (n, 204) interleaved bytes in transmission order, and the history for the next call
    """
    stretch = np.concatenate([history, coded])
    spread = np.empty_like(coded)
    for branch in range(OUTER_BRANCHES):
        start = HISTORY_PACKETS - branch
        spread[:, branch::OUTER_BRANCHES] = stretch[start : start + len(coded), branch::OUTER_BRANCHES]
    return spread, stretch[len(coded) :].copy()


def empty_history() -> Bytes:
    """The interleaver before the first packet: (11, 204) zeros."""
    return np.zeros((HISTORY_PACKETS, N_BYTES), np.uint8)
