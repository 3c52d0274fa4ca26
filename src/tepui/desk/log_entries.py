"""Entries of the log made from what an operator gives: words, recordings, documents, station files, pictures, contacts.

Theory  The command line and the page ask differently and enter alike: here is the one way in. Files are kept first,
        each under its own sha256, and the entry last; what is known already is not entered twice.
Source  tepui's own; files.kept, logbook.store.
Holds   An open log. Nothing is printed here.
"""

import json
import re
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from tepui.files.kept import Stored, keep_bytes_as, keep_file, keep_recording, store_path, stored_name
from tepui.files.recordings import open_recording
from tepui.files.sigmf import META
from tepui.ground.document_reader import read_document
from tepui.ground.errors import FormatError, InputError, QuantityError, TepuiError
from tepui.ground.quantity import parse_quantity
from tepui.logbook.kinds import KINDS, Body, KeptFile, Revision
from tepui.logbook.store import Entry, Log, new_revision

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
FAR_KEYS = ("receive_level_dbm", "mer_db", "margin_db")
MOST_TEXT = 8 << 20
# Fields that follow from a file or from one another.
BOUND = (
    *("key", "unit", "low", "high", "data", "samples", "sample_rate_hz", "sample_type", "document", "verb", "program"),
    *("toml", "adif", "adif_header", "round"),
)


@dataclass(frozen=True, kw_only=True)
class Stamp:
    """What every entry says beside itself: when it happened, who says so, whether it is practice."""

    utc: str | None = None
    who: str | None = None
    practice: bool = False


def value_of_word(word: str) -> Body:
    """A word such as ``mer_db=31.2 dB ± 0.3 dB`` as key, value, unit, low and high.

    raises  InputError
    """
    key, equals, text = word.partition("=")
    key = key.strip()
    if not equals or not KEY.fullmatch(key):
        raise InputError(f'{word[:60]!r} must be KEY=VALUE, such as power_dbm="36.7 dBm ± 0.5 dB".')
    kind = KIND_OF_ENDING.get(key.rsplit("_", 1)[-1], "count")
    try:
        quantity = parse_quantity(text, kind=kind)
    except QuantityError as problem:
        raise QuantityError(f"{key}: {problem}") from problem
    unit = quantity.unit if quantity.unit else "1"
    return {"key": key, "value": quantity.value, "unit": unit, "low": quantity.low, "high": quantity.high}


def reading_revisions(
    point: str,
    values: Sequence[Body],
    stamp: Stamp,
    *,
    instrument: str | None = None,
    pads_db: float | None = None,
    note: str | None = None,
) -> list[Revision]:
    """Readings of one test point, not yet written."""
    shared = {"point": point, "instrument": instrument, "pads_db": pads_db, "note": note}
    return [_new("reading", {**shared, **value}, stamp) for value in values]


def contact_revisions(body: Body, stamp: Stamp, *, far: Sequence[Body] = ()) -> list[Revision]:
    """A contact, and what the far station read of us, not yet written.

    far   values (``receive_level_dbm``, ``mer_db``, ``margin_db``) as ``value_of_word`` gives them
    """
    whole: Body = dict.fromkeys(KINDS["contact"]) | {"adif": "[]", "adif_header": "[]", "direction": "both"}
    whole |= body
    whole["call"] = str(whole["call"] or "").strip().upper()
    made = [_new("contact", whole, stamp)]
    for value in far:
        if value["key"] not in FAR_KEYS:
            raise InputError(f"a far station reports {', '.join(FAR_KEYS)}, not {value['key']}.")
    return made + reading_revisions(far_point(whole["call"]), far, stamp)


def far_point(call: str) -> str:
    """The test point that a reading of a far station belongs to."""
    return f"at {call.strip().upper()}"


