"""Exposure and the licence sheet: figures of worked examples, rules with their sources, and no verdicts."""

import pytest

from tepui.chain.antenna.pattern import beam
from tepui.files.rules import read_rules
from tepui.ground.doubt import Estimate
from tepui.ground.errors import FormatError
from tepui.jobs.care import ExposureQuestion, LicenceQuestion, exposure_findings
from tepui.jobs.licence import licence_findings

HEADING = "country,f_low_mhz,f_high_mhz,quantity,limit,unit,source,date\n"


# Acceptance scenario without instruments, 1270 MHz: e.i.r.p. 55.6 dBm (363 W) 2.1 m; worst 62.3 dBm (1698 W), with
# the field 1.6 times as strong by reflection 7.4 m.
def test_published_distances_of_the_scenario():
    question = ExposureQuestion(
        about="station",
        frequency_hz=1270e6,
        eirp=Estimate(value=55.6, std=(62.3 - 55.6) / 2),
        power_dbm=39.6,
        pattern=beam(width_deg=28),
    )
    findings, tables = exposure_findings(question)
    row = next(row for row in tables[0].rows if row[0] == "ICNIRP 2020 whole body, general public")
    assert row[1] == pytest.approx(6.35)
    assert row[3] == pytest.approx(2.1, abs=0.05)
    assert row[6] == pytest.approx(7.4, abs=0.05)
    by_key = {finding.key: finding for finding in findings}
    assert by_key["eirp_mean_w"].value == pytest.approx(363, rel=0.01)
    assert by_key["eirp_mean_w"].high == pytest.approx(1698, rel=0.01)
    assert by_key["exposure_distance_m"].kind == "caution"
    assert by_key["exposure_distance_m"].limit is None
    assert "licensed practice decide" in by_key["exposure_distance_m"].remark
    beside = tables[1].rows
    assert beside[0][1] == pytest.approx(by_key["exposure_distance_m"].value)
    assert beside[-1][1] == pytest.approx(beside[0][1] / 10)


def sheet(centre_hz=1278e6, occupied_hz=6.66e6, **changes):
    given = {"country": "DE", "power": Estimate(value=40.0, std=0.5), "pep_dbm": 49.6,
             "eirp": Estimate(value=55.0, std=0.5), **changes}  # fmt: skip
    return licence_findings(LicenceQuestion(about="station", centre_hz=centre_hz, occupied_hz=occupied_hz, **given))


def test_law_the_sheet_says_edges_readings_and_neighbours():
    findings, tables = sheet()
    by_key = {finding.key: finding for finding in findings}
    assert by_key["band_edge_lower_hz"].value == pytest.approx(1278e6 - 3.33e6 - 1240e6)
    assert by_key["band_edge_upper_hz"].value == pytest.approx(1300e6 - 1278e6 - 3.33e6)
    assert by_key["spurious_lower_hz"].value == pytest.approx(1278e6 - 16.65e6)
    assert "10 W" in by_key["power_mean_dbm"].remark
    assert "91.2 W" in by_key["power_mean_dbm"].remark
    assert "Galileo E6" in by_key["navigation_signals"].value
    rules = {row[0] for row in tables[0].rows}
    assert rules == {"ITU", "DE"}
    assert any("not found" in row[1] for row in tables[0].rows)
    assert all(row[2] for row in tables[0].rows)


def test_law_a_country_without_rules_at_hand_is_unknown_with_what_to_do():
    findings, _ = sheet(country="XX")
    (unknown,) = [finding for finding in findings if finding.key == "country_rules"]
    assert unknown.standing == "unknown"
    assert "--rules" in unknown.remark


def test_law_an_own_rule_is_compared_and_never_judged(tmp_path):
    path = tmp_path / "rules.csv"
    path.write_text(HEADING + "XX,1240,1300,eirp_w,250,W,Decree 7,2025-01-01\n", encoding="utf-8")
    findings, tables = sheet(country="XX", rules=read_rules(path))
    (rule,) = [finding for finding in findings if finding.key == "rule_eirp_w"]
    assert rule.margin == pytest.approx(250 - 316.2, abs=0.1)
    assert "for the licence" in rule.remark
    assert ("XX", "eirp_w at most 250 W", "Decree 7, 2025-01-01", "the operator's") in tables[0].rows


@pytest.mark.parametrize(
    ("row", "sentence"),
    [
        ("XX,1240,1300,eirp_w,250,W,,2025-01-01", "source is empty"),
        ("XX,1240,1300,eirp,250,W,Decree,2025-01-01", "quantity must be eirp_w"),
        ("XX,1240,1300,eirp_w,250,dBW,Decree,2025-01-01", "is stated in W, not dBW"),
        ("XX,1240,1300,eirp_w,much,W,Decree,2025-01-01", "limit must be a number above zero, not much"),
        ("XX,1300,1240,eirp_w,250,W,Decree,2025-01-01", "f_low_mhz must be below"),
        ("XX,1240,1300,eirp_w,250,W,Decree,last year", "date must be like"),
    ],
)
def test_a_rule_nobody_could_check_is_refused(tmp_path, row, sentence):
    path = tmp_path / "rules.csv"
    path.write_text(HEADING + row + "\n", encoding="utf-8")
    with pytest.raises(FormatError, match=f"line 2: .*{sentence}"):
        read_rules(path)
