"""The resampler against tones whose value is known at any time."""

import numpy as np
import pytest

from tepui.files.recordings import open_recording
from tepui.ground.errors import RangeError
from tepui.signals.recording import recording_from_samples
from tepui.signals.resample import design_interpolator, read_rows, turn_back, turned_back, whole_rows


@pytest.mark.parametrize("share", [0.05, 0.5, 0.9, 1.0])
@pytest.mark.parametrize(("rate_in_hz", "rate_out_hz", "half_width_hz"), [(10e6, 64e6 / 7, 3.81e6), (8e6, 8e6, 3.33e6)])
def test_law_a_tone_in_the_band_is_read_between_its_samples(rate_in_hz, rate_out_hz, half_width_hz, share):
    interpolator = design_interpolator(rate_in_hz=rate_in_hz, rate_out_hz=rate_out_hz, half_width_hz=half_width_hz)
    cycles = share * half_width_hz / rate_in_hz
    tone = np.exp(2j * np.pi * cycles * np.arange(9000)).astype(np.complex64)
    parts = turn_back(tone, cycles_per_sample=0.0, first=0)
    step = rate_in_hz / rate_out_hz * 1.00001
    starts = np.array([100.37, 2000.81])
    rows = read_rows(parts, starts=starts, step=step, count=3000, interpolator=interpolator)
    times = starts[:, None] + np.arange(3000)[None, :] * step
    error = np.mean(np.abs(rows - np.exp(2j * np.pi * cycles * times)) ** 2)
    assert 10 * np.log10(error) < -90


def test_law_what_would_alias_into_the_band_is_closed_out():
    interpolator = design_interpolator(rate_in_hz=20e6, rate_out_hz=64e6 / 7, half_width_hz=3.81e6)
    outside = np.exp(2j * np.pi * (64 / 7 - 3.8) / 20 * np.arange(9000)).astype(np.complex64)
    rows = read_rows(
        turn_back(outside, cycles_per_sample=0.0, first=0),
        starts=np.array([200.0]),
        step=20 * 7 / 64,
        count=3000,
        interpolator=interpolator,
    )
    assert 10 * np.log10(np.mean(np.abs(rows) ** 2)) < -95


def test_law_turning_back_is_true_over_any_length_and_cut():
    rng = np.random.default_rng(2)
    samples = (rng.normal(size=5000) + 1j * rng.normal(size=5000)).astype(np.complex64)
    first = 10**9 + 17
    exact = samples * np.exp(-2j * np.pi * ((0.123456789 * (first + np.arange(5000))) % 1.0))
    real, imag = turn_back(samples, cycles_per_sample=0.123456789, first=first)
    assert np.abs(real + 1j * imag - exact).max() < 1e-5
    real, imag = turn_back(samples, cycles_per_sample=0.0, first=0, conjugate=True)
    assert np.array_equal(real + 1j * imag, np.conj(samples))


def test_message_no_room_beside_the_band():
    with pytest.raises(RangeError, match=r"a band 7\.6 MHz wide needs a sample rate above it \(Nyquist\), not 7 MS/s"):
        design_interpolator(rate_in_hz=7e6, rate_out_hz=64e6 / 7, half_width_hz=3.8e6)
    interpolator = design_interpolator(rate_in_hz=8e6, rate_out_hz=8e6, half_width_hz=3e6)
    parts = turn_back(np.ones(100, np.complex64), cycles_per_sample=0.0, first=0)
    with pytest.raises(RangeError, match="reach outside a block of 100 samples"):
        read_rows(parts, starts=np.array([0.0]), step=1.0, count=90, interpolator=interpolator)


def test_law_stored_codes_give_the_same_as_samples(tmp_path):
    codes = np.random.default_rng(3).integers(-20000, 20000, (6000, 2)).astype("<i2")
    path = tmp_path / "codes.raw"
    codes.tofile(path)
    stored = open_recording(path, sample_type="ci16_le", rate_hz=1e6)
    plain = recording_from_samples("plain", stored.read(0, 6000), sample_rate_hz=1e6)
    starts = np.array([3, 1500])
    for begin in (0, 711):
        options = {"begin": begin, "cycles_per_sample": 0.0123456}
        rows = [whole_rows(one, length=4000, starts=starts, count=2000, **options) for one in (stored, plain)]
        assert np.abs(rows[0] - rows[1]).max() < 1e-6
        exact = plain.read(begin + 1500, 2000) * np.exp(-2j * np.pi * 0.0123456 * (begin + 1500 + np.arange(2000)))
        assert np.abs(rows[0][1] - exact).max() < 1e-5
        parts = [turned_back(one, count=4000, **options) for one in (stored, plain)]
        assert np.abs(parts[0][0] - parts[1][0]).max() < 1e-6
        assert np.abs(parts[0][1] - parts[1][1]).max() < 1e-6
