import numpy as np
import pytest
import scipy.signal

from tepui.ground.errors import RangeError
from tepui.signals.recording import recording_from_samples
from tepui.signals.spectrum import (
    SpectrumEstimator,
    periodogram_average,
    points_for_resolution,
    smoothed,
    spectrum_of_recording,
)


def noise(n, seed=1):
    return np.random.default_rng(seed).standard_normal(2 * n, dtype=np.float32).view(np.complex64)


def estimated(samples, **settings):
    estimator = SpectrumEstimator(**settings)
    estimator.push(samples)
    return estimator.result()


# scipy.signal.welch (scipy 1.13 or later): the same sums by an independent library
@pytest.mark.parametrize(
    ("window", "theirs", "overlap", "n_fft"),
    [
        ("hann", "hann", 0.5, 256),
        ("blackman-harris", "blackmanharris", 0.75, 1000),
        ("flat-top", ("general_cosine", [1, 1.93, 1.29, 0.388, 0.028]), 0.0, 77),
    ],
)
def test_tool_the_numbers_of_welch(window, theirs, overlap, n_fft):
    samples = noise(30_011) + np.exp(0.3j * np.arange(30_011)).astype(np.complex64)
    ours = estimated(samples, n_fft=n_fft, window=window, overlap=overlap, sample_rate_hz=5e6)
    frequency_hz, density = scipy.signal.welch(
        samples, 5e6, theirs, n_fft, n_fft - ours_hop(n_fft, overlap), return_onesided=False, detrend=False
    )
    assert ours.frequency_hz == pytest.approx(np.fft.fftshift(frequency_hz))
    assert ours.density == pytest.approx(np.fft.fftshift(density), rel=3e-5)


def ours_hop(n_fft, overlap):
    return round(n_fft * (1 - overlap))


def test_law_parseval_without_window_or_overlap():
    samples = noise(64 * 512)
    spectrum = estimated(samples, n_fft=512, window="rectangular", overlap=0.0, sample_rate_hz=3e6)
    assert spectrum.power == pytest.approx(float(np.mean(np.abs(samples) ** 2)), rel=1e-6)


def test_law_a_tone_on_a_bin_has_its_power_whatever_the_window():
    samples = (0.25 * np.exp(2j * np.pi * 40 / 256 * np.arange(256 * 20))).astype(np.complex64)
    for window in ("hann", "blackman-harris", "flat-top"):
        assert estimated(samples, n_fft=256, window=window).power == pytest.approx(0.0625, rel=1e-5)


def test_law_the_result_does_not_depend_on_how_the_stream_was_cut():
    samples = noise(700_001)
    whole = estimated(samples, n_fft=1024, overlap=0.5)
    for size in (1, 777, 65_536, 300_000):
        pieces = SpectrumEstimator(n_fft=1024, overlap=0.5)
        part = samples if size > 1 else samples[:3000]
        for at in range(0, len(part), size):
            pieces.push(part[at : at + size])
        expected = whole if size > 1 else estimated(part, n_fft=1024, overlap=0.5)
        assert np.array_equal(pieces.result().density, expected.density)
        assert pieces.result().n_samples == expected.n_samples


def test_law_a_recording_gives_the_same_with_any_number_of_workers():
    recording = recording_from_samples("noise", noise(900_000), sample_rate_hz=8e6, frequency_hz=1e9)
    one = spectrum_of_recording(recording, resolution_bandwidth_hz=20e3, workers=1)
    three = spectrum_of_recording(recording, resolution_bandwidth_hz=20e3, workers=3)
    assert np.array_equal(one.density, three.density)
    assert one.centre_hz == 1e9
    assert one.resolution_bandwidth_hz == pytest.approx(20e3, rel=0.03)
    streamed = estimated(recording.read(0, 900_000), n_fft=len(one.density), sample_rate_hz=8e6)
    assert one.density == pytest.approx(streamed.density, rel=1e-12)


def test_a_result_can_be_asked_for_and_the_stream_goes_on():
    samples = noise(200_000)
    estimator = SpectrumEstimator(n_fft=512)
    estimator.push(samples[:100_000])
    estimator.result()
    estimator.push(samples[100_000:])
    assert np.array_equal(estimator.result().density, estimated(samples, n_fft=512).density)


# Scatter of an averaged periodogram of Gaussian noise: mean / sqrt(effective averages), Welch 1967
@pytest.mark.parametrize(("window", "overlap"), [("hann", 0.5), ("blackman-harris", 0.75), ("rectangular", 0.0)])
def test_law_the_scatter_told_is_the_scatter_there(window, overlap):
    spectra = [estimated(noise(60_000, seed), n_fft=256, window=window, overlap=overlap) for seed in range(12)]
    seen = np.std([spectrum.density for spectrum in spectra], axis=0, ddof=1)
    assert float(np.sqrt(np.mean(seen**2))) == pytest.approx(float(spectra[0].std.mean()), rel=0.05)


def test_law_smoothing_keeps_the_power_and_tells_its_scatter():
    fine = [estimated(noise(100_000, seed), n_fft=4096) for seed in range(12)]
    wide = [smoothed(spectrum, resolution_bandwidth_hz=40 / 4096) for spectrum in fine]
    assert wide[0].density.mean() == pytest.approx(fine[0].density.mean(), rel=0.01)
    seen = np.std([spectrum.density for spectrum in wide], axis=0, ddof=1)[100:-100]
    assert float(np.sqrt(np.mean(seen**2))) == pytest.approx(float(wide[0].std.mean()), rel=0.15)


def test_limit_a_tone_through_the_smoothing_filter_has_its_noise_bandwidth():
    samples = np.exp(2j * np.pi * 100 / 1024 * np.arange(1024 * 30)).astype(np.complex64)
    wide = smoothed(estimated(samples, n_fft=1024), resolution_bandwidth_hz=25 / 1024)
    assert 1 / wide.density.max() == pytest.approx(25 / 1024, rel=0.01)


def test_smoothing_to_less_than_the_resolution_is_refused():
    with pytest.raises(RangeError, match="take the spectrum anew"):
        smoothed(estimated(noise(4096), n_fft=256), resolution_bandwidth_hz=2 / 256)


def test_too_short_a_recording_is_told_what_it_needs():
    recording = recording_from_samples("short", noise(1000), sample_rate_hz=1e6)
    with pytest.raises(RangeError, match=r"needs at least \d+ samples and there are fewer"):
        spectrum_of_recording(recording, resolution_bandwidth_hz=1000)


def test_too_wide_a_resolution_is_refused():
    with pytest.raises(RangeError, match="too wide for a sample rate"):
        points_for_resolution(resolution_bandwidth_hz=1e6, sample_rate_hz=1e6, window="hann")


def test_tool_the_quick_look_shows_what_welch_shows():
    samples = noise(50_000)
    _, density = scipy.signal.welch(samples, 1.0, "hann", 512, 256, return_onesided=False, detrend=False)
    assert periodogram_average(samples, 512) * 512 == pytest.approx(np.fft.fftshift(density), rel=1e-4)
    with pytest.raises(RangeError, match="too few"):
        periodogram_average(samples[:100], 512)
