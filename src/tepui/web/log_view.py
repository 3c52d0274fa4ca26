"""Entries of the log as pages show them: a line each, fields with their words, revisions, readings of levels."""

import json
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from markupsafe import Markup

from tepui.desk.log_entries import can_change
from tepui.desk.log_levels import LoggedReading, logged_readings
from tepui.desk.log_shown import sentence_of
from tepui.ground.finding_text import cell_text, label_text
from tepui.logbook.kinds import KINDS, KeptFile, Revision
from tepui.logbook.store import Entry
from tepui.web.marks import finding_of, number, value

MOST_FOUND = 80
LONG = ("document", "adif", "adif_header", "toml")
UNITS = {"pads_db": "dB", "sample_rate_hz": "S/s", "frequency_hz": "Hz"}


@dataclass(frozen=True, kw_only=True)
class ReadingLine:
    """A reading of a level: its words, when and by whom, and why it does not count where it does not."""

    entry: int
    text: str
    told: str
    why: str = ""
    withdrawn: bool = False


@dataclass(frozen=True, kw_only=True)
class ReadingsView:
    """The readings that count for the levels, and those that rest in the log."""

    counting: tuple[ReadingLine, ...]
    resting: tuple[ReadingLine, ...]


@dataclass(frozen=True, kw_only=True)
class EntryLine:
    """An entry in a list."""

    number: int
    utc: str
    kind: str
    says: str
    who: str
    marks: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class RevisionView:
    """One revision: what was done, and each field with its content; ``new`` where it differs from the one before."""

    number: int
    action: str
    written: str
    utc: str
    who: str
    program: str
    practice: bool
    fields: tuple[tuple[str, str, bool], ...]
    files: tuple[KeptFile, ...]
    adif: tuple[tuple[str, str], ...]


@dataclass(frozen=True, kw_only=True)
class EditField:
    """A field that may be changed by hand: its name, its label, its content as it would be typed."""

    name: str
    label: str
    value: str
    long: bool
    needed: bool


def readings_view(entries: Sequence[Entry]) -> ReadingsView:
    """The readings of levels among the entries."""
    standing = logged_readings(entries)
    gone = [entry for entry in entries if entry.revision.withdrawn]
    again = [_standing_again(entry) for entry in gone]
    withdrawn = logged_readings([entry for entry in again if entry is not None])
    resting = [
        _reading(one, why="a later one of this point and instrument counts") for one in standing if not one.counts
    ]
    resting += [_reading(one, why="taken out", withdrawn=True) for one in withdrawn]
    return ReadingsView(
        counting=tuple(_reading(one) for one in standing if one.counts),
        resting=tuple(sorted(resting, key=lambda one: -one.entry)),
    )


def _standing_again(entry: Entry) -> Entry | None:
    if entry.revision.kind != "reading":
        return None
    return replace(entry, revision=replace(entry.revision, withdrawn=False))


def _reading(one: LoggedReading, *, why: str = "", withdrawn: bool = False) -> ReadingLine:
    told = moment(one.utc) + (f", {one.who}" if one.who else "") + (", practice" if one.practice else "")
    if one.shares:
        told += f", with {one.shares}"
    return ReadingLine(entry=one.entry, text=number(one.text), told=told, why=why, withdrawn=withdrawn)


def last_who(entries: Sequence[Entry]) -> str:
    """Who spoke last."""
    spoken = [entry.revision for entry in entries if entry.revision.who]
    return max(spoken, key=lambda one: one.written).who or "" if spoken else ""


def moment(utc: str) -> str:
    """A time to the minute."""
    return utc[:16].replace("T", " ")


def lines_of(entries: Sequence[Entry]) -> list[EntryLine]:
    """A line an entry."""
    return [_line(entry) for entry in entries]


def _line(entry: Entry) -> EntryLine:
    one = entry.revision
    marks = [word for word, holds in (("practice", one.practice), ("withdrawn", one.withdrawn)) if holds]
    if one.number > 1:
        marks.append(f"revision {one.number}")
    return EntryLine(
        number=entry.number,
        utc=moment(one.utc),
        kind=one.kind,
        says=number(sentence_of(one)),
        who=one.who or "",
        marks=tuple(marks),
    )


