"""The loader, and every table against the rows its own card repeats."""

import subprocess
import sys

import pytest

from tepui.ground.errors import ChoiceError
from tepui.tables.load import load_card, load_table, same_cell, table_names

NAMES = table_names()


@pytest.mark.parametrize("name", NAMES)
def test_published_check_rows_are_in_the_table(name):
    table, card = load_table(name), load_card(name)
    assert card.checks
    for check in card.checks:
        assert check.origin
        for column, expected in check.expect.items():
            found = table.cell(column, **check.where)
            assert same_cell(found, expected), f"{name} {check.where}: {column} is {found}, the card has {expected}"


@pytest.mark.parametrize("name", NAMES)
def test_law_every_table_is_whole_and_every_row_says_where_it_comes_from(name):
    table, card = load_table(name), load_card(name)
    assert len(table.rows) == card.n_rows
    assert all(len(row) == len(table.columns) for row in table.rows)
    assert {"source", "confidence"} <= set(table.columns)
    assert all(row["source"] and row["confidence"] for row in table)
    assert all((card.key, card.title, card.document, card.edition, card.clause, card.transcribed_by, card.confidence))


def test_limit_an_altered_cell_is_noticed():
    assert same_cell("896.000000", "896")
    assert same_cell("1/2", "1/2")
    assert not same_cell("896.000001", "896")
    assert not same_cell("confirmed", "from memory")


def test_law_rows_columns_and_cells_agree():
    table = load_table("dvbt_puncturing")
    assert [row["code_rate"] for row in table] == list(table.column("code_rate"))
    assert table.cell("transmitted", code_rate="2/3") == "X1 Y1 Y2"
    assert table.column("x_pattern", code_rate="9/10") == ()


def test_an_unknown_table_names_those_there_are():
    with pytest.raises(ChoiceError, match=r"There is no table dvbt_pilot; there are .*dvbt_pilots"):
        load_table("dvbt_pilot")


def test_an_unknown_column_names_those_there_are():
    with pytest.raises(ChoiceError, match=r"Table dvbt_puncturing has the columns code_rate, .* not rate"):
        load_table("dvbt_puncturing").column("rate")


def test_a_cell_that_is_not_unique_is_refused():
    with pytest.raises(ChoiceError, match=r"has 45 rows with .*exactly one is needed"):
        load_table("dvbt_pilots").cell("carrier_k", mode="2K", kind="continual")


def test_law_the_shared_definitions_load_neither_scipy_nor_numba():
    modules = ["mode", "carriers", "interleavers", "mapping", "inner_code", "outer_code", "dispersal", "tps"]
    lines = [f"import tepui.signals.dvbt.{module}" for module in modules]
    code = ";".join([*lines, "import sys", "print({'scipy', 'numba', 'tomllib'} & set(sys.modules))"])
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"
