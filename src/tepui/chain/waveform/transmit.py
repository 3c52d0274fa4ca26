"""The transmitter: packets pushed in, samples out, without a seam between pushes.

Theory  Every stage keeps what it needs of the past, so that the signal depends on the packets' order alone and not on
        how they were handed over. Symbol s begins at information bit s n_data v r of the stream counted from packet 0.
Source  [EN300744] V1.6.2 clause 4; packets per super-frame are whole by clause 4.7.
Holds   Packet 0 carries an inverted sync and starts super-frame 0. Samples have mean power 1 (see ``ofdm``).
"""

from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tepui.chain.waveform.framing import place_cells
from tepui.chain.waveform.inner import MEMORY_BITS, encode_inner
from tepui.chain.waveform.mapping import map_cells
from tepui.chain.waveform.ofdm import modulate
from tepui.chain.waveform.outer import (
    HISTORY_PACKETS,
    disperse,
    empty_history,
    interleave,
    require_packets,
    with_parity,
)
from tepui.ground.errors import ChoiceError, RangeError
from tepui.signals.dvbt.dispersal import PACKET_BYTES, SYNC
from tepui.signals.dvbt.mode import Mode
from tepui.signals.dvbt.outer_code import N_BYTES

Packets = npt.NDArray[np.uint8]
Samples = npt.NDArray[np.complex64]
PACKET_BITS = 8 * N_BYTES
NULL_PID = 0x1FFF
_BATCH = 32  # symbols worked on at once: small enough to stay in the cache


def null_packets(count: int) -> Packets:
    """Packets without content, PID 0x1FFF, payload 0xFF: (count, 188)."""
    packets = np.full((count, PACKET_BYTES), 0xFF, np.uint8)
    packets[:, :4] = (SYNC, NULL_PID >> 8, NULL_PID & 0xFF, 0x10)
    return packets


