"""The report's content: a record sorted into sections, every number as the words and the mark it is printed with.

Theory  In the order of the chain, each section is filled from the documents of its verbs with what decides there; where
        there is none it says which verb brings it. Cautions, unknowns and missed limits are gathered from all of them,
        and every number stands in the list at the end with its source.
Source  our own design; report.sections says what leads each section.
Holds   Text only: the template sets it and computes nothing.
"""

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from tepui.ground.finding_text import STANDING_WORDS, label_text
from tepui.ground.findings import STANDINGS, Finding
from tepui.report.chain_rows import chain, level_rows, stages_of
from tepui.report.printed import gathered, is_shown, minus, number_of, plain_table, row_of, stated
from tepui.report.record import LogRow, Picture, Record, Source
from tepui.report.sections import CARE_PARTS, CARE_VERBS, OPTIONAL, SECTIONS, Section, care_part

CARD_FINDINGS: Mapping[str, tuple[str, ...]] = {
    "mode": ("video_rate_max_bps",),
    "frequencies": ("if_hz", "lo_hz"),
    "drive": ("drive_recommended_dbm", "power_recommended_dbm", "shoulder_recommended_db"),
    "receive": ("service_name",),
    "programme": ("service_name", "video_rate_max_bps"),
}
CHANNEL = ("centre", "width", "fft", "guard", "constellation", "code_rate", "side")
SAME_WORD = {"width": "channel width", "fft": "fft size", "guard": "guard interval", "code_rate": "code rate"}
LOCAL = (
    "Local codes, the licence and licensed practice come first, whatever a figure here says. Nothing here states that "
    "anything is within the law or free of danger."
)
FIRST = ("picture", "frequency_plan", "filter-trace", "filter-drawing", "spectrum", "stitched", "drive", "path_profile")
NO_TIME = "1980-01-01"


def report_content(record: Record) -> dict[str, Any]:
    """Everything the template prints."""
    findings = [(source, one) for source in record.sources for one in _own(record, source)]
    counts = Counter(one.standing for _, one in findings)
    return {
        "job": _job(record),
        "sentence": _sentence(record, findings),
        "counts": {standing: counts[standing] for standing in STANDINGS},
        "card": _card(record),
        "chain": chain(record),
        "missing": {"chain": "No station file is in this record; give one with --station, or 'tepui log add station'."},
        "sections": _sections(record),
        "cautions": {
            "sentence": LOCAL,
            "rows": [gathered(source, one) for source, one in findings if one.kind == "caution"],
        },
        "open": [gathered(source, one) for source, one in findings if one.kind == "result" and _is_open(one)],
        "remarks": list(record.remarks),
        "checks": [_check_row(row) for row in record.rows_of("check")],
        "contacts": [_contact_row(row) for row in record.rows_of("contact")],
        "trend": _trend(record),
        "photographs": [],
        "numbers": _numbers(record),
        "provenance": _provenance(record),
    }


def _job(record: Record) -> dict[str, Any]:
    values = record.station.values if record.station is not None else {}
    site, channel = _table_of(values, "station"), _table_of(values, "channel")
    call, name = str(site.get("call", "")), str(site.get("name", ""))
    who = " ".join(part for part in (call, name) if part) or "A station without a station file"
    line = ", ".join(str(channel[key]) for key in CHANNEL[:-1] if key in channel) or "channel not in this record"
    moment = datetime.fromisoformat(record.utc)
    return {
        "title": f"The station {who} as built" if record.station is not None else "Findings",
        "call": call or "tepui",
        "who": who,
        "line": line,
        "practice": record.practice,
        "date": [moment.year, moment.month, moment.day, moment.hour, moment.minute, moment.second],
        "foot": f"{who}; record of {_when(record.utc)}; tepui {record.program}"
        + ("; PRACTICE, nothing measured" if record.practice else ""),
    }


def _when(utc: str) -> str:
    return "no stated time" if utc.startswith(NO_TIME) else utc.replace("T", " ").replace("Z", " UTC")


def _sentence(record: Record, findings: Sequence[tuple[Source, Finding]]) -> str:
    missed = sum(one.margin is not None and one.margin < 0 for _, one in findings)
    unknown = sum(one.standing == "unknown" for _, one in findings)
    return (
        f"{len(findings)} findings of {len(record.sources)} documents: {missed} limits missed, {unknown} unknown, "
        f"{sum(one.kind == 'caution' for _, one in findings)} cautions."
    )


