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