@dataclass(kw_only=True)
class _Stream:
    """One priority's way from packets to coded bits; ``bits[position:]`` are not yet on a symbol."""

    bits_per_symbol: int
    code_rate: Fraction
    next_packet: int = 0
    history: Packets = field(default_factory=empty_history)
    memory: Packets = field(default_factory=lambda: np.zeros(MEMORY_BITS, np.uint8))
    bits: Packets = field(default_factory=lambda: np.zeros(0, np.uint8))
    position: int = 0

    @property
    def n_waiting(self) -> int:
        return len(self.bits) - self.position

    def take(self, packets: Packets) -> None:
        """Whiten, add parity, interleave; the bits then wait."""
        coded = with_parity(disperse(packets, first_packet=self.next_packet))
        spread, self.history = interleave(coded, self.history)
        self.next_packet += len(packets)
        self.bits = np.concatenate([self.bits[self.position :], np.unpackbits(spread.ravel())])
        self.position = 0

    def start_at(self, symbol: int) -> None:
        """Behave as if null packets had filled every symbol before ``symbol``."""
        first_bit = symbol * self.bits_per_symbol
        first_packet = -(-first_bit // PACKET_BITS)
        self.next_packet = max(0, first_packet - HISTORY_PACKETS - 2)
        skipped = first_bit - self.next_packet * PACKET_BITS
        self.take(null_packets(first_packet - self.next_packet))
        self.memory = self.bits[skipped - MEMORY_BITS : skipped].copy()
        self.position = skipped

    def coded_bits(self, n_symbols: int) -> Packets:
        """Coded bits of the next symbols: (n_symbols, coded bits of a symbol)."""
        end = self.position + n_symbols * self.bits_per_symbol
        coded, self.memory = encode_inner(self.bits[self.position : end], self.memory, code_rate=self.code_rate)
        self.position = end
        return coded.reshape(n_symbols, -1)

    def packets_for(self, n_symbols: int) -> int:
        return max(0, -(-(n_symbols * self.bits_per_symbol - self.n_waiting) // PACKET_BITS))


class Transmitter:
    """A DVB-T transmitter that never stops between pushes.

    mode          what is sent; with hierarchy every push takes two streams
    start_symbol  number of the first symbol to come out, counted from super-frame 0; null packets are taken to have
                  been sent before it, and the first packet pushed is number ``first_packet``
    raises        ChoiceError for in-depth interleaving, RangeError for a negative start
    """

    def __init__(self, mode: Mode, start_symbol: int = 0) -> None:
        if mode.in_depth:
            raise ChoiceError(
                "In-depth interleaving (EN 300 744 Annex F) is not built, as no source of it was at hand; "
                "choose native interleaving."
            )
        if start_symbol < 0:
            raise RangeError(f"start_symbol must be 0 or more, counted from super-frame 0, not {start_symbol}.")
        self.mode = mode
        self.next_symbol = start_symbol
        self._streams = [_stream(mode, mode.bits_per_cell_hp, mode.code_rate)]
        if mode.code_rate_lp is not None:
            self._streams.append(_stream(mode, mode.bits_per_cell - 2, mode.code_rate_lp))
        for stream in self._streams:
            if start_symbol:
                stream.start_at(start_symbol)
        self.first_packet = self._streams[0].next_packet
        self._n_pushed = 0

    def push(self, packets: Packets, packets_lp: Packets | None = None) -> Samples:
        """Send packets; every symbol they complete comes out.

        packets     (n, 188) uint8, n >= 0; with hierarchy the high-priority stream
        packets_lp  (m, 188) the low-priority stream; only with hierarchy
        returns     (n_symbols * mode.n_symbol,) at mode.sample_rate_hz, mean power 1
        raises      FormatError for anything that is no packet, ChoiceError for a stream too many or missing
        """
        n_symbols = self._take(packets, packets_lp)
        samples = np.empty((n_symbols, self.mode.n_symbol), np.complex64)
        for start in range(0, n_symbols, _BATCH):
            count = min(_BATCH, n_symbols - start)
            samples[start : start + count] = modulate(self._next_carriers(count), mode=self.mode)
        return samples.ravel()

    def carriers(self, packets: Packets, packets_lp: Packets | None = None) -> Samples:
        """As ``push``, one step earlier: (n_symbols, K) carriers with data cells of mean power 1."""
        n_symbols = self._take(packets, packets_lp)
        carriers = np.empty((n_symbols, self.mode.n_carriers), np.complex64)
        for start in range(0, n_symbols, _BATCH):
            count = min(_BATCH, n_symbols - start)
            carriers[start : start + count] = self._next_carriers(count)
        return carriers

    def packets_needed(self, n_symbols: int) -> int:
        """How many packets the next push must bring for ``n_symbols`` more symbols; 0 if enough bits wait."""
        return self._streams[0].packets_for(n_symbols)

    def packets_needed_lp(self, n_symbols: int) -> int:
        """As ``packets_needed`` for the low-priority stream.

        raises  ChoiceError without hierarchy
        """
        if len(self._streams) == 1:
            raise ChoiceError(f"{self.mode.text()} has no low-priority stream; only hierarchical modes have two.")
        return self._streams[1].packets_for(n_symbols)

    def flush(self) -> Samples:
        """Push null packets until every byte of what was pushed is on the air and the last symbol is whole."""
        if not self._n_pushed:
            return np.zeros(0, np.complex64)
        n_symbols = max(
            -(-(stream.n_waiting + HISTORY_PACKETS * PACKET_BITS) // stream.bits_per_symbol) for stream in self._streams
        )
        stuffing = [null_packets(stream.packets_for(n_symbols)) for stream in self._streams]
        samples = self.push(*stuffing)
        self._n_pushed = 0
        return samples

    def _take(self, packets: Packets, packets_lp: Packets | None) -> int:
        given = [packets] if packets_lp is None else [packets, packets_lp]
        if len(given) != len(self._streams):
            raise ChoiceError(f"{self.mode.text()} takes {len(self._streams)} packet stream(s), not {len(given)}.")
        for part in given:
            require_packets(part)
        for stream, part in zip(self._streams, given, strict=True):
            stream.take(part)
            self._n_pushed += len(part)
        return min(stream.n_waiting // stream.bits_per_symbol for stream in self._streams)

    def _next_carriers(self, n_symbols: int) -> Samples:
        coded = [stream.coded_bits(n_symbols) for stream in self._streams]
        cells = map_cells(coded[0], coded[1] if len(coded) > 1 else None, mode=self.mode, first_symbol=self.next_symbol)
        carriers = place_cells(cells, mode=self.mode, first_symbol=self.next_symbol)
        self.next_symbol += n_symbols
        return carriers


def _stream(mode: Mode, bits_per_cell: int, code_rate: Fraction) -> _Stream:
    return _Stream(bits_per_symbol=int(mode.n_data * bits_per_cell * code_rate), code_rate=code_rate)
