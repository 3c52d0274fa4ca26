import csv
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from tepui.chain.amplifiers.drive_curve import drive_curve, view_waveform
from tepui.chain.amplifiers.fit import Curves, DriveData, fit_amplifier
from tepui.ground.errors import RangeError
from tepui.prediction.drive import crossing, settings_between, slope_at
from tepui.prediction.waveform_density import (
    highest_in_band_db,
    sidelobe_db,
    sidelobe_shoulder_db,
    view_of_mode,
    waveform_density,
)
from tepui.signals.dvbt.mode import Mode

DATA = Path(__file__).parents[1] / "data" / "drive"
SERIES = list(csv.DictReader((DATA / "a4_series.csv").read_text(encoding="utf-8").splitlines()))
MODE = Mode(width_hz=7e6, n_fft=2048, guard=Fraction(1, 8), constellation="64QAM", code_rate=Fraction(2, 3))


def series(name):
    return np.array([float(row[name]) for row in SERIES])


def transmitter(x):
    """The amplifier of the series, by the formula in its truth."""
    square = np.abs(x) ** 2
    return x * (1 + square**2) ** -0.25 * np.exp(1j * np.deg2rad(10) * square / (1 + square))


# data/drive/README.md: an independent modulator and amplifier, read by the generator's own procedure.
def test_published_drive_series_by_closed_form():
    curve = drive_curve(transmitter, 10 ** (series("drive_db") / 10), view_of_mode(MODE))
    for side in ("lower", "upper"):
        true = np.stack([series(f"{side}_{offset}_db") for offset in (300, 500, 700)], axis=1)
        assert curve.points_db == pytest.approx(true, abs=0.2)
    assert curve.shoulder_db == pytest.approx(series("tr101290_db"), abs=0.25)
    assert curve.mer_db == pytest.approx(series("mer_db"), abs=0.15)
    assert 10 * np.log10(curve.power_w) == pytest.approx(series("power_db"), abs=0.02)


# The truth of the recordings: highest value in band 0.34 to 0.35 dB over the mean, with the generator's filter.
def test_published_highest_value_in_band():
    assert highest_in_band_db(MODE) == pytest.approx(0.345, abs=0.1)


# By hand from sinc^2: sum of P/(2 pi^2 Ts (f - k/Tu)^2); the direct sum over all carriers, its ripple averaged out.
@pytest.mark.parametrize(("n_fft", "guard"), [(2048, "1/8"), (8192, "1/32")])
def test_limit_sidelobes_are_the_sum_over_all_carriers(n_fft, guard):
    mode = Mode(width_hz=7e6, n_fft=n_fft, guard=Fraction(guard), constellation="QPSK", code_rate=Fraction(1, 2))
    k = np.arange(mode.n_carriers) * mode.carrier_spacing_hz
    frequency = k[-1] + 500e3 + np.linspace(0, 20 * mode.carrier_spacing_hz, 4001)
    whole = np.sinc((frequency[:, None] - k[None, :]) * mode.symbol_s) ** 2 * mode.symbol_s
    level = 10 * np.log10(whole.sum(axis=1).mean() * mode.carrier_spacing_hz)
    assert sidelobe_db([500e3 + 10 * mode.carrier_spacing_hz], mode=mode)[0] == pytest.approx(level, abs=0.1)


def test_law_density_has_power_one_in_the_channel():
    filtered, unfiltered = (waveform_density(MODE, filtered=yes) for yes in (True, False))
    assert filtered.density.sum() * filtered.step_hz == pytest.approx(1.0, rel=1e-3)
    assert unfiltered.density.sum() > filtered.density.sum()


def fit_of(setting, shoulder, std=0.1):
    n = len(setting)
    data = DriveData(
        setting_db=np.asarray(setting, float),
        shoulder_db=np.asarray(shoulder, float),
        shoulder_std_db=np.full(n, std),
        common_std_db=np.zeros(n),
        on_baseline=np.zeros(n, bool),
    )
    return fit_amplifier(data, view_of_mode(MODE))


FIT = fit_of(series("drive_db"), series("tr101290_db"))


def asked(target, confidence=0.9, step=0.1):
    return crossing(FIT, target_db=target, confidence=confidence, first=-11.0, last=-6.0, step_db=step)


# The crossing between two exact readings, straight between them: the series' own points lie 1 dB apart.
@pytest.mark.parametrize("target", [-30.0, -33.0, -36.0])
def test_law_crossing_of_the_series(target):
    found = asked(target)
    true = np.interp(target, series("tr101290_db"), series("drive_db"))
    assert found.value == pytest.approx(true, abs=0.05)
    assert found.low <= true <= found.high
    assert found.recommended <= found.value
    assert found.recommended == pytest.approx(round(found.recommended, 1), abs=1e-9)


def test_law_more_confidence_is_never_a_higher_setting():
    settings = [asked(-33.0, confidence).recommended for confidence in (0.5, 0.8, 0.95, 0.99)]
    assert settings == sorted(settings, reverse=True)
    assert asked(-33.0, 0.5, step=0.01).recommended == pytest.approx(asked(-33.0).value, abs=0.0101)