def _card(record: Record) -> dict[str, Any]:
    """What to set, from the card of the mode, the station file and the findings."""
    rows = []
    for source in record.sources:
        for table in source.document.tables:
            if table.name == "settings_card":
                rows += [
                    _card_row(str(row[0]), stated(str(row[1]), standing="computed"), source.ref) for row in table.rows
                ]
    told = {str(row["word"]).casefold() for row in rows}
    channel = _table_of(record.station.values, "channel") if record.station is not None else {}
    for key in CHANNEL:
        if key in channel and SAME_WORD.get(key, key) not in told:
            rows.append(_card_row(label_text(key), stated(str(channel[key])), "S"))
    for stage in stages_of(record):
        for key in ("frequency", "level", "multiplier"):
            if key in stage:
                word = f"{stage.get('name', 'stage')} {key}"
                rows.append(_card_row(word, stated(_told(stage[key])), "S"))
    for source in record.sources:
        for one in source.document.findings:
            if one.key in CARD_FINDINGS.get(source.document.verb, ()) and one.standing != "unknown":
                number = number_of(one, practice=source.document.practice)
                rows.append(_card_row(label_text(one.key), number, source.ref, standing=one.standing))
    kept: list[dict[str, Any]] = []
    for row in rows:
        if not any((row["word"], row["number"]["value"]) == (one["word"], one["number"]["value"]) for one in kept):
            kept.append(row)
    sentence = "What is set to put the station on the air as recorded; a value entered and not checked is marked given."
    return {"sentence": sentence, "rows": kept}


def _card_row(word: str, number: dict[str, Any], ref: str, *, standing: str | None = None) -> dict[str, Any]:
    told = STANDING_WORDS[standing or str(number["standing"])]
    return {"word": word[:1].upper() + word[1:], "number": number, "standing": told, "from": ref}


def _sections(record: Record) -> list[dict[str, Any]]:
    known = {verb for section in SECTIONS for verb in section.verbs} | {"log"}
    others = Section(
        title="Further findings",
        verbs=tuple({source.document.verb for source in record.sources} - known),
        brings="tepui",
    )
    made = []
    for section in (*SECTIONS, others):
        sources = [one for one in record.sources if one.document.verb in section.verbs]
        if not sources and section.title in (*OPTIONAL, others.title):
            continue
        if section.title.startswith("Exposure") and not sources:
            made.append(_care(record, section))
            continue
        verbs = {one.document.verb for one in sources}
        if {"check", "levels"} <= verbs:  # the levels say the same with the readings taken in
            sources = [one for one in sources if one.document.verb != "check"]
        made.append(
            {
                "title": section.title,
                "missing": _missing(section),
                "levels": level_rows(record) if section.title.startswith("Levels") else [],
                "documents": [_document(source, section) for source in sources],
                "measured": _measured(record) if section.title == "Filter" else [],
            }
        )
    return made


def _missing(section: Section) -> str:
    return f"Nothing of this is in the record; '{section.brings}' brings it."


def _measured(record: Record) -> list[dict[str, str]]:
    """The measured traces with their drawings."""
    made = []
    for trace, drawing in zip(record.traces, record.drawings, strict=True):
        low, high = trace.frequency_hz[0] / 1e6, trace.frequency_hz[-1] / 1e6
        told = f"{trace.stage}, {len(trace.frequency_hz)} points from {low:.6g} to {high:.6g} MHz; {trace.name}"
        made.append({"file": drawing.name, "alt": drawing.alt, "told": told})
    return made


def _document(source: Source, section: Section) -> dict[str, Any]:
    """What a section shows of one document: its pictures, what leads there, the tables one builds or sets by."""
    found = [one for one in source.document.findings if one.kind == "result"]
    chosen = [one for key in section.keys for one in found if one.key == key]
    groups: dict[str, list[dict[str, Any]]] = {}
    for one in chosen if section.keys else found:
        groups.setdefault(one.about, []).append(row_of(source, one))
    named = [table for table in source.document.tables if is_shown(table) or table.name in section.tables]
    tables = [table for table in named if not section.tables or table.name in section.tables]
    order = list(section.tables)
    tables.sort(key=lambda table: order.index(table.name) if table.name in order else 0)
    return {
        "ref": source.ref,
        "title": f"{source.ref}: {source.name}",
        "told": _told_of(source),
        "groups": [{"about": about.replace(":", " ", 1), "rows": rows} for about, rows in groups.items()],
        "tables": [plain_table(table, section.tables.get(table.name, ())) for table in tables if table.rows],
        "pictures": [{"file": one.name, "alt": one.alt} for one in sorted(source.pictures, key=_picture_place)],
    }


def _picture_place(picture: Picture) -> int:
    """The picture that decides comes first; the others stay in the order they came in."""
    stem = picture.name.rsplit(".", 1)[0]
    return FIRST.index(stem) if stem in FIRST else len(FIRST)


def _told_of(source: Source) -> str:
    plain = source.document.plain
    practice = "; practice, nothing measured" if source.document.practice else ""
    return f"tepui {plain['verb']} {plain['tepui']}, {_when(str(plain['utc']))}{practice}"


