"""The chain on paper: every stage with the level after it, predicted and read; the table of levels.

Theory  Planned is what the station file alone promises, predicted what is left of its doubt once readings are taken in,
        read what an instrument showed, its factor and pads taken out.
Source  docs/machine-interface.md for the findings and tables of ``levels``; our own design.
Holds   The newest document that states a level counts.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from tepui.ground.findings import Table
from tepui.report.printed import level, number_of, value_of
from tepui.report.record import Record

POINT = "point:after "
LEVEL_KEYS, SHOWN = ("level_dbm", "power_dbm"), "shown_dbm"


def stages_of(record: Record) -> Iterable[Mapping[str, Any]]:
    """The stages of the station file."""
    stages = record.station.values.get("stage") if record.station is not None else None
    return [stage for stage in stages if isinstance(stage, Mapping)] if isinstance(stages, list) else []


def chain(record: Record) -> list[dict[str, Any]]:
    """Every stage in signal order with what stands after it."""
    predicted, read = _predicted(record), _read(record)
    return [
        {
            "name": str(stage.get("name", "?")),
            "kind": str(stage.get("kind", "")),
            "planned": predicted.get(f"after {stage.get('name')}"),
            "read": read.get(f"after {stage.get('name')}", {}).get("read"),
        }
        for stage in stages_of(record)
    ]


def level_rows(record: Record) -> list[dict[str, Any]]:
    """A row a test point: planned, predicted now, read, with what, and the verdict."""
    planned, predicted, read = _planned(record), _predicted(record), _read(record)
    order = [f"after {stage.get('name')}" for stage in stages_of(record)]
    points = [*order, *sorted((set(planned) | set(predicted) | set(read)) - set(order))]
    return [
        {
            "point": point,
            "planned": planned.get(point),
            "predicted": predicted.get(point),
            **{"read": None, "how": "", "off": "", "verdict": "", **read.get(point, {})},
        }
        for point in points
        if point in planned or point in predicted or point in read
    ]


def _planned(record: Record) -> dict[str, dict[str, Any]]:
    found = {}
    for rows, practice in _tables(record, "levels"):
        for row in rows:
            if isinstance(row.get("planned_dbm"), float | int):
                half = row.get("planned_rss_db")
                found[str(row["point"])] = level(
                    float(row["planned_dbm"]), half, standing="computed", practice=practice
                )
    return found


def _predicted(record: Record) -> dict[str, dict[str, Any]]:
    """Level of each test point as the documents state it, the newest word last."""
    found = {}
    for source in record.sources:
        for one in source.document.findings:
            if one.about.startswith(POINT) and one.key in LEVEL_KEYS:
                found[one.about.removeprefix("point:")] = number_of(one, practice=source.document.practice)
    return found


def _read(record: Record) -> dict[str, dict[str, Any]]:
    """The newest level read at each test point: by the levels' document, else as the log has it."""
    found: dict[str, dict[str, Any]] = {}
    with_what: dict[str, str] = {}
    for row in record.rows_of("reading"):
        body = row.body
        if str(body["point"]).startswith("at ") or body["key"] not in (*LEVEL_KEYS, SHOWN):
            continue
        pads = [f"{body['pads_db']:g} dB"] if body["pads_db"] is not None else []
        how = ", ".join(part for part in (str(body["instrument"] or ""), *pads) if part)
        with_what[str(body["point"])] = how
        if body["key"] in LEVEL_KEYS:
            found[str(body["point"])] = {"read": value_of(body, practice=row.practice), "how": how}
    for rows, practice in _tables(record, "level_readings"):
        for told in rows:
            if not isinstance(told.get("read_dbm"), float | int):
                continue
            point = str(told["point"])
            known = with_what.get(point, "")
            number = level(float(told["read_dbm"]), told.get("doubt_db"), standing="measured", practice=practice)
            departure = told.get("departure_db")
            found[point] = {
                "read": number,
                "how": known or str(told.get("instrument") or "at the point"),
                "off": "" if departure is None else f"{departure:+.1f}".replace("-", "\N{MINUS SIGN}"),
                "verdict": str(told.get("reading_verdict") or ""),
            }
    return found


def _tables(record: Record, name: str) -> Iterable[tuple[list[dict[str, Any]], bool]]:
    """Rows of the tables of this name, the newest document last, with whether it is practice."""
    for source in record.sources:
        for table in source.document.tables:
            if table.name == name:
                yield _rows(table), source.document.practice


def _rows(table: Table) -> list[dict[str, Any]]:
    keys = [key for key, _ in table.columns]
    return [dict(zip(keys, row, strict=True)) for row in table.rows]
