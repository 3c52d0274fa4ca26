"""A finding that contradicts itself cannot be made."""

import math

import pytest

from tepui.ground.findings import Finding, Outcome, Table, finding_named

GOOD = {"about": "station", "key": "mer_db", "unit": "dB", "standing": "measured", "source": "x"}


@pytest.mark.parametrize(
    ("parts", "complaint"),
    [
        ({"value": 1.0}, "a number without a doubt"),
        ({"value": 1.0, "low": 1.1, "high": 2.0}, "value outside low and high"),
        ({"value": math.nan, "low": 0.0, "high": 1.0}, "not finite"),
        ({"value": 1.0, "low": 0.0, "high": 2.0, "source": ""}, "has no source"),
        ({"value": 1.0, "low": 0.0, "high": 2.0, "standing": "sure"}, "is not one of"),
        ({"value": 1.0, "low": 0.0, "high": 2.0, "kind": "hint"}, "neither result nor caution"),
        ({"value": "QPSK", "low": 0.0, "high": 2.0}, "text or yes/no has a doubt"),
        ({"value": True, "low": 0.0, "high": 2.0}, "text or yes/no has a doubt"),
        ({"value": 1.0, "low": 0.0, "high": 1.0, "standing": "at_most"}, "value = high and no low"),
        ({"value": 1.0, "low": 1.0, "high": 2.0, "standing": "at_least"}, "value = low and no high"),
        ({"value": 1.0, "low": 0.0, "high": 2.0, "standing": "unknown", "remark": "x"}, "unknown carries no numbers"),
        ({"value": None, "standing": "unknown"}, "a remark on what would settle it"),
        ({"value": None}, "text or yes/no"),
    ],
)
def test_law_contradictions_are_refused(parts, complaint):
    with pytest.raises(ValueError, match=complaint):
        Finding(**{**GOOD, **parts})


def test_law_what_agrees_with_itself_is_kept():
    for parts in (
        {"value": 1.0, "low": 1.0, "high": 1.0},
        {"value": 1.0, "high": 1.0, "standing": "at_most"},
        {"value": 1.0, "low": 1.0, "standing": "at_least"},
        {"value": "16QAM", "unit": ""},
        {"value": None, "standing": "unknown", "remark": "a longer recording"},
    ):
        Finding(**{**GOOD, **parts})


def test_law_one_statement_per_key_and_subject():
    one = Finding(**GOOD, value=1.0, low=1.0, high=1.0)
    with pytest.raises(ValueError, match="occurs twice"):
        Outcome(findings=(one, one))
    assert finding_named(Outcome(findings=(one,)).findings, "mer_db") is one
    with pytest.raises(KeyError):
        finding_named((one,), "snr_db")


def test_law_tables_are_rectangular_and_finite():
    with pytest.raises(ValueError, match="a row of 2 cells under 1 columns"):
        Table(name="echoes", columns=(("delay_s", "s"),), rows=((1.0, 2.0),))
    with pytest.raises(ValueError, match="not finite"):
        Table(name="echoes", columns=(("delay_s", "s"),), rows=((math.inf,),))
