"""Kernel that compares cell errors with what was sent on the mirrored carrier.

Theory  Unequal axes put b X*(-k) beside X(k): the sum of error times X(-k), weighed, over that of |X(-k)|^2 is b.
Source  as axes.py.
Holds   Carrier K - 1 - k is the mirror of k about the centre of the channel.
"""

from typing import Any

import numpy as np

from tepui.chain.reception.quality_kernels import spread_points
from tepui.ground.kernels import kernel


@kernel(
    "void(complex64[:,::1], complex64[:,::1], float32[:,::1], uint8[:,::1], int32[:,::1], int64, complex64[::1],"
    " complex128[::1], float64[::1])",
    fast=True,
)
def image_sums(
    cells: Any, inverse: Any, weight: Any, index: Any, carriers: Any, phase: int, points: Any, image: Any, power: Any
) -> None:
    """Per symbol, over pairs of data cells: sums of w (cell / H - X(k)) X(-k) and of w |X(-k)|^2.

    inverse, weight  (1 or n, K); index (n, n_data); carriers (4, n_data); image, power (n,) are written
    """
    n_carriers = cells.shape[1]
    sent = np.empty(n_carriers, np.complex64)
    for row in range(cells.shape[0]):
        places = carriers[(phase + row) % 4]
        channel_row = row if inverse.shape[0] > 1 else 0
        weight_row = row if weight.shape[0] > 1 else 0
        spread_points(index[row], places, points, sent)
        total_r = np.float32(0.0)
        total_i = np.float32(0.0)
        squares = np.float32(0.0)
        for q in range(places.shape[0]):
            k = places[q]
            mirror = sent[n_carriers - 1 - k]
            left = cells[row, k] * inverse[channel_row, k] - sent[k]
            w = weight[weight_row, k]
            total_r += w * (left.real * mirror.real - left.imag * mirror.imag)
            total_i += w * (left.real * mirror.imag + left.imag * mirror.real)
            squares += w * (mirror.real * mirror.real + mirror.imag * mirror.imag)
        image[row] = complex(total_r, total_i)
        power[row] = squares
