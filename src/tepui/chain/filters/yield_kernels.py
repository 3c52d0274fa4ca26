"""Many detuned filters at once: worst transmission and reflection in band of every one.

Theory  The chain matrix is tridiagonal: its determinant and first minor follow from P_i = a_i P_(i+1) + k_i^2 P_(i+2),
        |S21|^2 = 4 prod k^2 / (q1 qn |P_1|^2), S11 = 1 - 2 P_2 / (q1 P_1), all in units of the relative width.
Source  continuants of a tridiagonal matrix; checked against chain/filters/resonators.py.
Holds   Up to 9 resonators; single precision, good to 0.001 dB.
"""

import numpy as np
import numpy.typing as npt

from tepui.ground.kernels import kernel

Singles = npt.NDArray[np.float32]


@kernel("void(float32[:, ::1], float32[:, ::1], float32[:, ::1], float32, float32[::1], float32[:, ::1])")
def worst_in_band(
    shift: Singles, coupling: Singles, load: Singles, loss: np.float32, place: Singles, out: Singles
) -> None:
    """Least |S21|^2 and greatest |S11|^2 over the places, trial by trial.

    shift (T, n) of every resonator, coupling (T, n - 1), load (T, 2) = 1 / q, all over w;  loss = 1 / (Qu w)
    place (F,) u = (f / fc - fc / f) / w;  out (T, 2), written
    """
    trials, n = shift.shape
    count = place.shape[0]
    real = np.zeros((3, count), np.float32)
    imag = np.zeros((3, count), np.float32)
    for t in range(trials):
        product = np.float32(4) * load[t, 0] * load[t, 1]
        own = loss + load[t, 1] + (load[t, 0] if n == 1 else np.float32(0))
        for f in range(count):
            real[0, f] = own
            imag[0, f] = place[f] - 2 * shift[t, n - 1]
            real[1, f] = 1
            imag[1, f] = 0
        now, before, spare = 0, 1, 2
        for i in range(n - 2, -1, -1):
            squared = coupling[t, i] * coupling[t, i]
            product *= squared
            own = loss + (load[t, 0] if i == 0 else np.float32(0))
            offset = 2 * shift[t, i]
            a, b, c, d = real[now], imag[now], real[before], imag[before]
            e, g = real[spare], imag[spare]
            for f in range(count):
                x = place[f] - offset
                e[f] = own * a[f] - x * b[f] + squared * c[f]
                g[f] = own * b[f] + x * a[f] + squared * d[f]
            now, before, spare = spare, now, before
        a, b, c, d = real[now], imag[now], real[before], imag[before]
        least = np.float32(1e30)
        most = np.float32(0)
        twice = 2 * load[t, 0]
        for f in range(count):
            size = a[f] * a[f] + b[f] * b[f]
            passed = product / size
            p = a[f] - twice * c[f]
            q = b[f] - twice * d[f]
            returned = (p * p + q * q) / size
            least = min(least, passed)
            most = max(most, returned)
        out[t, 0] = least
        out[t, 1] = most
