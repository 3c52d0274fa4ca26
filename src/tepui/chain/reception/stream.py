"""Soft values of whole symbols in, packets out: the inner and the outer decoder joined, whatever the cut.

Theory  The super-frame tells how many bits were sent before a symbol, and so where bytes and packets begin.
Source  [EN300744] clauses 4.3 and 4.7.
Holds   One run of consecutive symbols of one mode. Units are counted from its first symbol.
"""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.inner_decoder import UNIT_BITS, InnerDecoder
from tepui.chain.reception.outer_decoder import DELAY_PACKETS, OuterBlock, OuterDecoder
from tepui.chain.reception.reencode import reencode
from tepui.ground.tasks import map_tasks
from tepui.signals.dvbt.mode import Mode
from tepui.signals.dvbt.outer_code import N_BYTES

Bytes = npt.NDArray[np.uint8]
PacketSink = Callable[[Bytes], None]


@dataclass
class PacketCounts:
    """Packets so far, and the bit errors that the Reed-Solomon decoder corrected in those it could."""

    packets: int = 0
    corrected: int = 0
    uncorrectable: int = 0
    bit_errors: int = 0
    bits: int = 0
    flags: list[npt.NDArray[np.bool_]] = field(default_factory=list)

    def add(self, block: OuterBlock) -> None:
        """Count a block."""
        good = block.corrected >= 0
        self.packets += int(block.corrected.size)
        self.corrected += int((block.corrected > 0).sum())
        self.uncorrectable += int((~good).sum())
        self.bit_errors += int(block.bit_errors[good].sum())
        self.bits += 1632 * int(good.sum())
        if block.corrected.size:
            self.flags.append(good)


