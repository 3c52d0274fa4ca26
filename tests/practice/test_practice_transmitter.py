"""The waveform between its samples, and an amplifier whose products stay where they belong."""

import csv
from pathlib import Path

import numpy as np
import pytest
import scipy.signal

from tepui.chain.amplifiers.models import cubic, rapp
from tepui.ground.errors import RangeError
from tepui.practice.blocks import faded, roll_off
from tepui.practice.chirp import ChirpReader
from tepui.practice.transmitter import TransmittedSignal, oversample

DATA = Path(__file__).resolve().parents[1] / "data" / "practice"
RATE_HZ = 64e6 / 7


def _straight(envelope):
    return envelope


def _noise_band(n, *, share, seed):
    """A periodic signal that fills |f| < share of the rate, mean power 1."""
    generator = np.random.default_rng(seed)
    spectrum = np.zeros(n, np.complex128)
    half = int(share * n)
    bins = np.arange(-half, half + 1)
    spectrum[bins] = generator.normal(size=len(bins)) + 1j * generator.normal(size=len(bins))
    samples = np.fft.ifft(spectrum)
    return (samples / np.sqrt(np.mean(np.abs(samples) ** 2))).astype(np.complex64)


@pytest.mark.parametrize("factor", [2, 3, 4])
def test_tool_oversampling_equals_that_of_scipy(factor):
    piece = _noise_band(4096, share=0.42, seed=1)
    assert oversample(piece, factor=factor) == pytest.approx(scipy.signal.resample(piece, 4096 * factor), abs=3e-5)


def test_law_reading_in_pieces_gives_the_whole():
    signal = TransmittedSignal(
        waveform=_noise_band(20_000, share=0.416, seed=2), elementary_rate_hz=RATE_HZ, amplifier=_straight, drive_w=1.0
    )
    whole = signal.read(8000, 60_000)
    pieces = np.concatenate([signal.read(8000 + at, 7_500) for at in range(0, 60_000, 7_500)])
    assert pieces == pytest.approx(whole, abs=2e-5)  # -94 dB of the mean level
    periodic = oversample(_noise_band(20_000, share=0.416, seed=2), factor=4)
    assert whole == pytest.approx(periodic[8000:68_000], abs=2e-5)


def test_law_drive_and_gain_set_the_power():
    signal = TransmittedSignal(
        waveform=_noise_band(200_000, share=0.416, seed=3),
        elementary_rate_hz=RATE_HZ,
        amplifier=lambda x: rapp(x, gain_ratio=1000.0, saturated_w=1e6, smoothness=3.0),
        drive_w=2e-3,
    )
    assert signal.mean_w == pytest.approx(2.0, rel=2e-3)
    assert (signal.rate_hz, signal.n_samples) == (4 * RATE_HZ, 800_000)


# Two tones at 0.10 and 0.42 of the rate: the cubic's products lie at 0.74 and -0.22. At the elementary rate the
# first would fold to -0.26, where nothing belongs.
def test_law_products_do_not_fold_back():
    n, oip3_w = 1 << 16, 100.0
    first, second = int(0.10 * n), int(0.42 * n)
    turns = np.arange(n) / n
    tones = (np.exp(2j * np.pi * first * turns) + np.exp(2j * np.pi * second * turns)).astype(np.complex64)
    signal = TransmittedSignal(
        waveform=np.tile(tones / np.sqrt(2), 3).astype(np.complex64),
        elementary_rate_hz=RATE_HZ,
        amplifier=lambda x: cubic(x, gain_ratio=1.0, oip3_w=oip3_w),
        drive_w=2.0,  # 1 W in each tone: products 40 dB below
    )
    lines = np.abs(np.fft.fft(signal.read(4 * n, 4 * n)) / (4 * n)) ** 2
    tone_w = lines[first]
    assert 10 * np.log10(lines[2 * second - first] / tone_w) == pytest.approx(-40, abs=0.3)
    assert 10 * np.log10(lines[2 * first - second] / tone_w) == pytest.approx(-40, abs=0.3)
    folded = (2 * second - first) - n
    assert 10 * np.log10(lines[folded - 3 : folded + 4].max() / tone_w) < -95


