"""The strip beyond the antenna: what arrives at the far station, from the levels or from a path that says more."""

import pytest

from tepui.ground.findings import Finding
from tepui.web.beyond import beyond_view
from tepui.web.strip import PLACES, StageView, strip


def finding(about, key, value, unit, *, standing="computed", low=None, high=None):
    return {
        "about": about, "key": key, "kind": "result", "value": value, "unit": unit, "low": low, "high": high,
        "standing": standing, "limit": None, "limit_sense": None, "limit_source": None, "margin": None,
        "source": "a test", "remark": "", "contributions": [],
    }  # fmt: skip


LEVELS = {
    "findings": [
        finding("point:after antenna", "level_dbm", 55.0, "dBm", low=54.0, high=56.0),
        finding("path:Q2DEF", "far_loss_db", 130.0, "dB", standing="at_least", low=130.0),
        finding("path:Q2DEF", "far_input_dbm", -62.0, "dBm", standing="at_most", high=-62.0),
        finding("path:Q2DEF", "cn_db", 41.0, "dB", standing="at_most", high=41.0),
        finding("path:Q3GHI", "far_loss_db", 139.0, "dB", standing="at_least", low=139.0),
        finding("path:Q3GHI", "far_input_dbm", -71.0, "dBm", standing="at_most", high=-71.0),
    ]
}
PATH = {
    "findings": [
        finding("path:Q2DEF", "loss_total_db", 149.7, "dB", low=143.2, high=156.2),
        finding("path:Q2DEF", "receive_level_dbm", -74.4, "dBm", low=-81.0, high=-67.0),
        finding("path:Q2DEF", "cn_db", 21.0, "dB", low=14.0, high=28.0),
    ]
}


def test_law_of_several_far_stations_the_hardest_is_shown():
    assert beyond_view("path", (None, LEVELS)).expected.value == 139.0
    view = beyond_view("far", (None, LEVELS))
    assert (view.expected.value, view.expected.standing) == (-71.0, "at_most")
    assert beyond_view("path", (None, LEVELS)).worst == "to Q3GHI"


def test_law_a_path_that_was_worked_out_says_more():
    assert beyond_view("path", (PATH, LEVELS)).expected.value == 149.7
    view = beyond_view("far", (PATH, LEVELS))
    assert view.expected.value == -74.4
    assert view.worst.startswith("C/N 21")


def test_law_without_a_far_station_the_zones_stay_empty():
    assert beyond_view("far", (None, {"findings": LEVELS["findings"][:1]})) == StageView()
    assert beyond_view("path", (None, None)) == StageView()


def test_law_what_is_unknown_is_shown_as_unknown():
    plain = {**finding("path:Q2DEF", "receive_level_dbm", None, "dBm", standing="unknown"), "remark": "Tell the gain."}
    assert beyond_view("far", ({"findings": [plain]},)).expected.standing == "unknown"


@pytest.mark.parametrize(("standing", "words"), [("at_most", "at most"), ("at_least", "at least")])
def test_law_a_bound_in_the_strip_is_short_and_still_read_aloud(standing, words):
    one = Finding(
        about="path:Q2DEF", key="far_loss_db", value=130.0, unit="dB", standing=standing, source="a test",
        low=130.0 if standing == "at_least" else None, high=130.0 if standing == "at_most" else None,
    )  # fmt: skip
    views = [StageView(expected=one) if place == "path" else StageView() for place in PLACES]
    assert f'<span class="sr">{words} </span>130' in strip(views, current=None)
