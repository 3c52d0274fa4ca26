"""Amplifier models against their definitions and the textbook relations between their figures."""

import math

import numpy as np
import pytest

from tepui.chain.amplifiers.models import (
    SALEH_SET_1,
    SALEH_SET_2,
    cubic,
    odd_polynomial,
    rapp,
    rapp_compression_w,
    saleh,
)
from tepui.ground.errors import RangeError


def _gain_db(model, drive_w):
    envelope = np.array([math.sqrt(drive_w)], np.complex128)
    return 20 * math.log10(abs(model(envelope)[0]) / abs(envelope[0]))


def _compression_point_w(model, *, low_w, high_w):
    """Drive at which the gain has fallen 1 dB, by bisection on the model alone."""
    small = _gain_db(model, low_w * 1e-9)
    for _ in range(80):
        middle = math.sqrt(low_w * high_w)
        low_w, high_w = (middle, high_w) if _gain_db(model, middle) > small - 1 else (low_w, middle)
    return middle


MODELS = {
    "cubic": lambda x: cubic(x, gain_ratio=1000.0, oip3_w=100.0),
    "rapp": lambda x: rapp(x, gain_ratio=1000.0, saturated_w=40.0, smoothness=3.0),
    "polynomial": lambda x: odd_polynomial(x, coefficients=(math.sqrt(1000.0), -3.0 + 2.0j)),
}


@pytest.mark.parametrize("model", MODELS.values(), ids=MODELS.keys())
def test_law_small_signals_are_amplified_without_change_of_shape(model):
    signal = 1e-6 * np.exp(1j * np.random.default_rng(1).normal(size=50)) * np.linspace(0.1, 1, 50)
    assert model(signal) == pytest.approx(math.sqrt(1000.0) * signal, rel=1e-8)


# Textbook relation of a cubic: input P1dB lies 9.6 dB below IIP3 (from memory; every text on receivers prints it).
def test_published_cubic_compresses_9_6_db_below_its_intercept():
    gain, oip3_w = 1000.0, 100.0
    drive_w = _compression_point_w(MODELS["cubic"], low_w=1e-6, high_w=oip3_w / gain / 3.01)
    assert 10 * math.log10(oip3_w / gain / drive_w) == pytest.approx(9.6, abs=0.05)


# Definition of the third-order intercept: two equal tones of P each give products of 3 P - 2 OIP3 (dBm).
@pytest.mark.parametrize("below_db", [20.0, 30.0])
def test_law_two_tones_meet_the_definition_of_the_intercept(below_db):
    gain, oip3_w, n = 1000.0, 100.0, 256
    tone_w = oip3_w * 10 ** (-below_db / 10)
    envelope = 2 * math.sqrt(tone_w / gain) * np.cos(2 * np.pi * 5 * np.arange(n) / n) + 0j
    lines = np.abs(np.fft.fft(cubic(envelope, gain_ratio=gain, oip3_w=oip3_w)) / n) ** 2
    assert 10 * math.log10(lines[15] / tone_w) == pytest.approx(-2 * below_db, abs=1e-6)
    assert lines[[1, 3, 7, 9, 25]].max() < 1e-25


def test_limit_cubic_refuses_to_fold_back():
    with pytest.raises(RangeError, match=r"4\.8 dB below OIP3; this drive peaks 0\.0 dB relative to OIP3\. Use a sat"):
        cubic(np.array([1.0 + 0j]), gain_ratio=100.0, oip3_w=100.0)


# Reference figures of an independent calculation: P1dB lies 2.2 dB (p = 2) and 1.0 dB (p = 3) below saturation.
@pytest.mark.parametrize(("smoothness", "below_db"), [(2.0, 2.2), (3.0, 1.0)])
def test_published_rapp_compression(smoothness, below_db):
    assert -10 * math.log10(rapp_compression_w(saturated_w=1.0, smoothness=smoothness)) == pytest.approx(
        below_db, abs=0.05
    )


