"""What an entry of the log may be: one kind a noun, one field a column.

Theory  Every entry is a chain of revisions; a revision states all fields of its kind. What is not known is null.
Source  tepui's own. Contacts carry the fields of [ADIF] word for word beside the few that the log reads itself.
Holds   Numbers are SI or dB, as everywhere. low and high enclose 95 %.
"""

import json
import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from tepui.ground.document_reader import read_document
from tepui.ground.errors import FormatError

Body = dict[str, Any]
LONGEST_TEXT = 8 << 20
SHA256 = re.compile(r"[0-9a-f]{64}")
LOCATOR = re.compile(r"[A-Ra-r]{2}[0-9]{2}([A-Xa-x]{2}([0-9]{2}([A-Xa-x]{2})?)?)?")
REPORT = re.compile(r"P[0-5]")
MONTH = re.compile(r"[0-9]{4}-(0[1-9]|1[0-2])")
DIRECTIONS = ("both", "sent", "received")


@dataclass(frozen=True, kw_only=True)
class Field:
    """One column of a kind.

    sql      TEXT, REAL or INTEGER
    needed   whether it may not be null
    allowed  a test of a value that is not null, and what it allows in words
    """

    sql: str
    needed: bool = False
    allowed: tuple[Callable[[Any], bool], str] | None = None


def is_utc(text: str) -> bool:
    """Whether this is ISO 8601 in UTC, such as 2026-01-31T20:15:00Z."""
    try:
        return datetime.fromisoformat(text).utcoffset() == timedelta(0)
    except ValueError:
        return False


def _is_adif(text: str) -> bool:
    try:
        fields = json.loads(text)
    except (ValueError, RecursionError):
        return False
    return isinstance(fields, list) and all(
        isinstance(one, list)
        and len(one) == 3
        and isinstance(one[0], str)
        and isinstance(one[1], str | None)
        and isinstance(one[2], str)
        and _is_unicode(one[0] + (one[1] or "") + one[2])
        for one in fields
    )


def _is_document(text: str) -> bool:
    try:
        read_document(text, name="it")
    except FormatError:
        return False
    return True


TEXT, TEXT_NEEDED = Field(sql="TEXT"), Field(sql="TEXT", needed=True)
NUMBER, NUMBER_NEEDED, COUNT = Field(sql="REAL"), Field(sql="REAL", needed=True), Field(sql="INTEGER")
UTC = Field(sql="TEXT", allowed=(is_utc, "ISO 8601 in UTC, such as 2026-01-31T20:15:00Z"))
HASH = Field(sql="TEXT", needed=True, allowed=(lambda text: bool(SHA256.fullmatch(text)), "64 hexadecimal digits"))
HASH_OR_NONE = Field(sql="TEXT", allowed=HASH.allowed)
GRID = Field(sql="TEXT", allowed=(lambda text: bool(LOCATOR.fullmatch(text)), "a locator, such as HI45kt"))
PICTURE_REPORT = Field(sql="TEXT", allowed=(lambda text: bool(REPORT.fullmatch(text)), "P0 to P5"))
DOCUMENT = Field(sql="TEXT", needed=True, allowed=(_is_document, "a document that a verb printed with --json"))
ADIF_FIELDS = Field(sql="TEXT", needed=True, allowed=(_is_adif, "a JSON list of name, type and value"))

VALUE: Mapping[str, Field] = {
    "key": TEXT_NEEDED,
    "value": NUMBER_NEEDED,
    "unit": TEXT_NEEDED,
    "low": NUMBER,
    "high": NUMBER,
    "instrument": TEXT,
}

KINDS: dict[str, Mapping[str, Field]] = {
    "station": {"name": TEXT, "call": TEXT, "file_name": TEXT_NEEDED, "toml": TEXT_NEEDED},
    "reading": {"point": TEXT_NEEDED, **VALUE, "pads_db": NUMBER, "recording": HASH_OR_NONE, "note": TEXT},
    "recording": {
        "name": TEXT_NEEDED,
        "data": HASH,
        "sample_rate_hz": NUMBER_NEEDED,
        "samples": Field(sql="INTEGER", needed=True),
        "frequency_hz": NUMBER,
        "sample_type": TEXT_NEEDED,
        "note": TEXT,
    },
    "findings": {"verb": TEXT_NEEDED, "station": TEXT, "program": TEXT_NEEDED, "document": DOCUMENT},
    "contact": {
        "call": TEXT_NEEDED,
        "frequency_hz": NUMBER,
        "mode": TEXT,
        "locator": GRID,
        "own_call": TEXT,
        "own_locator": GRID,
        "report_sent": PICTURE_REPORT,
        "report_received": PICTURE_REPORT,
        "direction": Field(
            sql="TEXT", needed=True, allowed=(lambda text: text in DIRECTIONS, "both, sent or received")
        ),
        "note": TEXT,
        "adif": ADIF_FIELDS,
        "adif_header": ADIF_FIELDS,
    },
    "check": {
        "month": Field(sql="TEXT", needed=True, allowed=(lambda text: bool(MONTH.fullmatch(text)), "YYYY-MM")),
        **VALUE,
        "round": Field(sql="INTEGER", needed=True, allowed=(lambda count: count >= 1, "a whole number from 1 on")),
        "note": TEXT,
    },
    "note": {"text": TEXT_NEEDED},
    "photograph": {"caption": TEXT_NEEDED, "name": TEXT_NEEDED},
}
"""Kind -> its fields in the order of the columns."""

ROLES = ("data", "metadata", "original", "picture", "document")


