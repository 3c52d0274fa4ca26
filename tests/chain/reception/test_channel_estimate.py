"""Channel interpolation and windows against channels that are known exactly."""

import numpy as np
import pytest

from tepui.chain.reception.channel import averaging_window, fill, interpolator
from tepui.chain.reception.impulse import arcs, place_window, response_of_grid

N_FFT, CARRIERS = 2048, 1705


def _channel(delays, gains, carriers):
    return sum(g * np.exp(-2j * np.pi * carriers * d / N_FFT) for d, g in zip(delays, gains, strict=True))


@pytest.mark.parametrize("spread", [10.0, 128.0, 400.0])
def test_law_interpolation_between_pilots(spread):
    rng = np.random.default_rng(1)
    carriers = np.arange(CARRIERS) - (CARRIERS - 1) // 2
    delays = rng.uniform(-spread / 2, spread / 2, 40)
    gains = (rng.normal(size=40) + 1j * rng.normal(size=40)) / np.sqrt(80)
    exact = _channel(delays, gains, carriers)
    found = interpolator(n_fft=N_FFT, delay_spread=spread, snr=1e4)(exact[None, ::3])[0]
    error = np.mean(np.abs(found - exact) ** 2) / np.mean(np.abs(exact) ** 2)
    assert 10 * np.log10(error) < -33


def test_law_interpolation_averages_noise_in_proportion_to_the_spread():
    rng = np.random.default_rng(2)
    carriers = np.arange(CARRIERS)
    exact = np.ones(CARRIERS)
    noisy = exact[::3] + 0.1 * (rng.normal(size=(200, 569)) + 1j * rng.normal(size=(200, 569))) / np.sqrt(2)
    narrow = interpolator(n_fft=N_FFT, delay_spread=20.0, snr=100.0)(noisy)
    wide = interpolator(n_fft=N_FFT, delay_spread=400.0, snr=100.0)(noisy)
    inner = slice(100, -100)
    assert carriers.size == narrow.shape[1]
    assert np.var(narrow[:, inner]) < 0.1 * 0.01
    assert np.var(narrow[:, inner]) < 0.3 * np.var(wide[:, inner])


def test_law_a_place_hit_by_a_line_is_filled_from_its_neighbours():
    carriers = 3 * (np.arange(569) - 284)
    exact = _channel([-20.0, 15.0], [1.0, 0.5j], carriers)[None, :]
    good = np.ones(569, bool)
    good[[0, 100, 101, 568]] = False
    broken = exact.copy()
    broken[:, ~good] = 100.0
    filled = fill(broken, good, n_fft=N_FFT, delay_spread=50.0, snr=1e5)
    assert np.abs(filled - exact)[:, 100:102].max() < 0.02
    assert np.abs(filled - exact).max() < 0.2
    assert np.array_equal(filled[:, good], exact[:, good])


def test_law_the_window_stands_where_no_path_disturbs():
    carriers = 3 * (np.arange(569) - 284)
    response = response_of_grid(_channel([-40.0, 60.0], [0.5, 1.0], carriers), n_fft=N_FFT)
    first, last = arcs(response)[0]
    assert first == pytest.approx(-40, abs=4)
    assert last == pytest.approx(60, abs=4)
    window, centre = place_window(response, arc=(first, last), n_guard=128, centre=0.0)
    assert last <= window <= first + 128
    assert centre == pytest.approx(10, abs=4)


def test_law_far_paths_leave_two_orders_possible():
    carriers = 3 * (np.arange(569) - 284)
    response = response_of_grid(_channel([0.0, 480.0], [1.0, 0.7], carriers), n_fft=N_FFT)
    lengths = [last - first for first, last in arcs(response)]
    assert any(abs(length - 480) < 8 for length in lengths)
    assert any(abs(length - (N_FFT / 3 - 480)) < 8 for length in lengths)


def test_limit_windows_for_a_channel_that_stands_and_one_that_moves():
    assert averaging_window(look_noise=1.0, moved=[0.0] * 6, n_symbols=256) == 256
    assert averaging_window(look_noise=1.0, moved=[0.0, 0.1, 0.4, 1.6, 6.0, 20.0], n_symbols=256) in (32, 64)
    assert averaging_window(look_noise=0.01, moved=[0.01, 0.5, 1.0, 2.0, 2.0, 2.0], n_symbols=256) == 0
