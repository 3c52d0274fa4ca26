"""``log`` at the desk: adding to the log, changing, undoing, listing and showing."""

import re
import sys
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tepui.desk.log_shown import entries_table, entries_text, history_text, revisions_table
from tepui.files.kept import Stored, keep_file, keep_recording, store_path
from tepui.files.recordings import open_recording
from tepui.ground.document import build_document, document_text
from tepui.ground.document_reader import read_document
from tepui.ground.errors import FormatError, InputError, QuantityError
from tepui.ground.findings import Outcome, Table
from tepui.ground.listing import page_for
from tepui.ground.quantity import parse_quantity
from tepui.logbook.kinds import KINDS, Body, KeptFile
from tepui.logbook.store import Entry, Log

DEFAULT_LOG = Path("tepui-log.sqlite")
KEY = re.compile(r"[a-z][a-z0-9_]{1,60}")
KIND_OF_ENDING = {
    "db": "ratio",
    "dbc": "ratio",
    "dbm": "level",
    "hz": "frequency",
    "w": "power",
    "v": "voltage",
    "a": "current",
    "s": "time",
    "m": "length",
    "k": "temperature",
    "deg": "angle",
    "bps": "rate",
}
PICTURES = (".svg", ".png", ".jpg", ".jpeg")
MOST_TEXT = 8 << 20
# Fields that follow from a file or from one another.
BOUND = (
    *("key", "unit", "low", "high", "data", "samples", "sample_rate_hz", "sample_type", "document", "verb", "program"),
    *("toml", "adif", "adif_header", "round"),
)


@dataclass(frozen=True, kw_only=True)
class Common:
    """What every addition may say: the log, when it happened, who says so, whether it is practice."""

    log: Path
    utc: str | None = None
    who: str | None = None
    practice: bool = False
    as_json: bool = False


def add_entry(common: Common, kind: str, body: Body, *, files: Sequence[KeptFile] = (), practice: bool = False) -> int:
    """Write one new entry and say so."""
    with Log(common.log, create=True, write=True) as log:
        entry = log.add(kind, body, utc=common.utc, who=common.who, practice=common.practice or practice, files=files)
        return _said([entry], log, as_json=common.as_json)


def add_readings(
    common: Common, point: str, words: Sequence[str], *, instrument: str | None, pads_db: float | None, note: str | None
) -> int:
    """Write readings of one test point, all or none."""
    from tepui.logbook.store import new_revision

    values = [value_of_word(word) for word in words]
    with Log(common.log, create=True, write=True) as log:
        revisions = [
            new_revision(
                "reading",
                {"point": point, **value, "instrument": instrument, "pads_db": pads_db, "note": note},
                utc=common.utc,
                who=common.who,
                practice=common.practice,
            )
            for value in values
        ]
        return _said(log.add_all(revisions), log, as_json=common.as_json)


def value_of_word(word: str) -> Body:
    """A word such as ``mer_db=31.2 dB ± 0.3 dB`` as key, value, unit, low and high.

    raises  InputError
    """
    key, equals, text = word.partition("=")
    if not equals or not KEY.fullmatch(key):
        raise InputError(f'{word[:60]!r} must be KEY=VALUE, such as power_dbm="36.7 dBm ± 0.5 dB".')
    kind = KIND_OF_ENDING.get(key.rsplit("_", 1)[-1], "count")
    try:
        quantity = parse_quantity(text, kind=kind)
    except QuantityError as problem:
        raise QuantityError(f"{key}: {problem}") from problem
    unit = quantity.unit if quantity.unit else "1"
    return {"key": key, "value": quantity.value, "unit": unit, "low": quantity.low, "high": quantity.high}


