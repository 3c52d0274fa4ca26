"""One revision as one line of JSON with its checksum: in the copy beside the log, and in an archive.

Theory  The sha256 is taken over the line's own canonical text (sorted keys, ASCII, no blanks) without the checksum, so
        that a changed letter is found wherever the line has travelled.
Source  [RFC8259] JSON; FIPS 180-4 sha256. The canonical text is our own.
Holds   Checksums find damage and careless changes. Whoever means to deceive can make new ones.
"""

import hashlib
import json
from typing import Any

from tepui.ground.errors import FormatError
from tepui.logbook.kinds import KINDS, Field, KeptFile, Revision

FORMAT = 1
KEYS = (
    *("uid", "kind", "number", "action", "written", "utc", "who", "practice", "withdrawn", "program", "body", "files"),
)


def record_of(revision: Revision) -> dict[str, Any]:
    """The revision as plain values."""
    record: dict[str, Any] = {key: getattr(revision, key) for key in KEYS if key not in ("body", "files")}
    record["body"] = {name: _stored(revision.body.get(name), rule) for name, rule in KINDS[revision.kind].items()}
    files = sorted(revision.files, key=lambda one: (one.role, one.name))
    record["files"] = [
        {"role": one.role, "name": one.name, "sha256": one.sha256, "bytes": one.size_bytes} for one in files
    ]
    return record


def checksum(revision: Revision) -> str:
    """sha256 of the revision's canonical text, in hexadecimal."""
    return _checksum(record_of(revision))


def line_of(revision: Revision, *, seq: int) -> str:
    """The revision as a line of JSON, without the line's end.

    seq  its place in the log it stands in
    """
    record = record_of(revision)
    return _canonical({"format": FORMAT, "seq": seq, "sha256": _checksum(record), **record})


def revision_from(line: str, *, where: str) -> tuple[int, Revision]:
    """The place and the revision of a line that ``line_of`` wrote.

    where   names the line in a refusal
    raises  FormatError for a line that is damaged, or that a later version of the program wrote
    """
    try:
        record = json.loads(line, parse_constant=_refuse_constant)
    except (ValueError, RecursionError) as error:
        raise FormatError(f"{where} is no whole line of JSON; it is damaged.") from error
    if not isinstance(record, dict) or set(record) != {"format", "seq", "sha256", *KEYS}:
        raise FormatError(f"{where} does not hold a revision of a log.")
    if record["format"] != FORMAT:
        raise FormatError(
            f"{where} is of format {record['format']!r:.20}; this program knows {FORMAT}: use a later one."
        )
    seq, stated = record.pop("seq"), record.pop("sha256")
    del record["format"]
    if not isinstance(seq, int) or isinstance(seq, bool) or not 0 < seq < 1 << 62:
        raise FormatError(f"{where} must state its place in the log.")
    if not _sound(record) or _checksum(record) != stated:
        raise FormatError(f"{where} does not have the checksum it states; it was changed or damaged.")
    files = tuple(
        KeptFile(role=one["role"], name=one["name"], sha256=one["sha256"], size_bytes=one["bytes"])
        for one in record.pop("files")
    )
    try:
        return seq, Revision(**record, files=files)
    except FormatError as problem:
        raise FormatError(f"{where}: {problem}") from problem


def _stored(value: Any, rule: Field) -> Any:
    """A value as the column gives it back: a whole number in a column of reals is a real."""
    return float(value) if rule.sql == "REAL" and value is not None else value


def _sound(record: dict[str, Any]) -> bool:
    files = record["files"]
    return (
        isinstance(record["body"], dict)
        and isinstance(files, list)
        and all(isinstance(one, dict) and set(one) == {"role", "name", "sha256", "bytes"} for one in files)
    )


def _canonical(value: Any) -> str:
    return json.dumps(value, sort_keys=True, separators=(",", ":"), allow_nan=False)


def _checksum(record: dict[str, Any]) -> str:
    try:
        return hashlib.sha256(_canonical(record).encode("ascii")).hexdigest()
    except ValueError:  # infinity by way of 1e999
        return ""


def _refuse_constant(word: str) -> None:
    raise ValueError(word)
