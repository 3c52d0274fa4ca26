"""How entries of the log are told: one line each in lists, every field of every revision when shown."""

import json
from collections.abc import Sequence

from tepui.ground.finding_text import cell_text, label_text
from tepui.ground.findings import Table
from tepui.logbook.kinds import KINDS, Revision
from tepui.logbook.store import Entry

ENTRY_COLUMNS = (
    *(("entry", "1"), ("entry_kind", ""), ("utc", ""), ("who", ""), ("revision", "1"), ("withdrawn", "")),
    *(("practice", ""), ("says", "")),
)
REVISION_COLUMNS = (
    *(("entry", "1"), ("revision", "1"), ("action", ""), ("written", ""), ("utc", ""), ("who", "")),
    *(("practice", ""), ("field", ""), ("content", "")),
)
LONGEST = 60


def entries_table(entries: Sequence[Entry]) -> Table:
    """A row an entry."""
    rows = []
    for entry in entries:
        one = entry.revision
        rows.append(
            (entry.number, one.kind, one.utc, one.who, one.number, one.withdrawn, one.practice, sentence_of(one))
        )
    return Table(name="log_entries", columns=ENTRY_COLUMNS, rows=tuple(rows))


def revisions_table(number: int, history: Sequence[Revision]) -> Table:
    """A row a field of each revision, files as fields too."""
    rows = []
    for one in history:
        head = (number, one.number, one.action, one.written, one.utc, one.who, one.practice)
        rows += [(*head, name, one.body.get(name)) for name in KINDS[one.kind]]
        rows += [(*head, f"{file.role} {file.name}", file.sha256) for file in one.files]
    return Table(name="log_revisions", columns=REVISION_COLUMNS, rows=tuple(rows))


def sentence_of(revision: Revision) -> str:
    """What an entry says, in a line."""
    body = revision.body
    match revision.kind:
        case "reading" | "check":
            where = body.get("point") or f"check of {body.get('month')}, round {body.get('round')}"
            return f"{where}: {label_text(str(body['key']))} {value_of(body)}"
        case "recording":
            return (
                f"{body['name']}, {body['samples'] / body['sample_rate_hz']:.3g} s at {body['sample_rate_hz']:.6g} S/s"
            )
        case "findings":
            count = len(json.loads(body["document"])["findings"])
            return f"{body['verb']}: {count} findings"
        case "contact":
            return _contact(revision)
        case "station":
            return f"{body['name'] or 'station'} {body['call'] or ''}".strip() + f" ({body['file_name']})"
        case "photograph":
            return f"{body['name']}: {body['caption']}"
    return " ".join(str(body["text"]).split())


def value_of(body: dict[str, object]) -> str:
    """A reading with its doubt and unit."""
    value, low, high = body["value"], body.get("low"), body.get("high")
    assert isinstance(value, float | int)
    if isinstance(low, float) and isinstance(high, float):
        return f"{value:.6g} ({low:.6g} to {high:.6g}) {body['unit']}"
    return f"{value:.6g} {body['unit']}"


def _contact(revision: Revision) -> str:
    body = revision.body
    way = {"both": "both ways", "sent": "one way, seen there only", "received": "one way, seen here only"}
    parts = [str(body["call"])]
    if body["locator"]:
        parts.append(str(body["locator"]))
    if body["frequency_hz"]:
        parts.append(f"{body['frequency_hz'] / 1e6:.6g} MHz")
    for word, name in (("sent", "report_sent"), ("received", "report_received")):
        if body[name]:
            parts.append(f"{word} {body[name]}")
    return ", ".join([*parts, way[str(body["direction"])]])


def entries_text(entries: Sequence[Entry], *, width: int) -> str:
    """A line an entry, for a terminal."""
    if not entries:
        return "No entry."
    lines = []
    for entry in entries:
        one = entry.revision
        marks = [word for word, holds in (("practice", one.practice), ("withdrawn", one.withdrawn)) if holds]
        if one.number > 1:
            marks.append(f"revision {one.number}")
        told = sentence_of(one) + (f" [{', '.join(marks)}]" if marks else "")
        line = f"{entry.number:>5}  {one.utc[:16].replace('T', ' ')}  {one.kind:<10}  {told}"
        lines.append(line if len(line) <= width else line[: width - 1] + "…")
    return "\n".join(lines)


def history_text(number: int, history: Sequence[Revision]) -> str:
    """Every revision of an entry, field by field."""
    blocks = []
    for one in history:
        title = f"entry {number}, {one.kind}, revision {one.number}: {one.action} at {one.written}"
        lines = [title + (f" by {one.who}" if one.who else "") + (", practice" if one.practice else "")]
        lines.append(f"  utc: {one.utc}")
        for name in KINDS[one.kind]:
            value = one.body.get(name)
            if value is not None and name not in ("document", "adif", "adif_header", "toml"):
                lines.append(f"  {name}: {cell_text(value)}")
        for name, kind, value in json.loads(one.body["adif"]) if one.kind == "contact" else ():
            lines.append(f"  ADIF {name}{':' + kind if kind else ''}: {value}")
        lines += [f"  {file.role}: {file.name}, {file.size_bytes} bytes, sha256 {file.sha256}" for file in one.files]
        blocks.append("\n".join(lines))
    return "\n\n".join(blocks)