def test_law_a_target_beyond_all_readings_is_no_number():
    easy, hard = asked(-15.0), asked(-60.0)
    assert easy.value is None
    assert easy.met_everywhere
    assert easy.recommended == pytest.approx(-6.0)  # the highest that was read, not beyond
    assert hard.value is None
    assert not hard.met_everywhere
    assert hard.recommended is None


# Third order: the slope of an amplifier without clipping is 2 dB a dB.
def test_law_slope_of_third_order():
    setting = np.arange(-20.0, -14.0)
    third = drive_curve(lambda x: x * (1 - 0.2 * np.abs(x) ** 2), 10 ** (setting / 10), view_of_mode(MODE))
    assert slope_at(fit_of(setting, third.shoulder_db), -17.0) == pytest.approx(2.0, abs=0.1)


def test_limit_settings_are_whole_steps_inside():
    assert settings_between(-0.34, 0.25, step_db=0.1) == pytest.approx([-0.3, -0.2, -0.1, 0.0, 0.1, 0.2])


def test_refusals():
    with pytest.raises(RangeError, match=r"confidence must lie between 0\.5 and 0\.999"):
        asked(-30.0, confidence=0.3)
    from tepui.chain.amplifiers.closed_form import convolve_terms

    narrow = convolve_terms(np.ones(64), step_hz=1e5)
    with pytest.raises(RangeError, match=r"shoulders need .* MHz from the centre"):
        view_waveform(narrow, occupied_width_hz=6.6e6, resolution_hz=1e4, highest_db=0.0, data_ratio=1.0)


# The closed form of an unfiltered waveform, side-lobes and their regrowth: near -34.8 dB without any amplifier.
class TestSignalThatBringsAShoulderAlong:
    setting = np.arange(-12.0, -5.0)
    true = drive_curve(transmitter, 10 ** (setting / 10), view_of_mode(MODE, filtered=False)).shoulder_db

    def fit(self, floors):
        n = len(self.setting)
        data = DriveData(
            setting_db=self.setting,
            shoulder_db=self.true,
            shoulder_std_db=np.full(n, 0.1),
            common_std_db=np.zeros(n),
            on_baseline=np.zeros(n, bool),
        )
        return fit_amplifier(data, view_of_mode(MODE), floors=floors)

    def test_limit_side_lobes_alone(self):
        assert sidelobe_shoulder_db(MODE) == pytest.approx(float(sidelobe_db([500e3], mode=MODE)[0]), abs=0.1)

    def test_law_the_crossing_is_that_of_the_whole_shoulder_and_the_floor_is_told(self):
        fit = self.fit(((sidelobe_shoulder_db(MODE), 0.7), (-44.0, 6.0)))
        odds, floor = fit.floor
        assert odds > 0.99
        assert floor.low <= sidelobe_shoulder_db(MODE) <= floor.high
        for target in (-32.0, -30.0, -28.0):
            found = crossing(fit, target_db=target, confidence=0.9, first=-12.0, last=-6.0, step_db=0.1)
            assert found.value == pytest.approx(np.interp(target, self.true, self.setting), abs=0.05)
        bare = drive_curve(transmitter, 10 ** (self.setting[-3:] / 10), view_of_mode(MODE)).shoulder_db
        assert fit.bare(self.setting[-3:]).value == pytest.approx(bare, abs=0.4)

    # A display cannot tell whose floor it is: the amplifier alone would cross later.
    def test_law_a_floor_that_may_be_the_receivers_widens_the_interval_upwards(self):
        fit = self.fit(((-44.0, 6.0),))
        sent, maybe = (
            crossing(fit, target_db=-31.0, confidence=0.9, first=-12.0, last=-6.0, step_db=0.1, is_sent=yes)
            for yes in (True, False)
        )
        alone = np.interp(-31.0, series("tr101290_db"), series("drive_db"))
        assert (maybe.value, maybe.low, maybe.recommended) == (sent.value, sent.low, sent.recommended)
        assert sent.high < alone < maybe.high


# [GUM-S1]: a mixture's even odds lie where half of its weight lies below, and are not its mean.
def test_limit_even_odds_of_a_mixture():
    mixed = Curves(weights=np.array([0.8, 0.2]), means=np.array([[-36.0], [-30.0]]), stds=np.full((2, 1), 0.1))
    assert mixed.at_odds(0.4)[0] == pytest.approx(-36.0, abs=1e-6)
    assert mixed.value[0] == pytest.approx(-36.0 + 0.1 * 0.3186, abs=1e-3)  # normal table: 0.625 lies below 0.3186
    assert mixed.at_odds(0.9)[0] == pytest.approx(-30.0, abs=1e-6)
    assert mixed.std[0] == pytest.approx(np.sqrt(0.8 * 0.2 * 36 + 0.01))
