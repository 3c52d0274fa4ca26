"""``report`` at the desk: gather a record from documents, station file and log; set it, and keep what was asked for."""

import hashlib
import re
import sys
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from html import unescape
from pathlib import Path
from typing import Any

from tepui import __version__
from tepui.desk.keep import keep_bytes, require_folder, require_output
from tepui.desk.log import text_of_file
from tepui.desk.log_entries import PICTURES, TRACES, named_by
from tepui.desk.report_package import package
from tepui.desk.report_sources import (
    levels_document,
    redrawn,
    text_of,
    trace_of,
    trace_pictures,
    traces_of,
    trend_document,
)
from tepui.files.kept import store_path, stored_name
from tepui.ground.document import InputFile, build_document, document_text
from tepui.ground.document_reader import ReadDocument, read_document
from tepui.ground.errors import FormatError, InputError
from tepui.logbook.store import Entry, Log
from tepui.report.pdf import card_pdf, report_pdf
from tepui.report.privacy import without_home
from tepui.report.record import LogRow, MeasuredTrace, Picture, Record, Source, StationText
from tepui.report.tables import table_files

LOG_KINDS = ("reading", "check", "contact", "note")
SAID = {
    "filter-drawing": "Cutting drawing of the filter with every dimension, at 1:1.",
    "picture": "A picture as it was received.",
}
MOST_PICTURE = 32 << 20
NO_TIME = "1980-01-01T00:00:00Z"
Found = tuple[str, str, ReadDocument, tuple[Picture, ...]]


@dataclass(frozen=True, kw_only=True)
class ReportRequest:
    """What was asked: where the record comes from, and what is to be written."""

    documents: Sequence[Path]
    log: Path | None
    station: Path | None
    out: Path | None = None
    card: Path | None = None
    package: Path | None = None
    tables: Path | None = None
    with_home: bool = False


def run_report(request: ReportRequest, *, as_json: bool) -> int:
    """The verb: gather, set, write, say what was written.

    raises  InputError, FormatError, UnfinishedError: then nothing is written
    """
    inputs = [*request.documents, *([request.station] if request.station else [])]
    for place in (request.out, request.card, request.package):
        if place is not None:
            require_output(place, inputs=inputs)
    if request.tables is not None:
        require_folder(request.tables)
    record, read = gather(request)
    made: dict[Path, bytes] = {}
    if request.out is not None:
        made[request.out] = report_pdf(record)
    if request.card is not None:
        made[request.card] = card_pdf(record)
    if request.package is not None:
        made[request.package] = package(record if request.with_home else without_home(record))
    if request.tables is not None:
        made |= {request.tables / name: data for name, data in table_files(record).items()}
        request.tables.mkdir(exist_ok=True)
    for place, data in made.items():
        keep_bytes(place, data)
    document = build_document(
        verb="report", outcomes=[], inputs=read, files=[str(place) for place in made], practice=record.practice
    )
    lines = ["PRACTICE: made by the simulated bench, not measured on any transmitter."] if record.practice else []
    lines += [f"{len(record.sources)} documents, {len(record.rows)} entries of the log", "Files"]
    lines += [f"  {place}" for place in made]
    sys.stdout.write(document_text(document) if as_json else "\n".join(lines) + "\n")
    return 0


