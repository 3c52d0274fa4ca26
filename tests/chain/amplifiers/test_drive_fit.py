from fractions import Fraction

import numpy as np
import pytest

from drive_cases import case, interval
from tepui.chain.amplifiers.drive_curve import drive_curve
from tepui.chain.amplifiers.families import FAMILIES, family_named
from tepui.chain.amplifiers.fit import DriveData, fit_amplifier
from tepui.chain.amplifiers.models import rapp
from tepui.ground.errors import ChoiceError, RangeError
from tepui.prediction.waveform_density import view_of_mode
from tepui.signals.dvbt.mode import Mode

MODE = Mode(width_hz=7e6, n_fft=2048, guard=Fraction(1, 8), constellation="64QAM", code_rate=Fraction(2, 3))
VIEW = view_of_mode(MODE)


def data_of(setting, shoulder, *, baseline=None, power=None, std=0.1):
    n = len(setting)
    power_setting = setting if power is not None else np.zeros(0)
    return DriveData(
        setting_db=np.asarray(setting, float),
        shoulder_db=np.asarray(shoulder, float),
        shoulder_std_db=np.full(n, std),
        common_std_db=np.zeros(n),
        on_baseline=np.full(n, baseline is not None),
        baseline_db=baseline,
        baseline_std_db=0.1,
        power_setting_db=np.asarray(power_setting, float),
        power_dbm=np.zeros(0) if power is None else np.asarray(power),
        power_std_db=np.full(len(power_setting), 0.05),
    )


def smooth_limit(x):
    square = np.abs(x) ** 2
    turn = np.exp(1j * np.deg2rad(10) * square / (1 + square))
    return rapp(x, gain_ratio=1.0, saturated_w=1.0, smoothness=2.0) * turn


def test_law_the_amplifier_that_made_the_readings_is_found_again():
    setting = np.arange(-12.0, -5.0)
    made = drive_curve(smooth_limit, 10 ** (setting / 10), VIEW)
    fit = fit_amplifier(data_of(setting, made.shoulder_db, power=10 * np.log10(made.power_w) + 30, std=0.05), VIEW)
    assert fit.best.family.name == "rapp"
    theta = np.asarray(fit.best.family.centre) + np.asarray(fit.best.family.spread) * fit.best.z[:3]
    assert theta[0] == pytest.approx(6.0, abs=0.5)
    assert np.exp(theta[1]) == pytest.approx(2.0, abs=0.3)
    assert np.rad2deg(np.exp(theta[2])) == pytest.approx(10.0, abs=3.0)
    between = np.arange(-11.5, -6.0, 0.5)
    true = drive_curve(smooth_limit, 10 ** (between / 10), VIEW)
    assert fit.shoulder(between).value == pytest.approx(true.shoulder_db, abs=0.05)
    assert fit.mer(between).value == pytest.approx(true.mer_db, abs=0.1)
    assert fit.power(between).value == pytest.approx(10 * np.log10(true.power_w) + 30, abs=0.05)
    assert fit.compression(between).value == pytest.approx(true.compression_db, abs=0.1)


def test_law_a_baseline_is_taken_off_as_power():
    setting = np.arange(-12.0, -5.0)
    made = drive_curve(smooth_limit, 10 ** (setting / 10), VIEW).shoulder_db
    shown = 10 * np.log10(10 ** (made / 10) + 10**-3.8)
    fit = fit_amplifier(data_of(setting, shown, baseline=-38.0, std=0.05), VIEW)
    assert fit.shoulder(setting[2:]).value == pytest.approx(made[2:], abs=0.15)
    doubt = fit.shoulder(setting).std
    assert doubt[0] > 2 * doubt[-2]  # what is drowned is known less


# The doubt far from any reading must grow, and more readings must narrow it.
def test_law_doubt_grows_beyond_the_readings_and_shrinks_with_their_number():
    setting = np.arange(-12.0, -5.0)
    made = drive_curve(smooth_limit, 10 ** (setting / 10), VIEW).shoulder_db
    few, many = (fit_amplifier(data_of(setting[::k], made[::k]), VIEW).shoulder([-9.0, -3.0]).std for k in (3, 1))
    assert few[1] > 2 * few[0]
    assert many[0] < few[0]


# Amplifiers of other forms than the families among them; a long run stands in benchmarks/drive_intervals.py, whose
# 500 cases must hold 93 to 99 %. Of 20 cases 17 or more hold with probability
# 0.98 where the truth is 95 %.
def test_law_stated_intervals_hold_the_crossing():
    found = [one for one in (interval(case(seed), VIEW) for seed in range(20)) if one is not None]
    error = np.array([one.value - one.true for one in found])
    half = np.array([one.high - one.low for one in found]) / 2
    inside = sum(one.low <= one.true <= one.high for one in found)
    assert inside >= 0.85 * len(found)
    assert half.mean() <= 1.5 * 2 * np.sqrt(np.mean(error**2))
    assert np.abs(error).max() < 0.4


@pytest.mark.parametrize("name", list(FAMILIES))
def test_law_every_family_passes_weak_signals_unchanged(name):
    family = FAMILIES[name]
    weak = np.full(3, 1e-4 + 0j)
    assert family.envelope(np.zeros(len(family.centre)), weak) == pytest.approx(weak, rel=1e-6)


def test_refusals():
    with pytest.raises(RangeError, match="two settings or more"):
        fit_amplifier(data_of([-8.0, -8.0], [-32.0, -32.1]), VIEW)
    fit = fit_amplifier(data_of([-8.0, -6.0], [-32.0, -28.0]), VIEW)
    with pytest.raises(RangeError, match="No output power was read"):
        fit.power([-7.0])
    with pytest.raises(ChoiceError, match="model must be cubic, polynomial or rapp"):
        family_named("volterra")
