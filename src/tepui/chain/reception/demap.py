"""Soft bits from cells: how sure the channel lets one be of every coded bit.

Theory  The max-log ratio of a bit is the difference of the squared distances to the nearest point with 1 and with 0,
        over the noise variance. On one axis, with m = |Re z|, levels d, 3d, 5d, 7d and z, a as in the kernel:
        sign bit 4d (m + max(0, m - 2da) + max(0, m - 4da) + ..), outer or inner of four 4d (m - 2da), of eight
        4d (m - 4da + min(0, m - 2da) + max(0, m - 6da)), last bit of eight 4d (|m - 4da| - 2da).
Source  [EN300744] clauses 4.3.4 and 4.3.5; F. Tosato, P. Bisaglia, simplified soft-output demapper, IEEE ICC 2002.
Holds   Values are rounded to whole steps and held within +-9, which costs under 0.1 dB (benchmarks/required_cn.py).
        Of a hierarchical signal only the high-priority bits are given.
"""

from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.demap_kernels import demap
from tepui.signals.dvbt.carriers import data_carriers
from tepui.signals.dvbt.interleavers import coded_bit_order
from tepui.signals.dvbt.mapping import levels
from tepui.signals.dvbt.mode import Mode

# Soft steps per unit of log ratio, by code rate: found by simulation to lose least at the rate's threshold.
GAIN = {
    Fraction(1, 2): 1.3, Fraction(2, 3): 1.0, Fraction(3, 4): 0.9, Fraction(5, 6): 0.8, Fraction(7, 8): 0.7,
}  # fmt: skip


class SoftDemapper:
    """Turns symbols of one mode into soft values in the order their bits were sent."""

    def __init__(self, mode: Mode) -> None:
        level = np.sort(levels(mode.constellation, mode.alpha))
        self._per_axis = level.size
        self._inner = np.float32(level[0])
        self._gap = np.float32(level[1] - level[0]) if level.size > 1 else np.float32(2 * level[0])
        self._gain = np.float32(GAIN[mode.code_rate])
        self._carriers = np.stack([data_carriers(mode.n_fft, phase) for phase in range(4)]).astype(np.int32)
        width = mode.bits_per_cell_hp
        orders = [coded_bit_order(mode.n_fft, width, parity) for parity in (0, 1)]
        self._order = np.ascontiguousarray(np.stack(orders), dtype=np.int32)

    def __call__(
        self,
        cells: npt.NDArray[np.complex64],
        channel: npt.NDArray[np.complex64],
        weight: npt.NDArray[np.float32],
        *,
        phase: int,
        parity: int,
    ) -> npt.NDArray[np.int8]:
        """Soft values of consecutive symbols, positive where 0 is the likelier.

        cells    (n, K); channel (1 or n, K)
        weight   (K,) one over the noise variance of a cell; 0 erases a carrier
        phase    pilot pattern of the first symbol; ``parity`` 0 where its number in the frame is even
        returns  (n, coded bits a symbol)
        """
        out = np.empty((cells.shape[0], self._order.shape[1] * self._order.shape[2]), np.int8)
        demap(
            cells, channel, weight, self._carriers, self._order, phase, parity, self._per_axis, self._inner, self._gap,
            self._gain, out,
        )
        return out