def gather(request: ReportRequest) -> tuple[Record, list[InputFile]]:
    """The record, and the files it was read from."""
    read: list[InputFile] = []
    found: list[Found] = []
    for path in request.documents:
        text = text_of_file(path, what="a document that a verb printed with --json")
        document = read_document(text, name=str(path))
        found.append((path.name, text, document, tuple(_pictures_beside(document, path))))
        read.append(_input(path))
    given = {document.verb for _, _, document, _ in found}
    entries: list[Entry] = []
    station, named = None, dict[str, bytes]()
    if request.log is not None:
        with Log(request.log) as log:
            entries = log.entries()
        found += [_of_log(entry, store_path(request.log)) for entry in entries if entry.revision.kind == "findings"]
        station, named = _station_of_log(entries, store_path(request.log))
    if request.station is not None:
        text = text_of_file(request.station, what="a station file")
        station = station_of(text, name=request.station.name)
        named = {path.name: path.read_bytes() for path in named_by(station.values, request.station.parent)}
        read.append(_input(request.station))
    rows = tuple(_row(entry) for entry in entries if entry.revision.kind in LOG_KINDS)
    if station is None and not found and not rows:
        raise InputError("there is nothing to report: give documents, --station, or --log with a log that holds some.")
    traces, remarks = ([], []) if station is None else traces_of(station, named)
    traces += _tuned(request, found, entries)
    utc = max([str(document.plain["utc"]) for _, _, document, _ in found] + [row.utc for row in rows], default=NO_TIME)
    if station is not None and "levels" not in given:
        levels, remark = levels_document(station, named, entries, utc=utc)
        found += [] if levels is None else [("levels, worked out for this report", text_of(levels), levels, ())]
        remarks += [remark] if remark else []
    trend = trend_document(entries, utc=utc)
    if trend is not None:
        found.append(("trend, worked out for this report", text_of(trend[0]), *trend))
    found = [(name, text, one, pictures or redrawn(one)) for name, text, one, pictures in found]
    traces = list({one.sha256: one for one in reversed(traces)}.values())[::-1]  # one that both name is the station's
    documents = [document for _, _, document, _ in found]
    record = Record(
        program=__version__,
        sources=tuple(_numbered(_latest(found))),
        station=station,
        rows=rows,
        photographs=tuple(_photographs(request, entries)),
        traces=tuple(traces),
        drawings=trace_pictures(traces, documents, practice=any(one.practice for one in documents)),
        remarks=tuple(remarks),
    )
    return record, read


def _station_of_log(entries: Sequence[Entry], store: Path) -> tuple[StationText | None, dict[str, bytes]]:
    """The newest station file of the log, and the files that were kept with it."""
    stations = [entry.revision for entry in entries if entry.revision.kind == "station"]
    if not stations:
        return None, {}
    newest = max(stations, key=lambda one: one.written)
    named = {one.name: _kept_bytes(store, one.name, one.sha256) for one in newest.files if one.role == "document"}
    return station_of(str(newest.body["toml"]), name=str(newest.body["file_name"])), named


def _tuned(request: ReportRequest, found: Sequence[Found], entries: Sequence[Entry]) -> list[MeasuredTrace]:
    """The newest trace that ``tune`` read: beside its document, or kept in the log with it."""
    made: list[MeasuredTrace] = []
    for _, _, document, _ in sorted(found, key=lambda one: str(one[2].plain["utc"])):
        if document.verb != "tune":
            continue
        for one in document.plain["inputs"]:
            data = _trace_bytes(request, entries, one)
            trace = None if data is None else trace_of(re.split(r"[/\\]", one["path"])[-1], data, of="as tuned")
            if isinstance(trace, MeasuredTrace):
                made = [trace]
    return made


def _trace_bytes(request: ReportRequest, entries: Sequence[Entry], told: Mapping[str, Any]) -> bytes | None:
    """A trace by its sha256: from the place it was read at, or from the log."""
    place = Path(told["path"])
    if place.suffix.lower() not in TRACES:
        return None
    if place.is_file() and place.stat().st_size <= MOST_PICTURE:
        data = place.read_bytes()
        if hashlib.sha256(data).hexdigest() == told["sha256"]:
            return data
    for entry in entries if request.log is not None else ():
        for one in entry.revision.files:
            if one.sha256 == told["sha256"] and request.log is not None:
                return _kept_bytes(store_path(request.log), one.name, one.sha256)
    return None


