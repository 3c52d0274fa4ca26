"""Direct simulation for the tests of closed forms: the modulated waveform through a mask filter and an amplifier."""

import numpy as np
import scipy.fft

from tepui.chain.waveform.transmit import Transmitter

FACTOR = 4
UNFILLED = 8  # first symbols, while the interleavers still hold their empty beginning: not random


def filtered_waveform(mode, *, n_symbols, seed):
    """Random packets modulated, at four times the elementary rate, nothing beyond 12 kHz outside the carriers."""
    transmitter = Transmitter(mode)
    rng = np.random.default_rng(seed)
    packets = rng.integers(0, 256, (transmitter.packets_needed(n_symbols + UNFILLED), 188), dtype=np.uint8)
    packets[:, 0] = 0x47
    samples = transmitter.push(packets)[UNFILLED * mode.n_symbol : (UNFILLED + n_symbols) * mode.n_symbol]
    n = len(samples)
    spectrum = scipy.fft.fft(samples.astype(np.complex128))
    frequency = scipy.fft.fftfreq(n, 1 / mode.sample_rate_hz)
    spectrum[np.abs(frequency) > mode.occupied_width_hz / 2 + 12e3] = 0
    wide = np.zeros(n * FACTOR, np.complex128)
    wide[: n // 2], wide[len(wide) - n // 2 :] = spectrum[: n // 2], spectrum[n - n // 2 :]
    signal = scipy.fft.ifft(wide) * FACTOR
    return signal / np.sqrt(np.mean(np.abs(signal) ** 2))


def simulated_points_db(waveform, mode, amplifier, drive_w):
    """Level 300, 500 and 700 kHz outside over the mean in band, both sides' mean: a parabola through the slopes."""
    output = amplifier(waveform * np.sqrt(drive_w))
    step_hz = mode.carrier_spacing_hz
    n = round(FACTOR * mode.sample_rate_hz / step_hz)
    weights = np.hanning(n)
    total = np.zeros(n)
    for at in range(0, len(output) - n + 1, n // 2):
        total += np.abs(scipy.fft.fft(output[at : at + n] * weights)) ** 2
    frequency = scipy.fft.fftfreq(n, 1 / (FACTOR * mode.sample_rate_hz))
    away = np.abs(frequency) - mode.occupied_width_hz / 2
    inside = total[away < -5 * step_hz].mean()
    near = (away > 200e3) & (away < 800e3)
    bands = np.linspace(200e3, 800e3, 25)
    centre = (bands[1:] + bands[:-1]) / 2
    index = np.digitize(away[near], bands) - 1
    level = [10 * np.log10(total[near][index == k].mean() / inside) for k in range(24)]
    return np.polyval(np.polyfit(centre, level, 2), [300e3, 500e3, 700e3])
