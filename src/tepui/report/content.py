"""The report's content: a record sorted into sections, every number as the words and the mark it is printed with.

Theory  In the order of the chain, each section is filled from the documents of its verbs; where there is none it says
        which verb brings it. Cautions, unknowns and missed limits are gathered from all of them.
Source  our own design; ground.finding_text says every value.
Holds   Text only: the template sets it and computes nothing.
"""

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from tepui.ground.finding_text import STANDING_WORDS, cell_text, label_text, limit_text, scale_for, value_parts
from tepui.ground.findings import STANDINGS, Finding, Table
from tepui.report.record import LogRow, Record, Source

SECTIONS = (
    ("Check of the plan", ("check",), "tepui check"),
    ("Frequency plan", ("frequencies", "mode"), "tepui frequencies"),
    ("Levels, predicted and read", ("levels",), "tepui levels"),
    ("Filter", ("filter", "tune"), "tepui filter"),
    ("Spectrum and shoulders", ("spectrum", "watch"), "tepui spectrum"),
    ("Drive", ("drive",), "tepui drive"),
    ("Reception", ("receive", "demo", "stream"), "tepui receive"),
    ("Path", ("path", "coverage", "receivers"), "tepui path"),
    ("Exposure, supply and heat", ("care",), "tepui check"),
    ("Programme", ("programme",), "tepui programme"),
    ("Faults looked for", ("diagnose",), "tepui diagnose"),
)
CARE = ("exposure", "eirp", "distance", "heat", "sink", "dissipation", "case", "supply", "battery", "junction")
TABLE_ROWS, WIDEST_TABLE = 16, 11
POINT = "point:after "
LEVEL_KEYS = ("level_dbm", "power_dbm")
CARD_FINDINGS = (
    *("centre_frequency_hz", "net_bit_rate_bps", "video_rate_max_bps", "drive_recommended_dbm", "drive_crossing_dbm"),
    *("power_recommended_dbm", "shoulder_recommended_db", "service_name"),
)
CHANNEL = ("centre", "width", "fft", "guard", "constellation", "code_rate", "side")
LOCAL = (
    "Local codes, the licence and licensed practice come first, whatever a figure here says. Nothing here states that "
    "anything is within the law or free of danger."
)


def report_content(record: Record) -> dict[str, Any]:
    """Everything the template prints."""
    findings = [(source, one) for source in record.sources for one in source.document.findings]
    counts = Counter(one.standing for _, one in findings)
    return {
        "job": _job(record),
        "sentence": _sentence(record, findings),
        "counts": {standing: counts[standing] for standing in STANDINGS},
        "card": _card(record),
        "chain": _chain(record),
        "missing": {"chain": "No station file is in this record; give one with --station, or 'tepui log add station'."},
        "sections": _sections(record),
        "cautions": {
            "sentence": LOCAL,
            "rows": [_gathered(source, one) for source, one in findings if one.kind == "caution"],
        },
        "open": [_gathered(source, one) for source, one in findings if one.kind == "result" and _is_open(one)],
        "checks": [_check_row(row) for row in record.rows_of("check")],
        "contacts": [_contact_row(row) for row in record.rows_of("contact")],
        "photographs": [],
        "provenance": _provenance(record),
    }


def number_of(finding: Finding, *, practice: bool) -> dict[str, Any]:
    """A finding's value as the template sets it."""
    value, doubt, unit = value_parts(finding)
    return {
        "standing": finding.standing,
        "practice": practice,
        "value": _minus(value),
        "doubt": _minus(doubt),
        "unit": unit,
    }


def stated(value: str, *, standing: str = "given", practice: bool = False, doubt: str = "") -> dict[str, Any]:
    """A value in words, as the template sets it."""
    return {"standing": standing, "practice": practice, "value": _minus(value), "doubt": doubt, "unit": ""}