def _photographs(request: ReportRequest, entries: Sequence[Entry]) -> Iterator[Picture]:
    for entry in entries:
        if entry.revision.kind == "photograph" and request.log is not None:
            for one in entry.revision.files:
                data = _kept_bytes(store_path(request.log), one.name, one.sha256)
                yield Picture(name=f"{entry.number}-{one.name}", data=data, alt=str(entry.revision.body["caption"]))


def station_of(text: str, *, name: str) -> StationText:
    """A station file's text with what TOML makes of it.

    raises  FormatError
    """
    try:
        return StationText(name=name, text=text, values=tomllib.loads(text))
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise FormatError(f"{name} is not TOML ({error}), so it is no station file.") from error


def _latest(found: Sequence[Found]) -> list[Found]:
    """Without the documents that a later one of the same verb, about the same things, has taken the place of."""
    kept = {}
    for one in sorted(found, key=lambda each: (str(each[2].plain["utc"]), each[1])):
        document = one[2]
        kept[(document.verb, frozenset(finding.about for finding in document.findings))] = one
    return sorted(kept.values(), key=lambda each: (str(each[2].plain["utc"]), each[1]))


def _numbered(found: Sequence[Found]) -> Iterator[Source]:
    for number, (name, text, document, pictures) in enumerate(found, start=1):
        data = text.encode("utf-8")
        yield Source(
            ref=f"D{number}",
            name=name,
            sha256=hashlib.sha256(data).hexdigest(),
            size_bytes=len(data),
            document=document,
            pictures=pictures,
        )


def _of_log(entry: Entry, store: Path) -> Found:
    body = entry.revision.body
    text = str(body["document"])
    pictures = [
        (one.name, _kept_bytes(store, one.name, one.sha256)) for one in entry.revision.files if one.role == "picture"
    ]
    name = f"{body['verb']}, entry {entry.number} of the log"
    return name, text, read_document(text, name=name), tuple(_worded(pictures))


def _row(entry: Entry) -> LogRow:
    one = entry.revision
    return LogRow(kind=one.kind, utc=one.utc, practice=one.practice, body=one.body)


def _kept_bytes(store: Path, name: str, digest: str) -> bytes:
    place = store / stored_name(name, digest)
    try:
        data = place.read_bytes()
    except OSError as error:
        raise InputError(f"{place} is missing, though the log names it; put the file back.") from error
    if hashlib.sha256(data).hexdigest() != digest:
        raise InputError(f"{place} is not the file that was logged (its sha256 differs); put the right file back.")
    return data


def _pictures_beside(document: ReadDocument, path: Path) -> Iterator[Picture]:
    """The pictures a document names, where they still are."""
    found = []
    for name in document.plain["files"]:
        places = (Path(name), path.parent / name, path.parent / Path(name).name)
        place = next((one for one in places if one.is_file() and one.stat().st_size <= MOST_PICTURE), None)
        if name.lower().endswith(PICTURES) and place is not None:
            found.append((place.name, place.read_bytes()))
    yield from _worded(found)


def _worded(found: Sequence[tuple[str, bytes]]) -> Iterator[Picture]:
    """Pictures with what they show in words; a drawing goes before its own points."""
    drawn = {Path(name).stem for name, _ in found if name.lower().endswith(".svg")}
    seen = set()
    for name, data in found:
        ending = Path(name).suffix.lower()
        if name in seen or (ending != ".svg" and Path(name).stem in drawn):
            continue
        seen.add(name)
        told = (
            re.search(r"<desc>(.*?)</desc>", data.decode("utf-8", "replace"), re.DOTALL) if ending == ".svg" else None
        )
        plain = Path(name).stem.replace("_", " ").replace("-", " ")
        words = SAID.get(Path(name).stem, f"Picture: {plain}.")
        yield Picture(name=name, data=data, alt=unescape(told[1]) if told else words)


def _input(path: Path) -> InputFile:
    data = path.read_bytes()
    return InputFile(path=str(path), size_bytes=len(data), sha256=hashlib.sha256(data).hexdigest())
