"""The practice front end against the definition of the intercept, Gaussian moments, Friis and an independent sweep."""

import numpy as np
import pytest
from practice_loops import MODE, levels_db, loop

from tepui.chain.amplifiers.drive_curve import drive_curve
from tepui.ground.errors import RangeError
from tepui.practice.air import loop_waveform, memory_polynomial, send_loop
from tepui.practice.front_end import FrontEnd, third_order, through_front_end
from tepui.prediction.waveform_density import view_of_mode


def _gaussian(n, power_w, seed=1):
    generator = np.random.default_rng(seed)
    pairs = generator.standard_normal((n, 2)) * np.sqrt(power_w / 2)
    return pairs.view(np.complex128)[:, 0].astype(np.complex64)


# Definition of the third-order intercept: two tones of power P each, products 2 (IIP3 - P) dB below a tone.
@pytest.mark.parametrize("phase", [0.0, 1.2, np.pi])
def test_published_two_tones_and_their_products(phase):
    n, power_w, intercept_w = 4096, 1e-3, 1e-1  # 20 dB below the intercept: products 40 dB below
    turns = np.arange(n) / n
    tones = (np.sqrt(power_w) * (np.exp(2j * np.pi * 40 * turns) + np.exp(2j * np.pi * 71 * turns))).astype("c8")
    lines = np.abs(np.fft.fft(third_order(tones, intercept_w=intercept_w, phase_rad=phase)) / n) ** 2
    for product in (2 * 40 - 71, 2 * 71 - 40):
        assert 10 * np.log10(lines[product] / power_w) == pytest.approx(-40, abs=0.01)


# E|v|^6 = 6 P^3 and E v* v |v|^2 = 2 P^2 for a complex Gaussian: 2 P^3 of v |v|^2 is not the signal.
def test_law_products_of_a_gaussian_signal():
    v = _gaussian(1 << 20, 1e-3)
    bent = third_order(v, intercept_w=0.1, phase_rad=0.4)
    left = bent - v * (np.vdot(v, bent) / np.vdot(v, v))
    expected_db = 10 * np.log10(2 * (1e-3 / 0.1) ** 2)
    assert 10 * np.log10(np.vdot(left, left).real / np.vdot(v, v).real) == pytest.approx(expected_db, abs=0.15)


def test_limit_the_top_of_the_cubic_is_held():
    v = np.sqrt(np.array([1 / 3, 0.5, 4.0])).astype(np.complex64)
    assert np.abs(third_order(v, intercept_w=1.0)) == pytest.approx(2 / 3 / np.sqrt(3) * np.ones(3), rel=1e-5)


# Friis 1944: F = F1 + (F2 - 1) / G1. 4 dB, 12 dB, gain 20 dB: 2.512 + 14.849 / 100.
def test_published_noise_figure_of_two_stages():
    front_end = FrontEnd(first_noise_figure_db=4.0, second_noise_figure_db=12.0)
    assert front_end.noise_figure_db(20.0) == pytest.approx(10 * np.log10(2.5119 + 14.849 / 100), abs=1e-3)


# Intercepts of a cascade, products in phase: 1/IIP3 = 1/IIP3_1 + G1/IIP3_2, common practice.
@pytest.mark.parametrize("gain_db", [0.0, 12.0, 30.0])
def test_law_intercept_of_both_stages(gain_db):
    front_end = FrontEnd(input_intercept_dbm=0.0, mixer_intercept_dbm=20.0)
    power_dbm = front_end.intercept_dbm(gain_db) - 28
    n = 4096
    turns = np.arange(n) / n
    tones = np.exp(2j * np.pi * 40 * turns) + np.exp(2j * np.pi * 71 * turns)
    tones = (10 ** (power_dbm / 20 - 1.5) * tones).astype("c8")
    out = through_front_end(tones, front_end=front_end, gain_db=gain_db, rate_hz=1e6, tuned_offset_hz=0.0)
    lines = np.abs(np.fft.fft(out) / n) ** 2
    suppression_db = 10 * np.log10(lines[40] / lines[9])
    assert power_dbm + suppression_db / 2 == pytest.approx(front_end.intercept_dbm(gain_db), abs=0.05)


