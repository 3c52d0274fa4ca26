"""A country's rules as the operator wrote them down: one row a limit, with source and date.

Theory  Comma-separated text with the heading country,f_low_mhz,f_high_mhz,quantity,limit,unit,source,date.
Source  tepui's own. Quantities: eirp_w, power_mean_w, power_pep_w in W; occupied_width_hz in Hz.
Holds   Every cell filled; a rule without source and date is refused, for nobody could check it.
"""

import csv
import math
import re
from pathlib import Path

from tepui.ground.errors import FormatError
from tepui.jobs.care import Rule
from tepui.jobs.licence import UNITS

COLUMNS = ("country", "f_low_mhz", "f_high_mhz", "quantity", "limit", "unit", "source", "date")


def read_rules(path: Path) -> tuple[Rule, ...]:
    """The rules of a file.

    raises  FormatError naming the line and the column
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise FormatError(f"{path} is not text in UTF-8, so it is no rule file; save it as CSV.") from error
    except OSError as error:
        raise FormatError(f"{path} cannot be opened ({error.strerror or error}).") from error
    reader = csv.DictReader(text.splitlines())
    if tuple(reader.fieldnames or ()) != COLUMNS:
        raise FormatError(f"{path}: the heading of a rule file is {','.join(COLUMNS)}.")
    return tuple(_rule(path, reader.line_num, row) for row in reader)


def _rule(path: Path, line: int, row: dict[str, str]) -> Rule:
    cells = {name: (row.get(name) or "").strip() for name in COLUMNS}
    empty = [name for name, cell in cells.items() if not cell]
    if empty:
        raise FormatError(f"{path}, line {line}: {empty[0]} is empty; a rule needs every column, its source above all.")
    if cells["quantity"] not in UNITS:
        raise FormatError(f"{path}, line {line}: quantity must be {', '.join(UNITS)}, not {cells['quantity']}.")
    unit = UNITS[cells["quantity"]]
    if cells["unit"] != unit:
        raise FormatError(f"{path}, line {line}: {cells['quantity']} is stated in {unit}, not {cells['unit']}.")
    if not re.fullmatch(r"\d{4}(-\d{2}){0,2}", cells["date"]):
        raise FormatError(f"{path}, line {line}: date must be like 2024-06-24, not {cells['date']}.")
    low, high, limit = (_number(path, line, name, cells[name]) for name in ("f_low_mhz", "f_high_mhz", "limit"))
    if low >= high:
        raise FormatError(f"{path}, line {line}: f_low_mhz must be below f_high_mhz.")
    return Rule(
        country=cells["country"],
        low_hz=1e6 * low,
        high_hz=1e6 * high,
        quantity=cells["quantity"],
        limit=limit,
        source=cells["source"],
        date=cells["date"],
    )


def _number(path: Path, line: int, column: str, cell: str) -> float:
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    if not (math.isfinite(value) and value > 0):
        raise FormatError(f"{path}, line {line}: {column} must be a number above zero, not {cell}.")
    return value
