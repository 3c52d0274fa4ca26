"""Search, settling and TPS reading on signals whose physical layer is known."""

from fractions import Fraction

import numpy as np
import pytest

from signals_made import made_recording
from tepui.chain.reception.acquire import Acquired, Nothing, acquire
from tepui.chain.reception.search import WIDTHS_HZ, bands, find_pilots, guard_peaks
from tepui.chain.reception.tps_reader import find_frames
from tepui.chain.waveform.transmit import Transmitter
from tepui.signals.dvbt.mode import Mode
from tepui.signals.dvbt.tps import tps_word
from tepui.signals.recording import recording_from_samples

MODE = Mode(
    width_hz=8e6, n_fft=2048, guard=Fraction(1, 8), constellation="16QAM", code_rate=Fraction(2, 3), cell_id=0x1234
)


def test_law_the_band_found_is_the_band_sent():
    recording, _ = made_recording(MODE, symbols=120, rate_hz=16e6, cn_db=15.0, offset_hz=2.5e6)
    found = bands(recording.read(0, 300_000), rate_hz=16e6, widths_hz=WIDTHS_HZ)
    assert found[0].width_hz == 8e6
    assert found[0].centre_hz == pytest.approx(2.5e6, abs=0.1e6)


@pytest.mark.parametrize("n_fft", [2048, 4096, 8192])
@pytest.mark.parametrize("denominator", [4, 8, 16, 32])
def test_law_every_size_and_guard_is_told_by_its_repetition(n_fft, denominator):
    mode = Mode(
        width_hz=8e6, n_fft=n_fft, guard=Fraction(1, denominator), constellation="QPSK", code_rate=Fraction(1, 2)
    )
    symbols = 8 * 8192 // n_fft + 12
    recording, _ = made_recording(mode, symbols=symbols, rate_hz=mode.sample_rate_hz, cn_db=6.0)
    best = guard_peaks(np.array(recording.read(0, recording.n_samples)))[0]
    assert (best.n_fft, best.guard) == (n_fft, Fraction(1, denominator))
    assert min(best.start % mode.n_symbol, -best.start % mode.n_symbol) <= mode.n_guard // 4 + 8


@pytest.mark.parametrize(("shift", "inverted", "first"), [(0, False, 0), (37, False, 3), (-60, True, 2), (5, True, 1)])
def test_law_pilots_tell_offset_orientation_and_phase(shift, inverted, first):
    modulator = Transmitter(MODE, start_symbol=first)
    packets = np.full((modulator.packets_needed(40), 188), 0x47, np.uint8)
    samples = modulator.push(packets)[: 40 * MODE.n_symbol]
    samples = samples * np.exp(2j * np.pi * shift / 2048 * np.arange(samples.size))
    rows = np.lib.stride_tricks.sliding_window_view(samples, 2048)[MODE.n_guard - 40 :: MODE.n_symbol]
    rows = np.conj(rows) if inverted else rows
    place = find_pilots(np.ascontiguousarray(rows, dtype=np.complex64), n_fft=2048, n_symbol=MODE.n_symbol)
    assert place is not None
    assert (place.shift, place.inverted, place.phase) == (shift, inverted, first % 4)
    assert place.slope == pytest.approx(0.0, abs=1e-5)


def test_law_no_pilots_in_noise():
    rng = np.random.default_rng(3)
    rows = (rng.normal(size=(60, 2048)) + 1j * rng.normal(size=(60, 2048))).astype(np.complex64)
    assert find_pilots(rows, n_fft=2048, n_symbol=2304) is None


def test_law_a_lock_is_settled_to_a_fraction_of_a_sample_and_followed_back():
    recording, _ = made_recording(MODE, symbols=300, rate_hz=10e6, cn_db=20.0, offset_hz=4321.0, clock_ppm=-40.0)
    samples = np.concatenate([np.zeros(300_000, np.complex64), recording.read(0, recording.n_samples)])
    noise = np.random.default_rng(5).normal(size=(samples.size, 2)).astype(np.float32).view(np.complex64)[:, 0]
    late = recording_from_samples("late", samples + noise * 1e-4, sample_rate_hz=10e6)
    found = acquire(late, begin=0, end=late.n_samples, floor=0, widths_hz=WIDTHS_HZ)
    assert isinstance(found, Acquired)
    base = found.settled.base
    assert base.offset_hz == pytest.approx(4321.0, abs=0.5)
    assert 10e6 * 7 / 64e6 / base.step - 1 == pytest.approx(-40e-6, abs=2e-8)
    # the signal begins 7.3 elementary periods before its first sample in the recording
    begins = (base.first - 300_000) / base.step + base.centre + 7.3
    assert begins / MODE.n_symbol == pytest.approx(round(begins / MODE.n_symbol), abs=1.5 / MODE.n_symbol)
    assert round(begins / MODE.n_symbol) in (0, 1)


def test_law_nothing_is_found_in_silence_and_in_a_line():
    rng = np.random.default_rng(7)
    noise = rng.normal(size=(400_000, 2)).astype(np.float32).view(np.complex64)[:, 0] * np.float32(0.01)
    for extra in (0.0, 0.3):
        samples = noise + np.complex64(extra) * np.exp(2j * np.pi * 0.11 * np.arange(noise.size)).astype(np.complex64)
        recording = recording_from_samples("nothing", samples, sample_rate_hz=8e6)
        found = acquire(recording, begin=0, end=recording.n_samples, floor=0, widths_hz=WIDTHS_HZ)
        assert isinstance(found, Nothing)
        assert (found.line_share > 0.5) is (extra > 0)


def _sums(first: int, count: int, *, noise: float = 0.0) -> np.ndarray:
    words = np.concatenate([tps_word(MODE, frame) for frame in range(4)])
    bits = words[(first + np.arange(count)) % 272]
    sums = (1.0 - 2.0 * bits) * 17 + np.random.default_rng(8).normal(size=count) * noise
    sums[0] = 0.0
    return sums


# [EN300744] 4.6: words as tps_word builds them, which tests/signals/dvbt hold to recorded ones.
@pytest.mark.parametrize(
    ("first", "count", "proved"), [(0, 272, True), (50, 150, True), (30, 75, False), (67, 60, False), (200, 45, False)]
)
def test_law_frames_are_read_from_whole_and_from_parts(first, count, proved):
    found = find_frames(_sums(first, count, noise=5.0), n_fft=2048, n_guard=256)
    assert found is not None
    assert found.proved is proved
    assert found.symbol_in_superframe(0) == first % 272
    assert found.fields.constellation == "16QAM"
    assert found.fields.code_rate == Fraction(2, 3)
    if count >= 150:
        assert found.cell_id == 0x1234


def test_law_frames_that_contradict_the_physical_layer_are_refused():
    assert find_frames(_sums(0, 272), n_fft=8192, n_guard=1024) is None
    assert find_frames(_sums(0, 272), n_fft=2048, n_guard=512) is None
    assert find_frames(np.random.default_rng(9).normal(size=272) * 17, n_fft=2048, n_guard=256) is None
