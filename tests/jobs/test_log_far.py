"""Far reports against predictions: what departs, by how much it may, and what cannot be said."""

import numpy as np
import pytest

from tepui.jobs.log_far import FarPrediction, FarReading, FarReport, far_trend


def reading(value, half, *, utc="2026-02-01T19:00:00Z", quantity="receive_level_dbm"):
    return FarReading(utc=utc, call="Q2DEF", quantity=quantity, value_db=value, half_db=half, practice=False)


def prediction(value, half, *, utc="2026-01-01T00:00:00Z"):
    return FarPrediction(
        utc=utc, call="Q2DEF", quantity="receive_level_dbm", value_db=value, low_db=value - half, high_db=value + half
    )


def named(outcome, key):
    return next(one for one in outcome.findings if one.key == key)


# [GUM] 5.1.2: variances of independent terms add. One reading: 95 % half widths 6 and 2 make sqrt(40).
def test_published_doubts_of_prediction_and_reading_add_as_squares():
    outcome = far_trend([], [reading(-97.0, 2.0)], [prediction(-94.0, 6.0)])
    one = named(outcome, "level_departure_db")
    assert one.value == pytest.approx(-3.0)
    assert one.high - one.value == pytest.approx(40**0.5)
    assert named(outcome, "level_beyond_prediction").value is False


def test_law_a_faithful_prediction_is_called_wrong_in_five_of_a_hundred():
    """Prediction wrong by a draw of its own doubt, the readings by draws of theirs."""
    rng = np.random.default_rng(5)
    called = 0
    for _ in range(2000):
        truth = -94.0 + rng.normal(0, 3.0)
        days = [f"2026-02-{day:02d}T19:00:00Z" for day in range(1, 5)]
        heard = [reading(truth + rng.normal(0, 1.0), 2.0, utc=utc) for utc in days]
        outcome = far_trend([], heard, [prediction(-94.0, 6.0)])
        called += bool(named(outcome, "level_beyond_prediction").value)
    assert 0.03 * 2000 < called < 0.06 * 2000


def test_law_the_prediction_that_stood_then_counts():
    readings = [reading(-97.0, 2.0, utc="2026-02-01T19:00:00Z"), reading(-90.0, 2.0, utc="2026-04-01T19:00:00Z")]
    outcome = far_trend([], readings, [prediction(-94.0, 6.0), prediction(-91.0, 6.0, utc="2026-03-01T00:00:00Z")])
    (table,) = outcome.tables
    keys = [key for key, _ in table.columns]
    assert [row[keys.index("departure_db")] for row in table.rows] == [pytest.approx(-3.0), pytest.approx(1.0)]
    later = far_trend([], [reading(-97.0, 2.0, utc="2025-12-01T19:00:00Z")], [prediction(-94.0, 6.0)])
    assert "made only afterwards" in named(later, "level_departure_db").remark


def test_law_without_a_prediction_it_is_unknown_and_reports_are_kept():
    report = FarReport(
        utc="2026-02-01T19:00:00Z",
        call="Q2DEF",
        direction="sent",
        report_sent=None,
        report_received="P4",
        practice=False,
    )
    outcome = far_trend([report], [reading(18.0, None, quantity="mer_db")], [])
    assert named(outcome, "mer_departure_db").standing == "unknown"
    assert "keep the result" in named(outcome, "mer_departure_db").remark
    (row,) = outcome.tables[0].rows
    assert row[2:6] == ("sent", None, "P4", "mer_db")
    alone = far_trend([report], [], [])
    assert alone.findings == ()
    assert alone.tables[0].rows[0][4] == "P4"
