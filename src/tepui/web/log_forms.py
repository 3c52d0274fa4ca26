"""The forms by which a page adds to the log, and what a filled form becomes.

Theory  A form asks for what the kind of entry holds, in words with units as everywhere; the same checks as those of the
        command line refuse it. What is left empty is not known.
Source  desk.log_entries, logbook.kinds.
Holds   Kinds that are typed. Files come by forms of their own.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from tepui.desk.log_entries import (
    FAR_KEYS,
    Stamp,
    check_revisions,
    contact_revisions,
    reading_revisions,
    value_of_word,
)
from tepui.ground.errors import InputError
from tepui.ground.finding_text import label_text
from tepui.ground.quantity import quantity_value
from tepui.jobs.monthly import MONTHLY_FIVE
from tepui.logbook.kinds import MONTH, Body, Revision, is_utc

REPORTS = ("", "P0", "P1", "P2", "P3", "P4", "P5")
WAYS = (("both", "both ways"), ("sent", "one way, seen there only"), ("received", "one way, seen here only"))
REPORT_WORDS = "P0 nothing, P1 hardly anything, P5 free of noise"
COMMON_KEYS = (
    *("shown_dbm", "level_dbm", "power_dbm", "shoulder_worst_db", "mer_db", "frequency_offset_hz", "supply_a"),
    *("margin_db", "receive_level_dbm", "temperature_k"),
)
EXAMPLES = {
    "mer_db": "31.2 dB ± 0.3 dB",
    "shoulder_worst_db": "-36.0 dB",
    "power_dbm": "36.7 dBm ± 0.5 dB",
    "frequency_offset_hz": "180 Hz",
    "supply_a": "6.7 A",
}


@dataclass(frozen=True, kw_only=True)
class Blank:
    """One blank of a form.

    choices  (value, words) pairs;  near  values that are suggested while one types
    """

    name: str
    label: str
    hint: str = ""
    example: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    near: tuple[str, ...] = ()
    long: bool = False
    wide: bool = False
    needed: bool = False


@dataclass(frozen=True, kw_only=True)
class Ask:
    """A form: its kind, its title, what it is for, its blanks."""

    kind: str
    title: str
    lead: str
    blanks: tuple[Blank, ...]


STAMP = (
    Blank(name="utc", label="When, UTC", hint="empty: now", example="2026-01-31T20:15:00Z"),
    Blank(name="who", label="Who says so"),
)


def ask_for(kind: str, *, points: Sequence[str], instruments: Sequence[str], calls: Sequence[str]) -> Ask | None:
    """The form of a kind that is typed; None for another.

    points, instruments, calls   what the station file names
    """
    note = Blank(name="note", label="What else is to be known", wide=True)
    instrument = Blank(name="instrument", label="Read with", near=tuple(instruments))
    if kind == "note":
        text = Blank(name="text", label="Note", long=True, wide=True, needed=True)
        return Ask(kind=kind, title="Note", lead="A sentence or more.", blanks=(text, *STAMP))
    if kind == "reading":
        blanks = (
            Blank(
                name="point",
                label="Test point",
                near=(*(f"after {name}" for name in points), *(f"at {call}" for call in calls)),
                needed=True,
                hint="after a stage, or at a far station",
            ),
            Blank(
                name="key",
                label="Quantity",
                near=COMMON_KEYS,
                needed=True,
                hint="shown_dbm: as an instrument shows it; level_dbm: the mean power at the point",
            ),
            Blank(name="value", label="Value, with unit and doubt", example="36.7 dBm ± 0.5 dB", needed=True),
            instrument,
            Blank(name="pads_db", label="Pads before it", example="40 dB"),
            note,
        )
        return Ask(
            kind=kind, title="Reading", lead="What an instrument showed at a test point.", blanks=(*blanks, *STAMP)
        )
    if kind == "contact":
        return Ask(
            kind=kind,
            title="Contact",
            lead="One way or both, with the picture reports each side gave and what the far station read.",
            blanks=(*_contact_blanks(calls), note, *STAMP),
        )
    if kind == "check":
        five = tuple(
            Blank(name=key, label=label_text(key), example=EXAMPLES.get(key, ""), hint="") for key in MONTHLY_FIVE
        )
        other = Blank(name="other", label="Something else", hint="KEY=VALUE", example="reflected_dbm=12 dBm", wide=True)
        month = Blank(name="month", label="Month", hint="empty: this one", example="2026-01")
        lead = "The five that tell whether the station is still what it was; one round, or some of it."
        return Ask(kind=kind, title="Check of the month", lead=lead, blanks=(*five, other, instrument, month, *STAMP))
    return None


def _contact_blanks(calls: Sequence[str]) -> tuple[Blank, ...]:
    reports = tuple((text, text or "not told") for text in REPORTS)
    return (
        Blank(name="call", label="Call", near=tuple(calls), needed=True),
        Blank(name="direction", label="Which way", choices=WAYS),
        Blank(name="report_sent", label="Report we gave", hint=REPORT_WORDS, choices=reports),
        Blank(name="report_received", label="Report we got", hint=REPORT_WORDS, choices=reports),
        Blank(name="receive_level_dbm", label="Level they read", hint="at their antenna", example="-85 dBm ± 2 dB"),
        Blank(name="mer_db", label="MER they read", example="18 dB ± 1 dB"),
        Blank(name="margin_db", label="Margin they found", hint="by our power lowered", example="6 dB ± 1 dB"),
        Blank(name="frequency", label="Frequency", example="1286 MHz"),
        Blank(name="mode", label="Mode", hint="in words"),
        Blank(name="locator", label="Their locator", example="HI46ob"),
        Blank(name="own_call", label="Our call"),
        Blank(name="own_locator", label="Our locator"),
    )


def stamp_of(given: Mapping[str, str], *, practice: bool) -> Stamp:
    """When and who, from a filled form.

    raises  InputError
    """
    utc = given.get("utc", "").strip()
    if utc and not is_utc(utc):
        raise InputError(f"the time must be ISO 8601 in UTC, such as 2026-01-31T20:15:00Z, not {utc[:40]}.")
    return Stamp(utc=utc or None, who=given.get("who", "").strip() or None, practice=practice)


def revisions_of(kind: str, given: Mapping[str, str], stamp: Stamp, *, checks: Sequence[Body]) -> list[Revision]:
    """What a filled form enters.

    checks   bodies of the checks that the log holds
    raises   InputError
    """
    told = {key: text.strip() for key, text in given.items()}
    match kind:
        case "note":
            from tepui.logbook.store import new_revision

            body: Body = {"text": told.get("text", "")}
            return [new_revision("note", body, utc=stamp.utc, who=stamp.who, practice=stamp.practice)]
        case "reading":
            value = value_of_word(f"{told.get('key', '')}={told.get('value', '')}")
            pads = told.get("pads_db", "")
            return reading_revisions(
                told.get("point", ""),
                [value],
                stamp,
                instrument=told.get("instrument") or None,
                pads_db=quantity_value(pads, kind="ratio") if pads else None,
                note=told.get("note") or None,
            )
        case "contact":
            return contact_of_form(told, stamp)
    return _check(told, stamp, checks)


def contact_of_form(told: Mapping[str, str], stamp: Stamp) -> list[Revision]:
    """A contact from its blanks, with what the far station read."""
    fields = ("call", "mode", "locator", "own_call", "own_locator", "report_sent", "report_received", "note")
    body: Body = {name: told.get(name) or None for name in fields}
    body["direction"] = told.get("direction") or "both"
    frequency = told.get("frequency", "")
    body["frequency_hz"] = quantity_value(frequency, kind="frequency") if frequency else None
    far = [value_of_word(f"{key}={told[key]}") for key in FAR_KEYS if told.get(key)]
    return contact_revisions(body, stamp, far=far)


def _check(told: Mapping[str, str], stamp: Stamp, checks: Sequence[Body]) -> list[Revision]:
    from tepui.ground.document import utc_now

    month = told.get("month") or (stamp.utc or utc_now())[:7]
    if not MONTH.fullmatch(month):
        raise InputError(f"the month must be YYYY-MM, such as 2026-01, not {month[:20]}.")
    words = [f"{key}={told[key]}" for key in MONTHLY_FIVE if told.get(key)]
    words += [told["other"]] if told.get("other") else []
    if not words:
        raise InputError("nothing was filled in; one of the five is enough.")
    before = [body for body in checks if body["month"] == month]
    values = [(value_of_word(word), False) for word in words]
    return check_revisions(before, values, stamp, month=month, instrument=told.get("instrument") or None)
