"""Carriers to samples: one inverse transform a symbol, and its tail copied before it.

Theory  x[n] = s sum over k of c[k] exp(2 pi i (k - (K-1)/2) n / N); the guard interval is the last g N samples,
        sent first. s makes the mean power 1 over all carriers, boosted pilots included.
Source  [EN300744] V1.6.2 clause 4.4.
Holds   One sample per elementary period T, the channel centre at 0 Hz. No windowing between symbols. The mean is 1
        for random data; a run of null packets, alike every eight, departs from it by up to 0.1 dB.
"""

import numpy as np
import numpy.typing as npt
import scipy.fft

from tepui.chain.waveform.framing import mean_symbol_power
from tepui.signals.dvbt.mode import Mode

Samples = npt.NDArray[np.complex64]
_ROWS = 16  # rows are transformed in whole groups, so that each sample's rounding never depends on its neighbours


def modulate(carriers: Samples, *, mode: Mode) -> Samples:
    """Samples of whole symbols, guard interval first.

    carriers  (n_symbols, K), a data cell's mean power 1
    returns   (n_symbols, n_symbol), mean power 1: a data cell then carries 1 / ``mean_symbol_power`` of it
    """
    n_symbols, n_carriers = carriers.shape
    half, n_fft, n_guard = (n_carriers - 1) // 2, mode.n_fft, mode.n_guard
    scale = np.float32(n_fft / np.sqrt(mean_symbol_power(mode)))
    spectrum = np.zeros((_ROWS, n_fft), np.complex64)
    samples = np.empty((n_symbols, n_guard + n_fft), np.complex64)
    for start in range(0, n_symbols, _ROWS):
        group = carriers[start : start + _ROWS]
        np.multiply(group[:, half:], scale, out=spectrum[: len(group), : half + 1])
        np.multiply(group[:, :half], scale, out=spectrum[: len(group), n_fft - half :])
        useful = scipy.fft.ifft(spectrum, axis=1)[: len(group)]
        samples[start : start + _ROWS, n_guard:] = useful
        samples[start : start + _ROWS, :n_guard] = useful[:, n_fft - n_guard :]
    return samples