def keep_recording_entry(
    log: Log,
    path: Path,
    stamp: Stamp,
    *,
    sample_type: str | None = None,
    rate_hz: float | None = None,
    frequency_hz: float | None = None,
    note: str | None = None,
) -> tuple[Entry, bool]:
    """Keep a recording beside the log as SigMF, and enter it; the entry, and whether it is new."""
    recording = open_recording(path, sample_type=sample_type, rate_hz=rate_hz, frequency_hz=frequency_hz)
    held = {str(one.revision.body["data"]) for one in log.entries("recording", withdrawn=True)}
    samples, metadata = keep_recording(store_path(log.path), path, recording, known=held)
    known = [one for one in log.entries("recording") if one.revision.body["data"] == samples.sha256]
    if known:
        return known[0], False
    body: Body = {
        "name": recording.name,
        "data": samples.sha256,
        "sample_rate_hz": recording.sample_rate_hz,
        "samples": recording.n_samples,
        "frequency_hz": recording.centre_hz,
        "sample_type": recording.sample_type,
        "note": note,
    }
    with _taken_back(log, [samples, metadata]):
        entry = log.add(
            "recording",
            body,
            utc=stamp.utc or recording.utc,
            who=stamp.who,
            practice=stamp.practice or recording.practice,
            files=(kept(samples, "data"), kept(metadata, "metadata")),
        )
    return entry, True


@contextmanager
def _taken_back(log: Log, stored: list[Stored]) -> Iterator[None]:
    """Files that were new are removed again where the entry that was to name them is refused."""
    try:
        yield
    except BaseException:
        names = {one.stored_name for one in stored if one.new}
        remove_unnamed(log, names)
        raise


def remove_unnamed(log: Log, names: Iterable[str]) -> None:
    """Remove files of the store that no entry names; where that cannot be told they stay."""
    with suppress(TepuiError, OSError):
        named = {stored_file(revision, one) for _, revision in log.all_revisions() for one in revision.files}
        for name in set(names) - named:
            (store_path(log.path) / name).unlink(missing_ok=True)


def stored_file(revision: Revision, one: KeptFile) -> str:
    """Name in the store of a file that a revision names."""
    samples = next((other.sha256 for other in revision.files if other.role == "data"), None)
    of_recording = one.role == "metadata" and samples is not None
    return f"{samples}{META}" if of_recording else stored_name(one.name, one.sha256)


def keep_findings_entry(
    log: Log, text: str, stamp: Stamp, *, name: str, pictures: Sequence[Path] = ()
) -> tuple[Entry, bool]:
    """Keep a document that a verb printed and pictures of it; the entry, and whether it is new.

    name    of the document, for refusals
    """
    document = read_document(text, name=name)
    plain = document.plain
    known = [one for one in log.entries("findings") if one.revision.body["document"] == text]
    if known:
        return known[0], False
    stored: list[Stored] = []
    with _taken_back(log, stored):
        for one in pictures:
            stored.append(keep_file(store_path(log.path), one))
        entry = log.add(
            "findings",
            {"verb": plain["verb"], "station": plain["station"], "program": plain["tepui"], "document": text},
            utc=stamp.utc or str(plain["utc"]),
            who=stamp.who,
            practice=stamp.practice or document.practice,
            files=tuple({one.name: kept(one, "picture") for one in stored}.values()),
        )
    return entry, True


def keep_station_entry(log: Log, text: str, stamp: Stamp, *, path: Path) -> tuple[Entry, bool]:
    """Keep a station file and the files it names: first as a new entry, later as a revision of it.

    raises  FormatError where it is not TOML
    """
    try:
        about = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise FormatError(f"{path} is not TOML ({error}), so it is no station file.") from error
    station = about.get("station")
    told = station if isinstance(station, dict) else {}
    name, call = (told[key] if isinstance(told.get(key), str) else None for key in ("name", "call"))
    body: Body = {"name": name, "call": call, "file_name": path.name, "toml": text}
    files = tuple(kept(keep_file(store_path(log.path), one), "document") for one in _named_by(about, path.parent))
    known = [one for one in log.entries("station") if one.revision.body["name"] == name]
    if known and known[-1].revision.body == body and set(known[-1].revision.files) == set(files):
        return known[-1], False
    if known:
        return log.edit(known[-1].number, body, who=stamp.who, files=files), True
    entry = log.add("station", body, utc=stamp.utc, who=stamp.who, practice=stamp.practice, files=files)
    return entry, True


