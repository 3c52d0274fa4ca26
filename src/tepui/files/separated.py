"""Small tables that operators write: comma-, semicolon- or tab-separated text with a heading.

Theory  Columns in any order under their names; empty cells mean "not told"; lines that begin with # are left.
Source  [RFC4180] for the separated text.
Holds   A point as decimal mark; a comma too, where it does not separate the cells. UTF-8, a megabyte at most.
"""

import csv
import difflib
import math
import re
from collections.abc import Sequence
from pathlib import Path

from tepui.ground.errors import FormatError

MOST_BYTES = 1 << 20
COMMA_NUMBER = re.compile(r"[-+]?\d*,\d+")
MINUS = str.maketrans({"−": "-", "–": "-", "\u00a0": " "})


def _text_of(path: Path, kind: str) -> str:
    try:
        if path.is_dir():
            raise FormatError(f"{path} is a folder; a {kind} is a text file.")
        if path.stat().st_size > MOST_BYTES:
            raise FormatError(f"{path} is larger than a megabyte, too large for a {kind}; is it a recording?")
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise FormatError(f"{path} is not text in UTF-8, so it is no {kind}; save it as CSV.") from error
    except OSError as error:
        raise FormatError(f"{path} cannot be opened ({error.strerror or error}).") from error


def separated_rows(path: Path, *, kind: str) -> list[tuple[int, list[str]]]:
    """Rows that say something, with their line numbers, cells stripped.

    kind    what the table is called in a refusal
    raises  FormatError
    """
    text = _text_of(path, kind)
    first = next((line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")), "")
    mark = next((mark for mark in ";\t" if mark in first), ",")  # beside these a comma is a decimal mark
    reader = csv.reader(text.splitlines(), delimiter=mark)
    rows = []
    try:
        for cells in reader:
            kept = [cell.translate(MINUS).strip() for cell in cells]
            if any(kept) and not kept[0].startswith("#"):
                rows.append((reader.line_num, kept))
    except csv.Error as error:
        raise FormatError(f"{path}, line {reader.line_num}: {error}; write plain separated text.") from error
    return rows


def bare_number(path: Path, line: int, column: str, cell: str) -> float:
    """A finite number without a unit.

    raises  FormatError that names line and column
    """
    try:
        value = float(cell.replace(",", ".") if COMMA_NUMBER.fullmatch(cell) else cell)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise FormatError(
            f"{path}, line {line}: {column} must be a bare number such as -33.9, "
            f'not "{cell}"; the unit is in the heading.'
        )
    return value


def checked_heading(path: Path, line: int, cells: Sequence[str], columns: Sequence[str], *, kind: str) -> list[str]:
    """The names of the columns, each known and told once.

    raises  FormatError that names the line and the nearest name
    """
    heading = [name.lower() for name in cells]
    for name in heading:
        if name not in columns:
            close = difflib.get_close_matches(name, columns, n=1)
            nearest = f" Nearest: {close[0]}." if close else ""
            raise FormatError(
                f'{path}, line {line}: "{name}" is no column of a {kind}; allowed are {", ".join(columns)}.{nearest}'
            )
    if len(set(heading)) < len(heading):
        raise FormatError(f"{path}, line {line}: a column occurs twice; keep one of each.")
    return heading


def named_cells(path: Path, line: int, heading: Sequence[str], cells: Sequence[str]) -> dict[str, str]:
    """The cells that are filled, by their column.

    raises  FormatError where there are more cells than columns
    """
    if len(cells) > len(heading) and any(cells[len(heading) :]):
        raise FormatError(
            f"{path}, line {line}: {len(cells)} cells under {len(heading)} headings; write decimals with a point, "
            "or separate the cells with semicolons."
        )
    return {name: cell for name, cell in zip(heading, cells, strict=False) if cell}


def is_number(cell: str) -> bool:
    """Whether a cell is a number rather than a heading."""
    try:
        float(cell.replace(",", "."))
    except ValueError:
        return False
    return True
