"""Axes, carrier, phase and pilots from cells, against closed cases and signals whose faults are known."""

from fractions import Fraction

import numpy as np
import pytest

from axes_signals import Axes, impaired_recording
from tepui.chain.reception.axes import AxesSums
from tepui.chain.reception.phase import PhaseSums
from tepui.chain.reception.receive import receive
from tepui.evidence.cells import (
    Constant,
    carrier_suppression,
    constant_beside,
    gain_imbalance,
    image_ratio,
    phase_error,
    pilot_boost,
    quadrature_error,
    residual_carrier,
)
from tepui.signals.dvbt.mode import Mode

MODES = {
    "2K": Mode(width_hz=8e6, n_fft=2048, guard=Fraction(1, 8), constellation="16QAM", code_rate=Fraction(2, 3)),
    "8K": Mode(width_hz=7e6, n_fft=8192, guard=Fraction(1, 16), constellation="QPSK", code_rate=Fraction(3, 4)),
    "64QAM": Mode(width_hz=7e6, n_fft=2048, guard=Fraction(1, 32), constellation="64QAM", code_rate=Fraction(3, 4)),
}
PILOT_DB = 20 * np.log10(4 / 3)  # [EN300744] 4.5.5: pilots' amplitude over the mean of data cells


def longest(recording):
    return max(receive(recording).runs, key=lambda run: run.symbols)


def within(estimate, true, *, widths=1.5):
    """Inside the 95 % interval made half as wide again: a fair draw falls outside once in four hundred."""
    return abs(estimate.value - true) <= widths * (estimate.high - estimate.value)


@pytest.mark.parametrize(
    ("name", "seed", "offset", "echo", "finer"),
    [("2K", 1, 2.3, True, 1.1), ("2K", 2, 0.0, False, 1.0), ("8K", 3, -1.4, True, 1.0), ("64QAM", 4, 0.7, False, 1.1)],
)
def test_law_the_faults_put_into_a_transmitter_are_found(name, seed, offset, echo, finer):
    mode = MODES[name]
    rng = np.random.default_rng(seed)
    made = Axes(
        gain_db=rng.uniform(-0.6, 0.6),
        angle_deg=rng.uniform(-3, 3),
        leak=10 ** (rng.uniform(-45, -30) / 20) * np.exp(2j * np.pi * rng.random()),
    )
    own = Axes(gain_db=0.15, angle_deg=-0.6, leak=0.004) if offset else Axes()
    recording, _ = impaired_recording(
        mode,
        symbols=70 if name == "8K" else 120,
        cn_db=28.0,
        rate_hz=finer * mode.sample_rate_hz,
        transmitter=made,
        receiver=own,
        offset_hz=offset * mode.carrier_spacing_hz,
        echoes=[(0.4 * mode.guard_s, -9.0, 2.0)] if echo else None,
        inverted=seed > 2,
        seed=seed,
    )
    run = longest(recording)
    sums = [run.quality.axes]
    ratio = image_ratio(sums, offset_carriers=run.paces[0].offset_hz / mode.carrier_spacing_hz)
    assert ratio.apart is bool(offset)
    assert within(gain_imbalance(ratio), made.gain_db)
    assert gain_imbalance(ratio).std < 0.005
    assert within(quadrature_error(ratio), made.angle_deg)
    assert quadrature_error(ratio).std < 0.03
    carrier = residual_carrier(sums, image=ratio, offset_carriers=offset)
    told = carrier_suppression(carrier, signal_power=1.0803 * mode.n_carriers)
    true_db = -20 * np.log10(abs(made.leak))
    room = 0.25 * (told.high - told.low)
    assert told.low - room <= true_db <= told.high + room
    assert told.high - told.low < 1.5
    assert within(pilot_boost(sums, amplitude=4 / 3), PILOT_DB)


def test_law_an_ideal_transmitter_has_no_faults_and_a_bound_for_its_carrier():
    mode = MODES["2K"]
    recording, _ = impaired_recording(mode, symbols=100, cn_db=25.0, offset_hz=1.3 * mode.carrier_spacing_hz, seed=7)
    run = longest(recording)
    ratio = image_ratio([run.quality.axes], offset_carriers=1.3)
    assert within(gain_imbalance(ratio), 0.0)
    assert within(quadrature_error(ratio), 0.0)
    carrier = residual_carrier([run.quality.axes], image=ratio, offset_carriers=1.3)
    told = carrier_suppression(carrier, signal_power=1.0803 * mode.n_carriers)
    assert told.high is None
    assert told.low > 55


