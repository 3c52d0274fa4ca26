"""Resolution filters of displays: noise bandwidth, skirts, lines between two points."""

import math

import numpy as np
import pytest
from scipy import integrate, signal

from tepui.ground.errors import ChoiceError, RangeError
from tepui.signals.resolution import FILTERS, noise_factor, resolution


# Gaussian 1.0645 and four poles tuned alike 1.128: common practice (from memory). Windows: Harris 1978, table I: noise
# bandwidth over 3 dB width, 1.50/1.44 Hann, 2.00/1.90 Blackman-Harris (four terms, -92 dB).
@pytest.mark.parametrize(
    ("shape", "factor", "digits"),
    [
        ("gaussian", 1.0645, 5e-5),
        ("4-pole", 1.128, 1e-3),
        ("hann", 1.5 / 1.44, 4e-3),
        ("blackman-harris", 2 / 1.9, 4e-3),
    ],
)
def test_published_noise_factors(shape, factor, digits):
    assert noise_factor(shape) == pytest.approx(factor, abs=digits)


def response(shape, x):
    """|H|^2 at x widths, written down again."""
    if shape == "gaussian":
        return 0.5 ** ((2 * x) ** 2)
    poles = int(shape[0])
    return (1 + (2 ** (1 / poles) - 1) * (2 * x) ** 2) ** -poles


@pytest.mark.parametrize("shape", ["gaussian", "4-pole", "5-pole"])
def test_tool_noise_and_skirts_by_quadrature(shape):
    whole = 2 * integrate.quad(lambda x: response(shape, x), 0, 60, limit=300)[0]
    assert noise_factor(shape) == pytest.approx(whole, rel=1e-6)
    filter_ = resolution(width_hz=100e3, shape=shape)
    for offset_hz in (100e3, 300e3, 500e3):
        x = offset_hz / 100e3
        share = integrate.quad(lambda y: response(shape, y), x, x + 66.6, limit=400, epsabs=1e-16)[0] / whole
        found, _ = filter_.leak(offset_hz, channel_hz=6.66e6)
        assert found == pytest.approx(share, rel=1e-3, abs=1e-14)


# scipy.signal.windows: loss half-way between two points of the transform, 1.42 dB of a Hann window (Harris: 1.42).
def test_tool_a_line_between_two_points():
    window = signal.windows.hann(256, sym=False)
    turn = np.exp(-1j * np.pi * np.arange(256) / 256)
    worst = 20 * math.log10(abs(window @ turn) / window.sum())
    assert worst == pytest.approx(-1.42, abs=0.01)
    hann = resolution(width_hz=1e4, shape="hann")
    assert worst < hann.line_db < 0
    assert hann.line_db == pytest.approx(worst / 3, abs=0.02)  # nearly a parabola: a third of its end, on average
    assert resolution(width_hz=1e4, shape="flat-top").line_db == pytest.approx(0, abs=0.01)
    assert resolution(width_hz=1e4, shape="gaussian").line_std_db == 0


def test_law_an_untold_shape_holds_the_usual_ones_in_its_doubt():
    untold = resolution(width_hz=30e3)
    reach = 2 * untold.noise_std_db
    for shape in ("gaussian", "4-pole", "5-pole", "blackman-harris"):
        told = resolution(width_hz=30e3, shape=shape)
        assert abs(told.noise_factor_db - untold.noise_factor_db) < reach
    share, std = resolution(width_hz=100e3).leak(300e3, channel_hz=6.66e6)
    for shape in ("gaussian", "4-pole", "5-pole"):
        assert abs(resolution(width_hz=100e3, shape=shape).leak(300e3, channel_hz=6.66e6)[0] - share) < 2 * std


def test_message_a_filter_that_is_none():
    with pytest.raises(RangeError, match="resolution bandwidth must be a number above zero in Hz, not 0"):
        resolution(width_hz=0)
    with pytest.raises(ChoiceError, match="Nearest: gaussian"):
        resolution(width_hz=1e4, shape="gausian")
    assert len(FILTERS) == 6
