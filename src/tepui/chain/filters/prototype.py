"""The response of an all-pole band-pass prototype: what a filter of so many resonators can do, before there is metal.

Theory  1 + e^2 T_n(x)^2 (Chebyshev) or 1 + x^2n (maximally flat), x = (f/f0 - f0/f) f0/W; plus the mid-band loss of
        finite Q, 10/ln(10) sum(g) f0 / (W Qu), taken as the same at all frequencies.
Source  Chebyshev elements and S. B. Cohn 1959 for the loss, as G. Matthaei, L. Young and E. Jones 1964 have them, from
        memory.
Holds   Near the passband. What metal does far away (further passbands, leakage past 60 to 70 dB, common practice) is
        not in it.
"""

import math

import numpy as np
import numpy.typing as npt


def prototype_elements(poles: int, ripple_db: float) -> list[float]:
    """g_1 to g_n of the low-pass prototype.

    >>> [round(g, 4) for g in prototype_elements(3, 0.1)]
    [1.0316, 1.1474, 1.0316]
    """
    sines = [math.sin((2 * k - 1) * math.pi / (2 * poles)) for k in range(1, poles + 1)]
    if ripple_db == 0:
        return [2 * sine for sine in sines]
    beta = math.log(1 / math.tanh(ripple_db / 17.37177927613007))
    gamma = math.sinh(beta / (2 * poles))
    found = [2 * sines[0] / gamma]
    for k in range(2, poles + 1):
        b = gamma**2 + math.sin((k - 1) * math.pi / poles) ** 2
        found.append(4 * sines[k - 2] * sines[k - 1] / (b * found[-1]))
    return found


def prototype_loss_db(
    frequency_hz: npt.ArrayLike,
    *,
    centre_hz: float,
    width_hz: float,
    poles: int,
    ripple_db: float,
    unloaded_q: float | None,
) -> npt.NDArray[np.float64]:
    """Loss over frequency. (n,) [dB]"""
    f = np.maximum(np.asarray(frequency_hz, dtype=np.float64), 1.0)
    x = np.abs(f / centre_hz - centre_hz / f) * centre_hz / width_hz
    if ripple_db > 0:
        order = np.where(x <= 1, np.cos(poles * np.arccos(np.minimum(x, 1))), 0.0)
        order = np.where(x > 1, np.cosh(poles * np.arccosh(np.maximum(x, 1))), order)
        loss = 10 * np.log10(1 + (10 ** (ripple_db / 10) - 1) * order**2)
    else:
        loss = 10 * np.log10(1 + x ** (2 * poles))
    if unloaded_q is None:
        return np.asarray(loss)
    cohn = 10 / math.log(10) * sum(prototype_elements(poles, ripple_db)) * centre_hz / (width_hz * unloaded_q)
    return np.asarray(loss + cohn)
