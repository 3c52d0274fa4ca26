"""The modulated waveform through amplifiers, beside the closed form; and a memory that parts the sides."""

from fractions import Fraction

import numpy as np
import pytest

from tepui.prediction.drive_simulation import simulate_drive
from tepui.signals.dvbt.mode import Mode

TWO_K = Mode(width_hz=7e6, n_fft=2048, guard=Fraction(1, 8), constellation="64QAM", code_rate=Fraction(2, 3))
EIGHT_K = Mode(width_hz=8e6, n_fft=8192, guard=Fraction(1, 32), constellation="QPSK", code_rate=Fraction(2, 3))


def third_order(x):
    return x * (1 - 0.1 * np.abs(x) ** 2)


def smooth_limit(x):
    return x * (1 + np.abs(x) ** 4) ** -0.25


def amplitude_and_phase(x):
    square = np.abs(x) ** 2
    return x * (1 + square**2) ** -0.25 * np.exp(0.17j * square / (1 + square))


# As agreed: within 0.2 dB from -25 to -45 dB. MER by the same two ways.
@pytest.mark.parametrize(
    ("amplifier", "mode", "drives_db"),
    [
        (third_order, TWO_K, (-2.9, -12.0)),
        (smooth_limit, EIGHT_K, (-5.4, -11.9)),
        (amplitude_and_phase, TWO_K, (-5.4, -13.0)),
    ],
)
def test_law_closed_form_and_simulation_agree(amplifier, mode, drives_db):
    found = [simulate_drive(mode, amplifier, 10 ** (drive / 10)) for drive in drives_db]
    assert found[0].shoulder.value > -26.5
    assert found[-1].shoulder.value < -41
    for one in found:
        assert one.shoulder.value == pytest.approx(one.shoulder_closed_db, abs=0.2)
        assert one.mer.value == pytest.approx(one.mer_closed_db, abs=0.15)
        assert one.crest_after_db == pytest.approx(one.crest_closed_db, abs=0.15)
        assert one.crest_before_db == pytest.approx(9.64, abs=0.15)
        assert one.shoulder.std < 0.1


# By hand: the echo raises one side by (1 + v)^2 and lowers the other by (1 - v)^2, the higher one left where it was; in
# band it averages to (1 + v^2)/(1 + v)^2 of the distortion, which is what MER gains.
@pytest.mark.parametrize("skew_db", [-3.0, 2.0])
def test_limit_memory_parts_the_sides(skew_db):
    plain = simulate_drive(TWO_K, smooth_limit, 10**-0.9)
    skewed = simulate_drive(TWO_K, smooth_limit, 10**-0.9, skew_db=skew_db)
    assert skewed.upper.value - skewed.lower.value == pytest.approx(
        skew_db + plain.upper.value - plain.lower.value, abs=0.1
    )
    assert max(skewed.upper.value, skewed.lower.value) == pytest.approx(plain.shoulder.value, abs=0.1)
    v = np.tanh(abs(skew_db) * np.log(10) / 40)
    gained_db = 10 * np.log10((1 + v) ** 2 / (1 + v**2))
    assert skewed.mer.value - plain.mer.value == pytest.approx(gained_db, abs=0.1)
