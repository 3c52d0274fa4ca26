"""What pilots make of the band: against a long average of a signal put together here, and an independent modulator."""

from fractions import Fraction

import numpy as np
import pytest
from scipy.signal import welch

from tepui.signals.dvbt.carriers import pilot_carriers, pilot_values
from tepui.signals.dvbt.pilot_rise import pilot_rise_db, pilot_shape, size_of_channel

K, N_FFT = 1705, 2048
CHANNEL = {"occupied_width_hz": K - 1.0, "carrier_spacing_hz": 1.0}


def long_average(guard, *, symbols=1200):
    """Offset in carriers and density over its mean of a 2K signal with random QPSK data, by scipy."""
    rng = np.random.default_rng(3)
    data = (rng.choice([-1, 1], (symbols, K)) + 1j * rng.choice([-1, 1], (symbols, K))) / np.sqrt(2)
    for phase in range(4):
        at = pilot_carriers(N_FFT, phase)
        data[phase::4, at] = pilot_values(N_FFT)[at]
    bins = np.zeros((symbols, N_FFT), complex)
    bins[:, (np.arange(K) - K // 2) % N_FFT] = data
    useful = np.fft.ifft(bins, axis=1)
    samples = np.concatenate([useful[:, N_FFT - int(N_FFT * guard) :], useful], axis=1).ravel()
    n = round(1.5 * N_FFT / 10)
    frequency, density = welch(samples, N_FFT, "hann", n, n // 2, nfft=2048, return_onesided=False, detrend=False)
    inside = np.abs(frequency) < K / 2 - 15
    return frequency[inside], density[inside] / density[inside].mean()


# scipy's Welch method through a Hann window of ten carriers' noise bandwidth; 1200 symbols of [EN300744] 4.5.
@pytest.mark.parametrize("denominator", [8, 32])
def test_tool_the_shape_is_that_of_a_long_average(denominator):
    guard = Fraction(1, denominator)
    offset, seen = long_average(guard)
    fits = {
        one: float(np.std(seen - pilot_shape(offset, **CHANNEL, resolution_bandwidth_hz=10.0, guard=one)))
        for one in (Fraction(1, other) for other in (4, 8, 16, 32))
    }
    assert min(fits, key=fits.get) == guard
    shape = pilot_shape(offset, **CHANNEL, resolution_bandwidth_hz=10.0, guard=guard) - 1
    assert (seen - 1) @ shape / (shape @ shape) == pytest.approx(1, abs=0.06)
    assert 10 * np.log10(seen.max()) == pytest.approx(pilot_rise_db(N_FFT, guard), abs=0.06)


# Truth files of a4_drive and a5, guard 1/8: the highest value through 39 kHz stands 0.340 to 0.345 dB over the mean.
def test_tool_pilots_lift_the_highest_value_in_band():
    assert pilot_rise_db(2048, Fraction(1, 8)) == pytest.approx(0.343, abs=0.03)


# By hand: neighbours meet in phase within the guard in one mode and out of phase in another, some tenth of the rise.
@pytest.mark.parametrize("n_fft", [2048, 4096, 8192])
def test_limit_the_guard_moves_the_rise_by_a_tenth_or_two(n_fft):
    rises = [pilot_rise_db(n_fft, Fraction(1, other)) for other in (4, 8, 16, 32)]
    assert 0.03 < np.ptp(rises) < 0.12 if n_fft == 2048 else np.ptp(rises) < 0.1
    assert min(rises) > 0.3
    assert max(rises) < 0.5


def test_published_numbers_of_carriers_tell_the_size():  # [EN300744] 4.4: 1705 and 6817 carriers
    assert size_of_channel(occupied_width_hz=6656250.0, carrier_spacing_hz=3906.25) == 2048
    assert size_of_channel(occupied_width_hz=6816 * 1e3, carrier_spacing_hz=1e3) == 8192
    assert size_of_channel(occupied_width_hz=6e6, carrier_spacing_hz=3906.25) is None
    other = pilot_shape(
        np.zeros(3), occupied_width_hz=6e6, carrier_spacing_hz=3906.25, resolution_bandwidth_hz=4e4, guard=None
    )
    assert (other == 1).all()


# The highest values of the four guards stand at other carriers: the mean of the shapes has a lower one than any.
@pytest.mark.parametrize("n_fft", [2048, 8192])
def test_law_the_rise_of_an_unknown_guard_lies_among_those_of_all(n_fft):
    rises = [pilot_rise_db(n_fft, Fraction(1, other)) for other in (4, 8, 16, 32)]
    assert min(rises) < pilot_rise_db(n_fft) < max(rises)
