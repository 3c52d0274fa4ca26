import numpy as np
import pytest
from evidence_signals import drive_series, shaped_noise

from tepui.evidence.lines import discrete_lines
from tepui.ground.errors import ChoiceError
from tepui.signals.recording import recording_from_samples
from tepui.signals.spectrum import spectrum_of_recording

RATE_HZ = 4e6


def with_tones(density, tones, *, n=400_000, seed=1):
    recording = shaped_noise(density, n=n, rate_hz=RATE_HZ, seed=seed)
    turn = 2j * np.pi / RATE_HZ * np.arange(n)
    added = sum(10 ** (level_db / 20) * np.exp(turn * frequency_hz + 1j) for frequency_hz, level_db in tones)
    return recording_from_samples("tones", recording.read(0, n) + added, sample_rate_hz=RATE_HZ)


def steps(frequency_hz):
    return np.where(np.abs(frequency_hz) < 1e6, 1e-8, 1e-12)


# The tones put in are the truth: frequency, and power whatever the window and resolution.
@pytest.mark.parametrize(("window", "resolution_hz"), [("hann", 500), ("blackman-harris", 2000), ("flat-top", 1000)])
def test_law_frequency_and_power_do_not_depend_on_window_and_resolution(window, resolution_hz):
    tones = [(0.3217e6, -35.0), (1.4321e6, -70.0), (-1.61e6, -62.0)]
    recording = with_tones(steps, tones)
    spectrum = spectrum_of_recording(recording, resolution_bandwidth_hz=resolution_hz, window=window)
    found = discrete_lines(spectrum, reference_power=1e-3)
    assert len(found) == 3
    for line, (frequency_hz, level_db) in zip(found, sorted(tones, key=lambda tone: -tone[1]), strict=True):
        assert line.frequency_hz.value == pytest.approx(frequency_hz, abs=0.1 * spectrum.bin_hz)
        assert abs(line.frequency_hz.value - frequency_hz) < 4 * line.frequency_hz.std
        assert line.level_dbc.value == pytest.approx(level_db + 30, abs=0.3)


def test_law_the_doubt_of_level_and_frequency_is_true():
    level, frequency = [], []
    for seed in range(30):
        recording = with_tones(steps, [(0.5013e6, -38.0)], n=100_000, seed=seed)
        spectrum = spectrum_of_recording(recording, resolution_bandwidth_hz=2000, window="blackman-harris")
        (line,) = discrete_lines(spectrum, reference_power=1.0)
        level.append(line.level_dbc.low <= -38.0 <= line.level_dbc.high)
        frequency.append(line.frequency_hz.low <= 0.5013e6 <= line.frequency_hz.high)
    assert sum(level) >= 26
    assert sum(frequency) >= 26


def test_limit_a_steep_edge_and_plain_noise_are_no_lines():
    spectrum = spectrum_of_recording(with_tones(steps, []), resolution_bandwidth_hz=1000, window="blackman-harris")
    assert discrete_lines(spectrum, reference_power=1.0) == ()


def test_published_drive_series_has_no_lines():
    recording, _ = drive_series(1)  # data/captures/a4_drive.md: no line was put in
    spectrum = spectrum_of_recording(recording, resolution_bandwidth_hz=6e3, window="blackman-harris")
    assert discrete_lines(spectrum, reference_power=spectrum.power) == ()


def test_what_is_to_be_ignored_is():
    recording = with_tones(steps, [(1.4321e6, -70.0), (-1.61e6, -62.0)])
    spectrum = spectrum_of_recording(recording, resolution_bandwidth_hz=1000, window="blackman-harris")
    (line,) = discrete_lines(spectrum, reference_power=1.0, ignore_hz=[1.432e6])
    assert line.frequency_hz.value < 0


def test_a_rectangular_window_is_refused():
    spectrum = spectrum_of_recording(with_tones(steps, []), resolution_bandwidth_hz=1000, window="rectangular")
    with pytest.raises(ChoiceError, match="window must be hann, blackman-harris or flat-top"):
        discrete_lines(spectrum, reference_power=1.0)