def _minus(text: str) -> str:
    """A true minus before a digit."""
    out = []
    for place, letter in enumerate(text):
        following = text[place + 1 : place + 2]
        before = text[place - 1 : place] if place else ""
        true = letter == "-" and following.isdigit() and not before.isalnum()
        out.append("\N{MINUS SIGN}" if true else letter)
    return "".join(out)


def _job(record: Record) -> dict[str, Any]:
    values = record.station.values if record.station is not None else {}
    site, channel = _table_of(values, "station"), _table_of(values, "channel")
    call, name = str(site.get("call", "")), str(site.get("name", ""))
    who = " ".join(part for part in (call, name) if part) or "A station without a station file"
    line = ", ".join(str(channel[key]) for key in CHANNEL[:-1] if key in channel) or "channel not in this record"
    moment = datetime.fromisoformat(record.utc)
    stamp = record.utc.replace("T", " ").replace("Z", " UTC")
    return {
        "title": f"The station {who} as built" if record.station is not None else "Findings",
        "call": call or "tepui",
        "who": who,
        "line": line,
        "practice": record.practice,
        "date": [moment.year, moment.month, moment.day, moment.hour, moment.minute, moment.second],
        "foot": f"{who}; record of {stamp}; tepui {record.program}"
        + ("; PRACTICE, nothing measured" if record.practice else ""),
    }


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
    channel = _table_of(record.station.values, "channel") if record.station is not None else {}
    for key in CHANNEL:
        if key in channel:
            rows.append(_card_row(label_text(key), stated(str(channel[key])), "S"))
    for stage in _stages(record):
        for key in ("frequency", "level", "multiplier"):
            if key in stage:
                word = f"{stage.get('name', 'stage')} {key}"
                rows.append(_card_row(word, stated(_told(stage[key])), "S"))
    for source in record.sources:
        for one in source.document.findings:
            if one.key in CARD_FINDINGS:
                number = number_of(one, practice=source.document.practice)
                rows.append(_card_row(label_text(one.key), number, source.ref, standing=one.standing))
    rows = [row for place, row in enumerate(rows) if not any(_same(row, before) for before in rows[:place])]
    sentence = "What is set to put the station on the air as recorded; a value entered and not checked is marked given."
    return {"sentence": sentence, "rows": rows}


