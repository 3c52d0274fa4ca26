"""Levels that a simulated display shows of a signal whose shoulders, line and power are known."""

import math
from fractions import Fraction

import numpy as np
import pytest

from tepui.evidence.screen import Display, ScreenReading, band_of, channel_power, side_of
from tepui.evidence.screen_line import line_of
from tepui.ground.doubt import estimate
from tepui.signals.dvbt.mode import Mode
from tepui.signals.dvbt.pilot_rise import pilot_rise_db
from tepui.signals.resolution import resolution

MODE = Mode(width_hz=7e6, n_fft=8192, guard=Fraction(1, 32), constellation="QPSK", code_rate=Fraction(2, 3))
RATE_HZ = 16e6
EDGE_HZ = MODE.occupied_width_hz / 2
SHOULDER_DB, SLOPE_DB_PER_HZ = -34.0, -8e-6  # at 500 kHz over the mean in band, falling outwards
NOISE_DB = -38.0
LINE_HZ, LINE_DB = 5.5e6, -45.0  # over the signal's power
STD = 0.02


class SimulatedDisplay:
    """A swept display written down anew: one realisation, resolution filters as products, detectors as means."""

    def __init__(self, *, shape, width_hz, size, seed=7):
        rng = np.random.default_rng(seed)
        self.size = size
        self.frequency = np.fft.fftfreq(self.size, 1 / RATE_HZ)
        away = np.abs(self.frequency) - EDGE_HZ
        density = np.where(away <= 0, 1.0, 10 ** ((SHOULDER_DB + (away - 500e3) * SLOPE_DB_PER_HZ) / 10))
        self.density, self.shape, self.width_hz = density, shape, width_hz
        self.noise = 10 ** (NOISE_DB / 10)
        draw = rng.standard_normal((2, self.size))
        self.spectrum = (draw[0] + 1j * draw[1]) * np.sqrt((density + self.noise) / 2)
        draw = rng.standard_normal((2, self.size))
        self.terminated = (draw[0] + 1j * draw[1]) * math.sqrt(self.noise / 2)
        signal_power = 2 * EDGE_HZ / RATE_HZ * self.size
        self.line = math.sqrt(signal_power * 10 ** (LINE_DB / 10))

    def shows(self, where_hz, detector, *, spectrum=None, line=False):
        spectrum = self.spectrum if spectrum is None else spectrum
        step = RATE_HZ / self.size
        middle, reach = round(where_hz / step), 1 << math.ceil(math.log2(10 * self.width_hz / step))
        index = np.arange(middle - reach, middle + reach)
        x = (index - middle) * step / self.width_hz
        four_poles = (1 + 2j * math.sqrt(2**0.25 - 1) * x) ** -4
        amplitude = 0.5 ** (2 * x**2) if self.shape == "gaussian" else four_poles
        part = spectrum[index % self.size] * amplitude
        if line:
            part[reach] += self.line
        voltage = np.fft.ifft(np.fft.ifftshift(part)) * len(part) / self.size
        power = np.abs(voltage) ** 2
        return {
            "power": 10 * np.log10(power.mean()),
            "log": (10 * np.log10(power)).mean(),
            "linear": 20 * np.log10(np.abs(voltage).mean()),
        }[detector]

    def reading(self, detector, *, offsets=(500e3,), shape):
        middle = np.mean([self.shows(f, detector) for f in np.linspace(-2.5e6, 2.5e6, 21)])
        levels = [np.mean([self.shows(sign * (EDGE_HZ + away), detector) for sign in (-1, 1)]) for away in offsets]
        noise = np.mean([self.shows(f, detector, spectrum=self.terminated) for f in np.linspace(-3e6, 3e6, 11)])
        return ScreenReading(
            display=Display(detector=detector, resolution=resolution(width_hz=self.width_hz, shape=shape)),
            top=estimate(float(middle), reading=STD),
            is_middle=True,
            noise=estimate(float(noise), reading=STD),
            shoulders={"worst": [estimate(float(one), reading=STD) for one in levels]},
            line=estimate(float(self.shows(LINE_HZ, detector, line=True)), reading=STD),
            beside=estimate(float(self.shows(LINE_HZ + 8 * self.width_hz, detector)), reading=STD),
            mode=MODE,
        )


