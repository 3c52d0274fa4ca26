import dataclasses

import numpy as np
import pytest
from evidence_signals import drive_series, shaped_noise

from tepui.evidence.floor import Floor, floor_from_guard, floor_from_quiet_part
from tepui.evidence.shoulders import shoulders
from tepui.ground.errors import RangeError
from tepui.signals.spectrum import smoothed, spectrum_of_recording

WIDTH_HZ, SPACING_HZ, RATE_HZ = 6.65625e6, 3906.25, 16e6


def measured(step, floor="guard"):
    recording, truth = drive_series(step)
    offset_hz = truth["impairments"]["carrier_offset_hz"]
    where = {"centre_offset_hz": offset_hz, "occupied_width_hz": WIDTH_HZ}
    spectrum = spectrum_of_recording(recording, resolution_bandwidth_hz=SPACING_HZ / 2)
    if floor == "guard":
        samples = recording.read(0, recording.n_samples)
        found = floor_from_guard(samples, sample_rate_hz=RATE_HZ, useful_s=256e-6, guard_s=32e-6, **where)
    else:
        found = floor_from_quiet_part(smoothed(spectrum, resolution_bandwidth_hz=10 * SPACING_HZ), **where)
    return shoulders(spectrum, carrier_spacing_hz=SPACING_HZ, floor=found, **where), truth


def level_db(truth, which, side):
    """The generator's own reading, as a level."""
    edge = truth[which]["outermost_carrier"]
    return -(edge["tr101290_worst_db"] if side == "worst" else edge[side]["tr101290_db"])


# data/captures/a4_drive.md: an independent modulator and the generator's own shoulder readings; tolerances as agreed
# for this project: shown 0.3 dB, corrected 0.4 dB.
@pytest.mark.parametrize("step", [1, 6])
@pytest.mark.parametrize("side", ["lower", "upper", "worst"])
def test_published_shoulders_of_the_drive_series(step, side):
    found, truth = measured(step)
    shoulder = getattr(found, side)
    assert shoulder.shown.value == pytest.approx(level_db(truth, "shoulders_in_this_file", side), abs=0.3)
    true_db = level_db(truth, "shoulders_true", side)
    assert shoulder.corrected.value == pytest.approx(true_db, abs=0.4)
    assert shoulder.corrected.low <= true_db <= shoulder.corrected.high
    assert not shoulder.stands_out


def test_published_shoulder_lies_within_the_wide_doubt_of_a_bounded_floor():
    found, truth = measured(1, floor="quiet part")
    true_db = level_db(truth, "shoulders_true", "worst")
    assert found.worst.corrected.low <= true_db <= found.worst.corrected.high
    assert found.worst.corrected.contributions["floor"] > 0.2


FLOOR_DB = -52.0


def slopes(frequency_hz):
    """0 dB in band, beyond the edges -38 dB and 2 dB less each MHz; the upper side 0.3 dB lower. Per hertz."""
    away_hz = np.abs(frequency_hz) - WIDTH_HZ / 2
    outside_db = -38 - 2 * away_hz / 1e6 - 0.3 * (frequency_hz > 0)
    level = np.where(away_hz <= 0, 1.0, 10 ** (outside_db / 10))
    return 1e-9 * (level + 10 ** (FLOOR_DB / 10))


KNOWN = Floor(density=1e-9 * 10 ** (FLOOR_DB / 10), std=1e-11 * 10 ** (FLOOR_DB / 10), at_most=False, method="known")


def shaped(density, seed=1, n=200_000, floor=KNOWN):
    recording = shaped_noise(density, n=n, rate_hz=RATE_HZ, seed=seed)
    spectrum = spectrum_of_recording(recording, resolution_bandwidth_hz=SPACING_HZ)
    return shoulders(
        spectrum, centre_offset_hz=0.0, occupied_width_hz=WIDTH_HZ, carrier_spacing_hz=SPACING_HZ, floor=floor
    )


# Solved by hand: the slopes are straight, so the line is not lifted and 500 kHz reads -39.0 and -39.3 dB.
def test_limit_straight_slopes_read_as_drawn_and_the_doubt_is_true():
    errors, halves, inside = [], [], 0
    for seed in range(24):
        found = shaped(slopes, seed)
        for side, true_db in ((found.lower, -39.0), (found.upper, -39.3), (found.worst, -39.0)):
            errors.append(side.corrected.value - true_db)
            halves.append(2 * side.corrected.std)
            inside += side.corrected.low <= true_db <= side.corrected.high
    rms = float(np.sqrt(np.mean(np.square(errors))))
    assert inside >= 0.9 * len(errors)
    assert rms < 0.2
    assert np.mean(halves) < 1.5 * 2 * rms


def test_law_a_line_between_300_and_700_khz_is_seen_and_counts():
    recording = shaped_noise(slopes, n=200_000, rate_hz=RATE_HZ, seed=2)
    turn = np.exp(2j * np.pi * (WIDTH_HZ / 2 + 520e3) / RATE_HZ * np.arange(recording.n_samples))
    samples = recording.read(0, recording.n_samples) + np.sqrt(1e-9 * 4e4 * 10**-2.5) * turn
    dirty = dataclasses.replace(recording, source=type(recording.source)(samples.astype(np.complex64)))
    spectrum = spectrum_of_recording(dirty, resolution_bandwidth_hz=SPACING_HZ)
    found = shoulders(
        spectrum, centre_offset_hz=0.0, occupied_width_hz=WIDTH_HZ, carrier_spacing_hz=SPACING_HZ, floor=KNOWN
    )
    assert found.upper.stands_out
    assert not found.lower.stands_out
    assert found.worst is found.upper
    assert found.upper.corrected.value == pytest.approx(-25, abs=1.0)
    assert found.upper.construction.touch_hz == pytest.approx(520e3, abs=10e3)


def test_limit_below_the_floor_there_is_only_a_bound():
    high = Floor(density=1e-9 * 10**-3.9, std=1e-12, at_most=False, method="known")

    def drowned(frequency_hz):
        return slopes(frequency_hz) * 0.02 * (np.abs(frequency_hz) > WIDTH_HZ / 2) + np.where(
            np.abs(frequency_hz) > WIDTH_HZ / 2, high.density, 1e-9
        )

    found = shaped(drowned, floor=high)
    assert found.lower.corrected is None
    assert found.lower.shown.value == pytest.approx(-39, abs=0.6)
    assert shaped(slopes, floor=None).upper.corrected is None


def test_law_the_construction_is_what_was_read():
    built = shaped(slopes).lower.construction
    near, _, far = built.level_db
    assert built.read_db == pytest.approx((near + far) / 2 + built.lift_db)
    part = (built.touch_hz - 300e3) / 400e3
    assert built.touch_db == pytest.approx(near + (far - near) * part + built.lift_db)
    assert built.offset_hz == (300e3, 500e3, 700e3)


def test_a_narrow_recording_is_told_how_wide_it_must_be():
    recording = shaped_noise(lambda f: 1e-9 + 0 * f, n=100_000, rate_hz=7.6e6, seed=1)
    spectrum = spectrum_of_recording(recording, resolution_bandwidth_hz=SPACING_HZ)
    with pytest.raises(RangeError, match=r"does not reach 700 kHz.*TR101290.*record at least 8\.95 MHz"):
        shoulders(spectrum, centre_offset_hz=0.0, occupied_width_hz=WIDTH_HZ, carrier_spacing_hz=SPACING_HZ, floor=None)