def _named_by(station: Mapping[str, object], folder: Path) -> list[Path]:
    """Files beside the station file that a stage's response names; those that are not there stay out."""
    stages = station.get("stage")
    found: dict[str, Path] = {}
    for stage in stages if isinstance(stages, list) else []:
        named = stage.get("response") if isinstance(stage, dict) else None
        if isinstance(named, str):
            place = folder / named
            if place.is_file() and place.stat().st_size <= MOST_TEXT:
                found.setdefault(place.name, place)
    return list(found.values())


def keep_photograph_entry(log: Log, path: Path, stamp: Stamp, *, caption: str) -> Entry:
    """Keep a picture beside the log, and enter it.

    raises  FormatError where it is none
    """
    head = b""
    if path.is_file():
        with path.open("rb") as handle:
            head = handle.read(16)
    require_picture(head, name=str(path))
    return _enter_photograph(log, keep_file(store_path(log.path), path), path.name, caption, stamp)


def keep_photograph_bytes(log: Log, data: bytes, stamp: Stamp, *, name: str, caption: str) -> Entry:
    """The same for bytes that were handed in."""
    require_picture(data[:16], name=name)
    return _enter_photograph(log, keep_bytes_as(store_path(log.path), data, name=name), name, caption, stamp)


def _enter_photograph(log: Log, stored: Stored, name: str, caption: str, stamp: Stamp) -> Entry:
    with _taken_back(log, [stored]):
        return log.add(
            "photograph",
            {"caption": caption, "name": name},
            utc=stamp.utc,
            who=stamp.who,
            practice=stamp.practice,
            files=(kept(stored, "original"),),
        )


def require_picture(head: bytes, *, name: str) -> None:
    """Refuse what does not begin as a picture.

    raises  FormatError
    """
    sound = head.startswith((b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n")) or (head[:4] == b"RIFF" and head[8:12] == b"WEBP")
    if not sound:
        raise FormatError(f"{name} is no JPEG, PNG or WebP picture.")


def changes_of_words(last: Revision, words: Sequence[str]) -> Body:
    """FIELD=VALUE words as what they change of an entry.

    raises  InputError
    """
    changes: Body = {}
    for word in words:
        name, equals, text = word.partition("=")
        if not equals:
            raise InputError(f'{word[:60]!r} must be FIELD=VALUE, such as note="after the new filter".')
        changes |= _change(last.kind, last.body, name, text)
    return changes


def can_change(kind: str) -> list[str]:
    """The fields of a kind that may be changed by hand."""
    return [name for name in KINDS[kind] if name not in BOUND]


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


def check_revisions(
    before: Sequence[Body], values: Sequence[tuple[Body, bool]], stamp: Stamp, *, month: str, instrument: str | None
) -> list[Revision]:
    """Rounds of the monthly check, not yet written.

    before   what the month holds already
    values   each with whether it is practice
    """
    held = list(before)
    made = []
    for value, practice in values:
        rounds = [body["round"] for body in held if body["key"] == value["key"]]
        body: Body = {**value, "month": month, "instrument": instrument, "round": max(rounds, default=0) + 1}
        held.append(body)
        made.append(_new("check", body, Stamp(utc=stamp.utc, who=stamp.who, practice=stamp.practice or practice)))
    return made


def pictures_of(document_text: str, *, beside: Path) -> list[Path]:
    """The pictures a document names: where it says, or in the folder ``beside``."""
    files = json.loads(document_text).get("files", [])
    found = []
    for name in files:
        if not name.lower().endswith(PICTURES):
            continue
        places = (Path(name), beside / name, beside / Path(name).name)
        place = next((one for one in places if one.is_file()), None)
        if place is not None:
            found.append(place)
    return found


def kept(stored: Stored, role: str) -> KeptFile:
    """A file of the store as an entry names it."""
    return KeptFile(role=role, name=stored.name, sha256=stored.sha256, size_bytes=stored.size_bytes)


def _new(kind: str, body: Body, stamp: Stamp) -> Revision:
    return new_revision(kind, body, utc=stamp.utc, who=stamp.who, practice=stamp.practice)
