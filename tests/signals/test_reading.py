"""A reading: one number an instrument showed, with all that touches it."""

import pytest

from tepui.ground.errors import RangeError
from tepui.signals.reading import Reading


def shown(**changes):
    parts = {
        "point": "after amplifier",
        "key": "level_dbm",
        "value": 36.7,
        "unit": "dBm",
        "low": 36.2,
        "high": 37.2,
        "instrument": "narrow",
        "utc": "2025-01-31T20:15:00Z",
        "settings": {"attenuator_db": 40.0},
    }
    return Reading(**{**parts, **changes})


def test_limit_a_reading_keeps_its_settings_for_itself():
    settings = {"attenuator_db": 40.0}
    reading = shown(settings=settings)
    settings["attenuator_db"] = 0.0
    assert reading.settings == {"attenuator_db": 40.0}


@pytest.mark.parametrize("changes", [{"low": None, "high": None}, {"utc": None}, {"utc": "2025-01-31T20:15:00+00:00"}])
def test_limit_the_unknown_is_none(changes):
    assert shown(**changes).value == 36.7


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"value": float("nan")}, "must be of finite numbers"),
        ({"high": None}, "must state both low and high, or neither"),
        ({"low": 36.9}, "36.7 dBm, must lie within 36.9 to 37.2"),
        ({"utc": "yesterday"}, "must state its time in UTC"),
        ({"utc": "2025-01-31T20:15:00"}, "must state its time in UTC"),
        ({"utc": "2025-01-31T20:15:00+01:00"}, "must state its time in UTC"),
        ({"point": ""}, "must name its point"),
        ({"instrument": ""}, "must name its instrument"),
        ({"unit": ""}, "must name its unit"),
    ],
)
def test_limit_contradictions_are_refused(changes, sentence):
    with pytest.raises(RangeError, match=sentence):
        shown(**changes)
