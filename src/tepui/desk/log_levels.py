"""Readings of levels in the log, as the verb ``levels`` takes them; and those of an older list taken into the log.

Theory  What an instrument showed is entered as ``shown_dbm`` with the instrument and the pads that were in; a mean
        power at the point itself as ``level_dbm`` or ``power_dbm``. The log is the history: of several readings of one
        point with one instrument the latest counts for the levels, the earlier ones stay.
Source  tepui's own; station.reading_text for the grammar of a reading.
Holds   Levels in dBm. Other quantities read at a point are left to the log.
"""

import os
import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from tepui.desk.log_entries import Stamp, reading_revisions
from tepui.ground.errors import ChoiceError, FormatError, InputError, QuantityError
from tepui.ground.quantity import parse_quantity, quantity_value
from tepui.logbook.kinds import Body, Revision
from tepui.logbook.store import Entry, Log, new_revision

if TYPE_CHECKING:  # for its type alone: the bench starts without the numerical libraries behind it
    from tepui.prediction.readings import LevelReading

SHOWN, AT_POINT = "shown_dbm", ("level_dbm", "power_dbm")
LIST_NAME, TAKEN_IN = "readings.txt", "readings-taken-into-the-log.txt"
_READING = re.compile(
    r"\s*(?:after\s+)?(?P<point>.+?)(?:\s+on\s+(?P<instrument>[^=]+?))?"
    r"(?:\s+through\s+(?P<pads>[^=]+?))?\s*=\s*(?P<level>[^=]+?)\s*"
)


@dataclass(frozen=True, kw_only=True)
class LoggedReading:
    """A reading of a level in the log.

    text        as the verb takes it;  shares  the instrument whose own offset it shares though its factor and pads are
                taken out already, or None
    counts      False where a later one of the same point and instrument has taken its place
    """

    entry: int
    utc: str
    who: str | None
    point: str
    instrument: str | None
    text: str
    shares: str | None
    practice: bool
    counts: bool


def logged_readings(entries: Sequence[Entry], *, since: str | None = None) -> list[LoggedReading]:
    """The readings of levels among the entries, the earliest first.

    since  leave out what was read before this time
    """
    found = []
    for entry in sorted(entries, key=lambda one: (one.revision.utc, one.number)):
        one = entry.revision
        if one.kind != "reading" or one.withdrawn or one.body["key"] not in (SHOWN, *AT_POINT):
            continue
        point = str(one.body["point"]).strip()
        if point.startswith("at ") or (since is not None and one.utc < since):
            continue
        found.append(_logged(entry, point.removeprefix("after ").strip()))
    latest = {(one.point, one.instrument): one.entry for one in found}
    return [replace(one, counts=latest[one.point, one.instrument] == one.entry) for one in found]


def _logged(entry: Entry, point: str) -> LoggedReading:
    body = entry.revision.body
    instrument = str(body["instrument"]).strip() if body["instrument"] else None
    shown = body["key"] == SHOWN
    on = ""
    if shown and instrument:
        on = f" on {instrument}" + (f" through {body['pads_db']:.6g} dB" if body["pads_db"] is not None else "")
    spread = ""
    if body["low"] is not None and body["high"] is not None and body["high"] > body["low"]:
        spread = f" ± {(body['high'] - body['low']) / 2:.6g} dB"
    return LoggedReading(
        entry=entry.number,
        utc=entry.revision.utc,
        who=entry.revision.who,
        point=point,
        instrument=instrument,
        text=f"after {point}{on} = {body['value']:.6g} dBm{spread}",
        shares=None if shown else instrument,
        practice=entry.revision.practice,
        counts=True,
    )


def readings_of_log(
    path: Path, read: "Callable[[str], LevelReading]", *, instruments: Sequence[str], since: str | None
) -> "tuple[list[LevelReading], list[str], bool]":
    """What counts of a log, sentences on what does not fit this station, and whether any of it is practice.

    read  turns a text into a reading
    """
    with Log(path) as log:
        held = logged_readings(log.entries("reading"), since=since)
        remarks = list(log.remarks)
    found, practice = [], False
    for one in held:
        if not one.counts:
            continue
        try:
            reading = read(one.text)
        except InputError as problem:
            remarks.append(f"Entry {one.entry} of {path.name} does not fit this station and was left out: {problem}")
            continue
        if one.shares in instruments:
            reading = replace(reading, instrument=one.shares)
        found.append(reading)
        practice = practice or one.practice
    return found, remarks, practice