def add_recording(
    common: Common,
    path: Path,
    *,
    sample_type: str | None,
    rate_hz: float | None,
    frequency_hz: float | None,
    note: str | None,
) -> int:
    """Keep a recording beside the log as SigMF, and enter it."""
    recording = open_recording(path, sample_type=sample_type, rate_hz=rate_hz, frequency_hz=frequency_hz)
    with Log(common.log, create=True, write=True) as log:
        samples, metadata = keep_recording(store_path(common.log), path, recording)
        known = [one for one in log.entries("recording") if one.revision.body["data"] == samples.sha256]
        if known:
            log.remarks.append(f"These samples are in the log already, as entry {known[0].number}.")
            return _said(known, log, as_json=common.as_json)
        body: Body = {
            "name": recording.name,
            "data": samples.sha256,
            "sample_rate_hz": recording.sample_rate_hz,
            "samples": recording.n_samples,
            "frequency_hz": recording.centre_hz,
            "sample_type": recording.sample_type,
            "note": note,
        }
        entry = log.add(
            "recording",
            body,
            utc=common.utc or recording.utc,
            who=common.who,
            practice=common.practice or recording.practice,
            files=(_kept(samples, "data"), _kept(metadata, "metadata")),
        )
        return _said([entry], log, as_json=common.as_json)


def add_findings(common: Common, path: Path) -> int:
    """Keep a document that a verb printed, and the pictures it names where they are still there."""
    text = text_of_file(path, what="a document that a verb printed with --json")
    document = read_document(text, name=str(path))
    plain = document.plain
    with Log(common.log, create=True, write=True) as log:
        found = [picture for name in plain["files"] if (picture := _picture(name, path)) is not None]
        pictures = [keep_file(store_path(common.log), one) for one in found]
        entry = log.add(
            "findings",
            {"verb": plain["verb"], "station": plain["station"], "program": plain["tepui"], "document": text},
            utc=common.utc or str(plain["utc"]),
            who=common.who,
            practice=common.practice or document.practice,
            files=tuple({one.name: _kept(one, "picture") for one in pictures}.values()),
        )
        return _said([entry], log, as_json=common.as_json)


def add_station(common: Common, path: Path) -> int:
    """Keep a station file: the first time as a new entry, later as a revision of it."""
    text = text_of_file(path, what="a station file")
    try:
        about = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise FormatError(f"{path} is not TOML ({error}), so it is no station file.") from error
    station = about.get("station")
    told = station if isinstance(station, dict) else {}
    name, call = (told[key] if isinstance(told.get(key), str) else None for key in ("name", "call"))
    body: Body = {"name": name, "call": call, "file_name": path.name, "toml": text}
    with Log(common.log, create=True, write=True) as log:
        known = [one for one in log.entries("station") if one.revision.body["name"] == name]
        if known and known[-1].revision.body == body:
            log.remarks.append(f"The station stands like that already, in entry {known[-1].number}.")
            return _said(known[-1:], log, as_json=common.as_json)
        if known:
            return _said([log.edit(known[-1].number, body, who=common.who)], log, as_json=common.as_json)
        entry = log.add("station", body, utc=common.utc, who=common.who, practice=common.practice)
        return _said([entry], log, as_json=common.as_json)


