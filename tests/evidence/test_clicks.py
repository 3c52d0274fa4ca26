import math
from fractions import Fraction

import numpy as np
import pytest
import scipy.signal

from tepui.chain.waveform.transmit import Transmitter
from tepui.evidence.clicks import LEAST_LIKENESS, clicks_of, expected_sidelobes, with_clicks
from tepui.evidence.floor import Floor
from tepui.evidence.shoulders import shoulders
from tepui.jobs.drive_recordings import measure
from tepui.signals.dvbt.carriers import mean_powers, pilot_carriers, pilot_values
from tepui.signals.dvbt.mode import Mode
from tepui.signals.recording import recording_from_samples
from tepui.signals.spectrum import spectrum_of_recording

MORE = 2  # samples in an elementary period
RATE_HZ = 16e6  # at 7 MHz


def mode_of(width_mhz=7, n_fft=2048, guard="1/8"):
    return Mode(width_hz=width_mhz * 1e6, n_fft=n_fft, guard=Fraction(guard), constellation="64QAM",
                code_rate=Fraction(2, 3))  # fmt: skip


def waveform(carriers, mode, *, more=MORE):
    """Symbols by numpy's transform, one behind the other, at ``more`` samples an elementary period."""
    half, size = (mode.n_carriers - 1) // 2, more * mode.n_fft
    spectrum = np.zeros((len(carriers), size), complex)
    spectrum[:, : half + 1], spectrum[:, size - half :] = carriers[:, half:], carriers[:, :half]
    useful = np.fft.ifft(spectrum, axis=1) * size
    return np.concatenate([useful[:, size - more * mode.n_guard :], useful], axis=1).ravel()


# Pilots repeat after four symbols, so that their spectrum is exact by one transform; data by the mean of sinc^2, from
# hand: sum of power / (2 pi^2 Ts d^2).
@pytest.mark.parametrize(("n_fft", "guard"), [(2048, "1/4"), (2048, "1/8"), (8192, "1/32")])
@pytest.mark.parametrize("sign", [-1, 1])
def test_tool_mean_side_lobes_of_pilots_and_data(n_fft, guard, sign):
    mode = mode_of(n_fft=n_fft, guard=guard)
    values, pilots = pilot_values(n_fft), np.zeros((4, mode.n_carriers))
    for phase in range(4):
        pilots[phase, pilot_carriers(n_fft, phase)] = values[pilot_carriers(n_fft, phase)]
    lines = np.abs(np.fft.fft(waveform(pilots, mode, more=8)) / (8 * 4 * mode.n_symbol)) ** 2
    step = 1 / (4 * mode.symbol_s)
    centre = mode.occupied_width_hz / 2 + 500e3
    where = np.rint(sign * np.arange(centre - 50e3, centre + 50e3, step) / step).astype(int)
    known = float(lines[where].sum()) / (len(where) * step)
    offset = sign * np.linspace(centre - 50e3, centre + 50e3, 51)
    number = np.arange(mode.n_carriers) - (mode.n_carriers - 1) // 2
    data = 1 - np.count_nonzero(pilots, axis=0) / 4
    away = offset[:, None] - number * mode.carrier_spacing_hz
    rest = float(np.mean((1 / (2 * np.pi**2 * mode.symbol_s * away**2)) @ data))
    in_band = float(mean_powers(n_fft).mean()) / mode.carrier_spacing_hz
    found = float(np.mean([expected_sidelobes(mode, float(place)) for place in offset]))
    assert 10 * math.log10(found) == pytest.approx(10 * math.log10((known + rest) / in_band), abs=0.1)


def sent(mode, *, n_symbols, seed, filtered, ibo_db=11.0, is_interpolated=False):
    """A piece of a random transport stream through a smooth limit, numpy alone behind the carriers."""
    rng = np.random.default_rng(seed)
    source = Transmitter(mode)
    packets = rng.integers(0, 256, (source.packets_needed(n_symbols + 40), 188), dtype=np.uint8)
    packets[:, :4] = (0x47, 1, 0, 0x10)
    carriers = source.carriers(packets)[40:]
    x = waveform(carriers, mode, more=1 if is_interpolated else 4)
    if is_interpolated:
        x = scipy.signal.resample(x, 4 * len(x))
    if filtered:
        lines = np.fft.fft(x)
        lines[np.abs(np.fft.fftfreq(len(x), 1 / len(x))) > len(x) / 4 / mode.n_fft * (mode.n_carriers / 2 + 10)] = 0
        x = np.fft.ifft(lines)
    x *= 10 ** (-ibo_db / 20) / np.sqrt(np.mean(np.abs(x) ** 2))
    y = np.fft.fft(x * (1 + np.abs(x) ** 4) ** -0.25)
    quarter = len(y) // 4
    samples = np.fft.ifft(np.concatenate([y[:quarter], y[-quarter:]]))
    return (0.1 / np.sqrt(np.mean(np.abs(samples) ** 2)) * samples).astype(np.complex64)


