"""The trend of the monthly checks: a change is told from what checks scatter by anyway."""

import numpy as np
import pytest
from scipy import stats

from tepui.jobs.log_trend import MonthlyCheck, check_trend


def checks(months):
    return [
        MonthlyCheck(month=f"2026-{month:02d}", key="mer_db", value=value, unit="dB", practice=False)
        for month, values in months.items()
        for value in values
    ]


def ratio(outcome):
    return next(one for one in outcome.findings if one.key == "change_over_repeatability")


# [ISO5725] part 6, 4.1.4 (from memory): the repeatability limit is 2.8 s_r, 1.96 sqrt(2) rounded.
def test_published_limit_of_two_single_checks():
    """Many repeats elsewhere, s_r = 1 exactly: one check against one differs by 2.8 where the ratio is 1."""
    many = [-1.0, 1.0] * 5000
    spread = np.std(many) * np.sqrt(10000 / 9999)
    months = {1: [0.0], 2: many, 3: [2.8 * spread]}
    assert ratio(check_trend(checks(months))).value == pytest.approx(1.0, abs=0.02)


def test_law_an_unchanged_station_is_called_changed_in_five_of_a_hundred():
    rng = np.random.default_rng(3)
    called = 0
    for _ in range(600):
        months = {1: rng.normal(30, 0.3, 3), 2: rng.normal(30, 0.3, 2), 3: rng.normal(30, 0.3, 2)}
        outcome = check_trend(checks(months))
        called += any(one.key == "change_beyond_repeatability" and one.value is True for one in outcome.findings)
    low, high = stats.binom.ppf((0.001, 0.999), 600, 0.05)
    assert low <= called <= high


@pytest.mark.parametrize(
    ("months", "words"),
    [
        ({1: [30.0, 30.2]}, "check again next month"),
        ({1: [30.0], 2: [29.0]}, "check three times in one month"),
        ({1: [30.0, 30.0], 2: [29.0]}, "one more digit"),
    ],
)
def test_law_what_cannot_be_known_says_what_would_settle_it(months, words):
    (finding,) = check_trend(checks(months)).findings
    assert finding.standing == "unknown"
    assert words in finding.remark
