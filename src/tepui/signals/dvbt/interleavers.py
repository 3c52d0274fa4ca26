"""The interleavers: bits within 126, cells within a symbol, bytes over twelve branches.

Theory  Neighbouring coded bits travel on distant carriers, neighbouring bytes of a packet in distant packets, so that
        a notch or a burst becomes scattered single errors.
Source  [EN300744] V1.6.2 clauses 4.3.2 (outer) and 4.3.4 (inner: demultiplexer, H_e(w), H(q)), Annex F for 4K.
Holds   Native interleaving. 2K and 8K are checked against recordings of an independent modulator; 4K is from memory.
"""

from functools import cache

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_one_of
from tepui.signals.dvbt.mode import FFT_SIZES, N_DATA
from tepui.signals.dvbt.sequences import locked

OUTER_BRANCHES = 12
OUTER_CELL_BYTES = 17
BIT_BLOCK = 126
BIT_SHIFTS = (0, 63, 105, 42, 21, 84)
_FEEDBACK = {2048: (0, 3), 4096: (0, 2), 8192: (0, 1, 4, 6)}
# R' bits from the highest to bit 0 go to these bits of R
_WIRES = {
    2048: (0, 7, 5, 1, 8, 2, 6, 9, 3, 4),
    4096: (7, 10, 5, 8, 1, 2, 4, 9, 0, 3, 6),
    8192: (5, 11, 3, 0, 10, 8, 6, 9, 2, 4, 1, 7),
}
Order = npt.NDArray[np.int32]


def outer_interleaver_delay_bytes(branch: int) -> int:
    """Delay of one branch of the outer interleaver, counted in that branch's own bytes: 17 branch.

    branch   0 to 11; branch 0 carries the sync bytes. Counted in bytes of the stream it is 12 times as long.
    """
    require_one_of("branch", branch, range(OUTER_BRANCHES), source="EN 300 744 4.3.2")
    return OUTER_CELL_BYTES * branch


@cache
def symbol_permutation(n_fft: int) -> Order:
    """H(q): (n_data,), a permutation of range(n_data). Read-only."""
    require_one_of("n_fft", n_fft, FFT_SIZES, source="EN 300 744 4.4")
    wires, taps = _WIRES[n_fft], _FEEDBACK[n_fft]
    n_bits = len(wires)  # Nr - 1
    states = np.zeros(n_fft, np.int64)
    state = 1
    for i in range(2, n_fft):
        states[i] = state
        bit = 0
        for tap in taps:
            bit ^= state >> tap
        state = (state >> 1) | ((bit & 1) << (n_bits - 1))
    value = (np.arange(n_fft, dtype=np.int64) % 2) << n_bits
    for position, target in enumerate(wires):
        value |= ((states >> (n_bits - 1 - position)) & 1) << target
    order = value[value < N_DATA[n_fft]].astype(np.int32)
    locked(order)
    return order


@cache
def bit_interleaver(e: int) -> Order:
    """H_e(w) = (w + shift_e) mod 126: word w takes bit H_e(w) of stream e; (126,). Read-only."""
    require_one_of("bit stream", e, range(6), source="EN 300 744 4.3.4.1")
    order = ((np.arange(BIT_BLOCK) + BIT_SHIFTS[e]) % BIT_BLOCK).astype(np.int32)
    locked(order)
    return order


def _demultiplexed(v: int) -> tuple[int, ...]:
    """For output stream e: which of each v incoming bits it takes (non-hierarchical)."""
    to_stream = [i // (v // 2) + 2 * (i % (v // 2)) for i in range(v)]
    return tuple(to_stream.index(e) for e in range(v))


def _words(n_fft: int, streams: tuple[int, ...], taken: tuple[int, ...]) -> npt.NDArray[np.int64]:
    """Index of the coded bit on word w, stream e, before the symbol interleaver: (n_data, len(streams))."""
    blocks = np.arange(0, N_DATA[n_fft], BIT_BLOCK)
    per_word = len(streams)
    columns = [
        (blocks[:, None] + bit_interleaver(e)[None, :]).ravel() * per_word + offset
        for e, offset in zip(streams, taken, strict=True)
    ]
    return np.stack(columns, axis=1).astype(np.int64)


def _on_cells(n_fft: int, words: npt.NDArray[np.int64], parity: int) -> Order:
    require_one_of("parity", parity, (0, 1), source="EN 300 744 4.3.4.2")
    permutation = symbol_permutation(n_fft)
    if parity:
        cells = words[permutation]  # odd symbols: cell q carries word H(q)
    else:
        cells = np.empty_like(words)
        cells[permutation] = words  # even symbols: cell H(q) carries word q
    order = cells.astype(np.int32)
    locked(order)
    return order


@cache
def coded_bit_order(n_fft: int, v: int, parity: int) -> Order:
    """Which coded bit each bit of each data cell carries, all inner interleaving undone at once.

    v        bits of a cell: 2, 4 or 6; 2 also fits the high-priority stream of a hierarchical mode
    parity   symbol number in the frame, mod 2
    returns  (n_data, v): at [q, e] the index, among the symbol's n_data v coded bits in the order the inner
             encoder sent them, of bit y_e on the q-th data carrier. Read-only.
    """
    require_one_of("v", v, (2, 4, 6), source="EN 300 744 4.3.4")
    return _on_cells(n_fft, _words(n_fft, tuple(range(v)), _demultiplexed(v)), parity)


@cache
def coded_bit_order_lp(n_fft: int, v: int, parity: int) -> Order:
    """As ``coded_bit_order`` for the low-priority stream of a hierarchical mode.

    v        bits of a cell: 4 or 6
    returns  (n_data, v - 2): at [q, e] the index, among the symbol's n_data (v - 2) low-priority bits, of bit
             y_(e+2). Read-only.
    """
    require_one_of("v", v, (4, 6), source="EN 300 744 4.3.4")
    return _on_cells(n_fft, _words(n_fft, tuple(range(2, v)), _demultiplexed(v - 2)), parity)