def looked(samples, mode):
    return clicks_of(
        samples,
        sample_rate_hz=RATE_HZ,
        centre_offset_hz=0.0,
        mode=mode,
        symbols_s=(mode.useful_s, mode.guard_s),
        floor_density=0.0,
    )


def read(samples, mode):
    recording = recording_from_samples("short", samples, sample_rate_hz=RATE_HZ)
    both = shoulders(
        spectrum_of_recording(recording, resolution_bandwidth_hz=mode.carrier_spacing_hz / 2),
        centre_offset_hz=0.0,
        occupied_width_hz=mode.occupied_width_hz,
        carrier_spacing_hz=mode.carrier_spacing_hz,
        floor=Floor(density=1e-20, std=1e-21, at_most=False, method="none"),
        unrest=0.1,
    )
    return both.lower, both.upper


def test_law_a_filtered_signal_is_left_as_it_is():
    mode = mode_of()
    samples = sent(mode, n_symbols=60, seed=3, filtered=True)
    both = looked(samples, mode)
    assert both is not None
    for side, clicks in zip(read(samples, mode), both, strict=True):
        assert side.corrected is not None
        assert with_clicks(side, clicks).corrected.value == pytest.approx(side.corrected.value, abs=0.02)


# What short pieces say apart from one another is chance: it must shrink, and their mean must stay.
def test_law_side_lobes_at_their_mean_bring_short_recordings_together():
    mode = mode_of()
    plain, moved = [], []
    for seed in range(5):
        samples = sent(mode, n_symbols=60, seed=seed, filtered=False, ibo_db=13.0)
        both = looked(samples, mode)
        assert both is not None
        for side, clicks in zip(read(samples, mode), both, strict=True):
            after = with_clicks(side, clicks).corrected
            assert clicks.likeness > LEAST_LIKENESS
            assert after is not None
            assert side.corrected is not None
            assert after.std < side.corrected.std
            plain.append(side.corrected.value)
            moved.append(after.value)
    assert np.std(moved) < 0.7 * np.std(plain)
    assert np.mean(moved) == pytest.approx(np.mean(plain), abs=2 * np.std(plain) / math.sqrt(10))


# A modulator that works at one sample an elementary period and interpolates: side-lobes of the other edge fold back.
@pytest.mark.parametrize("is_interpolated", [False, True])
def test_law_clicks_go_with_the_jumps_sent(is_interpolated):
    mode = mode_of()
    samples = sent(mode, n_symbols=60, seed=2, filtered=False, ibo_db=15.0, is_interpolated=is_interpolated)
    both = looked(samples, mode)
    assert both is not None
    assert min(side.likeness for side in both) > 0.8


# By the job as a drive series calls it: received blind, the move told, both sides by what their own clicks say.
def test_law_a_recording_says_by_how_much_it_was_moved():
    mode = mode_of()
    noise = np.random.default_rng(5).standard_normal((2, 80 * MORE * mode.n_symbol)) * 1e-4
    samples = sent(mode, n_symbols=80, seed=0, filtered=False, ibo_db=13.0)
    samples = (samples + (noise[0] + 1j * noise[1])[: len(samples)]).astype(np.complex64)
    found = measure(recording_from_samples("short", samples, sample_rate_hz=RATE_HZ), workers=1)
    moved = next(finding for finding in found.findings if finding.key == "sidelobes_moved_db")
    both = looked(samples, mode)
    assert both is not None
    assert moved.value == pytest.approx(max((side.change_db for side in both), key=abs), abs=0.05)
    for side, clicks in zip(("lower", "upper"), both, strict=True):
        level = found.sides[side]
        assert level.true is not None
        assert level.true.value - level.shown_db == pytest.approx(clicks.change_db, abs=0.25)


def test_limit_too_few_symbols_say_nothing():
    mode = mode_of()
    samples = sent(mode, n_symbols=12, seed=1, filtered=False)
    assert looked(samples, mode) is None
