"""A record without the home position, for a friend who is to build the same and need not know where it stands.

Theory  A locator, a place's name, a distance with a bearing to a known station, and the position a camera writes into
        its pictures each tell where home is. Keys that say it are cut out of the station file, documents of the path
        and contacts are left out, and what is left is searched for the same words.
Source  our own list of keys; Maidenhead locators as they are written.
Holds   What is written in other words in notes or remarks is not found. The callsign stays.
"""

import hashlib
import io
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from tepui.ground.document_reader import ReadDocument, read_document
from tepui.ground.errors import InputError
from tepui.report.record import MeasuredTrace, Picture, Record, Source, StationText

LEFT_OUT = "(left out)"
TABLES = ("station", "far", "site", "path")
KEYS = (
    *("name", "locator", "latitude", "longitude", "position", "altitude", "place", "terrain", "profile", "obstacle"),
    *("bearing", "distance"),
)
VERBS = ("path", "coverage", "receivers", "care", "log")
FINDING_PARTS = {"locator", "bearing", "latitude", "longitude", "distance", "azimuth"}


def without_home(record: Record) -> Record:
    """The record, cut.

    raises  InputError where the station file states its position in a way that cannot be cut out
    """
    words = sorted(_words(record), key=len, reverse=True)
    sources = [_cut(source, words) for source in record.sources if source.document.verb not in VERBS]
    rows = [
        replace(row, body={key: _scrubbed(value, words) for key, value in row.body.items()})
        for row in record.rows
        if row.kind not in ("contact", "station", "note")
    ]
    return replace(
        record,
        station=None if record.station is None else _station(record.station, words),
        sources=tuple(sources),
        rows=tuple(rows),
        photographs=tuple(_photograph(one, words) for one in record.photographs),
        traces=tuple(_trace(one, words) for one in record.traces),
        drawings=tuple(
            replace(one, data=_picture_data(one, words), alt=str(_scrubbed(one.alt, words))) for one in record.drawings
        ),
        remarks=tuple(str(_scrubbed(one, words)) for one in record.remarks),
    )


def _words(record: Record) -> set[str]:
    """Names and locators that must not be read anywhere."""
    found: set[str] = set()
    if record.station is not None:
        for table, values in record.station.values.items():
            for one in values if isinstance(values, list) else [values]:
                if table in TABLES and isinstance(one, Mapping):
                    found |= {str(one[key]) for key in ("name", "locator", "place") if isinstance(one.get(key), str)}
    for source in record.sources:
        if isinstance(source.document.plain["station"], str):
            found.add(source.document.plain["station"])
    for row in record.rows_of("contact"):
        found |= {str(row.body[key]) for key in ("locator", "own_locator") if row.body[key]}
    return {word for word in found if len(word) > 3}


def _station(station: StationText, words: list[str]) -> StationText:
    """The file without the lines that tell the position."""
    kept, table = [], ""
    for line in station.text.splitlines():
        heading = re.match(r"\s*\[+\s*([A-Za-z0-9_-]+)", line)
        if heading:
            table = heading[1]
        key = re.match(r"\s*#?\s*([A-Za-z0-9_-]+)\s*=", line)
        if not heading and key and table in TABLES and key[1] in KEYS:
            continue
        kept.append(line)
    text = str(_scrubbed("\n".join(kept) + "\n", words))
    try:
        values = tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        values = {"station": {"locator": ""}}
    for name in TABLES:
        if any(set(one) & set(KEYS) for one in _tables_in(values.get(name))):
            raise InputError(
                f"{station.name} states the position of [{name}] in a way that cannot be cut out; write each key on a "
                "line of its own, or give --with-home."
            )
    return StationText(name=station.name, text=text, values=values)


def _tables_in(value: Any) -> Iterator[Mapping[str, Any]]:
    if isinstance(value, Mapping):
        yield value
        for one in value.values():
            yield from _tables_in(one)
    elif isinstance(value, list):
        for one in value:
            yield from _tables_in(one)


def _cut(source: Source, words: list[str]) -> Source:
    plain = dict(source.document.plain)
    plain["inputs"] = [
        {**one, "path": re.split(r"[/\\]", str(one["path"]))[-1]} for one in plain["inputs"]
    ]  # a folder's name may tell whose it is
    plain["files"] = []
    plain["findings"] = [one for one in plain["findings"] if not FINDING_PARTS & set(one["key"].split("_"))]
    plain = {key: _scrubbed(value, words) for key, value in plain.items()}
    document = _again(plain)
    pictures = tuple(
        replace(one, data=_picture_data(one, words), alt=str(_scrubbed(one.alt, words))) for one in source.pictures
    )
    return replace(source, document=document, pictures=pictures, name=str(_scrubbed(source.name, words)))


def _again(plain: Mapping[str, Any]) -> ReadDocument:
    import json

    return read_document(json.dumps(plain), name="the document")


def _picture_data(picture: Picture, words: list[str]) -> bytes:
    if not picture.name.lower().endswith(".svg"):
        return picture.data
    return str(_scrubbed(picture.data.decode("utf-8", "replace"), words)).encode("utf-8")


def _trace(trace: MeasuredTrace, words: list[str]) -> MeasuredTrace:
    """The trace without its comments, in which an analyser or its owner may say anything."""
    kept = [line.partition("!")[0].rstrip() for line in trace.text.splitlines()]
    text = "".join(f"{line}\n" for line in kept if line)
    digest = hashlib.sha256(text.encode("utf-8")).hexdigest()
    return replace(trace, text=text, sha256=digest, name=str(_scrubbed(trace.name, words)))


def _photograph(picture: Picture, words: list[str]) -> Picture:
    """The picture's points alone, set anew: what a camera wrote beside them is gone."""
    from PIL import Image

    try:
        with Image.open(io.BytesIO(picture.data)) as opened:
            kept = Image.new("RGB", opened.size)
            kept.paste(opened.convert("RGB"))
        held = io.BytesIO()
        kept.save(held, format="PNG")
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as error:
        raise InputError(f"{picture.name} cannot be read as a picture ({str(error)[:60]}).") from error
    name = re.sub(r"\.[A-Za-z]+$", "", picture.name) + ".png"
    return Picture(name=str(_scrubbed(name, words)), data=held.getvalue(), alt=str(_scrubbed(picture.alt, words)))


def _scrubbed(value: Any, words: list[str]) -> Any:
    """The value with every one of the words left out, wherever in it they stand."""
    if isinstance(value, str):
        for word in words:
            value = re.sub(re.escape(word), LEFT_OUT, value, flags=re.IGNORECASE)
        return value
    if isinstance(value, Mapping):
        return {key: _scrubbed(one, words) for key, one in value.items()}
    if isinstance(value, list):
        return [_scrubbed(one, words) for one in value]
    return value
