"""A list of tunings from a table: one row a recording, as another verb prints it or as the operator writes it.

Theory  Comma- or semicolon-separated text with a heading; columns in any order, empty cells take what the command
        line says.
Source  tepui's own: frequency_hz rate_hz duration_s attenuator_db frontend_gain_db if_gain_db gain_db setting_dbm
        terminated name. [RFC4180] for the separated text. The JSON document's table ``tunings`` holds the same columns.
Holds   A point as decimal mark; bare numbers, the unit is in the heading. Other columns of a JSON document are left
        alone.
"""

import csv
import difflib
import json
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tepui.ground.errors import FormatError

NUMBERS = (
    "frequency_hz",
    "rate_hz",
    "duration_s",
    "attenuator_db",
    "frontend_gain_db",
    "if_gain_db",
    "gain_db",
    "setting_dbm",
)
COLUMNS = (*NUMBERS, "terminated", "name")
MOST_BYTES, MOST_ROWS = 1 << 20, 10_000
YES, NO = ("yes", "true", "1"), ("no", "false", "0")
TABLE = "tunings"


@dataclass(frozen=True, kw_only=True)
class Tuning:
    """One recording to be made; None where the table is silent. place says where it stands, for refusals."""

    place: str
    values: Mapping[str, float]
    terminated: bool | None
    name: str | None


def read_tunings(path: Path) -> tuple[Tuning, ...]:
    """The rows of a list of tunings, CSV or a JSON document with a table of that name.

    raises  FormatError: one sentence that names the row and the column
    """
    text = _text_of(path)
    rows = _json_rows(path, text) if text.lstrip().startswith("{") else _csv_rows(path, text)
    if not rows:
        raise FormatError(f"{path} lists no tunings; write a heading with frequency_hz, and a row for each.")
    if len(rows) > MOST_ROWS:
        raise FormatError(f"{path} lists {len(rows)} tunings; {MOST_ROWS} are the most (this program's limit).")
    return tuple(_tuning(path, place, cells) for place, cells in rows)


def _text_of(path: Path) -> str:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise FormatError(f"{path} is larger than a megabyte, too large for a list of tunings; is it a recording?")
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise FormatError(f"{path} is not text in UTF-8, so it is no list of tunings; save it as CSV.") from error
    except OSError as error:
        raise FormatError(f"{path} cannot be opened ({error.strerror or error}).") from error


def _csv_rows(path: Path, text: str) -> list[tuple[str, dict[str, str]]]:
    lines = [line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")]
    if not lines:
        return []
    mark = max(",;\t", key=lines[0].count)
    try:
        heading, *rows = csv.reader(lines, delimiter=mark)
    except csv.Error as error:
        raise FormatError(f"{path}: {error}; write plain separated text.") from error
    names = [cell.strip().lower() for cell in heading]
    for name in names:
        if name not in COLUMNS:
            close = difflib.get_close_matches(name, COLUMNS, n=1)
            nearest = f" Nearest: {close[0]}." if close else ""
            raise FormatError(
                f'{path}: "{name}" is no column of a list of tunings; allowed are {", ".join(COLUMNS)}.{nearest}'
            )
    if len(set(names)) < len(names):
        raise FormatError(f"{path}: a column occurs twice; keep one of each.")
    found = []
    for number, cells in enumerate(rows, start=1):
        if len(cells) > len(names) and any(cell.strip() for cell in cells[len(names) :]):
            raise FormatError(
                f"{path}, row {number}: {len(cells)} cells under {len(names)} headings; write decimals with a point."
            )
        found.append((f"row {number}", {n: c.strip() for n, c in zip(names, cells, strict=False) if c.strip()}))
    return found


def _json_rows(path: Path, text: str) -> list[tuple[str, dict[str, str]]]:
    try:
        table: Any = json.loads(text)["tables"][TABLE]
        keys = [column["key"] for column in table["columns"]]
        rows = [dict(zip(keys, row, strict=True)) for row in table["rows"]]
    except (ValueError, KeyError, TypeError) as error:
        raise FormatError(
            f'{path} is no JSON document with a table "{TABLE}"; print one with --json, or write a CSV.'
        ) from error
    return [
        (f"row {number}", {key: str(row[key]) for key in keys if key in COLUMNS and row[key] is not None})
        for number, row in enumerate(rows, start=1)
    ]


def _tuning(path: Path, place: str, cells: dict[str, str]) -> Tuning:
    name = cells.pop("name", None)
    if name is not None and (name in (".", "..") or any(mark in name for mark in '/\\:*?"<>|')):
        raise FormatError(f"{path}, {place}: name must be a file name without a folder, not {name!r}.")
    terminated = None
    if "terminated" in cells:
        word = cells.pop("terminated").lower()
        if word not in (*YES, *NO):
            raise FormatError(f'{path}, {place}: terminated must be yes or no, not "{word}".')
        terminated = word in YES
    values = {column: _number(path, place, column, cell) for column, cell in cells.items()}
    if "frequency_hz" not in values:
        raise FormatError(f"{path}, {place}: frequency_hz is missing, and every row needs one.")
    for column in ("frequency_hz", "rate_hz", "duration_s"):
        if values.get(column, 1.0) <= 0:
            raise FormatError(f"{path}, {place}: {column} must be above zero, not {values[column]:g}.")
    return Tuning(place=f"{path}, {place}", values=values, terminated=terminated, name=name)


def _number(path: Path, place: str, column: str, cell: str) -> float:
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise FormatError(f'{path}, {place}: {column} must be a bare number, not "{cell}"; the unit is in the heading.')
    return value
