"""``report`` at the desk: gather a record from documents, station file and log; set it, and keep what was asked for."""

import hashlib
import json
import re
import sys
import tomllib
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import unescape
from io import BytesIO
from pathlib import Path
from typing import Any

from tepui import __version__
from tepui.desk.keep import keep_bytes, require_folder, require_output
from tepui.desk.log import text_of_file
from tepui.desk.log_entries import PICTURES
from tepui.files.kept import store_path, stored_name
from tepui.ground.document import InputFile, build_document, document_text
from tepui.ground.document_reader import ReadDocument, read_document
from tepui.ground.errors import FormatError, InputError
from tepui.logbook.store import Entry, Log
from tepui.report.pdf import card_pdf, report_pdf
from tepui.report.privacy import without_home
from tepui.report.record import LogRow, Picture, Record, Source, StationText
from tepui.report.tables import table_files

LOG_KINDS = ("reading", "check", "contact", "note")
MOST_PICTURE = 32 << 20
FIXED_TIME = (1980, 1, 1, 0, 0, 0)
PACKAGE_WORDS = """\
A station of tepui, packed for somebody who wants to build the same.

station.toml        the station file: 'tepui check station.toml' reads it
report.pdf          the station as built, every number with its doubt and where it comes from
settings-card.pdf   what is set to put it on the air
tables/             every table as CSV, and all of them in tables.json
photographs/        what it looks like
manifest.json       size and sha256 of each of these files

Local codes, your licence and licensed practice come first. Supplies and mains can kill, amplifiers burn, and a
transmitter must never run without its load. Figures of one build do not hold for another before they are measured.
"""


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
    found: list[tuple[str, str, ReadDocument, tuple[Picture, ...]]] = []
    for path in request.documents:
        text = text_of_file(path, what="a document that a verb printed with --json")
        document = read_document(text, name=str(path))
        found.append((path.name, text, document, tuple(_pictures_beside(document, path))))
        read.append(_input(path, text))
    station, rows, photographs = None, [], []
    if request.log is not None:
        with Log(request.log) as log:
            entries = log.entries()
        found += [_of_log(entry, store_path(request.log)) for entry in entries if entry.revision.kind == "findings"]
        stations = [entry for entry in entries if entry.revision.kind == "station"]
        if stations:
            body = stations[-1].revision.body
            station = station_of(str(body["toml"]), name=str(body["file_name"]))
        rows = [_row(entry) for entry in entries if entry.revision.kind in LOG_KINDS]
        photographs = [
            Picture(
                name=f"{entry.number}-{one.name}",
                data=_kept_bytes(store_path(request.log), one.name, one.sha256),
                alt=str(entry.revision.body["caption"]),
            )
            for entry in entries
            if entry.revision.kind == "photograph"
            for one in entry.revision.files
        ]
    if request.station is not None:
        text = text_of_file(request.station, what="a station file")
        station = station_of(text, name=request.station.name)
        read.append(_input(request.station, text))
    if station is None and not found and not rows:
        raise InputError("there is nothing to report: give documents, --station, or --log with a log that holds some.")
    record = Record(
        program=__version__,
        sources=tuple(_numbered(_latest(found))),
        station=station,
        rows=tuple(rows),
        photographs=tuple(photographs),
    )
    return record, read


def station_of(text: str, *, name: str) -> StationText:
    """A station file's text with what TOML makes of it.

    raises  FormatError
    """
    try:
        return StationText(name=name, text=text, values=tomllib.loads(text))
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise FormatError(f"{name} is not TOML ({error}), so it is no station file.") from error


def _latest(
    found: Sequence[tuple[str, str, ReadDocument, tuple[Picture, ...]]],
) -> list[tuple[str, str, ReadDocument, tuple[Picture, ...]]]:
    """Without the documents that a later one of the same verb, about the same things, has taken the place of."""
    kept = {}
    for one in sorted(found, key=lambda each: (str(each[2].plain["utc"]), each[1])):
        document = one[2]
        kept[(document.verb, frozenset(finding.about for finding in document.findings))] = one
    return sorted(kept.values(), key=lambda each: (str(each[2].plain["utc"]), each[1]))


def _numbered(found: Sequence[tuple[str, str, ReadDocument, tuple[Picture, ...]]]) -> Iterator[Source]:
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


def _of_log(entry: Entry, store: Path) -> tuple[str, str, ReadDocument, tuple[Picture, ...]]:
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
        yield Picture(name=name, data=data, alt=unescape(told[1]) if told else f"Picture: {plain}.")


def _input(path: Path, text: str) -> InputFile:
    data = path.read_bytes()
    assert text is not None
    return InputFile(path=str(path), size_bytes=len(data), sha256=hashlib.sha256(data).hexdigest())


def package(record: Record) -> bytes:
    """The build package: a zip file that is the same for the same record."""
    files: dict[str, bytes] = {"README.txt": PACKAGE_WORDS.encode("utf-8")}
    if record.station is not None:
        files["station.toml"] = record.station.text.encode("utf-8")
    files["report.pdf"] = report_pdf(record)
    files["settings-card.pdf"] = card_pdf(record)
    files |= {f"tables/{name}": data for name, data in table_files(record).items()}
    files |= {f"photographs/{picture.name}": picture.data for picture in record.photographs}
    listed: list[dict[str, Any]] = [
        {"name": name, "bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()} for name, data in files.items()
    ]
    about = {"tepui": record.program, "practice": record.practice, "utc": record.utc, "files": listed}
    files["manifest.json"] = (json.dumps(about, indent=1) + "\n").encode("ascii")
    held = BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in sorted(files.items()):
            told = zipfile.ZipInfo(name, FIXED_TIME)
            told.create_system, told.external_attr, told.compress_type = 3, 0o100644 << 16, zipfile.ZIP_DEFLATED
            archive.writestr(told, data)
    return held.getvalue()
