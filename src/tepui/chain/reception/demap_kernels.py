"""Kernel of the soft demapper: equalised cells to signed bytes in the order the inner coder sent them.

Theory  With z = Y conj(H) / sigma^2, a = |H|^2 / sigma^2 and levels d, 3d, .. on an axis the max-log ratios are sums of
        clipped straight lines, free of divisions; see demap.py.
Source  as demap.py.
Holds   Levels evenly spaced; for high-priority bits of a hierarchical signal the innermost level and the spacing differ.
"""

from typing import Any

import numpy as np

from tepui.ground.kernels import kernel


@kernel(
    "void(complex64[:,::1], complex64[:,::1], float32[::1], int32[:,::1], int32[:,:,::1], int64, int64, int64, float32,"
    " float32, float32, int8[:,::1])",
    fast=True,
)
def demap(
    cells: Any, channel: Any, weight: Any, carriers: Any, order: Any, phase: int, parity: int, per_axis: int,
    inner: float, gap: float, gain: float, out: Any,
) -> None:
    """out[row, order[parity, q, e]] = soft value of bit e of data cell q.

    inner  innermost level, gap  distance between levels of one sign; gain  soft steps per unit of log ratio
    The number of bits a cell is order.shape[2]: two (signs only), four or six.
    """
    n_data = carriers.shape[1]
    width = order.shape[2]
    top = np.float32(9.0)
    four = np.float32(4.0) * gain
    half = np.float32(0.5)
    for row in range(cells.shape[0]):
        which = (phase + row) % 4
        place = order[(parity + row) % 2]
        channel_row = row if channel.shape[0] > 1 else 0
        for q in range(n_data):
            k = carriers[which, q]
            h = channel[channel_row, k]
            y = cells[row, k]
            w = weight[k] * four * inner
            a = (h.real * h.real + h.imag * h.imag) * w * inner
            for axis in range(2):
                if axis == 0:
                    x = (y.real * h.real + y.imag * h.imag) * w
                else:
                    x = (y.imag * h.real - y.real * h.imag) * w
                m = abs(x)
                # the sign: slopes add up as farther levels of either sign come into play
                ratio = np.float32(gap / inner)
                total = m
                if per_axis > 1:
                    step = ratio * half * a
                    total = m
                    bound = (np.float32(1.0) + ratio * half) * a
                    for _ in range(per_axis - 1):
                        total += ratio * half * max(np.float32(0.0), m - bound)
                        bound += step
                        bound += step
                value = total if x >= 0 else -total
                value = min(top, max(-top, value))
                out[row, place[q, axis]] = np.int8(np.floor(value + half))
                if width == 4:
                    value = min(top, max(-top, m - np.float32(2.0) * a))
                    out[row, place[q, 2 + axis]] = np.int8(np.floor(value + half))
                elif width == 6:
                    two = np.float32(2.0) * a
                    value = m - two - two + min(np.float32(0.0), m - two) + max(np.float32(0.0), m - two - two - two)
                    value = min(top, max(-top, value))
                    out[row, place[q, 2 + axis]] = np.int8(np.floor(value + half))
                    value = abs(m - two - two) - two
                    value = min(top, max(-top, value))
                    out[row, place[q, 4 + axis]] = np.int8(np.floor(value + half))
