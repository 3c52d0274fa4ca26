import numpy as np
import pytest

from tepui.evidence.crest import PeakCounter, crest_db, gaussian_level_db, peaks_of_recording
from tepui.ground.errors import RangeError
from tepui.signals.recording import recording_from_samples
from tepui.tables.load import load_table


def counted(samples):
    counter = PeakCounter()
    counter.push(samples)
    return counter.result()


def noise(n, seed):
    return np.random.default_rng(seed).standard_normal(2 * n, dtype=np.float32).view(np.complex64)


# tables/ofdm_ccdf_gaussian: complex-Gaussian envelope, computed from P = exp(-a) (source in each row)
def test_published_gaussian_levels():
    for row in load_table("ofdm_ccdf_gaussian"):
        printed = float(row["envelope_peak_to_mean_db"])
        assert gaussian_level_db(float(row["probability"])) == pytest.approx(printed, abs=0.005)


@pytest.mark.parametrize("probability", [1e-2, 1e-3, 1e-4])
def test_published_gaussian_levels_are_measured_and_the_doubt_is_true(probability):
    printed = float(load_table("ofdm_ccdf_gaussian").cell("envelope_peak_to_mean_db", probability=f"{probability:g}"))
    errors = []
    for seed in range(12):
        found = crest_db(counted(noise(300_000, seed)), sample_rate_hz=1, occupied_width_hz=1, probability=probability)
        errors.append((found.value - printed) / found.std)
    assert np.mean(np.abs(errors) <= 2) >= 0.75
    assert abs(np.mean(errors)) < 1.2


# Solved by hand: power uniform between 0 and 2 of its mean exceeds 2 (1 - p) of it with probability p.
def test_limit_uniform_power():
    power = np.random.default_rng(5).random(2_000_000)
    found = crest_db(
        counted(np.sqrt(power).astype(np.complex64)), sample_rate_hz=1, occupied_width_hz=1, probability=0.1
    )
    assert found.value == pytest.approx(10 * np.log10(1.8), abs=0.01)


def test_law_blocks_do_not_matter_and_zeros_do_no_harm():
    samples = np.concatenate([noise(50_000, 1), np.zeros(1000, np.complex64)])
    whole = counted(samples)
    pieces = PeakCounter()
    for at in range(0, len(samples), 777):
        pieces.push(samples[at : at + 777])
    assert np.array_equal(whole.probability, pieces.result().probability)
    recording = recording_from_samples("noise", samples, sample_rate_hz=1e6)
    assert np.array_equal(whole.probability, peaks_of_recording(recording).probability)
    assert whole.mean_power == pytest.approx(float(np.mean(np.abs(samples) ** 2)), rel=1e-6)
    assert whole.probability[-1] == 0.0


def test_messages():
    with pytest.raises(RangeError, match="no power"):
        counted(np.zeros(100, np.complex64))
    with pytest.raises(RangeError, match=r"1000 samples are too few.*record at least 0\.1 s"):
        crest_db(counted(noise(1000, 1)), sample_rate_hz=1e6, occupied_width_hz=1e6)
