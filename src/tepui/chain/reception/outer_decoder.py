"""Decoded bytes to packets: the outer interleaver and the Reed-Solomon code undone, as the stream comes in.

Theory  Byte i of a packet waits in branch i mod 12 of the outer interleaver, so it is sent 204 (i mod 12) bytes late,
        and a packet is whole again eleven packets after its first byte.
Source  [EN300744] V1.6.2 clause 4.3.2.
Holds   Packet boundaries are known from the super-frame. Up to eight wrong bytes in a packet are put right.
"""

from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.outer_dispersal import Codewords, PacketQueue
from tepui.chain.reception.outer_kernels import correct_packets
from tepui.ground.errors import RangeError
from tepui.signals.dvbt.interleavers import OUTER_BRANCHES
from tepui.signals.dvbt.outer_code import (
    N_BYTES,
    PARITY_BYTES,
    exponentials,
    generator_polynomial,
    logarithms,
    multiply,
)

DELAY_PACKETS = OUTER_BRANCHES - 1
Bytes = npt.NDArray[np.uint8]


@dataclass(frozen=True, kw_only=True)
class OuterBlock:
    """Packets and corrected bytes that became final with one push.

    first_packet  number of the first packet
    packets       (n, 188) transport stream packets; transport_error_indicator set where uncorrectable
    corrected     (n,) bytes corrected in each, -1 where uncorrectable
    bit_errors    (n,) bits corrected in each, of 1632; 0 where uncorrectable
    first_byte    number of the first byte of ``stream``
    stream        (m,) the interleaved stream as the transmitter sent it, as far as packets could be corrected
    """

    first_packet: int
    packets: Bytes
    corrected: npt.NDArray[np.int16]
    bit_errors: npt.NDArray[np.int32]
    first_byte: int
    stream: Bytes


@cache
def interleaved_places() -> npt.NDArray[np.int64]:
    """Where each byte of a packet stands in the interleaved stream, counted from its first: (204,)."""
    i = np.arange(N_BYTES)
    places: npt.NDArray[np.int64] = i + N_BYTES * (i % OUTER_BRANCHES)
    return places


@cache
def remainder_table() -> npt.NDArray[np.uint64]:
    """Byte times x^16 modulo the generator polynomial: (256, 2), the highest power in the top byte of the first."""
    products = [[multiply(byte, int(c)) for c in generator_polynomial()[1:]] for byte in range(256)]
    halves = np.array(products, np.uint64).reshape(256, 2, PARITY_BYTES // 2)
    shifts = np.uint64(8) * np.arange(PARITY_BYTES // 2 - 1, -1, -1, dtype=np.uint64)
    table: npt.NDArray[np.uint64] = (halves << shifts).sum(axis=2, dtype=np.uint64)
    return table


@cache
def _field_tables() -> tuple[Bytes, npt.NDArray[np.int16], Bytes]:
    return exponentials().copy(), logarithms().copy(), np.bitwise_count(np.arange(256, dtype=np.uint8))


def correct_interleaved(stream: Bytes, n_packets: int) -> Codewords:
    """Take packets out of the interleaved stream and correct them, there and in the stream itself.

    stream     changed in place; packet p, byte i stands at 204 (p + i mod 12) + i
    n_packets  whole packets wanted
    raises     RangeError if the stream is too short to hold all their bytes
    """
    if len(stream) < (n_packets + DELAY_PACKETS) * N_BYTES:
        raise RangeError(
            f"{n_packets} packets need {(n_packets + DELAY_PACKETS) * N_BYTES} bytes of interleaved stream"
            f" (EN 300 744 4.3.2), not {len(stream)}."
        )
    words = np.empty((n_packets, N_BYTES), np.uint8)
    corrected, bit_errors = np.empty(n_packets, np.int16), np.empty(n_packets, np.int32)
    correct_packets(stream, interleaved_places(), remainder_table(), *_field_tables(), words, corrected, bit_errors)
    return Codewords(rows=words, corrected=corrected, bit_errors=bit_errors)


class OuterDecoder:
    """Takes decoded bytes as they come and hands back packets; how they are cut into pushes makes no difference.

    first_byte  number of the first byte to be pushed, in a stream whose packet p starts at byte 204 p
    """

    def __init__(self, first_byte: int = 0) -> None:
        if first_byte < 0:
            raise RangeError(f"first_byte must be 0 or more, not {first_byte}.")
        self._pending = np.zeros(0, np.uint8)  # interleaved bytes not handed back yet
        self._pending_at = first_byte
        self._next = -(-first_byte // N_BYTES)  # the next packet to be corrected
        self._queue = PacketQueue(self._next)

    @property
    def dispersal_phase(self) -> int | None:
        """Number, modulo eight, of the packets with the inverted sync byte; None while unknown."""
        return self._queue.phase

    @property
    def next_packet(self) -> int:
        """Number of the next packet to be corrected."""
        return self._next

    def push(self, data: Bytes) -> OuterBlock:
        """Add decoded bytes, in the stream's order.

        data     (n,) any number
        returns  what became final; possibly nothing
        """
        self._pending = np.concatenate([self._pending, data])
        return self._advance(last=False)

    def finish(self) -> OuterBlock:
        """What remains: packets that waited for the vote, and the stream's last bytes, whose packets are not whole."""
        return self._advance(last=True)

    def _advance(self, *, last: bool) -> OuterBlock:
        n_packets = (self._pending_at + len(self._pending)) // N_BYTES - DELAY_PACKETS - self._next
        if n_packets > 0:
            start = self._next * N_BYTES - self._pending_at
            self._queue.add(correct_interleaved(self._pending[start:], n_packets))
            self._next += n_packets
        n_final = len(self._pending) if last else max(self._next * N_BYTES - self._pending_at, 0)
        stream, self._pending = self._pending[:n_final], self._pending[n_final:]
        first_byte, first_packet = self._pending_at, self._queue.first_packet
        self._pending_at += len(stream)
        done = self._queue.take(everything=last)
        return OuterBlock(first_packet=first_packet, packets=done.rows, corrected=done.corrected,
                          bit_errors=done.bit_errors, first_byte=first_byte, stream=stream)  # fmt: skip