def level_body(text: str, *, points: Sequence[str], instruments: Sequence[str]) -> tuple[str, Body]:
    """Test point and content of a reading as an operator types it, in the words of the log.

    points, instruments  what the station file names
    raises  InputError where it names something else, or states no level
    """
    match = _READING.fullmatch(text)
    if match is None:
        raise FormatError(f'"{text}" is no reading; write "after driver = 9.7 dBm ± 0.5 dB".')
    point, instrument = match["point"].strip(), (match["instrument"] or "").strip() or None
    if point not in points:
        raise ChoiceError(f'there is no point "after {point}" in this station; there are {", ".join(points)}.')
    if instrument is not None and instrument not in instruments:
        named = ", ".join(instruments) or "none"
        raise ChoiceError(f'there is no instrument "{instrument}" in this station; there are {named}.')
    return f"after {point}", _body_of(match, text)


def _body_of(match: re.Match[str], text: str) -> Body:
    instrument = (match["instrument"] or "").strip() or None
    if match["pads"] is not None and instrument is None:
        raise FormatError(f'"{text}": pads belong to an instrument; name the instrument as well.')
    quantity = parse_quantity(match["level"], kind="level")
    if quantity.is_range:
        raise QuantityError(f'"{text}": a reading is one level with its doubt, not a range.')
    if quantity.low is not None and quantity.low == quantity.high:
        raise QuantityError(f'"{text}": a doubt of zero is not possible; leave it out or state one.')
    pads_db = None if match["pads"] is None else quantity_value(match["pads"], kind="ratio")
    return {
        "key": SHOWN if instrument else AT_POINT[0],
        "value": quantity.value,
        "unit": "dBm",
        "low": quantity.low,
        "high": quantity.high,
        "instrument": instrument,
        "pads_db": pads_db,
    }


def enter_level(
    log: Log,
    text: str,
    stamp: Stamp,
    *,
    points: Sequence[str],
    instruments: Sequence[str],
    pads_db: float | None = None,
    note: str | None = None,
) -> Entry:
    """Enter a reading that was typed.

    pads_db  in front of the instrument, where the text does not say it
    raises   InputError where it cannot be used; then nothing is written
    """
    point, body = level_body(text, points=points, instruments=instruments)
    if body["instrument"] is not None and body["pads_db"] is None:
        body["pads_db"] = pads_db
    body["note"] = note
    own = {key: body.pop(key) for key in ("instrument", "pads_db", "note")}
    return log.add_all(reading_revisions(point, [body], stamp, **own))[0]


def take_in_list(log: Log, path: Path, *, practice: bool = False) -> tuple[int, int]:
    """Take a list of readings, one a line, into the log; what it holds of it already is left.

    Every line that says something becomes an entry: a reading, or a note where it is none.

    returns  how many readings and how many notes were new
    """
    moment = datetime.fromtimestamp(path.stat().st_mtime, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    stamp = Stamp(utc=moment, practice=practice)
    lines = [line.strip() for line in path.read_text(encoding="utf-8-sig", errors="replace").splitlines()]
    held = Counter(
        str(one.revision.body["note" if one.revision.kind == "reading" else "text"])
        for kind in ("reading", "note")
        for one in log.entries(kind, withdrawn=True)
    )
    fresh: list[Revision] = []
    for line in lines:
        plain = line.partition("#")[0]
        if not line:
            continue
        words = f"{path.name}: {line}"
        if held[words]:
            held[words] -= 1
            continue
        match = _READING.fullmatch(plain) if plain.strip() else None
        try:
            body = None if match is None else _body_of(match, plain.strip())
        except InputError:
            body = None
        if body is None or match is None:
            fresh.append(new_revision("note", {"text": words}, utc=moment, practice=practice))
            continue
        own = {key: body.pop(key) for key in ("instrument", "pads_db")}
        fresh += reading_revisions(f"after {match['point'].strip()}", [body], stamp, **own, note=words)
    log.add_all(fresh)
    readings = sum(one.kind == "reading" for one in fresh)
    return readings, len(fresh) - readings


def take_in_folder(log_path: Path, folder: Path, *, practice: bool = False) -> str:
    """Take ``readings.txt`` of a folder into its log, once: afterwards the list bears another name.

    returns  a sentence on what was done; empty where there was no list
    """
    path = folder / LIST_NAME
    if not path.is_file():
        return ""
    with Log(log_path, create=True, write=True) as log:
        readings, notes = take_in_list(log, path, practice=practice)
    place = folder / TAKEN_IN
    number = 1
    while place.exists():
        number += 1
        place = folder / TAKEN_IN.replace(".txt", f"-{number}.txt")
    os.replace(path, place)
    return (
        f"{readings} readings and {notes} notes of {LIST_NAME} were taken into the log; the list is now {place.name}."
    )
