"""Coded bits onto cells: both inner interleavers in one gather, then the constellation.

Theory  Bit and symbol interleaver only reorder the bits of one symbol, so one table per symbol parity holds both.
Source  [EN300744] V1.6.2 clauses 4.3.4 and 4.3.5.
Holds   Native interleaving; with two streams the high-priority bits choose the quadrant.
"""

import numpy as np
import numpy.typing as npt

from tepui.signals.dvbt.interleavers import coded_bit_order, coded_bit_order_lp
from tepui.signals.dvbt.mapping import constellation_points
from tepui.signals.dvbt.mode import Mode

Bits = npt.NDArray[np.uint8]


def map_cells(coded: Bits, coded_lp: Bits | None, *, mode: Mode, first_symbol: int) -> npt.NDArray[np.complex64]:
    """Data cells of whole symbols.

    coded         (n_symbols, n_data bits_per_cell_hp) coded bits of the stream, of the high-priority one of two
    coded_lp      (n_symbols, n_data (bits_per_cell - 2)) of the low-priority stream; None without hierarchy
    first_symbol  number of the first of them; only its parity counts
    returns       (n_symbols, n_data), mean power 1, in the order of ``data_carriers``
    """
    points = constellation_points(mode.constellation, mode.alpha)
    cells = np.empty((len(coded), mode.n_data), np.complex64)
    for start in range(min(2, len(coded))):
        parity = (first_symbol + start) % 2
        label = _labels(coded[start::2], coded_bit_order(mode.n_fft, mode.bits_per_cell_hp, parity))
        if coded_lp is not None:
            order = coded_bit_order_lp(mode.n_fft, mode.bits_per_cell, parity)
            label = (label << order.shape[1]) | _labels(coded_lp[start::2], order)
        cells[start::2] = points.take(label)
    return cells


def _labels(coded: Bits, order: npt.NDArray[np.int32]) -> Bits:
    """Bit pattern of every cell, the first bit most significant: (n_symbols, n_data)."""
    label = coded.take(order[:, 0], axis=1)
    for e in range(1, order.shape[1]):
        label <<= 1
        label |= coded.take(order[:, e], axis=1)
    return label
