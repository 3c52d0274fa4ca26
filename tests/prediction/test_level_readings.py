"""Readings taken into the plan: figures drawn beforehand, laws of the update, outliers and contradictions."""

import tomllib
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tepui.prediction.cascade import Link
from tepui.prediction.readings import LevelReading, conditioned, levels_of, model_of, next_reading, update

SHEET = tomllib.loads((Path(__file__).parents[1] / "data/plan/level_sheet.toml").read_text(encoding="utf-8"))
LINKS = [
    Link(name=name, kind="amplifier", gain_db=gain, std_db=doubt / 2, worst_db=doubt)
    for name, gain, doubt in zip(SHEET["stage"], SHEET["gain"], SHEET["doubt"], strict=True)
]


def reading(point, level, doubt=0.5, instrument=None):
    return LevelReading(point=point, level_dbm=level, std_db=doubt / 2, instrument=instrument, text=point)


def test_published_update_drawn_beforehand():
    read = [reading(point, *values) for point, values in SHEET["reading"].items()]
    after = update(model_of(LINKS, {}), read)
    assert [one.value for one in after.levels] == pytest.approx(SHEET["after"], abs=0.06)
    assert [2 * one.std for one in after.levels] == pytest.approx(SHEET["after_doubt"], abs=0.06)
    gain = after.gains[SHEET["stage"].index("driver")]
    assert (gain.value, 2 * gain.std) == pytest.approx(SHEET["driver_gain"], abs=0.06)
    assert all(one.accepted for one in after.judged)
    assert (
        next_reading(model_of(LINKS, {}), read, [reading(n, 0) for n in ("modulator", "mixer", "amplifier")]).point
        == "amplifier"
    )


READINGS = st.lists(
    st.tuples(st.sampled_from(SHEET["stage"]), st.floats(-3, 3), st.floats(0.1, 3), st.sampled_from([None, "a", "b"])),
    max_size=6,
)


@given(given_=READINGS)
def test_law_an_accepted_reading_never_widens_a_doubt_and_order_does_not_matter(given_):
    plan = dict(zip(SHEET["stage"], SHEET["before"], strict=True))
    read = [reading(point, plan[point] + off, doubt, which) for point, off, doubt, which in given_]
    model = model_of(LINKS, {"a": 0.4, "b": 0.7})
    now = [one.std for one in levels_of(model)]
    for n in range(len(read)):
        after = [one.std for one in levels_of(conditioned(model, read[: n + 1]))]
        assert all(late <= early + 1e-9 for early, late in zip(now, after, strict=True))
        now = after
    one, other = update(model, read), update(model, read[::-1])
    assert [level.value for level in one.levels] == pytest.approx([level.value for level in other.levels], abs=1e-6)


# Bayes by brute force: the same posterior from a large sample of the prior, weighted by the readings' likelihood.
def test_tool_update_agrees_with_weighted_sampling():
    rng = np.random.default_rng(3)
    model = model_of(LINKS[:3], {"a": 0.5})
    read = [reading("mixer", -18.5, 1.0, "a"), reading("filter", -20.0, 1.0, "a")]
    draws = rng.normal(model.mean, np.sqrt(np.diag(model.covariance)), size=(400_000, 4))
    levels = np.cumsum(draws[:, :3], axis=1)
    weight = np.ones(len(draws))
    for one, column in zip(read, (1, 2), strict=True):
        off = levels[:, column] + draws[:, 3] - one.level_dbm
        weight *= np.exp(-0.5 * (off / one.std_db) ** 2)
    weight /= weight.sum()
    after = update(model, read)
    for n in range(3):
        mean = float(weight @ levels[:, n])
        assert after.levels[n].value == pytest.approx(mean, abs=0.01)
        assert after.levels[n].std == pytest.approx(float(np.sqrt(weight @ (levels[:, n] - mean) ** 2)), abs=0.01)


# Two readings of one instrument with a large offset of its own tell the gain between, not the level.
def test_limit_a_shared_offset_cancels_between_two_readings():
    model = model_of(LINKS, {"a": 10.0})
    after = update(model, [reading("filter", -18.3, 0.2, "a"), reading("driver", 11.9, 0.2, "a")])
    driver = SHEET["stage"].index("driver")
    assert after.gains[driver].value == pytest.approx(30.2, abs=0.05)
    assert after.gains[driver].std < 0.16
    assert after.levels[driver].std > 0.97 * levels_of(model)[driver - 1].std
    assert abs(after.offsets["a"].value) < 3


def test_limit_an_outlier_is_held_back():
    model = model_of(LINKS, {})
    after = update(model, [reading("driver", 9.7), reading("amplifier", 45.5)])
    good, bad = after.judged
    assert (good.accepted, bad.accepted) == (True, False)
    assert bad.sigma > 3
    alone = update(model, [reading("driver", 9.7)])
    assert [one.value for one in after.levels] == [one.value for one in alone.levels]


def test_limit_two_readings_that_cannot_both_be_true_are_both_held_back():
    model = model_of(LINKS, {})
    after = update(model, [reading("mixer", -15.2, 0.4), reading("filter", -20.6, 0.4)])
    (pair,) = after.contradictions
    assert (pair.first.point, pair.second.point) == ("mixer", "filter")
    assert pair.difference_db == pytest.approx(-5.4)
    assert pair.expected_db == pytest.approx(-1.8)
    assert [one.accepted for one in after.judged] == [False, False]
    third = update(
        model, [reading("mixer", -15.2, 0.4), reading("filter", -20.6, 0.4), reading("modulator", -12.2, 0.3)]
    )
    assert [one.accepted for one in third.judged] == [False, True, True]