@pytest.fixture(scope="module")
def narrow():
    return SimulatedDisplay(shape="gaussian", width_hz=30e3, size=1 << 21)


# The truth is what the simulation was made with. 3000 independent values a point leave 0.1 dB of scatter in decibels.
@pytest.mark.parametrize("detector", ["power", "log", "linear"])
def test_law_every_detector_finds_the_same_shoulder_power_and_line(narrow, detector):
    reading = narrow.reading(detector, shape="gaussian")
    band = band_of(reading)
    side = side_of(reading, reading.shoulders["worst"], band)
    assert side.true.value + pilot_rise_db(8192) == pytest.approx(SHOULDER_DB, abs=0.35)
    assert side.shown.value - side.true.value == pytest.approx(10 * math.log10(1 + 10**-0.4), abs=0.15)
    power = channel_power(reading, band)
    assert power.value == pytest.approx(10 * math.log10(2 * EDGE_HZ / RATE_HZ / narrow.size), abs=0.2)
    assert line_of(reading, band).over_signal.value == pytest.approx(LINE_DB, abs=0.3)


def test_law_three_levels_give_the_line_through_them(narrow):
    reading = narrow.reading("power", offsets=(300e3, 500e3, 700e3), shape="gaussian")
    side = side_of(reading, reading.shoulders["worst"], band_of(reading))
    assert side.true.value + pilot_rise_db(8192) == pytest.approx(SHOULDER_DB, abs=0.35)


def test_law_what_a_wide_filter_passes_of_the_channel_is_taken_off_or_a_bound():
    wide = SimulatedDisplay(shape="4-pole", width_hz=150e3, size=1 << 19)
    reading = wide.reading("power", shape="4-pole")
    side = side_of(reading, reading.shoulders["worst"], band_of(reading))
    assert side.off_db["filter"] > 0.3
    assert side.true.value + pilot_rise_db(8192) == pytest.approx(SHOULDER_DB, abs=0.3)
    assert side.low_db + pilot_rise_db(8192) < SHOULDER_DB < side.high_db + pilot_rise_db(8192)
    wider = SimulatedDisplay(shape="4-pole", width_hz=300e3, size=1 << 18).reading("power", shape="4-pole")
    side = side_of(wider, wider.shoulders["worst"], band_of(wider))
    assert side.true is None
    assert side.hidden_by == "filter"
    assert side.high_db + pilot_rise_db(8192) > SHOULDER_DB


# |a + b| of two voltages lies between the difference and the sum of their amplitudes: turned through all phases.
@pytest.mark.parametrize("turn", np.linspace(0, np.pi, 7))
def test_law_a_baseline_of_any_phase_leaves_the_truth_in_the_interval(turn):
    true_db, own_db = -34.0, -41.0
    shown = 20 * math.log10(abs(10 ** (true_db / 20) + 10 ** (own_db / 20) * np.exp(1j * turn)))
    reading = ScreenReading(
        display=Display(detector="power"), top=estimate(0.0), baseline=estimate(own_db, reading=0.01),
        shoulders={"worst": [estimate(shown, reading=0.01)]},
    )  # fmt: skip
    side = side_of(reading, reading.shoulders["worst"], band_of(reading))
    if side.true is None:
        assert true_db < side.high_db
        assert side.hidden_by == "baseline"
    else:
        assert side.low_db <= true_db <= side.high_db
        assert side.low_db <= side.true.value <= side.high_db


def test_law_averaging_tells_what_the_top_picks_of_the_scatter():
    width = resolution(width_hz=30e3, shape="gaussian")
    points = round(MODE.occupied_width_hz / width.noise_bandwidth_hz)
    rng = np.random.default_rng(3)
    for averages in (20, 200):
        traces = 10 * np.log10(rng.gamma(averages, 1 / averages, (2000, points)))
        top = float(traces.max(axis=1).mean())
        reading = ScreenReading(
            display=Display(detector="power", resolution=width, averages=averages), top=estimate(top), mode=MODE
        )
        assert band_of(reading).mean.value == pytest.approx(-0.17, abs=0.2)  # of pilots, which these traces lack
