import csv
from pathlib import Path

import numpy as np
import pytest

from tepui.evidence.drive import (
    Baseline,
    DriveReading,
    FilterCurve,
    asymmetry_of,
    filter_effect,
    slope_words,
    slopes_between,
    without_baseline,
)
from tepui.ground.errors import RangeError

DATA = Path(__file__).parents[1] / "data" / "drive"
LINES = (DATA / "s5_filter.csv").read_text(encoding="utf-8").splitlines()
FILTER = np.array([[float(cell) for cell in row] for row in csv.reader(LINES[1:])])
CURVE = FilterCurve(offset_hz=FILTER[:, 0] * 1e6, loss_db=FILTER[:, 1])
WIDTH_8_MHZ = 6816 / 896e-6  # [EN300744] 4.4: K - 1 spacings of 1/896 us in 8K


# data/drive/README.md, worked case 1: shown over a baseline of -38 dB, true level and its doubt as printed.
@pytest.mark.parametrize(
    ("shown", "true", "doubt"), [(-33.9, -36.0, 0.5), (-31.0, -32.0, 0.4), (-29.2, -29.8, 0.35), (-26.9, -27.25, 0.35)]
)
def test_published_baseline_taken_off(shown, true, doubt):
    level = without_baseline(shown_db=shown, std_db=0.15, baseline=Baseline(level_db=-38.0, std_db=0.15))
    assert level.true.value == pytest.approx(true, abs=0.1)
    assert 2 * level.true.std == pytest.approx(doubt, abs=0.05)


@pytest.mark.parametrize("shown", [-37.6, -36.5, -38.4])
def test_published_less_than_three_decibels_above_the_baseline_is_a_bound(shown):
    assert without_baseline(shown_db=shown, std_db=0.15, baseline=Baseline(level_db=-38.0, std_db=0.15)).true is None


def test_limit_no_baseline_leaves_a_reading_as_it_is():
    level = without_baseline(shown_db=-33.0, std_db=0.2, baseline=None)
    assert (level.true.value, level.true.std) == (-33.0, 0.2)


# Worked case 5, every figure as printed.
def test_published_filter_of_case_five():
    effect = filter_effect(CURVE, occupied_width_hz=WIDTH_8_MHZ)
    assert effect.least_loss_db == pytest.approx(0.8, abs=0.05)
    assert effect.lower_db == pytest.approx(0.0, abs=0.1)
    assert effect.upper_db == pytest.approx(4.6, abs=0.1)
    assert effect.lower_3db_hz == pytest.approx(-10.1e6, abs=0.06e6)
    assert effect.upper_3db_hz == pytest.approx(3.7e6, abs=0.06e6)
    assert effect.centre_offset_hz == pytest.approx(-3.2e6, abs=0.05e6)
    assert 1.0 <= effect.mean_loss_db <= 1.2


def test_refusal_of_a_curve_that_is_too_short():
    short = FilterCurve(offset_hz=CURVE.offset_hz[5:17], loss_db=CURVE.loss_db[5:17])
    with pytest.raises(RangeError, match=r"4\.30\d* MHz is needed"):
        filter_effect(short, occupied_width_hz=WIDTH_8_MHZ)


def reading(setting, lower, upper, std=0.1):
    sides = [without_baseline(shown_db=shown, std_db=std, baseline=None) for shown in (lower, upper)]
    return DriveReading(
        name=f"set:x at {setting}", setting_dbm=setting, power_dbm=None, lower=sides[0], upper=sides[1], worst=sides[0]
    )


@pytest.mark.parametrize(
    ("upper_of", "cause"),
    [
        (lambda x: -40 + 2 * x, "none"),
        (lambda x: -43 + 2 * x, "constant with drive"),
        (lambda x: -40 + 1.6 * x, "memory"),
    ],
)
def test_law_what_grows_with_drive_is_memory(upper_of, cause):
    readings = [reading(x, -40 + 2 * x, upper_of(x)) for x in (0.0, 1.0, 2.0, 3.0, 4.0)]
    found = asymmetry_of(readings, effect=None)
    assert found.cause == cause
    assert found.slope.value == pytest.approx(upper_of(1) - upper_of(0) - 2, abs=1e-9)


def test_law_a_filter_that_explains_the_tilt_is_its_cause():
    effect = filter_effect(CURVE, occupied_width_hz=WIDTH_8_MHZ)
    found = asymmetry_of([reading(0.0, -27.4, -32.0), reading(-1.5, -30.4, -35.0)], effect=effect)
    assert found.cause == "filter tilt"
    assert found.level.value == pytest.approx(-4.6)
    assert found.left.value == pytest.approx(0.0, abs=0.05)
    # The other way round the filter would have to make it worse: that it does not explain.
    other = asymmetry_of([reading(0.0, -32.0, -27.4), reading(-1.5, -35.0, -30.4)], effect=effect)
    assert other.cause == "constant with drive"


def test_no_asymmetry_without_both_sides():
    assert asymmetry_of([], effect=None) is None


# Worked case 1: slopes 2.0, 2.2 and 2.6 between the corrected readings.
def test_published_local_slopes():
    found = slopes_between([9, 11, 12, 13], [-36.0, -32.0, -29.8, -27.25])
    assert found[0] is None
    assert found[1:] == pytest.approx([2.0, 2.2, 2.55], abs=0.06)


@pytest.mark.parametrize(("slope", "word"), [(0.1, "not the stage"), (2.0, "third order"), (3.2, "clip")])
def test_law_a_slope_tells_the_order(slope, word):
    assert word in slope_words(slope)
