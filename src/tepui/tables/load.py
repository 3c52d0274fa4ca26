"""Published numbers: each table is a CSV with a source card of the same name beside it.

Theory  A number has one home; text and code that repeat it are made from it.
Source  each table's card (``NAME.toml``): title, document, edition, clause, who transcribed it, rows to check.
Holds   Cells are kept as the text of the file, so that nothing is rounded on the way in; the reader converts.
"""

import csv
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from pathlib import Path

from tepui.ground.errors import ChoiceError

FOLDER = Path(__file__).resolve().parent


@dataclass(frozen=True, kw_only=True)
class PublishedTable:
    """Rows of one table, in the file's order.

    columns  the file's header; ``source`` and ``confidence`` say where a row comes from and how sure that is
    rows     one tuple of texts per row, as long as ``columns``
    """

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]

    def __iter__(self) -> Iterator[dict[str, str]]:
        """The rows as mappings from column name to text."""
        return (dict(zip(self.columns, row, strict=True)) for row in self.rows)

    def column(self, name: str, **where: str) -> tuple[str, ...]:
        """One column, of the rows whose cells equal ``where``.

        raises  ChoiceError if there is no such column
        """
        for wanted in (name, *where):
            if wanted not in self.columns:
                raise ChoiceError(f"Table {self.name} has the columns {', '.join(self.columns)}, not {wanted}.")
        index = self.columns.index(name)
        tests = [(self.columns.index(key), text) for key, text in where.items()]
        return tuple(row[index] for row in self.rows if all(row[i] == text for i, text in tests))

    def cell(self, name: str, **where: str) -> str:
        """The cell of the one row whose cells equal ``where``.

        raises  ChoiceError if no row or more than one matches
        """
        found = self.column(name, **where)
        if len(found) != 1:
            raise ChoiceError(f"Table {self.name} has {len(found)} rows with {where}; exactly one is needed.")
        return found[0]


@dataclass(frozen=True, kw_only=True)
class CheckRow:
    """A row the card repeats, to be found in the table: cells that select it and cells it must then hold."""

    where: Mapping[str, str]
    expect: Mapping[str, str]
    origin: str


@dataclass(frozen=True, kw_only=True)
class SourceCard:
    """Where a table comes from.

    key  the short name a finding cites, for instance ``EN300744``
    """

    key: str
    title: str
    document: str
    edition: str
    clause: str
    transcribed_by: str
    confidence: str
    remark: str
    n_rows: int
    checks: tuple[CheckRow, ...]


def table_names() -> tuple[str, ...]:
    """Names of all tables, sorted."""
    return tuple(sorted(path.stem for path in FOLDER.glob("*.csv")))


def _path(name: str, suffix: str) -> Path:
    path = FOLDER / f"{name}{suffix}"
    if not path.is_file():
        raise ChoiceError(f"There is no table {name}; there are {', '.join(table_names())}.")
    return path


@cache
def load_table(name: str) -> PublishedTable:
    """A published table by its name.

    raises  ChoiceError if there is no such table
    """
    with _path(name, ".csv").open(encoding="utf-8", newline="") as file:
        header, *rows = csv.reader(file)
    return PublishedTable(name=name, columns=tuple(header), rows=tuple(tuple(row) for row in rows if row))


@cache
def load_card(name: str) -> SourceCard:
    """The source card of a table.

    raises  ChoiceError if there is no such table
    """
    import tomllib

    with _path(name, ".toml").open("rb") as file:
        entries = tomllib.load(file)
    checks = tuple(CheckRow(**row) for row in entries.pop("check"))
    return SourceCard(**entries, checks=checks)


def same_cell(found: str, expected: str) -> bool:
    """Whether two cells say the same: equal text, or equal as exact numbers ("1.50" and "1.5")."""
    if found == expected:
        return True
    try:
        return Fraction(found) == Fraction(expected)
    except (ValueError, ZeroDivisionError):
        return False
