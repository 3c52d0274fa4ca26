import csv
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from drive_simulation import filtered_waveform, simulated_points_db
from tepui.chain.amplifiers.closed_form import convolve_terms, expand, mean_power_w
from tepui.chain.amplifiers.drive_curve import drive_curve, lifted_line_db
from tepui.chain.amplifiers.models import SALEH_SET_1, cubic, odd_polynomial, rapp, saleh
from tepui.ground.errors import InputError, RangeError
from tepui.prediction.waveform_density import view_of_mode
from tepui.signals.dvbt.mode import Mode

DATA = Path(__file__).parents[2] / "data" / "drive"
LINES = (DATA / "pa_ofdm_simulated.csv").read_text(encoding="utf-8").splitlines()
SIMULATED = [row for row in csv.DictReader(LINES) if float(row["shoulder_db_300_700khz"]) < 46]
TERMS = convolve_terms((np.abs((np.arange(16384) - 8192) * 4e3) <= 3.804e6) * 1.0, step_hz=4e3)
MODE = Mode(width_hz=7e6, n_fft=2048, guard=Fraction(1, 8), constellation="64QAM", code_rate=Fraction(2, 3))


def amplifier_of(row):
    if row["model"] == "saleh":
        # The output's peak lies at an input of 1/sqrt(beta_a): back-off counts from there.
        saturation = 1 / SALEH_SET_1.amplitude_b
        return (lambda x: saleh(x, curves=SALEH_SET_1)), saturation
    return (lambda x: rapp(x, gain_ratio=1.0, saturated_w=1.0, smoothness=float(row["p"]))), 1.0


# data/drive/README.md: independent simulation, scatter 0.2 dB (one standard deviation); beyond 46 dB its forty symbols
# hold too few peaks to go by. The tolerance is two and a half of them.
@pytest.mark.parametrize("row", SIMULATED, ids=lambda row: f"{row['model']} {row['p']} {row['ibo_db_rel_saturation']}")
def test_published_simulation_of_ofdm_through_amplifiers(row):
    amplifier, saturation = amplifier_of(row)
    c = expand(amplifier, saturation * 10 ** (-float(row["ibo_db_rel_saturation"]) / 10))
    density = TERMS.output_density(c)[0]
    frequency = np.abs(TERMS.frequency_hz)
    inside, beside = frequency < 3.79e6, (frequency > 4.104e6) & (frequency < 4.504e6)
    shoulder = 10 * np.log10(density[inside].mean() / density[beside].mean())
    assert shoulder == pytest.approx(float(row["shoulder_db_300_700khz"]), abs=0.5)
    signal = np.abs(c[0, 0]) ** 2 * TERMS.density[0]
    mer = 10 * np.log10(signal[inside].mean() / (density - signal)[inside].mean())
    assert mer == pytest.approx(float(row["mer_db"]), abs=0.5)


# By hand: y = x (1 - a |x|^2) on a Gaussian of power 1 has c_0 = 1 - 2 a and c_1^2 = 2 a^2, nothing beyond.
@pytest.mark.parametrize("a", [0.01, 0.05, 0.2])
def test_limit_a_cubic_has_two_terms(a):
    c = expand(lambda x: odd_polynomial(x, coefficients=(1.0, -a)), 1.0)[0]
    assert c[0] == pytest.approx(1 - 2 * a, rel=1e-12)
    assert abs(c[1]) ** 2 == pytest.approx(2 * a * a, rel=1e-9)
    assert np.all(np.abs(c[2:]) < 1e-8)


# Triangle of a flat band's autocorrelation: three flat bands convolved stand 3/4 high in the middle, 1/2 at the edge.
def test_limit_three_flat_bands_convolved():
    density, width = TERMS.density[1], 2 * 3.804e6
    middle = np.interp(0.0, TERMS.frequency_hz, density) * width
    edge = np.interp(3.804e6, TERMS.frequency_hz, density) * width
    assert middle == pytest.approx(3 / 4, rel=2e-3)
    assert edge == pytest.approx(1 / 2, rel=2e-3)


