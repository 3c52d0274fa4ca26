"""Revisions as rows of the tables, and back; every checksum is held against what was stored.

Theory  A revision is one row of ``revision``, one of its kind's own table, and one for each file it names. What a
        findings document states is laid out row by row beside it.
Source  schema.
Holds   Inside a transaction of the caller's. A row whose checksum is not the stored one is Damaged.
"""

import json
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from tepui.ground.errors import FormatError
from tepui.logbook.kinds import KINDS, KeptFile, Revision
from tepui.logbook.records import checksum

HEAD = ("seq", "entry", "number", "action", "written", "utc", "who", "practice", "withdrawn", "program", "sha256")
STATED = ("about", "key", "kind", "value", "unit", "low", "high", "standing", "source")


class Damaged(Exception):
    """A row that is not what was written; the message says which entry."""


def all_rows(database: sqlite3.Connection, statement: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
    """Every row of an answer."""
    return database.execute(statement, values).fetchall()


def one_row(database: sqlite3.Connection, statement: str, values: Sequence[Any] = ()) -> tuple[Any, ...] | None:
    """The first row of an answer, or None."""
    found = all_rows(database, statement, values)
    return found[0] if found else None


def count_revisions(database: sqlite3.Connection, entry: int) -> int:
    """How many revisions an entry has."""
    row = one_row(database, "SELECT count(*) FROM revision WHERE entry = ?", (entry,))
    return 0 if row is None else int(row[0])


def revisions(
    database: sqlite3.Connection, kind: str, where: str, values: Sequence[Any] = ()
) -> Iterator[tuple[int, int, Revision]]:
    """Place, entry and revision of one kind.

    where   a condition on the columns of ``revision``
    raises  Damaged
    """
    columns = ", ".join([*(f"revision.{name}" for name in HEAD), *(f'own."{name}"' for name in KINDS[kind])])
    joined = f'revision JOIN entry ON entry.id = revision.entry JOIN "{kind}" AS own ON own.revision = revision.seq'
    for uid, *row in all_rows(database, f"SELECT entry.uid, {columns} FROM {joined} WHERE {where}", values):
        head = dict(zip(HEAD, row, strict=False))
        seq, entry, told = int(head.pop("seq")), int(head.pop("entry")), head.pop("sha256")
        body = dict(zip(KINDS[kind], row[len(HEAD) :], strict=True))
        head |= {name: bool(head[name]) for name in ("practice", "withdrawn")}
        try:
            revision = Revision(uid=uid, kind=kind, **head, body=body, files=_files_of(database, seq))
            sound = checksum(revision) == told
        except FormatError:
            sound = False
        if not sound:
            raise Damaged(f"entry {entry} does not have the checksum it was written with")
        yield seq, entry, revision


def _files_of(database: sqlite3.Connection, seq: int) -> tuple[KeptFile, ...]:
    rows = all_rows(
        database,
        "SELECT role, name, sha256, size_bytes FROM revision_file JOIN kept_file USING (sha256) "
        "WHERE revision = ? ORDER BY role, name",
        (seq,),
    )
    return tuple(KeptFile(role=role, name=name, sha256=digest, size_bytes=size) for role, name, digest, size in rows)


def insert(database: sqlite3.Connection, revision: Revision, *, seq: int | None = None) -> int:
    """Write one revision; returns the number of its entry.

    seq     its place; None takes the next
    raises  FormatError where it does not follow what is there
    """
    row = one_row(database, "SELECT id, kind FROM entry WHERE uid = ?", (revision.uid,))
    if row is None:
        uid = (revision.uid, revision.kind)
        entry = int(database.execute("INSERT INTO entry (uid, kind) VALUES (?, ?)", uid).lastrowid or 0)
    else:
        entry = int(row[0])
    if revision.number != count_revisions(database, entry) + 1 or (row is not None and row[1] != revision.kind):
        raise FormatError(
            f"revision {revision.number} of {revision.kind} {revision.uid[:8]} does not follow what is here; "
            "nothing was taken in."
        )
    head = (
        *(seq, entry, revision.number, revision.action, revision.written, revision.utc, revision.who),
        *(revision.practice, revision.withdrawn, revision.program, checksum(revision)),
    )
    place = int(_insert_row(database, "revision", head) or 0)
    _insert_row(database, revision.kind, (place, *(revision.body.get(name) for name in KINDS[revision.kind])))
    for one in revision.files:
        database.execute("INSERT OR IGNORE INTO kept_file VALUES (?, ?)", (one.sha256, one.size_bytes))
        _insert_row(database, "revision_file", (place, one.role, one.name, one.sha256))
    if revision.kind == "findings":
        _insert_findings(database, place, json.loads(revision.body["document"]))
    return entry


def _insert_findings(database: sqlite3.Connection, place: int, document: Mapping[str, Any]) -> None:
    for one in document["findings"]:
        _insert_row(database, "finding", (place, *(one[key] for key in STATED)))
    inputs = {one["path"]: (place, one["path"], one["bytes"], one["sha256"]) for one in document["inputs"]}
    for row in inputs.values():
        _insert_row(database, "finding_input", row)


def _insert_row(database: sqlite3.Connection, table: str, values: Sequence[Any]) -> int | None:
    return database.execute(f'INSERT INTO "{table}" VALUES ({", ".join("?" * len(values))})', values).lastrowid
