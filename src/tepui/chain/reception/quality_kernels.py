"""Kernels that judge equalised cells: nearest points, sums for the channel, errors per carrier and per symbol.

Theory  Gray mapping by axis: the first bit of an axis is its sign; with four levels the second tells outer (0) from
        inner (1); with eight the third tells the middle two (1) from the outermost and innermost (0).
Source  [EN300744] clause 4.3.5; [TR101290] clause 9.18 for the error power.
Holds   Indices are y0 .. y(v-1), y0 the most significant, even ones on I.
"""

from typing import Any

import numpy as np

from tepui.ground.kernels import kernel, part


@part
def axis_place(value: Any, inner: Any, per_gap: Any, half: int) -> int:
    """Place of the nearest level on one axis: 0 .. half - 1 on the positive side, half .. 2 half - 1 on the negative."""
    steps = int(max(np.float32(0.0), (abs(value) - inner) * per_gap + np.float32(0.5)))
    return min(steps, half - 1) + (half if value < 0 else 0)


@kernel(
    "void(complex64[:,::1], complex64[:,::1], int32[:,::1], int64, float32[::1], int64, float64[::1], float64[::1],"
    " int64)",
    fast=True,
)
def scatter(
    cells: Any, inverse: Any, carriers: Any, phase: int, axis: Any, half: int, error: Any, power: Any, stride: int
) -> None:
    """Error against nearest points, and power, per carrier, over every ``stride``-th symbol.

    cells     (n, K); inverse (1 or n, K) one over the channel; carriers (4, n_data) by phase of the pattern
    axis      innermost level, gap between levels of one sign; half: how many levels of one sign
    error     (K,) += |cell / H - point|^2;  power (K,) += |cell / H|^2
    """
    inner, gap = axis[0], axis[1]
    per_gap = np.float32(1.0) / gap
    for row in range(0, cells.shape[0], stride):
        which = (phase + row) % 4
        channel_row = row if inverse.shape[0] > 1 else 0
        for q in range(carriers.shape[1]):
            k = carriers[which, q]
            value = cells[row, k] * inverse[channel_row, k]
            away_r = abs(value.real) - inner - gap * np.float32(axis_place(value.real, inner, per_gap, half) % half)
            away_i = abs(value.imag) - inner - gap * np.float32(axis_place(value.imag, inner, per_gap, half) % half)
            error[k] += away_r * away_r + away_i * away_i
            power[k] += value.real * value.real + value.imag * value.imag


@kernel(
    "void(complex64[:,::1], complex64[:,::1], int32[:,::1], int64, float32[::1], int64, uint8[::1], uint8[:,::1])",
    fast=True,
)
def nearest(
    cells: Any, inverse: Any, carriers: Any, phase: int, axis: Any, half: int, words: Any, index: Any
) -> None:
    """Index of the constellation point nearest to every data cell. words (2 half,) bits of each place on an axis."""
    inner = axis[0]
    per_gap = np.float32(1.0) / axis[1]
    for row in range(cells.shape[0]):
        which = (phase + row) % 4
        channel_row = row if inverse.shape[0] > 1 else 0
        for q in range(carriers.shape[1]):
            k = carriers[which, q]
            value = cells[row, k] * inverse[channel_row, k]
            left = words[axis_place(value.real, inner, per_gap, half)]
            right = words[axis_place(value.imag, inner, per_gap, half)]
            index[row, q] = np.uint8(left * 2 + right)


@kernel("void(uint8[:,::1], int32[:,:,::1], int64, uint8[:,::1])")
def gather_words(coded: Any, order: Any, parity: int, index: Any) -> None:
    """Index of every data cell from the coded bits of its symbol. order (2, n_data, v)."""
    for row in range(index.shape[0]):
        places = order[(parity + row) % 2]
        for q in range(index.shape[1]):
            word = 0
            for bit in range(places.shape[1]):
                word = word * 2 + coded[row, places[q, bit]]
            index[row, q] = np.uint8(word)


@kernel(
    "void(complex64[:,::1], uint8[:,::1], int32[:,::1], int64, complex64[::1], complex128[::1], float64[::1])",
    fast=True,
)
def regress(cells: Any, index: Any, carriers: Any, phase: int, points: Any, cross: Any, power: Any) -> None:
    """cross (K,) += cell conj(point); power (K,) += |point|^2, over all data cells."""
    for row in range(cells.shape[0]):
        which = (phase + row) % 4
        for q in range(carriers.shape[1]):
            k = carriers[which, q]
            point = points[index[row, q]]
            cross[k] += cells[row, k] * np.conj(point)
            power[k] += point.real * point.real + point.imag * point.imag


@kernel(
    "int64(complex64[:,::1], complex64[:,::1], uint8[:,::1], int32[:,::1], int64, complex64[::1], float32[::1], int64,"
    " uint8[::1], uint8[::1], float64[::1], float64[::1], float64[::1], int64[:,::1], float32)",
    fast=True,
)
def judge(
    cells: Any, inverse: Any, index: Any, carriers: Any, phase: int, points: Any, axis: Any, half: int, words: Any, ones: Any,
    error_carrier: Any, error_symbol: Any, power_symbol: Any, density: Any, reach: float,
) -> int:
    """Error power of every data cell against the point it stood for; returns the bits in which nearest points differ.

    inverse  (1 or n, K); ones (256,) how many bits of a byte are set
    density  (m, m) += counts of equalised cells over +-reach on both axes, I along columns, of every fourth symbol
    """
    size = density.shape[0]
    scale = np.float32(size / (2.0 * reach))
    inner = axis[0]
    per_gap = np.float32(1.0) / axis[1]
    differ = 0
    for row in range(cells.shape[0]):
        which = (phase + row) % 4
        channel_row = row if inverse.shape[0] > 1 else 0
        total = 0.0
        sent = 0.0
        for q in range(carriers.shape[1]):
            k = carriers[which, q]
            value = cells[row, k] * inverse[channel_row, k]
            word = index[row, q]
            point = points[word]
            away = value - point
            error = away.real * away.real + away.imag * away.imag
            error_carrier[k] += error
            total += error
            sent += point.real * point.real + point.imag * point.imag
            left = words[axis_place(value.real, inner, per_gap, half)]
            seen = left * 2 + words[axis_place(value.imag, inner, per_gap, half)]
            differ += ones[seen ^ word]
        error_symbol[row] += total
        power_symbol[row] += sent
        if row % 4 == 0:
            for q in range(carriers.shape[1]):
                k = carriers[which, q]
                value = cells[row, k] * inverse[channel_row, k]
                column = int((value.real + reach) * scale)
                line = int((value.imag + reach) * scale)
                if 0 <= column < size and 0 <= line < size:
                    density[line, column] += 1
    return differ