def revision_views(history: Sequence[Revision]) -> list[RevisionView]:
    """Every revision, the newest first."""
    views = []
    before: Mapping[str, Any] = {}
    for one in history:
        fields = []
        for name in KINDS[one.kind]:
            content = one.body.get(name)
            changed = bool(before) and content != before.get(name)
            if (content is not None or changed) and name not in LONG:
                fields.append((label_text(name), _content(name, content), changed))
        adif = json.loads(one.body["adif"]) if one.kind == "contact" else []
        views.append(
            RevisionView(
                number=one.number,
                action=one.action,
                written=one.written.replace("T", " ").replace("Z", ""),
                utc=one.utc.replace("T", " ").replace("Z", ""),
                who=one.who or "",
                program=one.program,
                practice=one.practice,
                fields=tuple(fields),
                files=one.files,
                adif=tuple((f"{name}{':' + kind if kind else ''}", value) for name, kind, value in adif),
            )
        )
        before = one.body
    return views[::-1]


def _content(name: str, content: Any) -> str:
    if content is None:
        return "nothing"
    if isinstance(content, float):
        text = number(f"{content:.9g}")
        return f"{text} {UNITS[name]}" if name in UNITS else text
    return cell_text(content)


def edit_fields(revision: Revision) -> list[EditField]:
    """The fields of an entry that may be changed."""
    found = []
    for name in can_change(revision.kind):
        if name == "value":
            found.append(
                EditField(name=name, label="Value, with unit and doubt", value=typed(revision), long=False, needed=True)
            )
            continue
        content = revision.body.get(name)
        text = "" if content is None else f"{content:.9g}" if isinstance(content, float) else str(content)
        unit = UNITS.get(name, "")
        if text and unit:
            text = f"{text} {unit}"
        rule = KINDS[revision.kind][name]
        found.append(
            EditField(
                name=name,
                label=label_text(name),
                value=text,
                long=name in ("text", "note", "caption"),
                needed=rule.needed,
            )
        )
    return found


def typed(revision: Revision) -> str:
    """A reading as it would be typed."""
    body = revision.body
    unit = "" if body["unit"] == "1" else f" {body['unit']}"
    text = f"{body['value']:.9g}{unit}"
    if body["low"] is not None and body["high"] is not None:
        up, down = body["high"] - body["value"], body["value"] - body["low"]
        if abs(up - down) > 1e-9 * max(1.0, abs(body["value"])):
            return f"{body['low']:.9g}..{body['high']:.9g}{unit}"
        shown = " dB" if body["unit"] == "dBm" else unit
        text += f" ± {up:.9g}{shown}"
    return text


@dataclass(frozen=True, kw_only=True)
class FoundView:
    """A findings document: what made it, what it was made from, what it states."""

    verb: str
    program: str
    inputs: tuple[tuple[str, str, str, int | None], ...]
    lines: tuple[tuple[str, str, Markup], ...]
    more: int


def findings_view(revision: Revision, entries: Sequence[Entry]) -> FoundView:
    """A findings document as a page shows it.

    entries  of the log, among which the recordings it was made from are looked for
    """
    document = json.loads(revision.body["document"])
    held = {}
    for entry in entries:
        for one in entry.revision.files if entry.revision.kind == "recording" else ():
            held[one.sha256] = entry.number
    found = [finding_of(plain) for plain in document["findings"]]
    results = [one for one in found if one.kind == "result"][:MOST_FOUND]
    return FoundView(
        verb=str(revision.body["verb"]),
        program=str(revision.body["program"]),
        inputs=tuple(
            (re.split(r"[/\\]", one["path"])[-1], str(one["bytes"]), one["sha256"], held.get(one["sha256"]))
            for one in document["inputs"]
        ),
        lines=tuple(
            (one.about.replace(":", " ", 1), label_text(one.key), value(one, practice=revision.practice))
            for one in results
        ),
        more=sum(one.kind == "result" for one in found) - len(results),
    )


def matching(entries: Sequence[Entry], given: Mapping[str, str]) -> list[Entry]:
    """The entries that a filter leaves, the newest first.

    given  ``kind``, ``q`` (words that must stand in it), ``since`` and ``until`` (days), ``withdrawn``
    """
    words = given.get("q", "").casefold().split()
    kind, since, until = given.get("kind", ""), given.get("since", "").strip(), given.get("until", "").strip()
    found = []
    for entry in entries:
        one = entry.revision
        if (one.withdrawn and not given.get("withdrawn")) or (kind and one.kind != kind):
            continue
        if (since and one.utc < since) or (until and one.utc[: len(until)] > until):
            continue
        if words:
            told = " ".join(str(text) for name, text in one.body.items() if text is not None and name not in LONG)
            whole = f"{entry.number} {one.kind} {sentence_of(one)} {told} {one.who or ''}".casefold()
            whole += " ".join(file.name for file in one.files).casefold()
            if not all(word in whole for word in words):
                continue
        found.append(entry)
    return sorted(found, key=lambda entry: (entry.revision.utc, entry.number), reverse=True)