@pytest.mark.parametrize(("rms_deg", "cn_db", "seed"), [(1.5, 25.0, 1), (0.4, 30.0, 2), (0.0, 20.0, 3)])
def test_law_phase_noise_is_what_was_put_in(rms_deg, cn_db, seed):
    mode = MODES["2K"]
    recording, phase = impaired_recording(
        mode, symbols=140, cn_db=cn_db, phase_rms_deg=rms_deg, phase_correlation_symbols=5.0, seed=seed
    )
    run = longest(recording)
    base = run.base
    starts = np.rint(base.first + base.window + np.arange(run.symbols) * base.period).astype(int)
    summed = np.concatenate([[0.0], np.cumsum(phase)])
    mean = (summed[starts + mode.n_fft] - summed[starts]) / mode.n_fft
    number = np.arange(mean.size)
    left = mean - np.polyval(np.polyfit(number, mean, 1), number)
    true = np.degrees(np.sqrt(np.mean(left**2)))
    told = phase_error(run.phase)
    assert (told.low is None) is (rms_deg == 0.0)
    assert (told.low or 0.0) <= true <= told.high
    if rms_deg:
        assert told.high - told.low < 0.12 * true + 0.02
    else:
        assert told.high < 0.25


# Axes of 0.5 dB and 2 degrees, by the two real gains and directions themselves.
def test_limit_axes_from_the_ratio_of_image_to_signal():
    gain, half = 10 ** (0.5 / 40), np.radians(2.0) / 2
    i_axis, q_axis = gain * np.exp(-1j * half), 1j / gain * np.exp(1j * half)
    wanted, image = (i_axis - 1j * q_axis) / 2, (i_axis + 1j * q_axis) / 2
    ratio = Constant(value=complex(image / wanted), std_real=1e-4, std_imag=2e-4, apart=True)
    assert gain_imbalance(ratio).value == pytest.approx(0.5, abs=1e-9)
    assert quadrature_error(ratio).value == pytest.approx(2.0, abs=1e-9)
    assert gain_imbalance(ratio).std == pytest.approx(40 / np.log(10) * 1e-4, rel=2e-3)
    assert quadrature_error(ratio).std == pytest.approx(np.degrees(4e-4), rel=2e-3)


def test_law_a_constant_is_told_from_what_turns_and_its_doubt_holds():
    rng = np.random.default_rng(11)
    hits = 0
    for _ in range(300):
        turn = np.exp(-1j * (0.4 * np.arange(80) + 1.0))
        noise = rng.normal(size=80) + 1j * rng.normal(size=80)
        found = constant_beside(0.5 - 0.2j + 3.0 * turn + noise, np.ones(80), turn, share=0.6)
        hits += abs(found.value.real - 0.5) <= 2 * found.std_real
        assert found.apart
    assert 275 <= hits <= 297  # 95.4 % of 300 is 286, the standard deviation 3.6


def test_law_what_hardly_turns_is_not_told_apart_unless_it_cannot_reach():
    turn = np.exp(-1j * 0.001 * np.arange(80))
    values = np.full(80, 0.1 + 0j)
    assert not constant_beside(values, np.ones(80), turn, share=0.9).apart
    assert constant_beside(values, np.ones(80), turn, share=0.01).apart


def test_limit_suppression_of_a_clear_and_of_a_hidden_carrier():
    clear = carrier_suppression(Constant(value=1 + 0j, std_real=0.01, std_imag=0.01, apart=True), signal_power=1000.0)
    assert clear.value == pytest.approx(30.0, abs=0.01)
    assert clear.high - clear.low == pytest.approx(8 * 4.343 * 0.01, rel=0.01)
    hidden = carrier_suppression(Constant(value=0.01 + 0j, std_real=0.01, std_imag=0.01, apart=True), signal_power=1e3)
    assert hidden.high is None
    assert hidden.value == pytest.approx(30 - 20 * np.log10(0.03), abs=0.01)


def test_limit_too_little_says_nothing():
    assert image_ratio([AxesSums()], offset_carriers=1.0) is None
    assert phase_error(PhaseSums()) is None
    assert pilot_boost([AxesSums()], amplitude=4 / 3) is None
    nothing = Constant(value=0j, std_real=0.0, std_imag=0.0, apart=True)
    assert residual_carrier([AxesSums()], image=nothing, offset_carriers=1.0) is None
