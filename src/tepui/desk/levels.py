"""The desk of ``levels``: open the station file, read the readings, run the job, print."""

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tepui.desk.check import limits_missed
from tepui.desk.hashes import InputHashes
from tepui.desk.log_levels import readings_of_log
from tepui.files.station import named_files, open_station
from tepui.ground.document import build_document, document_text
from tepui.ground.errors import FormatError, InputError
from tepui.ground.listing import outcome_text, page_for
from tepui.jobs.levels import levels
from tepui.logbook.copybook import copy_path
from tepui.prediction.readings import LevelReading
from tepui.station.assemble import assemble
from tepui.station.nouns import Station
from tepui.station.reading_text import read_reading

MOST_BYTES = 1 << 20


@dataclass(frozen=True, kw_only=True)
class LevelsRequest:
    """What was asked on the command line."""

    station: Path
    readings: Sequence[str] = ()
    readings_file: Path | None = None
    log: Path | None = None
    since: str | None = None
    card: bool = False


def run_levels(request: LevelsRequest, *, as_json: bool, strict: bool) -> int:
    """The verb: predict, take readings in, print, return the exit code.

    raises  InputError where something cannot be used
    """
    station = open_station(request.station)
    files = [*named_files(station, request.station)]
    if request.readings_file is not None:
        files.append(request.readings_file)
    readings, practice = _readings(request, station), False
    if request.log is not None:
        logged, practice = _of_log(request, request.log, station)
        readings += logged
        files += [place for place in [copy_path(request.log)] if place.is_file()]  # in plain lines what the log holds
    hashes = InputHashes(files)
    outcome = levels(station, readings, card=request.card)
    if as_json:
        document = build_document(
            verb="levels", outcomes=[outcome], inputs=hashes.result(), station=station.name, practice=practice
        )
        sys.stdout.write(document_text(document))
    elif request.card:
        cautions = [finding for finding in outcome.findings if finding.kind == "caution"]
        lines = [f"  {finding.about.replace(':', ' ', 1)}: {finding.remark}" for finding in cautions]
        parts = [f"{station.name}: bring-up card", *_card(outcome.tables[0].rows), "Cautions", *lines]
        sys.stdout.write("\n".join(parts) + "\n")
    else:
        head = "PRACTICE: readings of the simulated bench among them, not measured on any transmitter.\n\n"
        sys.stdout.write((head if practice else "") + outcome_text(outcome, page_for(sys.stdout)) + "\n")
    return 1 if strict and limits_missed(outcome) else 0


def _card(rows: Sequence[Sequence[object]]) -> list[str]:
    """The card as it is printed and ticked by hand: a block a step."""
    lines = []
    for n, what, connection, pad, shown, low, high, stop, box in rows:
        lines += ["", f"{n:>2}  {what}", f"      connect  {connection}", f"      pad      {pad}"]
        if shown is not None:
            lines.append(f"      expect   {shown:+.1f} dBm, accept {low:+.1f} to {high:+.1f} dBm")
        lines += [f"      stop     {stop}", f"      read     {box}"]
    return [*lines, ""]


def _readings(request: LevelsRequest, station: Station) -> list[LevelReading]:
    occupied = assemble(station).mode.occupied_width_hz
    found = [read_reading(text, station=station, occupied_hz=occupied) for text in request.readings]
    if request.readings_file is None:
        return found
    path = request.readings_file
    for number, line in enumerate(_lines(path), start=1):
        plain = line.partition("#")[0].strip()
        if not plain:
            continue
        try:
            found.append(read_reading(plain, station=station, occupied_hz=occupied))
        except InputError as problem:
            raise FormatError(f"{path}, line {number}: {problem}") from problem
    return found


def _of_log(request: LevelsRequest, path: Path, station: Station) -> tuple[list[LevelReading], bool]:
    """The readings that count of a log, and whether any is practice; what does not fit is told on stderr."""
    occupied = assemble(station).mode.occupied_width_hz
    found, remarks, practice = readings_of_log(
        path,
        lambda text: read_reading(text, station=station, occupied_hz=occupied),
        instruments=[one.name for one in station.instruments],
        since=request.since,
    )
    for remark in remarks:
        print(f"tepui: {remark}", file=sys.stderr)
    return found, practice


def _lines(path: Path) -> list[str]:
    try:
        if path.stat().st_size > MOST_BYTES:
            raise FormatError(f"{path} is larger than a megabyte, too large for a list of readings.")
        return path.read_text(encoding="utf-8-sig").splitlines()
    except UnicodeDecodeError as problem:
        raise FormatError(f"{path} is not text in UTF-8; save it as UTF-8.") from problem
    except OSError as problem:
        raise FormatError(f"{path} cannot be opened ({problem.strerror or problem}).") from problem
