"""A contact of the log and the fields of [ADIF] it came from, each made from the other without loss.

Theory  What came in stays word for word. The few fields the log reads are told anew on the way out only where the log
        says otherwise than the words do, as after an edit.
Source  [ADIF] 3.1, from memory: CALL, QSO_DATE, TIME_ON, FREQ in MHz, MODE, SUBMODE, GRIDSQUARE, MY_GRIDSQUARE,
        STATION_CALLSIGN, RST_SENT, RST_RCVD, SWL, NOTES; APP_ fields for what it has no word for.
        Reports P0 to P5 for pictures: common practice.
Holds   One direction is marked: ``sent`` where only the other station saw us, ``received`` where only we saw it.
"""

import json
import re
from collections.abc import Callable, Sequence
from typing import Any

from tepui.ground.errors import FormatError
from tepui.logbook.kinds import DIRECTIONS, LOCATOR, Body, is_utc

Fields = Sequence[tuple[str, str | None, str]]
DIRECTION = "APP_TEPUI_DIRECTION"
TELEVISION = "ATV"  # the mode enumeration's word; what kind of it stands in the notes


def _text(value: str) -> str | None:
    return value.strip() or None


def _megahertz(value: str) -> float | None:
    return float(value) * 1e6 if re.fullmatch(r"\s*[0-9]{1,9}(\.[0-9]{1,9})?\s*", value) else None


def _grid(value: str) -> str | None:
    return value.strip() if LOCATOR.fullmatch(value.strip()) else None


def _report(value: str) -> str | None:
    found = re.match(r"\s*([Pp][0-5])(?![0-9])", value)
    return found[1].upper() if found else None


def _direction(value: str) -> str | None:
    return value.strip().lower() if value.strip().lower() in DIRECTIONS else None


READ: dict[str, tuple[str, Callable[[str], Any]]] = {
    "call": ("CALL", _text),
    "frequency_hz": ("FREQ", _megahertz),
    "mode": ("MODE", _text),
    "locator": ("GRIDSQUARE", _grid),
    "own_call": ("STATION_CALLSIGN", _text),
    "own_locator": ("MY_GRIDSQUARE", _grid),
    "report_sent": ("RST_SENT", _report),
    "report_received": ("RST_RCVD", _report),
    "direction": (DIRECTION, _direction),
    "note": ("NOTES", _text),
}
"""Field of the log -> field of [ADIF] and how its text is read."""


def contact_of(fields: Fields, *, header: Fields, where: str) -> tuple[Body, str, tuple[str, ...]]:
    """Body and time of the contact a record tells of, with remarks.

    where   names the record in a refusal
    raises  FormatError where it has no call or date
    """
    said = _said(fields)
    body: Body = {name: read(said[key]) if key in said else None for name, (key, read) in READ.items()}
    if body["call"] is None:
        raise FormatError(f"{where} has no CALL, so nobody knows whom it tells of; nothing was taken in.")
    if body["direction"] is None:
        body["direction"] = "received" if said.get("SWL", "").strip().upper() == "Y" else "both"
    utc, remarks = _utc_of(said, where=where)
    body["adif"] = json.dumps([list(field) for field in fields])
    body["adif_header"] = json.dumps([list(field) for field in header])
    return body, utc, remarks


def fields_of(body: Body, utc: str) -> list[tuple[str, str | None, str]]:
    """The record of a contact: the fields it came with, and those that say otherwise than the log set anew."""
    fields = [(str(name), kind, str(value)) for name, kind, value in json.loads(body["adif"])]
    said = _said(fields)
    wanted: dict[str, str | None] = {}
    for name, (key, read) in READ.items():
        told = read(said[key]) if key in said else None
        if name == "direction" and told is None:
            told = "received" if said.get("SWL", "").strip().upper() == "Y" else "both"
        if told != body[name]:
            wanted[key] = _told(name, body[name])
    if _clock(said) != utc:
        stamp = re.sub(r"[^0-9]", "", utc)[:14]
        wanted |= {"QSO_DATE": stamp[:8], "TIME_ON": stamp[8:]}
    if not fields and "MODE" not in wanted:
        wanted["MODE"] = TELEVISION
    return _set_anew(fields, wanted)


def _told(name: str, value: Any) -> str | None:
    if value is None:
        return None
    return f"{value / 1e6:.9f}".rstrip("0").rstrip(".") if name == "frequency_hz" else str(value)


def _set_anew(fields: Fields, wanted: dict[str, str | None]) -> list[tuple[str, str | None, str]]:
    kept = []
    left = dict(wanted)
    for name, kind, value in fields:
        if name.upper() not in wanted:
            kept.append((name, kind, value))
        elif (text := left.pop(name.upper(), None)) is not None:
            kept.append((name, kind, text))
    return kept + [(name, None, text) for name, text in left.items() if text is not None]


def _said(fields: Fields) -> dict[str, str]:
    said: dict[str, str] = {}
    for name, _, value in fields:
        said.setdefault(name.upper(), value)
    return said


def _utc_of(said: dict[str, str], *, where: str) -> tuple[str, tuple[str, ...]]:
    clock = _clock(said)
    if clock is None:
        date = said.get("QSO_DATE", "").strip()
        raise FormatError(
            f"{where} must say when it was, QSO_DATE as YYYYMMDD ([ADIF]), not {date[:20]!r}; nothing was taken in."
        )
    if not re.fullmatch(r"[0-9]{4}([0-9]{2})?", said.get("TIME_ON", "").strip()):
        return clock, (f"{where} does not say at what time it was; it stands at 00:00.",)
    return clock, ()


def _clock(said: dict[str, str]) -> str | None:
    """The time a record tells, or None where it has no date."""
    date, hour = said.get("QSO_DATE", "").strip(), said.get("TIME_ON", "").strip()
    if not re.fullmatch(r"[0-9]{8}", date):
        return None
    hour = hour.ljust(6, "0") if re.fullmatch(r"[0-9]{4}([0-9]{2})?", hour) else "000000"
    clock = f"{date[:4]}-{date[4:6]}-{date[6:]}T{hour[:2]}:{hour[2:4]}:{hour[4:]}Z"
    return clock if is_utc(clock) else None
