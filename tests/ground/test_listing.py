"""Findings in a terminal: everything is there at any width, and nothing rests on colour."""

import io

import pytest

from tepui.ground.findings import Finding, Outcome, Table
from tepui.ground.listing import Page, outcome_text, page_for, table_text

OUTCOME = Outcome(
    findings=(
        Finding(about="recording:on-air", key="dvbt_found", value=True, standing="measured", source="x"),
        Finding(
            about="recording:on-air",
            key="mer_db",
            value=31.42,
            low=31.3,
            high=31.54,
            unit="dB",
            standing="measured",
            source="x",
            limit=33.0,
            limit_sense="at_least",
            limit_source="target",
            margin=-1.58,
            remark="Nearest point decisions flatter below 15 dB.",
        ),
        Finding(
            about="recording:on-air",
            key="cell_id",
            value=None,
            standing="unknown",
            source="x",
            remark="A longer recording would show it.",
        ),
        Finding(
            about="station", key="load", kind="caution", value=True, standing="given", source="x", remark="Use a load."
        ),
    ),
    tables=(
        Table(
            name="echoes",
            columns=(("delay_s", "s"), ("level_db", "dB"), ("beyond_guard", "")),
            rows=((0.0, 0.0, False), (12.5e-6, -14.25, True)),
        ),
    ),
)


def test_locked_page():
    assert outcome_text(OUTCOME, Page(width=80)) == (
        "recording on-air\n"
        "  DVB-T found  yes              measured\n"
        "  MER          31.42 ± 0.12 dB  measured\n"
        "    limit at least 33 dB (target): missed by 1.58 dB\n"
        "    Nearest point decisions flatter below 15 dB.\n"
        "  Cell id      unknown\n"
        "    A longer recording would show it.\n"
        "\n"
        "Cautions\n"
        "  Load (station): Use a load.\n"
        "\n"
        "Echoes\n"
        "  Delay (µs)  Level (dB)  Beyond guard\n"
        "           0           0  no\n"
        "        12.5      -14.25  yes"
    )


@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_law_no_line_is_wider_than_the_page(width):
    text = outcome_text(OUTCOME, Page(width=width))
    assert max(len(line) for line in text.splitlines()) <= width
    for word in ("DVB-T found", "31.42 ± 0.12 dB", "measured", "unknown", "Use a load."):
        assert word in " ".join(text.split())


def test_law_bold_changes_nothing_but_the_marks():
    plain = outcome_text(OUTCOME, Page(width=80))
    bold = outcome_text(OUTCOME, Page(width=80, bold=True))
    assert bold != plain
    assert bold.replace("\x1b[1m", "").replace("\x1b[0m", "") == plain


def test_limit_long_tables_are_cut_with_a_word():
    table = Table(name="mer_by_carrier", columns=(("carrier", "1"),), rows=tuple((n,) for n in range(1705)))
    lines = table_text(table, Page(), rows=5).splitlines()
    assert lines[0] == "MER by carrier"
    assert lines[-1].strip() == "1700 more rows in the JSON document"


def test_limit_columns_of_one_unit_share_their_prefix():
    columns = (("begin_s", "s"), ("end_s", "s"), ("symbols", "1"))
    table = Table(name="locks", columns=columns, rows=((201.6e-6, 22.38e-3, 77),))
    assert table_text(table, Page()).splitlines()[1:] == [
        "  Begin (ms)  End (ms)  Symbols",
        "      0.2016     22.38       77",
    ]


def test_limit_an_empty_table_keeps_its_heading():
    table = Table(name="echoes", columns=(("delay_s", "s"),), rows=())
    assert table_text(table, Page()) == "Echoes\n  Delay (s)"


def test_limit_a_pipe_gets_a_plain_page():
    assert page_for(io.StringIO()) == Page(width=80, bold=False)


def _computed(key, value, unit, **more):
    if isinstance(value, float):
        more = {"low": value, "high": value, **more}
    return Finding(about="station", key=key, value=value, unit=unit, standing="computed", source="x", **more)


def test_limit_one_quantity_in_two_units_stands_on_one_line():
    outcome = Outcome(findings=(_computed("output_dbm", 37.0, "dBm"), _computed("output_w", 5.0, "W")), tables=())
    assert outcome_text(outcome, Page()).splitlines()[1:] == ["  Output  37 dBm, 5 W  computed"]


def test_limit_a_long_text_is_wrapped_in_its_own_column():
    findings = (_computed("amplifier_model", "word " * 8 + "end", ""), _computed("gain_db", 26.0, "dB"))
    text = outcome_text(Outcome(findings=findings, tables=()), Page(width=60))
    first, second, gain = text.splitlines()[1:4]
    assert first.startswith("  Amplifier model  word")
    assert second.startswith(" " * 19 + "word")
    assert gain.rstrip().endswith("computed")
    assert first.index("computed") == gain.index("computed")


def test_limit_a_wide_table_goes_on_below_itself():
    columns = (("point", ""), *((f"level_{n}_dbm", "dBm") for n in range(4)))
    table = Table(name="levels", columns=columns, rows=(("after mixer", -1.0, -2.0, -3.0, -4.0),))
    lines = table_text(table, Page(width=52)).splitlines()
    assert [line.split()[0] for line in lines[1:]] == ["Point", "after", "Point", "after"]
    assert all(len(line) <= 52 for line in lines)
    assert "…" not in "".join(lines)


def test_limit_frequencies_that_differ_are_shown_to_differ():
    table = Table(name="windows", columns=(("low_hz", "Hz"),), rows=((1.281972e9,), (1.282372e9,)))
    assert [line.strip() for line in table_text(table, Page()).splitlines()[2:]] == ["1.281972", "1.282372"]


def test_limit_after_many_findings_the_missed_limits_are_said_again():
    missed = _computed("power_w", 50.0, "W", limit=10.0, limit_sense="at_most", limit_source="own", margin=-40.0)
    many = tuple(_computed(f"gain_{n}_db", 1.0, "dB") for n in range(20))
    assert "Limits missed" not in outcome_text(Outcome(findings=(missed,), tables=()), Page())
    last = outcome_text(Outcome(findings=(missed, *many), tables=()), Page()).split("\n\n")[-1]
    assert last == "Limits missed\n  Power (station): 50 W, limit at most 10 W (own): missed by 40.0 W"
