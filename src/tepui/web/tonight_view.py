"""What the sheet of an evening shows: seven points to tick with what is known of each, the far stations, then and now.

Theory  Nothing is measured here. Beside each point stands the newest number that bears on it and how old it is; the
        tick is the operator's own word. The newest measured result of the bench or of the log counts.
Source  our own design; the order of switching on is common practice.
Holds   Documents of the bench's results and of the log.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from markupsafe import Markup

from tepui.desk.log_far import predictions_of
from tepui.desk.workshop import DONE, Work
from tepui.ground.document_reader import ReadDocument, read_document
from tepui.ground.errors import FormatError
from tepui.ground.finding_text import label_text
from tepui.ground.findings import Finding
from tepui.jobs.log_far import FarPrediction
from tepui.jobs.monthly import MONTHLY_FIVE
from tepui.logbook.store import Entry
from tepui.web.log_view import moment
from tepui.web.marks import finding_of, limit, mark, number, value

MEASURING = ("spectrum", "receive", "watch", "drive")
UNKNOWN = Markup('<span class="v" data-standing="unknown">{}unknown</span>').format(mark("unknown"))
NEWEST = 40  # results looked through


@dataclass(frozen=True, kw_only=True)
class Point:
    """A point to tick: its short name, what it asks, what is known of it."""

    name: str
    title: str
    asks: str
    known: Markup
    told: str


@dataclass(frozen=True, kw_only=True)
class FarView:
    """A far station: what should arrive there."""

    call: str
    locator: str
    level: Finding | None
    margin: Finding | None
    shown_level: Markup
    shown_margin: Markup
    told: str


@dataclass(frozen=True, kw_only=True)
class MonthlyRow:
    """One of the five: its first month, its latest, and the step between them."""

    label: str
    then: str
    then_month: str
    now: str
    now_month: str
    step: str
    word: str


def documents_of(works: Sequence[Work], entries: Sequence[Entry]) -> list[ReadDocument]:
    """Documents of the bench and of the log, the newest first."""
    found: list[ReadDocument] = []
    for work in works[:NEWEST]:
        if work.state == DONE and work.document is not None and work.verb not in ("report", "log", "new"):
            found.append(_plain(work.document))
    held = [entry for entry in entries if entry.revision.kind == "findings" and not entry.revision.withdrawn]
    for entry in sorted(held, key=lambda one: one.revision.utc)[-NEWEST:]:
        try:
            found.append(read_document(str(entry.revision.body["document"]), name=f"entry {entry.number}"))
        except FormatError:
            continue  # of a schema this program does not know
    return sorted(found, key=lambda one: str(one.plain["utc"]), reverse=True)


def _plain(document: Mapping[str, Any]) -> ReadDocument:
    import json

    return read_document(json.dumps(document), name="a result")


def newest(
    documents: Iterable[ReadDocument], key: str, *, verbs: Sequence[str] = MEASURING
) -> tuple[Finding, ReadDocument] | None:
    """The newest finding of this key among documents of these verbs."""
    for document in documents:
        if document.verb in verbs:
            for one in document.findings:
                if one.key == key and one.standing != "unknown":
                    return one, document
    return None


def points_of(
    documents: Sequence[ReadDocument], levels: Mapping[str, Any] | None, *, bearing: tuple[Finding, ReadDocument] | None
) -> tuple[Point, ...]:
    """The seven points."""
    care = [finding_of(one) for one in levels["findings"]] if levels is not None else []
    distance = next((one for one in care if one.key == "exposure_distance_worst_m"), None)
    lines = _lines(documents)
    return (
        _point("lock", "Lock", "The oscillator is locked and on frequency before the amplifier has its supply.",
               newest(documents, "frequency_offset_hz")),
        _point("shoulders", "Shoulders", "Both shoulders were looked at tonight, at this drive.",
               newest(documents, "shoulder_worst_db")),
        Point(name="lines", title="Lines", asks="No line stands in or beside the channel that should not be there.",
              known=lines[0], told=lines[1]),
        _point("ident", "Ident", "The picture and the service name say whose station this is.",
               newest(documents, "service_name", verbs=("receive", "programme", "stream", "demo"))),
        Point(name="exposure", title="Exposure", asks="Nobody is, or can come, nearer to the antenna than this.",
              known=value(distance) if distance is not None else UNKNOWN,
              told="at the worst ends of all doubts, by the station file; local codes come first"
              if distance is not None else "give the station file its antenna and power, and see Care"),
        _point("beam", "Beam", "The antenna points where it should, and nobody is in the beam or on the mast.", bearing,
               missing="work out the path to know the bearing"),
        Point(name="talkback", title="Talk-back", asks="The far station answers on the way back that was agreed on.",
              known=Markup(""), told=""),
    )  # fmt: skip


def _point(
    name: str,
    title: str,
    asks: str,
    found: tuple[Finding, ReadDocument] | None,
    *,
    missing: str = "nothing of it was measured yet",
) -> Point:
    if found is None:
        return Point(name=name, title=title, asks=asks, known=UNKNOWN, told=missing)
    one, document = found
    told = f"{document.verb}, {moment(str(document.plain['utc']))}, {age_of(str(document.plain['utc']))}"
    said = limit(one).unescape()  # the page escapes it
    return Point(
        name=name,
        title=title,
        asks=asks,
        known=value(one, practice=document.practice),
        told=f"{told}; {said}" if said else told,
    )


def _lines(documents: Sequence[ReadDocument]) -> tuple[Markup, str]:
    for document in documents:
        for table in document.tables:
            if document.verb == "spectrum" and table.name == "lines":
                when = f"spectrum, {moment(str(document.plain['utc']))}, {age_of(str(document.plain['utc']))}"
                keys = [key for key, _ in table.columns]
                levels = [row[keys.index("level_dbc")] for row in table.rows] if "level_dbc" in keys else []
                known = [float(level) for level in levels if isinstance(level, int | float)]
                if not table.rows:
                    return Markup("none found"), when
                worst = f", the strongest {number(f'{max(known):.1f}')} dBc" if known else ""
                return Markup("{} found{}").format(len(table.rows), worst), when
        if document.verb == "spectrum":
            when = f"spectrum, {moment(str(document.plain['utc']))}, {age_of(str(document.plain['utc']))}"
            return Markup("none found"), when
    return UNKNOWN, "no spectrum was measured yet"


def age_of(utc: str) -> str:
    """How long ago, in words."""
    try:
        passed = datetime.now(UTC) - datetime.fromisoformat(utc)
    except (ValueError, TypeError):
        return "at an unknown time"
    hours = passed.total_seconds() / 3600
    if hours < 1:
        return f"{max(0, round(hours * 60))} minutes ago"
    return f"{round(hours)} hours ago" if hours < 36 else f"{round(hours / 24)} days ago"


def far_views(
    documents: Sequence[ReadDocument], far: Sequence[Mapping[str, str]], *, mode: Mapping[str, Any] | None
) -> tuple[FarView, ...]:
    """What should arrive at each far station, by the newest document that says so."""
    calls = {one["call"].upper() for one in far if one["call"]}
    locators = {one["call"].upper(): one["locator"] for one in far if one["call"] and one["locator"]}
    made: dict[tuple[str, str], tuple[FarPrediction, ReadDocument]] = {}
    for document in documents:
        for one in predictions_of(document, calls=calls, locators=locators, mode=mode):
            made.setdefault((one.call, one.quantity), (one, document))
    views = []
    for station in far:
        call = station["call"].upper()
        level, margin = made.get((call, "receive_level_dbm")), made.get((call, "margin_db"))
        first = level or margin
        told = "" if first is None else f"{first[1].verb}, {age_of(first[0].utc)}"
        views.append(
            FarView(
                call=call,
                locator=station["locator"],
                level=None if level is None else _finding(level[0], "dBm"),
                margin=None if margin is None else _finding(margin[0], "dB"),
                shown_level=_shown(level, "dBm"),
                shown_margin=_shown(margin, "dB"),
                told=told,
            )
        )
    return tuple(views)


def _finding(one: FarPrediction, unit: str) -> Finding:
    return Finding(
        about=f"path:{one.call}",
        key=one.quantity,
        value=one.value_db,
        unit=unit,
        low=one.low_db,
        high=one.high_db,
        standing="computed",
        source="the path's document",
    )


def _shown(made: tuple[FarPrediction, ReadDocument] | None, unit: str) -> Markup:
    if made is None:
        return UNKNOWN
    return value(_finding(made[0], unit), practice=made[1].practice)


def bearing_to(documents: Sequence[ReadDocument], call: str, locator: str) -> tuple[Finding, ReadDocument] | None:
    """Bearing to a far station, by the newest document of its path."""
    for document in documents:
        for one in document.findings:
            name = one.about.removeprefix("path:").upper()
            same = name == call or (bool(locator) and name[:6] == locator.upper()[:6])
            if one.key == "bearing_out_deg" and one.about.startswith("path:") and same:
                return one, document
    return None


def monthly_rows(entries: Sequence[Entry], trend: Mapping[str, Any] | None) -> tuple[MonthlyRow, ...]:
    """The five, then and now; whether the step is more than chance by the trend where that is known."""
    beyond = {}
    for one in (trend or {"findings": []})["findings"]:
        if one["key"] == "change_beyond_repeatability":
            beyond[one["about"].removeprefix("set:")] = bool(one["value"])
    rows = []
    for key in MONTHLY_FIVE:
        own = [
            entry.revision.body
            for entry in entries
            if entry.revision.kind == "check" and not entry.revision.withdrawn and entry.revision.body["key"] == key
        ]
        months = sorted({str(body["month"]) for body in own})
        if not months:
            blank = {"then": "", "then_month": "", "now": "not checked", "now_month": "", "step": "", "word": ""}
            rows.append(MonthlyRow(label=label_text(key), **blank))
            continue
        unit = str(own[0]["unit"])
        first, last = (
            _mean([float(body["value"]) for body in own if body["month"] == month and body["unit"] == unit])
            for month in (months[0], months[-1])
        )
        shown = "dB" if unit == "dBm" else unit
        step = "" if len(months) < 2 else number(f"{last - first:+.3g} {shown}")
        word = "" if len(months) < 2 else {True: "more than chance", False: "no more than chance"}.get(
            beyond.get(key), "scatter not known"  # type: ignore[arg-type]
        )  # fmt: skip
        rows.append(
            MonthlyRow(
                label=label_text(key),
                then=number(f"{first:.4g} {unit}"),
                then_month=months[0],
                now=number(f"{last:.4g} {unit}"),
                now_month=months[-1],
                step=step,
                word=word,
            )
        )
    return tuple(rows)


def _mean(values: Sequence[float]) -> float:
    return sum(values) / len(values) if values else 0.0
