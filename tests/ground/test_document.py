"""The JSON document keeps the shape of docs/machine-interface.md, whatever is put into it."""

import dataclasses
import json
import math

import numpy as np
import pytest

from tepui import __version__
from tepui.ground.document import InputFile, build_document, document_text, utc_now
from tepui.ground.findings import Contribution, Finding, Outcome, Table

UTC = "2026-01-31T12:00:00Z"


def outcome(name="a", *, rows=((0.0, 0.0, 0.0, False),), key="mer_db"):
    return Outcome(
        findings=(
            Finding(
                about=f"recording:{name}",
                key=key,
                value=31.42,
                low=31.3,
                high=31.54,
                unit="dB",
                standing="measured",
                source="[TR101290] 9.16",
                contributions=(Contribution(name="averaging", share=0.75),),
            ),
            Finding(about=f"recording:{name}", key="constellation", value="16QAM", standing="measured", source="x"),
            Finding(
                about=f"recording:{name}",
                key="ber_after_viterbi",
                value=1e-7,
                high=1e-7,
                unit="1",
                standing="at_most",
                source="x",
            ),
        ),
        tables=(
            Table(
                name="echoes",
                columns=(("delay_s", "s"), ("path_m", "m"), ("level_db", "dB"), ("beyond_guard", "")),
                rows=rows,
            ),
        ),
    )


def document(*outcomes, **more):
    return build_document(verb="receive", outcomes=outcomes, utc=UTC, **more)


def test_law_the_text_reads_back_and_has_the_published_shape(read_json):
    made = document(
        outcome(), inputs=[InputFile(path="a.raw", size_bytes=5, sha256="0" * 64)], files=["out.ts"], practice=True
    )
    read = read_json(document_text(made))
    assert read == json.loads(json.dumps(made))
    assert read["tepui"] == __version__
    assert read["practice"] is True
    assert read["findings"][0]["contributions"] == [{"name": "averaging", "share": 0.75}]


def test_law_one_line_per_finding_and_per_row_in_ascii():
    lines = document_text(document(outcome(rows=((1e-6, 299.8, -3.0, True), (2e-6, 599.6, -9.0, True))))).splitlines()
    assert sum('"key": "mer_db"' in line and '"unit": "dB"' in line for line in lines) == 1
    assert [line.strip() for line in lines if line.strip().startswith("[1e-06")] == ["[1e-06, 299.8, -3.0, true],"]
    accents = Outcome(
        findings=(Finding(about="station", key="service_name", value="Tafelberg ü", standing="given", source="x"),)
    )
    assert document_text(document(accents)).isascii()


def test_law_the_same_content_is_the_same_text():
    assert document_text(document(outcome())) == document_text(document(outcome()))


def test_law_tables_of_one_name_are_joined_under_what_they_are_about(read_json):
    read = read_json(document_text(document(outcome("a"), outcome("b"))))
    echoes = read["tables"]["echoes"]
    assert [column["key"] for column in echoes["columns"]] == ["about", "delay_s", "path_m", "level_db", "beyond_guard"]
    assert [row[0] for row in echoes["rows"]] == ["recording:a", "recording:b"]


def test_limit_the_same_statement_twice_is_refused():
    with pytest.raises(ValueError, match="stated twice"):
        document(outcome("a"), outcome("a"))


@pytest.mark.parametrize("bad", [math.nan, math.inf])
def test_limit_nan_and_infinity_never_reach_the_text(bad):
    made = document(outcome())
    made["findings"][0]["value"] = bad
    with pytest.raises(ValueError, match="JSON compliant"):
        document_text(made)


def test_limit_numbers_of_numpy_become_plain():
    table = Table(
        name="mer_by_carrier", columns=(("carrier", "1"), ("mer_db", "dB")), rows=((np.int64(3), np.float32(2.5)),)
    )
    made = document(dataclasses.replace(outcome(), tables=(table,)))
    assert json.loads(document_text(made))["tables"]["mer_by_carrier"]["rows"] == [[3, 2.5]]


def test_limit_the_time_has_the_published_form():
    assert len(utc_now()) == len(UTC)
    assert utc_now().endswith("Z")
