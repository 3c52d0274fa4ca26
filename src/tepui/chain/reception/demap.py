"""Soft bits from cells: how sure the channel lets one be of every coded bit.

Theory  The max-log ratio of a bit is the difference of the squared distances to the nearest point with 1 and with 0,
        over the noise variance. On one axis, with levels d, 3d, 5d, 7d, z = Re Y conj(H) / sigma^2, m = |z| and
        b = d |H|^2 / sigma^2:
        sign 4d (m + max(0, m - 2b) + max(0, m - 4b) + max(0, m - 6b)), as far as there are levels;
        outer of two sizes 4d (m - 2b); of four, with t = m - 4b, 4d (t + max(0, t - 2b) - max(0, -t - 2b)), and the
        last bit 4d (|t| - 2b).
Source  [EN300744] clauses 4.3.4 and 4.3.5 for points and order; the rest follows from the definition.
Holds   Values are rounded to whole steps and held within +-9: GAIN and the loss are found by benchmarks/required_cn.py.
        Of a hierarchical signal only the high-priority bits are given.
"""

from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.demap_kernels import demap
from tepui.ground.errors import RangeError
from tepui.signals.dvbt.carriers import data_carriers
from tepui.signals.dvbt.interleavers import coded_bit_order
from tepui.signals.dvbt.mapping import levels
from tepui.signals.dvbt.mode import N_CARRIERS, Mode

# Soft steps per unit of log ratio, by code rate: the best of 0.35 to 2.5 for all three constellations together at the
# rate's threshold, by simulation; 30 % more or less costs another 0.05 dB.
GAIN = {
    Fraction(1, 2): 1.1, Fraction(2, 3): 0.85, Fraction(3, 4): 0.85, Fraction(5, 6): 0.8, Fraction(7, 8): 0.75,
}  # fmt: skip

MOST_WEIGHT = np.float32(1e24)  # beyond it sums of single precision overflow; every value is at its limit long before


def coded_bit_sources(n_fft: int, width: int) -> npt.NDArray[np.uint16]:
    """Where each coded bit of a symbol comes from: (4, n_data width), by pilot phase, of e K + k.

    width  bits taken from a cell: e is the bit's number in it, k the carrier, K how many there are
    """
    sources = []
    for phase in range(4):
        carriers, order = data_carriers(n_fft, phase), coded_bit_order(n_fft, width, phase % 2)
        source = np.empty(order.size, np.uint16)
        source[order] = carriers[:, None] + N_CARRIERS[n_fft] * np.arange(width)
        sources.append(source)
    return np.stack(sources)


class SoftDemapper:
    """Turns symbols of one mode into soft values in the order their bits were sent; one object serves many threads."""

    def __init__(self, mode: Mode) -> None:
        level = levels(mode.constellation, mode.alpha)
        self._per_axis = len(level)
        self._inner = float(level[0])
        self._gap = float(level[1] - level[0]) if len(level) > 1 else 2 * self._inner
        self._gain = GAIN[mode.code_rate]
        self._width = mode.bits_per_cell_hp
        self._sources = coded_bit_sources(mode.n_fft, self._width)

    def __call__(
        self,
        cells: npt.NDArray[np.complex64],
        channel: npt.NDArray[np.complex64],
        weight: npt.NDArray[np.float32],
        *,
        phase: int,
        parity: int,
        out: npt.NDArray[np.int8] | None = None,
    ) -> npt.NDArray[np.int8]:
        """Soft values of consecutive symbols, positive where 0 is the likelier.

        cells    (n, K), data cells of mean power 1 times the channel; channel (1 or n, K)
        weight   (K,) one over the noise variance of a cell; 0 erases a carrier, beyond 1e24 counts as 1e24
        phase    pilot pattern of the first symbol; ``parity`` 0 where its number in the frame is even
        out      receives the values where given
        returns  (n, coded bits a symbol)
        raises   RangeError if phase and parity contradict each other
        """
        if phase % 2 != parity % 2:
            raise RangeError(f"pilot phase {phase} and symbol parity {parity} must be both even or both odd"
                             " (EN 300 744 4.4: frames of 68 symbols).")  # fmt: skip
        if out is None:
            out = np.empty((len(cells), self._sources.shape[1]), np.int8)
        cells, channel = (np.require(each, np.complex64, ["C", "W"]) for each in (cells, channel))
        weight = np.require(np.minimum(weight, MOST_WEIGHT), np.float32, ["C", "W"])
        demap(cells, channel, weight, self._sources, phase, self._width, self._per_axis, self._inner, self._gap,
              self._gain, out)  # fmt: skip
        return out
