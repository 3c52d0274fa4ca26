"""The two inner loops of the averaged spectrum: window many segments, add up many squared magnitudes.

Theory  Both run over interleaved real and imaginary parts, so that one contiguous loop serves; sums of four segments
        are formed in single precision, sums of those in double.
Source  common practice (no published source).
Holds   Batches that fit the second-level cache; the caller keeps to that.
"""

import numpy as np
import numpy.typing as npt

from tepui.ground.kernels import kernel

Singles = npt.NDArray[np.float32]


@kernel("void(Array(float32, 1, 'C', readonly=True), float32[::1], int64, float32[:, ::1])")
def window_segments(pairs: Singles, window: Singles, hop: int, out: Singles) -> None:
    """Cut segments out of one stretch of samples and weight them.

    pairs   (2 n,) interleaved samples;  window (2 n_fft,) every weight twice;  hop in floats, twice the samples
    out     (n_segments, 2 n_fft), written
    """
    n_segments, n = out.shape
    for row in range(n_segments):
        part = pairs[row * hop : row * hop + n]
        into = out[row]
        for i in range(n):
            into[i] = part[i] * window[i]


@kernel("void(float32[:, ::1], float64[::1])")
def add_power(pairs: Singles, total: npt.NDArray[np.float64]) -> None:
    """Add |X|^2 of every row to ``total``.

    pairs   (n_segments, 2 n_fft) interleaved spectra;  total (n_fft,), added to
    """
    n_segments = pairs.shape[0]
    n = total.shape[0]
    row = 0
    while row + 4 <= n_segments:
        a, b, c, d = pairs[row], pairs[row + 1], pairs[row + 2], pairs[row + 3]
        for i in range(n):
            j = 2 * i
            first = (a[j] * a[j] + a[j + 1] * a[j + 1]) + (b[j] * b[j] + b[j + 1] * b[j + 1])
            second = (c[j] * c[j] + c[j + 1] * c[j + 1]) + (d[j] * d[j] + d[j + 1] * d[j + 1])
            total[i] += first + second
        row += 4
    while row < n_segments:
        a = pairs[row]
        for i in range(n):
            total[i] += a[2 * i] * a[2 * i] + a[2 * i + 1] * a[2 * i + 1]
        row += 1
