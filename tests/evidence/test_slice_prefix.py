"""Guard against tail in narrow slices: known noise, distortion, clocks, phase; samples of an independent modulator."""

from fractions import Fraction

import numpy as np
import pytest
from slice_cases import CENTRE_HZ, centre_from_tuned_hz, compared
from sweep_signals import cut_sweep, truth

from tepui.evidence.pilot_band import pilot_pattern
from tepui.evidence.slice_carriers import number_of_first
from tepui.evidence.slice_pairs import later, without_lines
from tepui.evidence.slice_prefix import compare_slice
from tepui.practice.receiver import PhaseNoise
from tepui.signals.dvbt.mode import Mode


def mode_of(width_hz, n_fft, guard):
    return Mode(
        width_hz=width_hz, n_fft=n_fft, guard=Fraction(1, guard), constellation="64QAM", code_rate=Fraction(2, 3)
    )


LONG_GUARD = mode_of(8e6, 2048, 4)


# White noise of known density is added by the test to a practice transmission.
@pytest.mark.parametrize(
    ("width_hz", "n_fft", "guard", "snr_db"),
    [(8e6, 8192, 32, 40.0), (6e6, 8192, 16, 20.0), (7e6, 2048, 8, 45.0), (8e6, 2048, 4, 30.0), (8e6, 2048, 16, 25.0)],
)
def test_law_the_noise_put_in_comes_out(width_hz, n_fft, guard, snr_db):
    told = compared(mode_of(width_hz, n_fft, guard), snr_db=snr_db, seed=guard)
    assert told.is_clean
    assert told.snr_db.value == pytest.approx(snr_db, abs=2.5 * told.snr_db.std)
    assert told.snr_db.std < 0.3


def test_law_an_amplifier_that_saturates_changes_nothing():
    gentle, hard = (compared(LONG_GUARD, snr_db=42.0, drive_db=drive, seed=3) for drive in (-30.0, -2.0))
    assert hard.snr_db.value == pytest.approx(gentle.snr_db.value, abs=0.03)  # MER falls from over 60 to about 17 dB
    assert hard.snr_db.value == pytest.approx(42.0, abs=2.5 * hard.snr_db.std)


def test_limit_edges_that_reach_the_middle_of_a_short_guard_leave_a_bound():
    told = compared(mode_of(8e6, 2048, 32), snr_db=50.0, seed=1)
    assert not told.is_clean
    assert told.snr_db.value < 50.0


@pytest.mark.parametrize(("ppm", "offset_hz"), [(25.0, 0.0), (-60.0, 1.4e6), (3.0, -2.2e6)])
def test_law_clock_and_carriers_are_found(ppm, offset_hz):
    told = compared(LONG_GUARD, snr_db=35.0, ppm=ppm, offset_hz=offset_hz, seed=5)
    assert told.clock_ppm.value == pytest.approx(-ppm, abs=2.5 * told.clock_ppm.std)
    assert told.clock_ppm.std < 1.0
    assert told.centre_hz == pytest.approx(
        centre_from_tuned_hz(offset_hz=offset_hz, ppm=ppm), abs=6 * told.carrier_hz.std
    )
    assert told.snr_db.value == pytest.approx(35.0, abs=2.5 * told.snr_db.std)


def test_law_pilots_place_a_slice_anywhere_in_the_channel():
    told = compared(LONG_GUARD, snr_db=30.0, offset_hz=-1.3e6, is_placed=False, seed=6)
    assert told.centre_hz == pytest.approx(1.3e6, abs=50.0)
    wrong = compare_slice(
        np.asarray(np.random.default_rng(1).normal(size=(150_000, 2)) @ [1, 1j], np.complex64),
        rate_hz=2.4e6, useful_s=224e-6, guard_s=56e-6, usable_hz=1.8e6, n_fft=2048,
    )  # fmt: skip
    assert wrong is None or wrong.centre_hz is None


# A plateau L0 to fc: the angle changes over T by 2 sigma^2 (1 - exp(-2 pi fc T)), sigma^2 = pi L0 fc, as the
# autocorrelation of a first-order plateau says (practice/receiver.py); averaging over the guard takes a little off.
def test_law_slow_phase_noise_is_told_apart():
    noise = PhaseNoise(plateau_dbc_hz=-80.0, corner_hz=1.5e3)
    told = compared(LONG_GUARD, snr_db=35.0, phase_noise=noise, seed=8)
    change = np.sqrt(2 * noise.variance_rad2 * (1 - np.exp(-2 * np.pi * noise.corner_hz * LONG_GUARD.useful_s)))
    assert told.phase_rad == pytest.approx(change, rel=0.25)
    assert told.phase_most_rad > told.phase_rad
    assert 33.0 < told.snr_db.value < 35.2  # what is faster than a guard counts as noise
    still = compared(LONG_GUARD, snr_db=35.0, seed=8)
    assert still.phase_rad is None
    assert still.phase_most_rad < 0.2 * change


# tests/data/sweeps/README.md: the receiver's crystal is 20 ppm fast, its samples are those of an independent modulator.
def test_published_sweep():
    known = truth()
    half = known["occupied_width_hz"] / 2
    for one in cut_sweep("hot_att6")[4:7]:
        samples = one.read(0, one.n_samples)
        offset = known["channel_centre_hz"] - one.centre_hz
        told = compare_slice(
            (samples - samples.mean()).astype(np.complex64),
            rate_hz=known["sample_rate_hz"],
            useful_s=known["useful_s"],
            guard_s=known["guard_s"],
            usable_hz=1.8e6,
            channel_hz=(offset - half, offset + half),
            n_fft=2048,
        )
        assert told.clock_ppm.low <= -20 <= told.clock_ppm.high
        assert one.centre_hz + told.centre_hz == pytest.approx(CENTRE_HZ * (1 - 20e-6), abs=6 * told.carrier_hz.std)


def test_limit_too_few_symbols_tell_nothing():
    assert compared(mode_of(8e6, 8192, 4), snr_db=30.0, seconds=0.009) is None


def test_limit_a_reading_between_samples_of_a_tone():
    n = np.arange(4000)
    tone = np.exp(2j * np.pi * 0.1 * n).astype(np.complex64)
    assert later(tone, 100.25)[500:3000] == pytest.approx(np.exp(2j * np.pi * 0.1 * (n[500:3000] + 100.25)), abs=2e-3)


def test_limit_a_line_is_no_noise():
    apart = np.random.default_rng(4).exponential(size=(400, 30))
    apart[:, 11] += 50
    assert list(np.flatnonzero(~without_lines(apart))) == [10, 11, 12]


# [EN300744] 4.5: continual pilots have 16/9 of a data carrier's power. Table 7 for 8K repeats that for 2K every 1704
# carriers: a slice of 8K alone may then stand in several places, and none is told.
@pytest.mark.parametrize(
    ("n_fft", "first", "numbers", "found"),
    [
        (2048, 700, range(-300, 1700), 700),
        (8192, 3000, range(2850, 3150), 3000),
        (8192, 3000, range(1200, 3100), None),
    ],
)
def test_published_pattern_of_pilots(n_fft, first, numbers, found):
    pattern = pilot_pattern(n_fft)
    assert sorted(set(np.round(pattern, 4))) == [1.0, 1.1944, 1.7778]
    count = 450 * n_fft // 2048  # of a slice of 1.8 MHz
    seen = pattern[first : first + count] * np.random.default_rng(7).gamma(60, 1 / 60, count)
    assert number_of_first(seen, n_fft=n_fft, numbers=numbers) == found
