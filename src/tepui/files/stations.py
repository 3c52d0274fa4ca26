"""Stations that may receive, from a table: call, place and antenna.

Theory  Comma-separated text with the heading call,place,gain_dbi; a place is a locator or "52.2 4.3".
Source  tepui's own. [RFC4180] for the text.
Holds   Each call once. Lines that begin with # are left out.
"""

import csv
import math
from pathlib import Path

from tepui.chain.antenna.places import parse_place
from tepui.ground.errors import FormatError, InputError
from tepui.jobs.listed import ListedStation

COLUMNS = ("call", "place", "gain_dbi")


def read_stations(path: Path) -> tuple[ListedStation, ...]:
    """The stations of a table.

    raises  FormatError naming the line
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise FormatError(f"{path} is not text in UTF-8, so it is no list of stations; save it as CSV.") from error
    except OSError as error:
        raise FormatError(f"{path} cannot be opened ({error.strerror or error}).") from error
    lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
    reader = csv.DictReader(lines)
    if tuple(reader.fieldnames or ()) != COLUMNS:
        raise FormatError(f"{path}: the heading of a list of stations is {','.join(COLUMNS)}.")
    found: dict[str, ListedStation] = {}
    for row in reader:
        call = (row["call"] or "").strip()
        if not call or call in found:
            raise FormatError(f"{path}, row {reader.line_num}: each call is told once, and {call or 'none'} is not.")
        try:
            gain, where = float(row["gain_dbi"] or "nan"), parse_place(row["place"] or "")
        except (InputError, ValueError) as problem:
            raise FormatError(f"{path}, row {reader.line_num}: {problem}") from problem
        if not math.isfinite(gain):
            raise FormatError(f"{path}, row {reader.line_num}: gain_dbi must be a bare number such as 13.")
        found[call] = ListedStation(call=call, place=where, gain_dbi=gain)
    if not found:
        raise FormatError(f"{path} lists no station.")
    return tuple(found.values())