def add_photograph(common: Common, path: Path, caption: str) -> int:
    """Keep a picture beside the log, and enter it."""
    head = b""
    if path.is_file():
        with path.open("rb") as handle:
            head = handle.read(16)
    sound = head.startswith((b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")) or (head[:4] == b"RIFF" and head[8:12] == b"WEBP")
    if not sound:
        raise FormatError(f"{path} is no JPEG, PNG or WebP picture.")
    with Log(common.log, create=True, write=True) as log:
        kept = keep_file(store_path(common.log), path)
        entry = log.add(
            "photograph",
            {"caption": caption, "name": path.name},
            utc=common.utc,
            who=common.who,
            practice=common.practice,
            files=(_kept(kept, "original"),),
        )
        return _said([entry], log, as_json=common.as_json)


def edit_entry(common: Common, number: int, words: Sequence[str]) -> int:
    """Write a revision with some fields, or the time it tells of, changed."""
    if not words and common.utc is None:
        raise InputError(
            'nothing to change was given; write FIELD=VALUE, such as note="after the new filter", or --utc.'
        )
    with Log(common.log, write=True) as log:
        last = log.entry(number).revision
        changes: Body = {}
        for word in words:
            name, equals, text = word.partition("=")
            if not equals:
                raise InputError(f'{word[:60]!r} must be FIELD=VALUE, such as note="after the new filter".')
            changes |= _change(last.kind, last.body, name, text)
        return _said([log.edit(number, changes, who=common.who, utc=common.utc)], log, as_json=common.as_json)


def _change(kind: str, body: Body, name: str, text: str) -> Body:
    rule = KINDS[kind].get(name)
    if rule is None:
        raise InputError(f"{kind} has no field {name[:40]!r}; it has {', '.join(KINDS[kind])}.")
    if name == "value":
        return value_of_word(f"{body['key']}={text}")
    if name in BOUND:
        raise InputError(f"{name} of a {kind} belongs to what was entered; withdraw the entry and add it anew.")
    if not text and not rule.needed:
        return {name: None}
    if rule.sql == "TEXT":
        return {name: text}
    ending = name.rsplit("_", 1)[-1]
    if ending in KIND_OF_ENDING:
        return {name: value_of_word(f"{name}={text}")["value"]}
    try:
        return {name: int(text) if rule.sql == "INTEGER" else float(text)}
    except ValueError as error:
        raise InputError(f"{kind} {name} must be a number, not {text[:40]!r}.") from error


def undo_entry(common: Common, number: int) -> int:
    """Write again what stood before the latest change."""
    with Log(common.log, write=True) as log:
        return _said([log.undo(number, who=common.who)], log, as_json=common.as_json)


def withdraw_entry(common: Common, number: int) -> int:
    """Write that an entry no longer counts."""
    with Log(common.log, write=True) as log:
        return _said([log.withdraw(number, who=common.who)], log, as_json=common.as_json)


def list_entries(common: Common, kind: str | None, *, withdrawn: bool) -> int:
    """List the entries as they stand."""
    with Log(common.log) as log:
        return _said(log.entries(kind, withdrawn=withdrawn), log, as_json=common.as_json)


def show_entry(common: Common, number: int) -> int:
    """Show every revision of an entry."""
    with Log(common.log) as log:
        history = log.history(number)
        remarks = log.remarks
    practice = any(one.practice for one in history)
    say(
        revisions_table(number, history),
        history_text(number, history),
        remarks=remarks,
        practice=practice,
        as_json=common.as_json,
    )
    return 0


def say(table: Table, text: str, *, remarks: Sequence[str], practice: bool, as_json: bool) -> None:
    """Print a table as a document, or a text for a terminal; remarks go to stderr."""
    for remark in remarks:
        print(f"tepui: {remark}", file=sys.stderr)
    if as_json:
        document = build_document(verb="log", outcomes=[Outcome(findings=(), tables=(table,))], practice=practice)
        sys.stdout.write(document_text(document))
    else:
        sys.stdout.write(text + "\n")


def text_of_file(path: Path, *, what: str) -> str:
    """The text of a file of a size that fits what it should be.

    raises  InputError, FormatError
    """
    if not path.is_file():
        raise InputError(f"{path} is no file; {what} is wanted.")
    if path.stat().st_size > MOST_TEXT:
        raise FormatError(f"{path} is larger than {MOST_TEXT >> 20} MiB, too large for {what}.")
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise FormatError(f"{path} is not text in UTF-8, so it is not {what}.") from error


def _said(entries: Sequence[Entry], log: Log, *, as_json: bool) -> int:
    practice = any(entry.revision.practice for entry in entries)
    width = page_for(sys.stdout).width if sys.stdout.isatty() else 10_000
    text = entries_text(entries, width=width)
    say(entries_table(entries), text, remarks=log.remarks, practice=practice, as_json=as_json)
    return 0


def _kept(stored: Stored, role: str) -> KeptFile:
    return KeptFile(role=role, name=stored.name, sha256=stored.sha256, size_bytes=stored.size_bytes)


def _picture(name: str, document: Path) -> Path | None:
    """A picture a document names: where it says, or beside the document."""
    if not name.lower().endswith(PICTURES):
        return None
    places: list[Any] = [Path(name), document.parent / name, document.parent / Path(name).name]
    return next((place for place in places if place.is_file()), None)