def _ofdm(n_symbols, seed):
    """8 MHz 8K symbols of 64QAM-like cells: (n_symbols, 6817) and their waveform without guard."""
    generator = np.random.default_rng(seed)
    levels = np.array([-7, -5, -3, -1, 1, 3, 5, 7]) / np.sqrt(42)
    cells = generator.choice(levels, (n_symbols, 6817)) + 1j * generator.choice(levels, (n_symbols, 6817))
    spectrum = np.zeros((n_symbols, 8192), np.complex128)
    spectrum[:, np.arange(-3408, 3409)] = cells
    waveform = np.fft.ifft(spectrum, axis=1) * 8192 / np.sqrt(6817)
    return cells, waveform.astype(np.complex64)


ROWS = list(csv.DictReader((DATA / "rapp_ofdm.csv").read_text(encoding="utf-8").splitlines()))


# Rows of an independent simulation (tests/data/practice/README.md), scatter about 0.2 dB on either side. One period of
# each symbol is looked at, so that the symbols' own side lobes do not add to the shoulders.
@pytest.mark.parametrize("row", ROWS, ids=lambda row: f"p {row['p']} back-off {row['ibo_db']} dB")
def test_tool_shoulders_and_mer_of_a_driven_amplifier(row):
    cells, waveform = _ofdm(20, seed=4)
    lines, output_w = [], []
    for symbol in waveform:
        signal = TransmittedSignal(
            waveform=np.tile(symbol, 3),
            elementary_rate_hz=RATE_HZ,
            amplifier=lambda x: rapp(x, gain_ratio=1.0, saturated_w=1.0, smoothness=float(row["p"])),
            drive_w=10 ** (-float(row["ibo_db"]) / 10),
        )
        period = signal.read(4 * 8192, 4 * 8192)
        lines.append(np.fft.fft(period) / len(period))
        output_w.append(np.mean(np.abs(period) ** 2))
    assert -10 * np.log10(np.mean(output_w)) == pytest.approx(float(row["obo_db"]), abs=0.1)
    heard = np.array(lines)[:, np.arange(-3408, 3409)]
    factor = np.vdot(cells, heard) / np.vdot(cells, cells)
    error = heard / factor - cells
    mer_db = 10 * np.log10(np.mean(np.abs(cells) ** 2) / np.mean(np.abs(error) ** 2))
    assert mer_db == pytest.approx(float(row["mer_db"]), abs=0.4)
    density = np.mean(np.abs(lines) ** 2, axis=0)
    beyond_hz = np.abs(np.fft.fftfreq(4 * 8192, 1 / signal.rate_hz)) - 3408 * RATE_HZ / 8192
    shoulder = density[(beyond_hz > 300e3) & (beyond_hz < 700e3)].mean() / density[beyond_hz <= 0].mean()
    assert -10 * np.log10(shoulder) == pytest.approx(float(row["shoulder_db"]), abs=0.4)


def test_law_the_chirp_reads_what_the_sum_says():
    generator = np.random.default_rng(5)
    spectrum = (generator.normal(size=301) + 1j * generator.normal(size=301)).astype(np.complex64)
    reader = ChirpReader(n_block=1024, n_bins=301, step=3.2000192, n_out=250)
    times = 71.375 + 3.2000192 * np.arange(250)
    expected = np.exp(2j * np.pi * np.outer(times, np.arange(-150, 151)) / 1024) @ spectrum / 1024
    assert reader.read(spectrum, first=71.375) == pytest.approx(expected, abs=2e-5 * np.abs(expected).max())


def test_law_a_faded_tone_does_not_leak():
    n = 4096
    tone = np.exp(2j * np.pi * 0.1234567 * np.arange(n)).astype(np.complex64)
    far = np.abs(np.abs(np.fft.fftfreq(n)) - 0.25) < 0.05
    bare, soft = (np.abs(np.fft.fft(piece)[far]).max() for piece in (tone, faded(tone)))
    assert 20 * np.log10(soft / bare) < -40


def test_limit_roll_off():
    shape = roll_off(np.array([0.0, -4.0, 4.5, -5.0, 9.0]), pass_edge=4.0, stop_edge=5.0)
    assert shape == pytest.approx([1, 1, 0.5, 0, 0])


def test_limit_too_little_oversampling_is_refused():
    with pytest.raises(RangeError, match="oversampling of at least 2, not 1"):
        TransmittedSignal(
            waveform=np.ones(10, np.complex64), elementary_rate_hz=1.0, amplifier=_straight, drive_w=1.0, factor=1
        )