@pytest.mark.parametrize("p", [1.0, 2.0, 3.0])
def test_law_terms_hold_all_the_power(p):
    drive = 10 ** (np.array([-12.0, -8.0, -4.0]) / 10)

    def amplifier(x):
        return rapp(x, gain_ratio=2.0, saturated_w=1.5, smoothness=p)

    total = (np.abs(expand(amplifier, drive)) ** 2).sum(axis=1)
    assert total == pytest.approx(mean_power_w(amplifier, drive), rel=1e-5)


def test_law_each_term_has_power_one():
    assert TERMS.density.sum(axis=1) * TERMS.step_hz == pytest.approx(np.ones(24), rel=1e-6)


# A hard limit is the worst case: 24 terms leave out 1e-4 of the power and 0.1 dB of nothing one can read.
def test_limit_a_hard_limit_is_nearly_held():
    def limiter(x):
        return x / np.maximum(np.abs(x), 1.0)

    total = (np.abs(expand(limiter, 0.25)) ** 2).sum()
    assert total == pytest.approx(mean_power_w(limiter, 0.25)[0], rel=1e-4)


def third_order(x):
    return odd_polynomial(x, coefficients=(1.0, -0.1))


def smooth_limit(x):
    return rapp(x, gain_ratio=1.0, saturated_w=1.0, smoothness=2.0)


def amplitude_and_phase(x):
    square = np.abs(x) ** 2
    return rapp(x, gain_ratio=1.0, saturated_w=1.0, smoothness=1.5) * np.exp(0.3j * square / (1 + square))


@pytest.fixture(scope="module")
def waveform():
    return filtered_waveform(MODE, n_symbols=330, seed=5)


# Direct simulation through the real modulated waveform, a mask filter before the amplifier; 0.2 dB as agreed. What a
# simulation of this length repeats to is 0.05 dB.
@pytest.mark.parametrize(
    ("amplifier", "drives_db"),
    [
        (third_order, (-2.65, -7.33, -12.21)),
        (smooth_limit, (-5.15, -8.94, -11.89)),
        (amplitude_and_phase, (-6.34, -11.72, -16.81)),
    ],
)
def test_law_closed_form_against_simulation_of_the_modulated_waveform(waveform, amplifier, drives_db):
    drives = 10 ** (np.array(drives_db) / 10)
    computed = drive_curve(amplifier, drives, view_of_mode(MODE)).points_db
    assert computed[:, 1] == pytest.approx([-25, -35, -45], abs=0.05)  # both ends of what was agreed, and the middle
    for drive, points in zip(drives, computed, strict=True):
        assert points == pytest.approx(simulated_points_db(waveform, MODE, amplifier, drive), abs=0.2)


# By hand: a straight slope is not lifted; one value 1 dB above the line lifts it by 1 dB.
def test_limit_the_line_is_lifted_by_what_stands_above():
    offset = np.arange(300e3, 701e3, 20e3)
    straight = -40 - (offset - 300e3) / 100e3
    bent = straight.copy()
    bent[7] += 1.0
    assert lifted_line_db(offset, np.stack([straight, bent])) == pytest.approx([-42.0, -41.0], abs=1e-9)


def test_refusals():
    with pytest.raises(RangeError, match="input_w must be a number above zero in W, not 0"):
        expand(third_order, 0.0)
    with pytest.raises(RangeError, match="nowhere below zero"):
        convolve_terms(np.zeros(8), step_hz=1.0)
    # The cubic model's own refusal passes through: at this drive the envelope folds back.
    with pytest.raises(InputError, match=r"4\.8 dB below OIP3"):
        expand(lambda x: cubic(x, gain_ratio=1.0, oip3_w=1.0), 0.5)