class StreamDecoder:
    """Decodes one run of symbols.

    symbol  place of the first symbol in its super-frame, 0 to 271
    """

    def __init__(self, mode: Mode, *, symbol: int, workers: int | None, sink: PacketSink | None) -> None:
        self.coded_per_symbol = mode.n_data * mode.bits_per_cell_hp
        self.bits_per_symbol = int(self.coded_per_symbol * mode.code_rate)
        self.rate = mode.code_rate
        self.counts = PacketCounts()
        self._workers = workers
        self._sink = sink
        self._first_bit = symbol * self.bits_per_symbol
        self._shift = -self._first_bit % 8
        self._inner = InnerDecoder(mode.code_rate)
        self._outer = OuterDecoder((self._first_bit + self._shift) // 8)
        self._first_packet = self._outer.next_packet
        self._soft: deque[npt.NDArray[np.int8]] = deque([np.zeros(self._inner.margin_coded, np.int8)])
        self._have = self._inner.margin_coded
        self._begun = 0
        self._coded = 0
        self._decoded_bits = 0
        self._carry = np.zeros(0, np.uint8)
        self._stream: list[Bytes] = []
        self._broken: list[int] = []
        self._stream_first = (self._first_bit + self._shift) // 8

    def push(self, soft: npt.NDArray[np.int8]) -> None:
        """Soft values of further whole symbols, in the order sent."""
        self._coded += soft.size
        self._keep(soft.reshape(-1))
        self._decode_units()

    def finish(self) -> None:
        """Decode what is left."""
        waiting = self._have - self._inner.margin_coded
        units = max(0, -(-waiting // self._inner.unit_coded))
        padded = units * self._inner.unit_coded + 2 * self._inner.margin_coded
        self._keep(np.zeros(max(0, padded - self._have), np.int8))
        self._decode_units(total=int(self._coded * self.rate))
        self._take(self._outer.finish())

    def _keep(self, soft: npt.NDArray[np.int8]) -> None:
        self._soft.append(soft)
        self._have += soft.size

    def _window(self, start: int) -> npt.NDArray[np.int8]:
        """One unit's soft values with their margins, from ``start`` of what is kept on."""
        out = np.empty(self._inner.window_coded, np.int8)
        filled, place = 0, -self._begun
        for part in self._soft:
            low, high = max(start + filled - place, 0), min(start + out.size - place, part.size)
            if low < high:
                out[filled : filled + high - low] = part[low:high]
                filled += high - low
            place += part.size
            if filled == out.size:
                break
        return out

    def _drop(self, count: int) -> None:
        """Forget the first ``count`` values that are kept."""
        self._begun += count
        self._have -= count
        while self._soft and self._begun >= self._soft[0].size:
            self._begun -= self._soft.popleft().size

    def _decode_units(self, total: int | None = None) -> None:
        inner = self._inner
        units = (self._have - 2 * inner.margin_coded) // inner.unit_coded
        if units <= 0:
            return
        windows = [self._window(unit * inner.unit_coded) for unit in range(units)]
        parts = map_tasks(inner.decode_unit, windows, workers=self._workers)
        self._drop(units * inner.unit_coded)
        for part in parts:
            bits = UNIT_BITS
            if total is not None:
                bits = min(UNIT_BITS, total - self._decoded_bits)
            self._decoded_bits += UNIT_BITS
            if bits > 0:
                self._bytes(part[: (bits + 7) // 8], bits)

    def _bytes(self, packed: Bytes, bits: int) -> None:
        joined = np.concatenate([self._carry, packed])
        usable = (8 * self._carry.size + bits - self._shift) // 8
        if self._shift:
            wide = (joined[:-1].astype(np.uint16) << self._shift) | (joined[1:] >> (8 - self._shift))
            aligned = wide.astype(np.uint8)
        else:
            aligned = joined
        aligned = np.ascontiguousarray(aligned[: max(0, usable)])
        self._carry = joined[aligned.size :]
        self._take(self._outer.push(aligned))

    def _take(self, block: OuterBlock) -> None:
        self.counts.add(block)
        self._broken += (block.first_packet + np.flatnonzero(block.corrected < 0)).tolist()
        if block.stream.size:
            self._stream.append(block.stream)
        if block.packets.size and self._sink is not None:
            self._sink(block.packets)

    def sent_coded_bits(self, *, start: int, count: int) -> npt.NDArray[np.uint8] | None:
        """What was sent for symbols start.. (counted from the run's first), encoded again from corrected bytes.

        Symbols must be asked for in ascending order: bytes before them are forgotten.
        returns  (count, coded_per_symbol) of 0 and 1, or None where not all of it is decoded yet
        """
        begin_bit = self._first_bit + start * self.bits_per_symbol
        end_bit = begin_bit + count * self.bits_per_symbol
        have = self._stream_first + sum(part.size for part in self._stream)
        first_byte = max((begin_bit - 8) // 8, self._stream_first)
        if have * 8 < end_bit or first_byte * 8 > begin_bit - 6:
            return None
        joined = self._stream[0] if len(self._stream) == 1 else np.concatenate(self._stream)
        joined = joined[first_byte - self._stream_first :]
        self._stream, self._stream_first = [joined], first_byte
        bits = np.unpackbits(joined[: (end_bit + 7) // 8 - first_byte])
        at = begin_bit - 8 * first_byte
        state = int(bits[at - 6 : at] @ (32 >> np.arange(6)))
        wanted = np.packbits(bits[at : at + count * self.bits_per_symbol])
        coded = reencode(wanted, self.rate, start_phase=0, state=state)
        return coded[: count * self.coded_per_symbol].reshape(count, self.coded_per_symbol)

    def is_clean(self, *, start: int, count: int) -> bool:
        """Whether every packet with a byte in these symbols (asked for in ascending order) could be corrected."""
        first_byte = (self._first_bit + start * self.bits_per_symbol) // 8
        last_byte = (self._first_bit + (start + count) * self.bits_per_symbol) // 8
        low, high = first_byte // N_BYTES - DELAY_PACKETS, last_byte // N_BYTES
        self._broken = [number for number in self._broken if number >= low]
        return not any(number <= high for number in self._broken)

    def covered(self, *, start: int, count: int) -> npt.NDArray[np.bool_]:
        """Which symbols hold whole packets' bytes only; at a run's ends packets are cut off and left as they came."""
        edges = self._first_bit + (start + np.arange(count + 1)) * self.bits_per_symbol
        low = edges[:-1] // 8 // N_BYTES - DELAY_PACKETS
        high = (edges[1:] - 1) // 8 // N_BYTES
        return np.asarray((low >= self._first_packet) & (high < self._outer.next_packet))

    @property
    def decoded_symbols(self) -> int:
        """How many symbols, from the run's first, ``sent_coded_bits`` can serve."""
        have = 8 * (self._stream_first + sum(part.size for part in self._stream))
        return max(0, (have - self._first_bit) // self.bits_per_symbol)