def test_law_the_filter_ahead_keeps_far_tones_out():
    n, rate_hz = 4096, 4096e4
    turns = np.arange(n) / n
    tones = (np.exp(2j * np.pi * 700 * turns) + np.exp(2j * np.pi * 20 * turns)).astype("c8")  # 7 and 0.2 MHz
    out = {
        width: through_front_end(
            tones,
            front_end=FrontEnd(input_intercept_dbm=50.0, mixer_intercept_dbm=90.0, rf_width_hz=width),
            gain_db=0.0,
            rate_hz=rate_hz,
            tuned_offset_hz=0.0,
        )
        for width in (None, 5e6, 30e6)
    }
    lines = {width: np.abs(np.fft.fft(one) / n) ** 2 for width, one in out.items()}
    product = 2 * 20 - 700
    assert 10 * np.log10(lines[30e6][product] / lines[None][product]) == pytest.approx(0, abs=0.1)
    assert lines[5e6][product] < 1e-4 * lines[None][product]


# The closed form (Bussgang 1952) of an amplifier with the same curve: what a wide signal makes beside its channel.
def test_law_shoulders_made_by_the_front_end_alone():
    air = send_loop(loop(), amplifier=lambda x: x, drive_w=1e-6, centre_hz=1e9)
    view = view_of_mode(MODE)
    for back_db in (16.0, 20.0):
        bent = third_order(air.samples, intercept_w=air.mean_w * 10 ** (back_db / 10))
        share = 10 ** (-back_db / 10)
        curve = drive_curve(lambda x, share=share: x * (1 - share * np.abs(x) ** 2), 1.0, view)
        assert levels_db(bent, air) == pytest.approx(np.tile(curve.points_db[0], 2), abs=0.3)


# A pad of 1 dB lowers the front end's share of the shoulder by 2 dB, but for its compression, (1 - 2 P / IIP3)^2.
def test_law_pads():
    air = send_loop(loop(), amplifier=lambda x: x, drive_w=1.0, centre_hz=1e9)
    shown, compressed = [], []
    for pad_db in (0, 4):
        less = np.float32(10 ** (-pad_db / 20))
        shown.append(np.mean(levels_db(third_order(air.samples * less, intercept_w=60.0), air)))
        compressed.append(20 * np.log10(1 - 2 * less**2 / 60))
    assert shown[0] - shown[1] == pytest.approx(8.0 - compressed[0] + compressed[1], abs=0.03)


# Rows of an independent simulation (tests/data/sweeps/README.md): a Rapp amplifier with AM/PM 9 dB below its limit has
# -33.6 / -33.7 dB 500 kHz out; a receiver with c3 = 0.065 at 65 degrees changes that by +7.6 dB, with 6 dB of pad by
# +0.4, with 10 dB less by -0.2: its products partly cancel the transmitter's. Printed to 0.1 dB; scatter of one turn.
def test_tool_a_receiver_that_adds_to_and_hides_shoulders():
    def amplifier(x):
        square = np.abs(x) ** 2 / 10**0.9
        return x * (1 + square**2) ** -0.25 * np.exp(1j * np.deg2rad(10) * square / (1 + square))

    air = send_loop(loop(), amplifier=amplifier, drive_w=1.0, centre_hz=1275e6)
    sent = levels_db(air.samples, air)
    assert sent[[1, 4]] == pytest.approx([-33.65, -33.7], abs=0.2)
    unit = air.samples / np.float32(np.sqrt(air.mean_w))
    for pad_db, change_db in ((0, 7.6), (6, 0.4), (10, -0.2)):
        heard = third_order(unit * np.float32(10 ** (-pad_db / 20)), intercept_w=1 / 0.065, phase_rad=np.deg2rad(65))
        assert (levels_db(heard, air) - sent)[[1, 4]] == pytest.approx([change_db, change_db], abs=0.12)


def test_law_an_amplifier_without_delays_has_no_memory_and_one_with_them_is_lopsided():
    x = loop().samples
    plain = memory_polynomial(x, coefficients=[[1.0, -0.03]], delay_samples=2)
    assert plain == pytest.approx(x * (1 - 0.03 * np.abs(x) ** 2), abs=1e-4)
    air = send_loop(
        loop(),
        amplifier=lambda x: memory_polynomial(x, coefficients=[[1, -0.02], [0, 0.01j]], delay_samples=2),
        drive_w=1.0,
        centre_hz=1e9,
    )
    level = levels_db(air.samples, air)
    assert abs(level[4] - level[1]) > 0.5


def test_limit_a_loop_of_nothing_is_refused():
    with pytest.raises(RangeError, match="A loop needs a symbol and an oversampling of 2 or more, not 0 and 4"):
        loop_waveform(MODE, n_symbols=0, seed=1)