def _same(row: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether two documents say the same of one setting: then the first is enough."""
    return (row["word"], row["number"]) == (other["word"], other["number"])


def _card_row(word: str, number: dict[str, Any], ref: str, *, standing: str | None = None) -> dict[str, Any]:
    told = STANDING_WORDS[standing or str(number["standing"])]
    return {"word": word[:1].upper() + word[1:], "number": number, "standing": told, "from": ref}


def _chain(record: Record) -> list[dict[str, Any]]:
    planned, read = _planned(record), _read(record)
    return [
        {
            "name": str(stage.get("name", "?")),
            "kind": str(stage.get("kind", "")),
            "planned": planned.get(f"after {stage.get('name')}"),
            "read": read.get(f"after {stage.get('name')}", (None, ""))[0],
        }
        for stage in _stages(record)
    ]


def _planned(record: Record) -> dict[str, dict[str, Any]]:
    """Level of each test point as the documents state it, the newest word last."""
    found = {}
    for source in record.sources:
        for one in source.document.findings:
            if one.about.startswith(POINT) and one.key in LEVEL_KEYS:
                found[one.about.removeprefix("point:")] = number_of(one, practice=source.document.practice)
    return found


def _read(record: Record) -> dict[str, tuple[dict[str, Any], str]]:
    """The newest level read at each test point, and what it was read with."""
    found = {}
    for row in record.rows_of("reading"):
        body = row.body
        if body["key"] in LEVEL_KEYS:
            how = [str(body["instrument"] or "")] + ([f"{body['pads_db']:g} dB"] if body["pads_db"] is not None else [])
            found[str(body["point"])] = (
                _value_of(body, practice=row.practice),
                ", ".join(part for part in how if part),
            )
    return found


def _value_of(body: Mapping[str, Any], *, practice: bool) -> dict[str, Any]:
    """A reading, its doubt as it was told."""
    value, low, high = body["value"], body["low"], body["high"]
    doubt = ""
    if low is not None and high is not None:
        even = abs((high - value) - (value - low)) <= 1e-9 * max(abs(value), 1.0)
        doubt = f"± {high - value:.3g}" if even else _minus(f"({low:g} to {high:g})")
    number = stated(f"{value:.6g}", standing="measured", practice=practice, doubt=doubt)
    return number | {"unit": str(body["unit"])}


def _sections(record: Record) -> list[dict[str, Any]]:
    known = {verb for _, verbs, _ in SECTIONS for verb in verbs}
    sections = []
    for title, verbs, brings in (*SECTIONS, ("Further findings", (), "tepui")):
        sources = [
            one
            for one in record.sources
            if one.document.verb in verbs or (not verbs and one.document.verb not in known)
        ]
        if not verbs and not sources:
            continue
        if title.startswith("Exposure") and not sources:
            sections.append(_care_section(record, title, brings))
            continue
        levels = _level_rows(record) if title.startswith("Levels") else []
        sections.append({
            "title": title,
            "missing": f"Nothing of this is in the record; '{brings}' brings it.",
            "levels": levels,
            "documents": [_document(source) for source in sources],
        })  # fmt: skip
    return sections


def _care_section(record: Record, title: str, brings: str) -> dict[str, Any]:
    """Exposure and heat from whichever document speaks of them."""
    rows = [
        (source, one)
        for source in record.sources
        for one in source.document.findings
        if one.kind == "result" and any(part in CARE for part in one.key.split("_"))
    ]
    groups = [
        {"about": ref, "rows": [_row(source, one) for source, one in rows if source.ref == ref]}
        for ref in dict.fromkeys(source.ref for source, _ in rows)
    ]
    told = "Gathered from the documents named; they stand there too."
    document = {"ref": "", "title": "Gathered", "told": told, "groups": groups, "tables": [], "pictures": []}
    missing = f"Nothing of this is in the record; '{brings}' brings it."
    return {"title": title, "missing": missing, "levels": [], "documents": [document] if rows else []}


def _level_rows(record: Record) -> list[dict[str, Any]]:
    planned, read = _planned(record), _read(record)
    order = [f"after {stage.get('name')}" for stage in _stages(record)]
    points = [*order, *sorted((set(planned) | set(read)) - set(order))]
    return [
        {
            "point": point,
            "planned": planned.get(point),
            "read": read.get(point, (None, ""))[0],
            "how": read.get(point, (None, ""))[1],
        }
        for point in points
        if point in planned or point in read
    ]


def _document(source: Source) -> dict[str, Any]:
    plain = source.document.plain
    groups: dict[str, list[dict[str, Any]]] = {}
    for one in source.document.findings:
        if one.kind == "result":
            groups.setdefault(one.about.replace(":", " ", 1), []).append(_row(source, one))
    return {
        "ref": source.ref,
        "title": f"{source.ref}: {source.name}",
        "told": f"tepui {plain['verb']} {plain['tepui']}, {str(plain['utc']).replace('T', ' ').replace('Z', ' UTC')}"
        + ("; practice, nothing measured" if source.document.practice else ""),
        "groups": [{"about": about, "rows": rows} for about, rows in groups.items()],
        "tables": [_plain_table(table) for table in source.document.tables if _is_shown(table)],
        "pictures": [{"file": one.name, "alt": one.alt} for one in source.pictures],
    }


def _is_shown(table: Table) -> bool:
    """Long tables of curves stand in the pictures and in the files beside the report."""
    return bool(table.rows) and len(table.rows) <= 4 * TABLE_ROWS and len(table.columns) <= WIDEST_TABLE


def _plain_table(table: Table) -> dict[str, Any]:
    shown = table.rows[:TABLE_ROWS]
    scales = []
    for number, (_, unit) in enumerate(table.columns):
        sizes = [abs(row[number]) for row in shown if _is_number(row[number])]  # type: ignore[arg-type]
        scales.append(scale_for(max(sizes, default=0.0), unit))
    return {
        "title": label_text(table.name),
        "columns": [
            label_text(key) + (f" ({scale.unit})" if scale.unit else "")
            for (key, _), scale in zip(table.columns, scales, strict=True)
        ],
        "rows": [
            [
                _minus(f"{cell / 10.0**scale.exponent:.4g}") if _is_number(cell) else cell_text(cell)  # type: ignore[operator]
                for cell, scale in zip(row, scales, strict=True)
            ]
            for row in shown
        ],
        "more": len(table.rows) - len(shown),
    }


def _is_number(cell: object) -> bool:
    return isinstance(cell, int | float) and not isinstance(cell, bool)


def _row(source: Source, one: Finding) -> dict[str, Any]:
    limit = _minus(limit_text(one))
    note = " ".join(part for part in (f"{limit[:1].upper()}{limit[1:]}." if limit else "", one.remark) if part)
    return {
        "word": label_text(one.key),
        "number": number_of(one, practice=source.document.practice),
        "note": note,
        "source": one.source,
    }


def _gathered(source: Source, one: Finding) -> dict[str, str]:
    value = "" if isinstance(one.value, bool) or one.value is None else " ".join(value_parts(one)).strip()
    words = ". ".join(part for part in (_minus(value), limit_text(one), one.remark) if part)
    return {"word": label_text(one.key), "about": one.about.replace(":", " ", 1), "remark": words, "from": source.ref}


def _is_open(one: Finding) -> bool:
    return one.standing == "unknown" or (one.margin is not None and one.margin < 0)


def _check_row(row: LogRow) -> list[str]:
    body = row.body
    value = f"{body['value']:g} {body['unit']}" + (" (practice)" if row.practice else "")
    return [
        str(body["month"]),
        label_text(str(body["key"])),
        _minus(value),
        str(body["round"]),
        str(body["instrument"] or ""),
    ]


def _contact_row(row: LogRow) -> list[str]:
    body = row.body
    ways = {"both": "both ways", "sent": "one way, seen there", "received": "one way, seen here"}
    frequency = "" if body["frequency_hz"] is None else f"{body['frequency_hz'] / 1e6:g} MHz"
    told = [body["call"], body["locator"], frequency, body["report_sent"], body["report_received"]]
    return [row.utc[:16].replace("T", " "), *(str(cell or "") for cell in told), ways[str(body["direction"])]]


def _provenance(record: Record) -> list[dict[str, Any]]:
    told = []
    if record.station is not None:
        size = len(record.station.text.encode("utf-8"))
        told.append(
            {"title": "S: the station file", "files": [[record.station.name, str(size), record.station.sha256]]}
        )
    for source in record.sources:
        plain = source.document.plain
        files = [[f"the document {source.name}", str(source.size_bytes), source.sha256]]
        files += [[str(one["path"]), str(one["bytes"]), str(one["sha256"])] for one in plain["inputs"]]
        utc = str(plain["utc"]).replace("T", " ").replace("Z", " UTC")
        told.append({"title": f"{source.ref}: tepui {plain['verb']}, version {plain['tepui']}, {utc}", "files": files})
    return told


def _table_of(values: Mapping[str, Any], name: str) -> Mapping[str, Any]:
    found = values.get(name)
    return found if isinstance(found, Mapping) else {}


def _stages(record: Record) -> Iterable[Mapping[str, Any]]:
    stages = record.station.values.get("stage") if record.station is not None else None
    return [stage for stage in stages if isinstance(stage, Mapping)] if isinstance(stages, list) else []


def _told(value: Any) -> str:
    return str(value.get("value", value)) if isinstance(value, Mapping) else str(value)
