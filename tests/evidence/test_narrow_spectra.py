import dataclasses

import numpy as np
import pytest
from sweep_signals import from_codes, recording_of, spectra_of, truth

from tepui.evidence.narrow import narrow_spectra
from tepui.ground.errors import RangeError

RATE = 2.4e6


def one_sided(n, seed, *, share=0.35):
    """Noise in the upper part of the band only, so that its image falls on nothing."""
    rng = np.random.default_rng(seed)
    spectrum = rng.standard_normal(n) + 1j * rng.standard_normal(n)
    frequency = np.fft.fftfreq(n)
    spectrum[(frequency < 0.05) | (frequency > 0.05 + share)] = 0
    samples = np.fft.ifft(spectrum)
    return samples / np.sqrt(np.mean(np.abs(samples) ** 2))


def spectrum_of(*recordings, **kwargs):
    return narrow_spectra(recordings, resolution_bandwidth_hz=3500.0, usable_share=0.8, **kwargs)


# An image of 0.02 exp(0.7j) put in: its ratio and what is left of it after removal.
def test_law_image_is_found_and_removed():
    ratio = 0.02 * np.exp(0.7j)
    samples = 0.1 * one_sided(400_000, 4)
    (found,) = spectrum_of(recording_of(samples + ratio * np.conj(samples)))
    assert abs(found.image - ratio) < 3 * found.image_std < 0.006
    offset = found.frequency_hz - found.tuned_hz
    wanted = found.density[(offset > 0.1 * RATE) & (offset < 0.35 * RATE)].mean()
    mirrored = found.density[(offset < -0.1 * RATE) & (offset > -0.35 * RATE)].mean()
    assert 10 * np.log10(mirrored / wanted) < -50  # -34 dB before


# A recording below four steps rms takes the image that the strong ones show: alone it sees rounding.
def test_limit_weak_recordings_use_the_image_of_the_strong():
    ratio = 0.018
    strong = one_sided(200_000, 5) * 20
    weak = one_sided(200_000, 6) * 0.6
    recordings = []
    for name, samples in (("strong", strong), ("weak", weak)):
        seen = samples + ratio * np.conj(samples)
        codes = np.rint(np.stack([seen.real, seen.imag], axis=1) + np.array([128.1, 127.0]))
        recordings.append(from_codes(codes, name=name, frequency_hz=1e9))
    found = spectrum_of(*recordings)
    assert found[0].image == found[1].image
    assert abs(found[0].image - ratio) < 3 * found[0].image_std


def test_law_spectra_share_one_grid_and_keep_absolute_frequency():
    n, tone_hz = 240_000, 1_000_312_500.0
    rng = np.random.default_rng(2)
    recordings = []
    for tuned_hz in (1_000_000_000.0, 1_000_600_700.0):
        turn = np.exp(2j * np.pi * (tone_hz - tuned_hz) / RATE * np.arange(n))
        noise = 0.01 * (rng.standard_normal(n) + 1j * rng.standard_normal(n))
        recordings.append(recording_of(0.5 * turn + noise, frequency_hz=tuned_hz, name=f"{tuned_hz}"))
    found = spectrum_of(*recordings)
    peaks = [one.first_bin + int(np.argmax(one.density)) for one in found]
    assert peaks[0] == peaks[1]
    assert abs(peaks[0] * found[0].bin_hz - tone_hz) <= found[0].bin_hz / 2
    # Power is kept: the tone's 0.25 and the noise's 0.0002.
    assert found[0].density.sum() * found[0].bin_hz == pytest.approx(0.2502, rel=0.01)


def test_law_line_at_zero_is_left_out_and_no_more():
    rng = np.random.default_rng(7)
    n = 240_000
    drifting = 0.05 * np.exp(2j * np.pi * 3e3 / RATE * np.arange(n))  # beside zero: the mean does not take it
    noise = 0.02 * (rng.standard_normal(n) + 1j * rng.standard_normal(n))
    plain, (lined,) = spectrum_of(recording_of(noise)), spectrum_of(recording_of(noise + drifting + 0.3))
    offset = np.abs(lined.frequency_hz - lined.tuned_hz)
    assert not lined.usable[offset < 4e3].any()
    assert lined.dc_half_width_hz < 25e3
    assert plain[0].dc_half_width_hz < 15e3
    assert lined.usable[(offset > 25e3) & (offset < 0.39 * RATE)].all()


# Image -35 dB in the truth of the sweeps; floor between the ideal 1/6 and half a step squared in all quiet recordings.
def test_tool_sweep_recordings_as_made():
    found = spectra_of("fixed_gain")
    image = 10 ** (truth()["sweeps"]["fixed_gain"]["image_db"] / 20)
    assert abs(abs(found[4].image) - image) < 2 * found[4].image_std < 0.3 * image
    quiet = [one.floor.value for one in found if one.floor is not None]
    assert len(quiet) == 6  # those that show enough beside the channel
    assert all(1 / 6 < value < 0.5 for value in quiet)
    assert found[0].converter.used_bits < 4  # far from the channel, at the gain that suits its middle
    assert found[4].converter.used_bits > 6.5


def test_message_recording_without_a_frequency():
    samples = one_sided(50_000, 1)
    recording = recording_of(samples, name="lost", frequency_hz=None)
    with pytest.raises(RangeError, match=r"lost does not say what it was tuned to.*give the frequency"):
        spectrum_of(recording)


def test_message_different_rates():
    samples = one_sided(50_000, 1)
    with pytest.raises(RangeError, match=r"must have one sample rate, not 2, 2.4 MHz"):
        spectrum_of(recording_of(samples), recording_of(samples, rate_hz=2.0e6))


def test_law_each_stretch_is_a_recording_of_its_own():
    samples = one_sided(100_000, 1)
    whole = recording_of(samples, name="two")
    first, second = (
        dataclasses.replace(whole.stretches[0], start=start, count=50_000, frequency_hz=hz)
        for start, hz in ((0, 1e9), (50_000, 1.001e9))
    )
    found = spectrum_of(dataclasses.replace(whole, stretches=(first, second)))
    assert [(one.name, one.tuned_hz) for one in found] == [("two part 1", 1e9), ("two part 2", 1.001e9)]
