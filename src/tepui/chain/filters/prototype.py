"""The response of an all-pole band-pass prototype: what a filter of so many resonators can do, before there is metal.

Theory  1 + e^2 T_n(x)^2 (Chebyshev) or 1 + x^2n (maximally flat), x = (f/f0 - f0/f) f0/W; plus the mid-band loss of
        finite Q, taken as the same at all frequencies.
Source  ladder.py, with its sources.
Holds   Near the passband. What metal does far away (further passbands, leakage past 60 to 70 dB, common practice) is
        not in it.
"""

import numpy as np
import numpy.typing as npt

from tepui.chain.filters.ladder import ideal_loss_db, ladder_values, midband_loss_db


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
    fraction = width_hz / centre_hz
    loss = ideal_loss_db(f / centre_hz - centre_hz / f, n_poles=poles, ripple_db=ripple_db, fraction=fraction)
    if unloaded_q is None:
        return loss
    g = ladder_values(n_poles=poles, ripple_db=ripple_db)
    return loss + midband_loss_db(g, fraction=fraction, unloaded_q=unloaded_q)