def _care(record: Record, section: Section) -> dict[str, Any]:
    """Exposure, supply and heat as the documents of plan, levels and path have them; the levels' word comes last."""
    newest: dict[tuple[str, str], tuple[Source, Finding]] = {}
    order = {verb: place for place, verb in enumerate(CARE_VERBS)}
    for source in sorted(record.sources, key=lambda one: order.get(one.document.verb, -1)):
        for one in source.document.findings if source.document.verb in order else ():
            if one.kind == "result" and care_part(one.key) is not None:
                newest[one.about, one.key] = (source, one)
    groups = []
    for part, _ in CARE_PARTS:
        rows = [row_of(source, one) for source, one in newest.values() if care_part(one.key) == part]
        for row in rows:
            row["word"] = row["word"] if row["about"] == "station" else f"{row['word']} of {row['about']}"
        if rows:
            groups.append({"about": part, "rows": rows})
    told = "Gathered from the documents of plan, levels and path; they stand in the list at the end too."
    document = {"ref": "", "title": "", "told": told, "groups": groups, "tables": [], "pictures": []}
    return {
        "title": section.title,
        "missing": _missing(section),
        "levels": [],
        "documents": [document] if groups else [],
        "measured": [],
    }


def _trend(record: Record) -> dict[str, Any]:
    """The trend of checks and far reports, where the log gives one."""
    sources = [one for one in record.sources if one.document.verb == "log"]
    if not sources:
        return {"pictures": [], "rows": [], "ref": ""}
    source = sources[-1]
    rows = [row_of(source, one) for one in source.document.findings]
    for row in rows:
        kind, _, name = str(row["about"]).partition(" ")
        row["word"] = f"{label_text(name) if kind == 'set' else name}: {row['word'].lower()}"
    pictures = [{"file": f"{source.ref}-{one.name}", "alt": one.alt} for one in source.pictures]
    return {"pictures": pictures, "rows": rows, "ref": source.ref}


def _is_open(one: Finding) -> bool:
    return one.standing == "unknown" or (one.margin is not None and one.margin < 0)


def _check_row(row: LogRow) -> list[str]:
    body = row.body
    value = f"{body['value']:g} {body['unit']}" + (" (practice)" if row.practice else "")
    return [
        str(body["month"]),
        label_text(str(body["key"])),
        minus(value),
        str(body["round"]),
        str(body["instrument"] or ""),
    ]


def _contact_row(row: LogRow) -> list[str]:
    body = row.body
    ways = {"both": "both ways", "sent": "one way, seen there", "received": "one way, seen here"}
    frequency = "" if body["frequency_hz"] is None else f"{body['frequency_hz'] / 1e6:g} MHz"
    told = [body["call"], body["locator"], frequency, body["report_sent"], body["report_received"]]
    return [row.utc[:16].replace("T", " "), *(str(cell or "") for cell in told), ways[str(body["direction"])]]


def _own(record: Record, source: Source) -> list[Finding]:
    """A document's findings; of a check those that the levels do not state anew with the readings taken in."""
    if source.document.verb != "check":
        return list(source.document.findings)
    levels = {
        (one.about, one.key)
        for other in record.sources
        if other.document.verb == "levels"
        for one in other.document.findings
    }
    return [one for one in source.document.findings if (one.about, one.key) not in levels]


def _numbers(record: Record) -> list[dict[str, Any]]:
    """Every finding of every document."""
    made = []
    for source in record.sources:
        found = _own(record, source)
        again = len(found) < len(source.document.findings)
        told = _told_of(source) + ("; what the levels state with the readings in is not repeated" if again else "")
        rows = [row_of(source, one) for one in found]
        made.append({"title": f"{source.ref}: {source.name}", "told": told, "rows": rows})
    return made


def _provenance(record: Record) -> list[dict[str, Any]]:
    told = []
    if record.station is not None:
        size = len(record.station.text.encode("utf-8"))
        told.append(
            {"title": "S: the station file", "files": [[record.station.name, str(size), record.station.sha256]]}
        )
    if record.traces:
        files = [[one.name, str(len(one.text.encode("utf-8"))), one.sha256] for one in record.traces]
        told.append({"title": "Measured traces that the station names", "files": files})
    for source in record.sources:
        plain = source.document.plain
        files = [[f"the document {source.name}", str(source.size_bytes), source.sha256]]
        files += [[str(one["path"]), str(one["bytes"]), str(one["sha256"])] for one in plain["inputs"]]
        title = f"{source.ref}: tepui {plain['verb']}, version {plain['tepui']}, {_when(str(plain['utc']))}"
        told.append({"title": title, "files": files})
    return told


def _table_of(values: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    found = values.get(name)
    return found if isinstance(found, Mapping) else {}


def _told(value: Any) -> str:
    return str(value.get("value", value)) if isinstance(value, Mapping) else str(value)
