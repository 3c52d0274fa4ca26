"""``spectrum --screen`` at the desk: looks from options or a table, findings printed, a drive series kept."""

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tepui.desk.hashes import InputHashes
from tepui.desk.recordings import text_of
from tepui.files.atomic import write_text_whole
from tepui.files.screen_readings import LookRow, read_looks
from tepui.ground.document import build_document, document_text
from tepui.ground.errors import InputError
from tepui.jobs.screen import DriveRow, screen
from tepui.jobs.screen_told import SIDES, LookTold, Told

HEADING = ("setting_dbm", "power_dbm", "shoulder_lower_db", "shoulder_upper_db", "shoulder_worst_db", "doubt_db")
LEVELS = ("top", "middle", "noise", "baseline", "line", "beside")
SAME = ("setting_dbm", "pad_db", "rbw_hz", "vbw_hz", "averages", "sweep_s", "doubt_db", "width_hz")
SHOWN_TABLES = ("screen_readings",)


@dataclass(frozen=True, kw_only=True)
class ScreenRequest:
    """What was asked on the command line.

    table   of looks; None where the options tell one
    told    by the options: the look, or what its rows leave out
    save    a drive series to write
    """

    table: Path | None
    told: LookTold
    total_power: bool = False
    save: Path | None = None


def run_screen(request: ScreenRequest, *, as_json: bool) -> int:
    """Reckon, print, keep; return the exit code.

    raises  InputError where something cannot be used
    """
    looks = [request.told] if request.table is None else _from_table(request.table, request.told)
    hashes = InputHashes([] if request.table is None else [request.table])
    try:
        result = screen(looks, total_power=request.total_power, as_series=request.save is not None)
    except InputError as problem:
        raise type(problem)(_named(request, str(problem))) from problem
    files = []
    if request.save is not None:
        _keep(request.save, result.rows)
        files = [str(request.save)]
    outcome = result.outcome
    document = build_document(verb="spectrum", outcomes=[outcome], inputs=hashes.result(), files=files, station=None)
    shown = text_of([outcome], files, practice=False, tables=SHOWN_TABLES if request.table is not None else ())
    sys.stdout.write(document_text(document) if as_json else shown)
    return 0


def _named(request: ScreenRequest, sentence: str) -> str:
    where = "--screen" if request.table is None else str(request.table)
    return f"{where}: {sentence}"


def _from_table(path: Path, told: LookTold) -> list[LookTold]:
    """Rows as looks; what a row does not tell the options do.

    raises  InputError that names the line
    """
    return [_look(path, row, number, told) for number, row in enumerate(read_looks(path), start=1)]


def _look(path: Path, row: LookRow, number: int, told: LookTold) -> LookTold:
    levels = {name: Told(value=value, unit=unit) for name, (value, unit) in row.levels.items()}
    shoulders = {}
    for side in SIDES:
        parts = [levels.get(f"{side}{place}") for place in ("_300", "", "_700")]
        known = tuple(one for one in parts if one is not None)
        if known and len(known) != 3 and (len(known) != 1 or parts[1] is None):
            raise InputError(
                f"{path}, line {row.line}: the {side} shoulder is {side}_dbm alone, or that with {side}_300_dbm and "
                f"{side}_700_dbm; {len(known)} of the three are there."
            )
        if known:
            shoulders[side] = known
    numbers, words = row.numbers, row.words
    over: dict[str, Any] = {name: numbers[name] for name in SAME if name in numbers}
    over |= {name: int(numbers[name]) for name in ("points", "held") if name in numbers}
    over |= {field: words[name] for name, field in (("detector", "detector"), ("filter", "shape")) if name in words}
    over |= {name: levels[name] for name in LEVELS if name in levels}
    return replace(told, name=words.get("name", _row_name(numbers, number)), shoulders=shoulders, **over)


def _row_name(numbers: Mapping[str, float], number: int) -> str:
    setting = numbers.get("setting_dbm")
    return f"row {number}" if setting is None else f"{setting:+g} dBm"


def _keep(path: Path, rows: Sequence[DriveRow]) -> None:
    """The drive series, for ``drive --readings``.

    raises  InputError where no look has a setting and a shoulder; UnfinishedError where the disk refuses
    """
    usable = [row for row in rows if row.shoulders]
    if not usable:
        raise InputError(
            f"--save {path}: no look has both a setting_dbm and a shoulder out of noise and filter, so there is no "
            "drive series to write; add the column setting_dbm to the table."
        )
    lines = [",".join(HEADING)]
    for row in usable:
        half = max(2 * one.std for one in row.shoulders.values())
        cells = [f"{row.setting_dbm:g}", "" if row.power_dbm is None else f"{row.power_dbm:.2f}"]
        cells += [f"{row.shoulders[side].value:.2f}" if side in row.shoulders else "" for side in SIDES]
        lines.append(",".join([*cells, f"{max(half, 0.01):.2f}"]))
    write_text_whole(path, "\n".join(lines) + "\n")
