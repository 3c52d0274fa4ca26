"""Detectors of a display on noise, and on a line in noise."""

import math

import numpy as np
import pytest
from scipy import integrate, signal, stats

from tepui.signals.detected import LINEAR_DB, LOG_DB, SCATTER_DB, line_alone_db, peak_offset_db


# Common practice of spectrum measurements (figures from memory): 2.51 dB, 1.05 dB, a scatter of 5.57 dB.
def test_published_offsets_and_scatter():
    assert pytest.approx(-2.51, abs=0.005) == LOG_DB
    assert pytest.approx(-1.05, abs=0.005) == LINEAR_DB
    assert SCATTER_DB["log"] == pytest.approx(5.57, abs=0.005)
    assert SCATTER_DB["power"] == pytest.approx(4.34, abs=0.005)


# scipy.stats: the mean envelope of a Rice density and, by quadrature, the mean logarithm of a non-central chi squared.
@pytest.mark.parametrize("ratio_db", [-6.0, 0.0, 3.0, 10.0, 25.0])
def test_tool_a_line_in_noise_is_found_again(ratio_db):
    ratio = 10 ** (ratio_db / 10)
    linear_db = 20 * math.log10(stats.rice(math.sqrt(2 * ratio)).mean() / math.sqrt(2))
    power = stats.ncx2(2, 2 * ratio)
    log_db, _ = integrate.quad(lambda x: 10 * math.log10(x / 2) * power.pdf(x), 0, 2 * ratio + 200, limit=400,
                               points=[2 * ratio])  # fmt: skip
    shown = {"power": 10 * math.log10(1 + ratio), "linear": linear_db, "log": log_db}
    beside = {"power": 0.0, "linear": LINEAR_DB, "log": LOG_DB}
    for detector, level in shown.items():
        found = line_alone_db(shown_db=level - 40, beside_db=beside[detector] - 40, detector=detector)
        assert found == pytest.approx(ratio_db - 40, abs=0.02), detector


def test_limit_a_line_that_does_not_stand_out_has_no_level_and_a_clear_one_its_own():
    assert line_alone_db(shown_db=-50, beside_db=-50, detector="log") is None
    assert line_alone_db(shown_db=-50, beside_db=-49, detector="power") is None
    assert line_alone_db(shown_db=-20, beside_db=-95, detector="linear") == -20


# Noise through a Gaussian filter made with scipy.signal, and the highest value of each stretch of it.
@pytest.mark.parametrize("resolutions", [3.0, 30.0, 300.0])
def test_tool_peaks_of_filtered_noise(resolutions):
    bandwidth, rng = 0.05, np.random.default_rng(4)
    time = np.arange(-60, 61)
    taps = np.exp(-2 * np.pi * (bandwidth * time) ** 2)  # |H|^2 = exp(-pi f^2 / B^2)
    noise = rng.standard_normal(400_000) + 1j * rng.standard_normal(400_000)
    power = np.abs(signal.fftconvolve(noise, taps, mode="same")) ** 2
    length = round(resolutions / bandwidth)
    stretches = power[: len(power) // length * length].reshape(-1, length).max(axis=1) / power.mean()
    level = 10 * np.log10(stretches)
    mean, scatter = peak_offset_db(resolutions=resolutions)
    assert level.mean() == pytest.approx(mean, abs=3 * scatter / math.sqrt(len(level)) + 0.1)
    assert level.std() == pytest.approx(scatter, rel=0.25)


# Mean of the highest of n exponential values is 1 + 1/2 + ... + 1/n; a peak held over sweeps that are each one value.
def test_law_held_sweeps_count_as_harmonic_numbers():
    for times in (1, 10, 1000):
        mean, scatter = peak_offset_db(resolutions=0.0, times=times)
        euler = sum(1 / n for n in range(1, times + 1))
        assert mean < 10 * math.log10(euler) < mean + 0.12 * scatter**2  # a mean of decibels lies below
    assert peak_offset_db(resolutions=0.0)[0] == pytest.approx(LOG_DB, abs=0.01)
