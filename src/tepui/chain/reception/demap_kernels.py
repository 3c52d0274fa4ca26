"""Kernel of the soft demapper: cells to signed bytes in the order the inner coder sent them.

Theory  With z = Y conj(H) / sigma^2, a = |H|^2 / sigma^2 the max-log ratios are sums of clipped straight lines in z,
        with bends at multiples of a: no divisions (demap.py has them). All carriers of a symbol are computed side by
        side, bit by bit; then one table gathers the coded bits from the data carriers, both interleavers undone.
Source  as demap.py.
Holds   Finite cells, channel and weights; any size of them ends within +-9.
"""

import numpy as np
import numpy.typing as npt

from tepui.ground.kernels import kernel

Cells = npt.NDArray[np.complex64]
Floats = npt.NDArray[np.float32]
Soft = npt.NDArray[np.int8]
Number = float | np.float32
ZERO, LIMIT = np.float32(0.0), np.float32(9.0)
UP = np.float32(9.5)  # makes every clipped value positive, so that cutting the fraction off rounds to the nearest


@kernel("void(float32[::1], float32[::1], float32, float32, int64, int8[::1])")
def sign_bits(x: Floats, a: Floats, first_bend: Number, slope: Number, n_bends: int, out: Soft) -> None:
    """First bit of an axis: out = x, steeper by ``slope`` beyond each bend; bends at (first_bend + 2 slope i) a."""
    bends = np.float32(first_bend), np.float32(first_bend + 2 * slope), np.float32(first_bend + 4 * slope)
    slopes = (
        np.float32(slope if n_bends > 0 else 0), np.float32(slope if n_bends > 1 else 0),
        np.float32(slope if n_bends > 2 else 0),
    )  # fmt: skip
    for k in range(len(out)):
        m = abs(x[k])
        m += (
            slopes[0] * max(ZERO, m - bends[0] * a[k])
            + slopes[1] * max(ZERO, m - bends[1] * a[k])
            + slopes[2] * max(ZERO, m - bends[2] * a[k])
        )
        m = min(m, LIMIT)
        value = m if x[k] > ZERO else -m
        out[k] = np.int8(np.int32(value + UP) - 9)


@kernel("void(float32[::1], float32[::1], int8[::1], int8[::1])")
def size_bits_of_four(x: Floats, a: Floats, outer: Soft, edge: Soft) -> None:
    """Second and third bit of an axis of eight levels: the outer two of four sizes or not; the first or last or not."""
    for k in range(len(outer)):
        two = a[k] + a[k]
        t = abs(x[k]) - two - two
        value = t + max(ZERO, t - two) - max(ZERO, -t - two)
        outer[k] = np.int8(np.int32(max(-LIMIT, min(value, LIMIT)) + UP) - 9)
        value = abs(t) - two
        edge[k] = np.int8(np.int32(max(-LIMIT, min(value, LIMIT)) + UP) - 9)


@kernel("void(float32[::1], float32[::1], int8[::1])")
def size_bit_of_two(x: Floats, a: Floats, outer: Soft) -> None:
    """Second bit of an axis of four levels: the outer of two sizes or not."""
    for k in range(len(outer)):
        value = abs(x[k]) - a[k] - a[k]
        outer[k] = np.int8(np.int32(max(-LIMIT, min(value, LIMIT)) + UP) - 9)


@kernel(
    "void(complex64[:, ::1], complex64[:, ::1], float32[::1], uint16[:, ::1], int64, int64, int64, float32, float32,"
    " float32, int8[:, ::1])"
)
def demap(
    cells: Cells,
    channel: Cells,
    weight: Floats,
    source: npt.NDArray[np.uint16],
    phase: int,
    width: int,
    per_axis: int,
    inner: Number,
    gap: Number,
    gain: Number,
    out: Soft,
) -> None:
    """Soft values of symbols, row by row.

    channel  (1 or n, K); weight (K,) one over the noise variance
    source   (4, n_coded), by pilot phase: e K + k, the bit e and carrier k of each coded bit
    width    bits taken from a cell; per_axis levels of one sign, the innermost ``inner``, ``gap`` apart
    gain     soft steps per unit of log ratio
    """
    n_carriers = cells.shape[1]
    x, y, a = np.empty(n_carriers, np.float32), np.empty(n_carriers, np.float32), np.empty(n_carriers, np.float32)
    planes = np.empty(width * n_carriers, np.int8)
    slope = np.float32(0.5) * gap / inner
    unit = np.float32(4.0) * gain * inner
    for row in range(len(cells)):
        cell, h = cells[row], channel[row if len(channel) > 1 else 0]
        for k in range(n_carriers):
            w = weight[k] * unit
            x[k] = (cell[k].real * h[k].real + cell[k].imag * h[k].imag) * w
            y[k] = (cell[k].imag * h[k].real - cell[k].real * h[k].imag) * w
            a[k] = (h[k].real * h[k].real + h[k].imag * h[k].imag) * w * inner
        for axis in range(2):
            values = x if axis == 0 else y
            first = planes[axis * n_carriers : (axis + 1) * n_carriers]
            sign_bits(values, a, np.float32(1.0) + slope, slope, per_axis - 1, first)
            if width > 2:
                second = planes[(2 + axis) * n_carriers : (3 + axis) * n_carriers]
                if width == 4:
                    size_bit_of_two(values, a, second)
                else:
                    third = planes[(4 + axis) * n_carriers : (5 + axis) * n_carriers]
                    size_bits_of_four(values, a, second, third)
        place, target = source[(phase + row) % 4], out[row]
        for i in range(len(target)):
            target[i] = planes[place[i]]
