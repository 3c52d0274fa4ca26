"""Drive readings from a table: one row a setting, as copied from displays; a row may name a recording instead.

Theory  Comma- or semicolon-separated text with a heading; columns in any order, empty cells mean "not read". A cell
        names one recording, or a set of narrow ones: a folder, a pattern, several with + between them.
Source  tepui's own: setting_dbm power_dbm shoulder_lower_db shoulder_upper_db shoulder_worst_db pad_db
        receiver_gain_db mer_db supply_a case_c doubt_db recording. [RFC4180] for the separated text.
Holds   A point as decimal mark; a comma too, where it does not separate the cells. ``doubt_db`` is a 95 % doubt of the
        row's shoulders. Lines that begin with # are left.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from tepui.files.separated import bare_number, checked_heading, is_number, named_cells, separated_rows
from tepui.files.within import named_file
from tepui.ground.errors import FormatError

SHOULDER_RANGE = (-120.0, 0.0)
RANGES = {  # least and most, this program's limits: beyond them a cell is a slip of the pen
    "setting_dbm": (-150.0, 100.0),
    "power_dbm": (-150.0, 100.0),
    "shoulder_lower_db": SHOULDER_RANGE,
    "shoulder_upper_db": SHOULDER_RANGE,
    "shoulder_worst_db": SHOULDER_RANGE,
    "pad_db": (0.0, 150.0),
    "receiver_gain_db": (-100.0, 150.0),
    "mer_db": (-20.0, 80.0),
    "supply_a": (0.0, 1000.0),
    "case_c": (-60.0, 300.0),
    "doubt_db": (0.0, 20.0),
}
NUMBERS = tuple(RANGES)
COLUMNS = (*NUMBERS, "recording")
ENDINGS = (".sigmf-meta", ".wav")
SHOULDERS = ("shoulder_lower_db", "shoulder_upper_db", "shoulder_worst_db")
KIND = "table of readings"


@dataclass(frozen=True, kw_only=True)
class ReadingRow:
    """One row of the table: its line in the file, the numbers it holds by column, and the recordings it names."""

    line: int
    values: Mapping[str, float]
    recordings: tuple[Path, ...] = ()


def read_readings(path: Path) -> tuple[ReadingRow, ...]:
    """The rows of a table of readings.

    raises  FormatError: one sentence that names the line and the column
    """
    rows = separated_rows(path, kind=KIND)
    if len(rows) < 2:
        raise FormatError(f"{path} holds no readings; write a heading such as setting_dbm,shoulder_worst_db, and rows.")
    line, cells = rows[0]
    heading = checked_heading(path, line, cells, COLUMNS, kind="drive series")
    found = tuple(_row(path, line, heading, cells) for line, cells in rows[1:])
    if not any(row.recordings or any(name in row.values for name in SHOULDERS) for row in found):
        raise FormatError(
            f"{path}, line {rows[1][0]}: no row has a shoulder or a recording, and a drive series is made of these; "
            f"add a column {', '.join(SHOULDERS)} or recording."
        )
    return found


def _row(path: Path, line: int, heading: list[str], cells: list[str]) -> ReadingRow:
    given = named_cells(path, line, heading, cells)
    named = given.pop("recording", None)
    values = {name: bare_number(path, line, name, cell) for name, cell in given.items()}
    for name in SHOULDERS:
        if values.get(name, -1.0) >= 0:
            raise FormatError(
                f"{path}, line {line}: {name} is a level below the signal and negative, not {values[name]:g}; "
                f"write {-values[name] or -30:g}."
            )
    for name, value in values.items():
        low, high = RANGES[name]
        if not low <= value <= high:
            raise FormatError(
                f"{path}, line {line}: {name} must lie between {low:g} and {high:g} (this program's limit), "
                f"not {value:g}."
            )
    if values.get("doubt_db", 1.0) <= 0:
        raise FormatError(f"{path}, line {line}: doubt_db must be above zero, not {values['doubt_db']:g}.")
    if named is None and not set(values) - {"setting_dbm", "doubt_db"}:
        raise FormatError(f"{path}, line {line}: a row needs a reading or a recording, and has neither.")
    recordings = () if named is None else _named(path, line, named)
    return ReadingRow(line=line, values=values, recordings=recordings)


def _named(path: Path, line: int, cell: str) -> tuple[Path, ...]:
    """Recordings of a cell: one, a folder, several with + between them, or a pattern with * in its last part.

    raises  FormatError for a pattern that nothing fits
    """
    found: list[Path] = []
    for part in (part.strip() for part in cell.split(" + ")):
        named = named_file(path, part)
        if "*" not in named.name:
            found.append(named)
            continue
        inside = sorted(one for one in named.parent.glob(named.name) if one.name.endswith(ENDINGS))
        if not inside:
            raise FormatError(f"{path}, line {line}: nothing is called {part}; name SigMF or WAV recordings.")
        found += inside
    return tuple(found)


def read_loss_table(path: Path) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Loss of a filter over frequency: rows of MHz and dB, a heading or none; loss is positive.

    returns  frequency_hz (n,) rising and loss_db (n,)
    raises   FormatError
    """
    pairs = []
    for number, (line, cells) in enumerate(separated_rows(path, kind=KIND)):
        if len(cells) < 2:
            raise FormatError(f"{path}, line {line}: a filter table has two columns, MHz and dB of loss.")
        if number == 0 and not is_number(cells[0]):
            continue
        pairs.append((bare_number(path, line, "MHz", cells[0]) * 1e6, bare_number(path, line, "dB", cells[1])))
    if len(pairs) < 3:
        raise FormatError(f"{path} holds {len(pairs)} points; a filter's curve needs three or more.")
    pairs.sort()
    frequency, loss = np.array(pairs).T
    if np.any(np.diff(frequency) <= 0):
        raise FormatError(f"{path} states a frequency twice; keep one of each.")
    if loss.max() <= 0:
        raise FormatError(f"{path} shows gain, not loss; write the loss in dB as positive numbers.")
    return frequency, loss