@dataclass(frozen=True, kw_only=True)
class KeptFile:
    """A file that belongs to a revision: what it is there, its name, size and sha256; the bytes lie beside the log."""

    role: str
    name: str
    sha256: str
    size_bytes: int


@dataclass(frozen=True, kw_only=True)
class Revision:
    """One state of one entry.

    uid       the entry's name everywhere, 32 hexadecimal digits;  number  1, 2, 3 ... within it
    action    add, edit, undo or withdraw;  withdrawn  whether the entry no longer counts from here on
    written   when it was written;  utc  when what it tells of happened; both ISO 8601 with a Z
    practice  whether it came from the practice station
    """

    uid: str
    kind: str
    number: int
    action: str
    written: str
    utc: str
    who: str | None
    practice: bool
    withdrawn: bool
    program: str
    body: Body
    files: tuple[KeptFile, ...] = field(default=())

    def __post_init__(self) -> None:
        check_revision(self)


ACTIONS = ("add", "edit", "undo", "withdraw")


def check_revision(revision: Revision) -> None:
    """Refuse a revision that the log cannot hold.

    raises  FormatError, one sentence naming the field
    """
    fields = KINDS.get(revision.kind) if isinstance(revision.kind, str) else None
    if fields is None:
        raise FormatError(f"an entry's kind must be one of {', '.join(KINDS)}, not {str(revision.kind)[:40]!r}.")
    if not isinstance(revision.uid, str) or not re.fullmatch(r"[0-9a-f]{32}", revision.uid):
        raise FormatError(f"an entry's uid must be 32 hexadecimal digits, not {str(revision.uid)[:40]!r}.")
    if not _is_whole(revision.number) or not 1 <= revision.number < 1 << 31:
        raise FormatError(f"a revision's number must be a whole number from 1 on, not {str(revision.number)[:40]}.")
    if revision.action not in ACTIONS:
        raise FormatError(
            f"a revision's action must be one of {', '.join(ACTIONS)}, not {str(revision.action)[:40]!r}."
        )
    for name in ("written", "utc"):
        if not isinstance(getattr(revision, name), str) or not is_utc(getattr(revision, name)):
            raise FormatError(
                f"the time {str(getattr(revision, name))[:40]!r} must be ISO 8601 in UTC, such as 2026-01-31T20:15:00Z."
            )
    for name in ("practice", "withdrawn"):
        if not isinstance(getattr(revision, name), bool):
            raise FormatError(f"{name} of a revision must be true or false.")
    for name in ("who", "program"):
        check_field(revision.kind, name, getattr(revision, name), TEXT if name == "who" else TEXT_NEEDED)
    for name in (*fields, *revision.body):
        if name not in fields:
            raise FormatError(f"{revision.kind} has no field {str(name)[:40]!r}; it has {', '.join(fields)}.")
        check_field(revision.kind, name, revision.body.get(name), fields[name])
    _check_interval(revision.kind, revision.body)
    _check_files(revision.files)


def check_field(kind: str, name: str, value: Any, rule: Field) -> None:
    """Refuse one value.

    raises  FormatError
    """
    if value is None:
        if rule.needed:
            raise FormatError(f"{kind} needs its {name}.")
        return
    fits = {
        "TEXT": isinstance(value, str),
        "REAL": isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < math.inf,
        "INTEGER": _is_whole(value) and abs(value) < 1 << 62,
    }[rule.sql]
    noun = {"TEXT": "text", "REAL": "a finite number", "INTEGER": "a whole number"}[rule.sql]
    if not fits:
        raise FormatError(f"{kind} {name} must be {noun}, not {str(value)[:40]!r}.")
    if isinstance(value, str):
        if len(value) > LONGEST_TEXT:
            raise FormatError(f"{kind} {name} is {len(value)} characters long; the log takes {LONGEST_TEXT}.")
        if rule.needed and not value.strip():
            raise FormatError(f"{kind} needs its {name}, which is empty.")
        if not _is_unicode(value) or "\0" in value:
            raise FormatError(f"{kind} {name} holds a character that no text can hold (a null or half a pair).")
    if rule.allowed is not None and not rule.allowed[0](value):
        raise FormatError(f"{kind} {name} must be {rule.allowed[1]}, not {str(value)[:40]!r}.")


def _check_interval(kind: str, body: Body) -> None:
    low, high, value = body.get("low"), body.get("high"), body.get("value")
    if (low is None) != (high is None):
        raise FormatError(f"{kind} must state both low and high, or neither.")
    if low is not None and high is not None and value is not None and not low <= value <= high:
        raise FormatError(f"{kind} value {value:g} must lie within low and high, {low:g} to {high:g}.")


def _check_files(files: tuple[KeptFile, ...]) -> None:
    for one in files:
        sound = isinstance(one.name, str) and isinstance(one.sha256, str) and _is_whole(one.size_bytes)
        if not sound or one.role not in ROLES or not SHA256.fullmatch(one.sha256) or one.size_bytes < 0:
            raise FormatError(f"a kept file must state role, name, sha256 and size, not {one!r:.120}.")
        if not one.name or len(one.name) > 255 or any(mark in one.name for mark in "/\\\0") or one.name in (".", ".."):
            raise FormatError(f"a kept file's name must be a name without a folder, not {one.name!r:.80}.")
        if not _is_unicode(one.name):
            raise FormatError("a kept file's name holds half a pair of characters.")
    if len({(one.role, one.name) for one in files}) < len(files):
        raise FormatError("a revision names one of its files twice.")


def _is_whole(value: Any) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)


def _is_unicode(text: str) -> bool:
    try:
        text.encode("utf-8")
    except UnicodeEncodeError:
        return False
    return True
