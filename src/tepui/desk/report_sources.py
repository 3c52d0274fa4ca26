"""What a report makes for itself from station file and log: the levels with their readings, the trend, the traces.

Theory  The station file and the log are enough to print the station as built; what is not in the record as a document
        is worked out by the same jobs as their verbs, at the record's own time, so that the same record gives the same
        bytes. What cannot be worked out is said in a remark.
Source  jobs.levels, jobs.log_trend, jobs.log_far.
Holds   Files that the station names lie beside it or were kept in the log with it.
"""

import hashlib
import json
import tempfile
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from tepui.desk.log_far import far_of_log
from tepui.desk.log_levels import logged_readings
from tepui.files.readings import read_loss_table
from tepui.files.station import open_station
from tepui.files.touchstone import read_touchstone
from tepui.ground.document import build_document, document_text
from tepui.ground.document_reader import ReadDocument, read_document
from tepui.ground.errors import InputError
from tepui.ground.finding_text import label_text, value_text
from tepui.ground.findings import Outcome
from tepui.logbook.store import Entry
from tepui.report.record import MeasuredTrace, Picture, StationText

LEAST_DB = 1e-6
BESIDE = ("obstacle_height_m", "obstacle_distance_m", "fresnel_clearance", "clear_rise_m")


def levels_document(
    station: StationText, named: Mapping[str, bytes], entries: Sequence[Entry], *, utc: str
) -> tuple[ReadDocument | None, str]:
    """The levels of a station with the readings that count in the log, and a remark where there are none.

    named  name -> bytes of the files that the station file names
    """
    from dataclasses import replace

    from tepui.desk.levels import reader
    from tepui.jobs.levels import levels

    try:
        with tempfile.TemporaryDirectory(prefix="tepui-report-") as folder:
            for name, data in named.items():
                (Path(folder) / name).write_bytes(data)
            place = Path(folder) / "station.toml"
            place.write_text(station.text, encoding="utf-8")
            read = open_station(place)
        known, understood = [one.name for one in read.instruments], reader(read)
        readings, practice, left = [], False, []
        for one in logged_readings(entries):
            if not one.counts:
                continue
            try:
                reading = understood(one.text)
            except InputError as problem:
                left.append(f"Entry {one.entry} of the log was left out of the levels: {problem}")
                continue
            readings.append(replace(reading, instrument=one.shares) if one.shares in known else reading)
            practice = practice or one.practice
        outcome = levels(read, readings)
    except InputError as problem:
        return None, f"The levels could not be worked out from the station file: {problem}"
    return _document("levels", [outcome], station=read.name, practice=practice, utc=utc), " ".join(left)


def trend_document(entries: Sequence[Entry], *, utc: str) -> tuple[ReadDocument, tuple[Picture, ...]] | None:
    """The trend of checks and far reports with its pictures; None where there is nothing to compare."""
    from tepui.jobs.log_far import far_trend
    from tepui.jobs.log_trend import MonthlyCheck, check_trend

    checks = [
        MonthlyCheck(
            month=str(entry.revision.body["month"]),
            key=str(entry.revision.body["key"]),
            value=float(entry.revision.body["value"]),
            unit=str(entry.revision.body["unit"]),
            practice=entry.revision.practice,
        )
        for entry in entries
        if entry.revision.kind == "check"
    ]
    reports, readings, predictions = far_of_log(entries)
    outcomes: list[Outcome] = [check_trend(checks)] if len({one.month for one in checks}) > 1 else []
    outcomes += [far_trend(reports, readings, predictions)] if readings else []
    if not outcomes:
        return None
    practice = any([one.practice for one in checks] + [one.practice for one in readings])
    document = _document("log", outcomes, station=None, practice=practice, utc=utc)
    pictures = {name: data for outcome in outcomes for name, data in outcome.pictures.items()}
    return document, drawn(pictures, practice=practice)


def drawn(pictures: Mapping[str, Mapping[str, Any]], *, practice: bool) -> tuple[Picture, ...]:
    """Pictures as drawings with their words."""
    from html import unescape
    from re import DOTALL, search

    from tepui.report.pictures import draw_pictures

    made = []
    with tempfile.TemporaryDirectory(prefix="tepui-report-") as folder:
        for path in draw_pictures(pictures, Path(folder), practice=practice):
            if path.suffix == ".svg":
                data = path.read_bytes()
                told = search(r"<desc>(.*?)</desc>", data.decode("utf-8"), DOTALL)
                made.append(Picture(name=path.name, data=data, alt=unescape(told[1]) if told else path.stem))
    return tuple(made)


