"""A terrain profile from a table: distance and height along a path, as typed or exported.

Theory  Comma- or semicolon-separated text with a heading; rows from the transmitter to the receiver.
Source  tepui's own: d_km, h_m, and optionally clutter_m and zone (sea, coast or inland, or B, A1, A2 as [P.452] writes
        them). [RFC4180] for the text.
Holds   A point as decimal mark. The first row is at 0 km. Lines that begin with # are left out.
"""

import csv
import difflib
import math
from pathlib import Path

import numpy as np

from tepui.ground.errors import FormatError, InputError
from tepui.signals.terrain import Profile

NEEDED, OPTIONAL = ("d_km", "h_m"), ("clutter_m", "zone")
ZONE_LETTERS = {"b": "sea", "a1": "coast", "a2": "inland"}
MOST_BYTES = 16 << 20
HIGHEST_M, DEEPEST_M = 9000.0, -500.0


def read_profile(path: Path) -> Profile:
    """A profile from its table.

    raises  FormatError or RangeError: one sentence that names the line or the column
    """
    rows = _rows(path)
    if not rows:
        raise FormatError(f"{path} is empty; write the heading d_km,h_m and rows from the transmitter on.")
    line, heading = rows[0]
    heading = [name.lower() for name in heading]
    _check_heading(path, line, heading)
    columns: dict[str, list[str]] = {name: [] for name in heading}
    for number, cells in rows[1:]:
        if len(cells) != len(heading):
            raise FormatError(
                f"{path}, line {number}: {len(cells)} cells under {len(heading)} headings; write decimals with a point."
            )
        for name, cell in zip(heading, cells, strict=True):
            columns[name].append(cell)
    lines = [number for number, _ in rows[1:]]
    if len(lines) < 2:
        raise FormatError(f"{path} holds {len(lines)} points; a profile needs two or more.")
    numbers = {
        name: [_number(path, at, name, cell) for at, cell in zip(lines, columns[name], strict=True)]
        for name in heading
        if name != "zone"
    }
    for at, height in zip(lines, numbers["h_m"], strict=True):
        if not DEEPEST_M <= height <= HIGHEST_M:
            raise FormatError(f"{path}, line {at}: h_m {height:g} is no height of ground in metres above the sea.")
    try:
        return Profile(
            distance_m=1e3 * np.array(numbers["d_km"]),
            height_m=np.array(numbers["h_m"]),
            clutter_m=np.array(numbers["clutter_m"]) if "clutter_m" in numbers else None,
            zone=tuple(ZONE_LETTERS.get(cell.lower(), cell.lower()) for cell in columns["zone"])
            if "zone" in columns
            else None,
            source=f"profile {path.name}",
        )
    except InputError as problem:
        raise FormatError(f"{path}: {problem}") from problem


def _rows(path: Path) -> list[tuple[int, list[str]]]:
    try:
        if path.is_dir():
            raise FormatError(f"{path} is a folder; a profile is a text file.")
        if path.stat().st_size > MOST_BYTES:
            raise FormatError(f"{path} is larger than 16 MiB, too large for a profile; is it a terrain tile?")
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise FormatError(f"{path} is not text in UTF-8, so it is no profile; save it as CSV.") from error
    except OSError as error:
        raise FormatError(f"{path} cannot be opened ({error.strerror or error}).") from error
    first = next((line for line in text.splitlines() if line.strip() and not line.lstrip().startswith("#")), "")
    reader = csv.reader(text.splitlines(), delimiter=max(",;\t", key=first.count))
    try:
        kept = [(reader.line_num, [cell.replace("−", "-").strip() for cell in cells]) for cells in reader]
    except csv.Error as error:
        raise FormatError(f"{path}, line {reader.line_num}: {error}; write plain separated text.") from error
    return [(number, cells) for number, cells in kept if any(cells) and not cells[0].startswith("#")]


def _check_heading(path: Path, line: int, heading: list[str]) -> None:
    allowed = (*NEEDED, *OPTIONAL)
    for name in heading:
        if name not in allowed:
            close = difflib.get_close_matches(name, allowed, n=1)
            nearest = f" Nearest: {close[0]}." if close else ""
            raise FormatError(
                f'{path}, line {line}: "{name}" is no column of a profile; allowed are {", ".join(allowed)}.{nearest}'
            )
    for name in NEEDED:
        if heading.count(name) != 1:
            raise FormatError(f"{path}, line {line}: a profile needs the column {name} once.")
    if len(set(heading)) < len(heading):
        raise FormatError(f"{path}, line {line}: a column occurs twice; keep one of each.")


def _number(path: Path, line: int, column: str, cell: str) -> float:
    try:
        value = float(cell)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise FormatError(
            f'{path}, line {line}: {column} must be a bare number such as 12.5, not "{cell}"; '
            "the unit is in the heading."
        )
    return value
