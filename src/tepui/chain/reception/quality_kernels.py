"""Kernels that judge equalised cells: nearest points, sums for the channel, errors per carrier and per symbol.

Theory  Gray mapping by axis: the first bit of an axis is its sign; with four levels the second tells outer (0) from
        inner (1); with eight the third tells the middle two (1) from the outermost and innermost (0).
Source  [EN300744] clause 4.3.5; [TR101290] clause 9.18 for the error power.
Holds   Indices are y0 .. y(v-1), y0 the most significant, even ones on I.
"""

from typing import Any

import numpy as np

from tepui.ground.kernels import kernel


@kernel(
    "void(complex64[:,::1], complex64[:,::1], int32[:,::1], int64, float32[::1], int64, uint8[:,::1], float64[::1],"
    " float64[::1], int64)",
    fast=True,
)
def nearest(
    cells: Any, inverse: Any, carriers: Any, phase: int, limits: Any, per_axis: int, index: Any, error: Any, power: Any,
    stride: int,
) -> None:
    """Nearest constellation point of every data cell; error and power per carrier of every ``stride``-th symbol.

    cells     (n, K); inverse (1 or n, K) one over the channel; carriers (4, n_data) by phase of the pattern
    limits    midpoints between neighbouring levels, then the levels (per_axis - 1 + per_axis values)
    error     (K,) += |cell / H - point|^2;  power (K,) += |cell / H|^2
    """
    n_rows = cells.shape[0]
    n_data = carriers.shape[1]
    half = per_axis
    for row in range(n_rows):
        which = (phase + row) % 4
        channel_row = row if inverse.shape[0] > 1 else 0
        keep = row % stride == 0
        for q in range(n_data):
            k = carriers[which, q]
            value = cells[row, k] * inverse[channel_row, k]
            real = abs(value.real)
            imag = abs(value.imag)
            level_i = 0
            level_q = 0
            for step in range(half - 1):
                level_i += real > limits[step]
                level_q += imag > limits[step]
            word_i = 1 if value.real < 0 else 0
            word_q = 1 if value.imag < 0 else 0
            if half == 1:
                word = word_i * 2 + word_q
            elif half == 2:
                word = word_i * 8 + word_q * 4 + (1 - level_i) * 2 + (1 - level_q)
            else:
                second_i = 1 if level_i < 2 else 0
                second_q = 1 if level_q < 2 else 0
                third_i = 1 if (level_i == 1 or level_i == 2) else 0
                third_q = 1 if (level_q == 1 or level_q == 2) else 0
                word = word_i * 32 + word_q * 16 + second_i * 8 + second_q * 4 + third_i * 2 + third_q
            index[row, q] = np.uint8(word)
            if keep:
                away_r = real - limits[half - 1 + level_i]
                away_i = imag - limits[half - 1 + level_q]
                error[k] += away_r * away_r + away_i * away_i
                power[k] += real * real + imag * imag


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
    "void(complex64[:,::1], complex64[:,::1], uint8[:,::1], int32[:,::1], int64, complex64[::1], float64[::1],"
    " int64[::1], float64[::1], float64[::1], int64[:,::1], float32)",
    fast=True,
)
def judge(
    cells: Any, inverse: Any, index: Any, carriers: Any, phase: int, points: Any, error_carrier: Any,
    count_carrier: Any, error_symbol: Any, power_symbol: Any, density: Any, reach: float,
) -> None:
    """Error power of every data cell against the point it stood for, per carrier and per symbol.

    inverse  (1 or n, K); density (m, m) += counts of equalised cells over +-reach on both axes, I along columns
    """
    size = density.shape[0]
    scale = np.float32(size / (2.0 * reach))
    for row in range(cells.shape[0]):
        which = (phase + row) % 4
        channel_row = row if inverse.shape[0] > 1 else 0
        total = 0.0
        sent = 0.0
        for q in range(carriers.shape[1]):
            k = carriers[which, q]
            value = cells[row, k] * inverse[channel_row, k]
            point = points[index[row, q]]
            away = value - point
            error = away.real * away.real + away.imag * away.imag
            error_carrier[k] += error
            count_carrier[k] += 1
            total += error
            sent += point.real * point.real + point.imag * point.imag
            column = int((value.real + reach) * scale)
            line = int((value.imag + reach) * scale)
            if 0 <= column < size and 0 <= line < size:
                density[line, column] += 1
        error_symbol[row] += total
        power_symbol[row] += sent


@kernel("int64(uint8[:,::1], uint8[:,::1], int64)")
def bit_differences(left: Any, right: Any, shift: int) -> int:
    """Bits that differ between two arrays of indices, after dropping the ``shift`` lowest bits of each."""
    total = 0
    for row in range(left.shape[0]):
        for q in range(left.shape[1]):
            word = np.uint8((left[row, q] ^ right[row, q]) >> shift)
            word = word - ((word >> 1) & 0x55)
            word = (word & 0x33) + ((word >> 2) & 0x33)
            total += (word + (word >> 4)) & 0x0F
    return total
