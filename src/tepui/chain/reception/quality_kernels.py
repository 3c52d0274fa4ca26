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
    """Place of the nearest level on one axis: 0 .. half - 1 if positive, from half on if negative."""
    steps = int(max(np.float32(0.0), (abs(value) - inner) * per_gap + np.float32(0.5)))
    return min(steps, half - 1) + (half if value < 0 else 0)


@kernel(
    "void(complex64[:,::1], complex64[:,::1], float32[:,::1], int64, float32[::1], int64, float64[::1], float64[::1],"
    " int64)",
    fast=True,
)
def scatter(
    cells: Any, inverse: Any, data: Any, phase: int, axis: Any, half: int, error: Any, power: Any, stride: int
) -> None:
    """Error against nearest points, and power, per carrier, over every ``stride``-th symbol.

    cells     (n, K); inverse (1 or n, K) one over the channel; data (4, K) 1 where a carrier is data in a phase, else 0
    axis      innermost level, gap between levels of one sign; half: how many levels of one sign
    error     (K,) += |cell / H - point|^2;  power (K,) += |cell / H|^2
    """
    inner, gap = axis[0], axis[1]
    per_gap = np.float32(1.0) / gap
    last = np.float32(half - 1)
    zero = np.float32(0.0)
    rounding = np.float32(0.5)
    for row in range(0, cells.shape[0], stride):
        which = (phase + row) % 4
        channel_row = row if inverse.shape[0] > 1 else 0
        for k in range(cells.shape[1]):
            value = cells[row, k] * inverse[channel_row, k]
            real = abs(value.real)
            imag = abs(value.imag)
            steps_r = np.float32(int(min(last, max(zero, (real - inner) * per_gap + rounding))))
            steps_i = np.float32(int(min(last, max(zero, (imag - inner) * per_gap + rounding))))
            away_r = real - inner - gap * steps_r
            away_i = imag - inner - gap * steps_i
            error[k] += data[which, k] * (away_r * away_r + away_i * away_i)
            power[k] += data[which, k] * (real * real + imag * imag)


@kernel(
    "void(complex64[:,::1], complex64[:,::1], int32[:,::1], int64, float32[::1], int64, uint8[::1], uint8[:,::1])",
    fast=True,
)
def nearest(cells: Any, inverse: Any, carriers: Any, phase: int, axis: Any, half: int, words: Any, index: Any) -> None:
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


@part
def spread_points(index: Any, places: Any, points: Any, row: Any) -> None:
    """Points sent, on their carriers; zero on all others."""
    for k in range(row.shape[0]):
        row[k] = 0.0
    for q in range(places.shape[0]):
        row[places[q]] = points[index[q]]


@kernel(
    "void(complex64[:,::1], uint8[:,::1], int32[:,::1], int64, complex64[::1], complex128[::1], float64[::1])",
    fast=True,
)
def regress(cells: Any, index: Any, carriers: Any, phase: int, points: Any, cross: Any, power: Any) -> None:
    """cross (K,) += cell conj(point); power (K,) += |point|^2, over all data cells."""
    sent = np.empty(cells.shape[1], np.complex64)
    for row in range(cells.shape[0]):
        spread_points(index[row], carriers[(phase + row) % 4], points, sent)
        for k in range(cells.shape[1]):
            cross[k] += cells[row, k] * np.conj(sent[k])
            power[k] += sent[k].real * sent[k].real + sent[k].imag * sent[k].imag


@kernel(
    "int64(complex64[:,::1], complex64[:,::1], uint8[:,::1], int32[:,::1], float32[:,::1], int64, complex64[::1],"
    " float32[::1], int64, uint8[::1], uint8[::1], float64[::1], float64[::1], float64[::1], int64[:,::1], float32)",
    fast=True,
)
def judge(
    cells: Any,
    inverse: Any,
    index: Any,
    carriers: Any,
    data: Any,
    phase: int,
    points: Any,
    axis: Any,
    half: int,
    words: Any,
    ones: Any,
    error_carrier: Any,
    error_symbol: Any,
    power_symbol: Any,
    density: Any,
    reach: float,
) -> int:
    """Error power of every data cell against the point it stood for; returns the bits in which nearest points differ.

    inverse  (1 or n, K); data (4, K) as in ``scatter``; ones (256,) how many bits of a byte are set
    density  (m, m) += counts of equalised cells over +-reach on both axes, I along columns, of every fourth symbol
    A cell is looked at bit by bit only where its error reaches the nearest decision limit.
    """
    size = density.shape[0]
    scale = np.float32(size / (2.0 * reach))
    inner = axis[0]
    per_gap = np.float32(1.0) / axis[1]
    nearest_limit = min(inner, np.float32(0.5) * axis[1])
    near = nearest_limit * nearest_limit * np.float32(0.9999)
    n_carriers = cells.shape[1]
    sent = np.empty(n_carriers, np.complex64)
    equal = np.empty(n_carriers, np.complex64)
    away = np.empty(n_carriers, np.float32)
    differ = 0
    for row in range(cells.shape[0]):
        which = (phase + row) % 4
        channel_row = row if inverse.shape[0] > 1 else 0
        spread_points(index[row], carriers[which], points, sent)
        total = np.float32(0.0)
        power = np.float32(0.0)
        for k in range(n_carriers):
            value = cells[row, k] * inverse[channel_row, k]
            equal[k] = value
            left = value - sent[k]
            error = data[which, k] * (left.real * left.real + left.imag * left.imag)
            away[k] = error
            total += error
            power += sent[k].real * sent[k].real + sent[k].imag * sent[k].imag
        for k in range(n_carriers):
            error_carrier[k] += away[k]
        error_symbol[row] += total
        power_symbol[row] += power
        for q in range(carriers.shape[1]):
            k = carriers[which, q]
            if away[k] >= near:
                value = equal[k]
                left_word = words[axis_place(value.real, inner, per_gap, half)]
                seen = left_word * 2 + words[axis_place(value.imag, inner, per_gap, half)]
                differ += ones[seen ^ index[row, q]]
        if row % 4 == 0:
            for q in range(carriers.shape[1]):
                value = equal[carriers[which, q]]
                column = int((value.real + reach) * scale)
                line = int((value.imag + reach) * scale)
                if 0 <= column < size and 0 <= line < size:
                    density[line, column] += 1
    return differ
