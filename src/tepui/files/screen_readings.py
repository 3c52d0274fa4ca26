"""Looks at a display from a table: one row a look, the numbers as the screen shows them.

Theory  Comma- or semicolon-separated text with a heading; columns in any order, empty cells mean "not told". A level's
        column ends in ``_dbm``, as the display shows it, or in ``_db``, over the trace's top.
Source  tepui's own. [RFC4180] for the separated text.
Holds   A point as decimal mark; a comma too, where it does not separate the cells. Lines that begin with # are left.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from tepui.files.separated import bare_number, checked_heading, named_cells, separated_rows
from tepui.ground.errors import FormatError

SHOULDER_CELLS = tuple(f"{side}{place}" for side in ("lower", "upper", "worst") for place in ("_300", "", "_700"))
LEVELS = ("top", "middle", "noise", "baseline", *SHOULDER_CELLS, "line", "beside")
POSITIVE = ("rbw_hz", "vbw_hz", "averages", "sweep_s", "points", "held", "doubt_db", "width_hz")
NUMBERS = ("setting_dbm", "pad_db", *POSITIVE)
WORDS = ("name", "detector", "filter")
COLUMNS = (*WORDS, *NUMBERS, *(f"{name}_{unit}" for unit in ("dbm", "db") for name in LEVELS))
WHOLE = ("points", "held")
KIND = "table of looks"
MOST_ROWS = 1000


@dataclass(frozen=True, kw_only=True)
class LookRow:
    """One row: its line in the file; levels by name with their unit, dBm or dB; other numbers; words."""

    line: int
    levels: Mapping[str, tuple[float, str]]
    numbers: Mapping[str, float]
    words: Mapping[str, str]


def read_looks(path: Path) -> tuple[LookRow, ...]:
    """The rows of a table of looks.

    raises  FormatError: one sentence that names the line and the column
    """
    rows = separated_rows(path, kind=KIND)
    if len(rows) < 2:
        raise FormatError(f"{path} holds no looks; write a heading such as name,top_dbm,noise_dbm,worst_dbm, and rows.")
    if len(rows) > MOST_ROWS:
        raise FormatError(f"{path} holds {len(rows) - 1} rows; {MOST_ROWS - 1} are the most (this program's limit).")
    line, cells = rows[0]
    heading = checked_heading(path, line, cells, COLUMNS, kind=KIND)
    return tuple(_row(path, line, named_cells(path, line, heading, cells)) for line, cells in rows[1:])


def _row(path: Path, line: int, given: dict[str, str]) -> LookRow:
    levels: dict[str, tuple[float, str]] = {}
    for name in LEVELS:
        for ending, unit in (("dbm", "dBm"), ("db", "dB")):
            column = f"{name}_{ending}"
            if column not in given:
                continue
            if name in levels:
                raise FormatError(f"{path}, line {line}: {name} is told in dBm and in dB; keep one of them.")
            levels[name] = (bare_number(path, line, column, given[column]), unit)
    numbers = {name: bare_number(path, line, name, given[name]) for name in NUMBERS if name in given}
    for name, value in numbers.items():
        if name in POSITIVE and value <= 0:
            raise FormatError(f"{path}, line {line}: {name} must be above zero, not {value:g}.")
        if name in WHOLE and value != int(value):
            raise FormatError(f"{path}, line {line}: {name} must be a whole number, not {value:g}.")
    if numbers.get("pad_db", 0.0) < 0:
        raise FormatError(
            f"{path}, line {line}: pad_db is a loss and positive, not {numbers['pad_db']:g}; "
            f"write {-numbers['pad_db']:g}."
        )
    return LookRow(
        line=line, levels=levels, numbers=numbers, words={name: given[name] for name in WORDS if name in given}
    )