@pytest.mark.parametrize("smoothness", [1.5, 2.0, 3.0, 10.0])
def test_law_rapp_closed_form_is_where_the_model_compresses(smoothness):
    def model(x):
        return rapp(x, gain_ratio=1000.0, saturated_w=40.0, smoothness=smoothness)

    drive_w = _compression_point_w(model, low_w=1e-6, high_w=10.0)
    output_w = abs(model(np.array([math.sqrt(drive_w)], np.complex128))[0]) ** 2
    assert output_w == pytest.approx(rapp_compression_w(saturated_w=40.0, smoothness=smoothness), rel=1e-9)


def test_law_rapp_never_passes_its_limit_and_turns_no_phase():
    envelope = np.geomspace(1e-4, 1e2, 200) * np.exp(1j * np.linspace(0, 6, 200))
    output = rapp(envelope, gain_ratio=1000.0, saturated_w=40.0, smoothness=3.0)
    assert np.abs(output).max() <= math.sqrt(40.0) * (1 + 1e-12)
    assert np.abs(output[-1]) == pytest.approx(math.sqrt(40.0), rel=1e-9)
    assert np.abs(np.angle(output / envelope)).max() < 1e-12


# Saleh's curve has its maximum a / (2 sqrt b) at r = 1 / sqrt b, where the phase is by its own formula.
@pytest.mark.parametrize("curves", [SALEH_SET_1, SALEH_SET_2], ids=["set 1", "set 2"])
def test_law_saleh_maximum_and_phase(curves):
    top = 1 / math.sqrt(curves.amplitude_b)
    r = top * np.linspace(0.5, 1.5, 1001)
    output = saleh(r.astype(np.complex128), curves=curves)
    assert np.abs(output).max() == pytest.approx(curves.amplitude_a / (2 * math.sqrt(curves.amplitude_b)), rel=1e-12)
    assert r[np.abs(output).argmax()] == pytest.approx(top, rel=1e-3)
    assert np.angle(output) == pytest.approx(curves.phase_a * r**2 / (1 + curves.phase_b * r**2), abs=1e-12)


def test_tool_odd_polynomial_equals_numpy_polyval():
    coefficients = (3.0, -0.4 + 0.2j, 0.05 - 0.1j)
    x = np.random.default_rng(2).normal(size=(2, 64)).view(np.complex128)
    expected = x * np.polynomial.polynomial.polyval(np.abs(x) ** 2, coefficients)
    assert odd_polynomial(x, coefficients=coefficients) == pytest.approx(expected, rel=1e-12)


def test_limit_a_polynomial_of_two_terms_is_the_cubic():
    x = 0.1 * np.random.default_rng(3).normal(size=(2, 64)).view(np.complex128) / 5
    a1 = math.sqrt(1000.0)
    expected = cubic(x, gain_ratio=1000.0, oip3_w=100.0)
    assert odd_polynomial(x, coefficients=(a1, -(a1**3) / 100.0)) == pytest.approx(expected, rel=1e-12)


def test_law_single_precision_stays_single():
    x = np.ones(4, np.complex64) * np.complex64(0.01)
    for model in (*MODELS.values(), lambda x: saleh(x, curves=SALEH_SET_1)):
        assert model(x).dtype == np.complex64


@pytest.mark.parametrize(
    ("arguments", "sentence"),
    [
        ({"gain_ratio": 0.0, "saturated_w": 1.0, "smoothness": 2.0}, "gain_ratio must be a number above zero in 1"),
        ({"gain_ratio": 1.0, "saturated_w": -1.0, "smoothness": 2.0}, "saturated_w must be a number above zero in W"),
        ({"gain_ratio": 1.0, "saturated_w": 1.0, "smoothness": 0.0}, "smoothness must be a number above zero in 1"),
    ],
)
def test_limit_impossible_figures_are_refused(arguments, sentence):
    with pytest.raises(RangeError, match=sentence):
        rapp(np.ones(1, np.complex128), **arguments)


def test_limit_a_polynomial_without_coefficients_is_refused():
    with pytest.raises(RangeError, match="needs at least its first coefficient"):
        odd_polynomial(np.ones(1, np.complex128), coefficients=())