def redrawn(document: ReadDocument) -> tuple[Picture, ...]:
    """The profile of a path drawn from its table, where no picture of it was kept and the program can draw one."""
    from tepui.report.pictures import DRAWN

    table = next((one for one in document.tables if one.name == "path_profile"), None)
    stated = {one.key: one for one in document.findings if one.is_number}
    leading = stated.get("receive_level_dbm") or stated.get("loss_total_db")
    if document.verb != "path" or table is None or leading is None or "path_profile" not in DRAWN:
        return ()
    keys = [key for key, _ in table.columns]
    if not {"distance_m", "ground_m", "earth_bulge_m", "line_m", "fresnel_m"} <= set(keys) or len(table.rows) < 3:
        return ()
    columns = {key: np.array([row[place] for row in table.rows], dtype=float) for place, key in enumerate(keys)}
    distance = columns["distance_m"]
    obstacle = stated.get("obstacle_distance_m")
    worst = len(distance) // 2 if obstacle is None else int(np.argmin(np.abs(distance - float(obstacle.value))))  # type: ignore[arg-type]
    heights = columns["line_m"] - columns["ground_m"] - columns["earth_bulge_m"]
    visible = next((bool(one.value) for one in document.findings if one.key == "path_visible"), False)
    data = {
        "distance_m": distance,
        "ground_m": columns["ground_m"],
        "bulge_m": columns["earth_bulge_m"],
        "line_m": columns["line_m"],
        "fresnel_m": columns["fresnel_m"],
        "worst": min(max(worst, 1), len(distance) - 2),
        "visible": visible,
        "name": leading.about.partition(":")[2],
        "ends": (f"{heights[0]:.0f} m", f"{heights[-1]:.0f} m"),
        "finding": leading,
        "lines": [f"{label_text(key)} {value_text(stated[key])}" for key in BESIDE if key in stated],
        "foot": "Drawn from the table of the document. Heights are drawn many times too large.",
    }
    return drawn({"path_profile": data}, practice=document.practice)


def traces_of(station: StationText, named: Mapping[str, bytes]) -> tuple[list[MeasuredTrace], list[str]]:
    """The measured traces that a station's stages name, and remarks on those that cannot be read."""
    found, remarks = [], []
    stages = station.values.get("stage")
    for stage in stages if isinstance(stages, list) else []:
        name = stage.get("response") if isinstance(stage, dict) else None
        data = named.get(Path(name).name) if isinstance(name, str) else None
        if data is None or not isinstance(name, str):
            continue
        one = trace_of(Path(name).name, data, of=str(stage.get("name", "filter")))
        if isinstance(one, MeasuredTrace):
            found.append(one)
        else:
            remarks.append(one)
    return found, remarks


def trace_of(name: str, data: bytes, *, of: str) -> MeasuredTrace | str:
    """A measured trace from a Touchstone file or a loss table, or a sentence on why it is none.

    of  what was measured
    """
    with tempfile.TemporaryDirectory(prefix="tepui-report-") as folder:
        place = Path(folder) / name
        place.write_bytes(data)
        try:
            if place.suffix.lower() == ".csv":
                frequency_hz, loss_db = read_loss_table(place)
                through, back = -loss_db, None
            else:
                port = read_touchstone(place)
                decibels = 20 * np.log10(np.maximum(np.abs(port.s), LEAST_DB))
                frequency_hz, through, back = port.frequency_hz, decibels[:, 1, 0], decibels[:, 0, 0]
        except InputError as problem:
            return f"The trace {name} could not be read: {str(problem).replace(f'{folder}/', '')}"
    return MeasuredTrace(
        stage=of,
        name=name,
        text=data.decode("utf-8", "replace"),
        sha256=hashlib.sha256(data).hexdigest(),
        frequency_hz=tuple(frequency_hz.tolist()),
        transmission_db=tuple(through.tolist()),
        reflection_db=None if back is None else tuple(back.tolist()),
    )


def trace_pictures(
    traces: Sequence[MeasuredTrace], documents: Sequence[ReadDocument], *, practice: bool
) -> tuple[Picture, ...]:
    """Each measured trace drawn over the newest predicted one."""
    predicted = None
    for document in documents:
        if document.verb == "filter":
            for table in document.tables:
                keys = [key for key, _ in table.columns]
                if table.name == "trace" and {"frequency_hz", "s21_db", "s11_db"} <= set(keys) and table.rows:
                    wanted = [keys.index(key) for key in ("frequency_hz", "s21_db", "s11_db")]
                    predicted = tuple([row[place] for row in table.rows] for place in wanted)
    made = []
    for number, one in enumerate(traces, start=1):
        data = {
            "stage": one.stage,
            "name": one.name,
            "frequency_hz": one.frequency_hz,
            "transmission_db": one.transmission_db,
            "reflection_db": one.reflection_db,
            "predicted": predicted,
        }
        for picture in drawn({"filter_measured": data}, practice=practice):
            made.append(Picture(name=f"measured-{number}.svg", data=picture.data, alt=picture.alt))
    return tuple(made)


def _document(verb: str, outcomes: Sequence[Outcome], *, station: str | None, practice: bool, utc: str) -> ReadDocument:
    plain = build_document(verb=verb, outcomes=outcomes, station=station, practice=practice, utc=utc)
    return read_document(document_text(plain), name=f"the {verb} worked out for this report")


def text_of(document: ReadDocument) -> str:
    """The document as a verb would print it."""
    return json.dumps(document.plain, sort_keys=True)
