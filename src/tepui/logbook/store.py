"""The log: adding, editing, undoing and reading entries of one file.

Theory  A write is one transaction under the log's lock: all of it is there afterwards, or nothing. An edit adds a
        revision with every field; undoing adds one that says again what stood before. Nothing is ever changed.
Source  tepui's own; see schema and copybook.
Holds   One connection a process; entries are numbered within this file, their uid names them everywhere.
"""

import contextlib
import secrets
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from tepui import __version__
from tepui.ground.document import utc_now
from tepui.ground.errors import FormatError, InputError, TepuiError, UnfinishedError
from tepui.logbook.copybook import append_lines, copy_path, last_line, lines_after
from tepui.logbook.database import damage, open_database, refusal
from tepui.logbook.kinds import KINDS, Body, KeptFile, Revision
from tepui.logbook.records import checksum, line_of
from tepui.logbook.rows import Damaged, all_rows, count_revisions, insert, one_row, revisions


@dataclass(frozen=True, kw_only=True)
class Entry:
    """An entry as it stands: its number in this log, its latest revision."""

    number: int
    revision: Revision


class Log:
    """One log, open. Use it as a context manager."""

    def __init__(self, path: Path, *, create: bool = False, write: bool = False) -> None:
        """Open the log at ``path``.

        raises  InputError, FormatError or UnfinishedError, one sentence
        """
        self.path = path
        self.remarks: list[str] = []
        self._database = open_database(path, create=create, write=write)
        try:
            if write:
                with self._locked():
                    self._agree_with_copy()
            elif self._copy_is_ahead():
                self._database.close()
                self._database = open_database(path, create=False, write=True)
                with self._locked():
                    self._agree_with_copy()
        except BaseException:
            self._database.close()
            raise

    def __enter__(self) -> "Log":
        return self

    def __exit__(self, *_: object) -> None:
        self._database.close()

    # Writing

    def add(
        self,
        kind: str,
        body: Mapping[str, Any],
        *,
        utc: str | None = None,
        who: str | None = None,
        practice: bool = False,
        files: Sequence[KeptFile] = (),
    ) -> Entry:
        """Write a new entry.

        raises  FormatError where it cannot be held; UnfinishedError where the disk refuses: then nothing was written
        """
        return self.add_all([new_revision(kind, body, utc=utc, who=who, practice=practice, files=files)])[0]

    def add_all(self, revisions: Sequence[Revision]) -> list[Entry]:
        """Write several new entries, all or none."""
        with self._writing():
            return [Entry(number=insert(self._database, revision), revision=revision) for revision in revisions]

    def edit(
        self,
        number: int,
        changes: Mapping[str, Any],
        *,
        who: str | None = None,
        utc: str | None = None,
        files: Sequence[KeptFile] | None = None,
    ) -> Entry:
        """Write a revision of an entry with some fields changed.

        utc     when it happened, where that changes too
        files   that belong to it from here on, where they change

        raises  InputError where there is no such entry; FormatError where a value cannot be held
        """
        with self._writing():
            last = self.history(number)[-1]
            if last.withdrawn:
                raise InputError(f"entry {number} was withdrawn; undo that before changing it.")
            last = last if utc is None else replace(last, utc=utc)
            last = last if files is None else replace(last, files=tuple(files))
            return self._next(number, last, action="edit", body={**last.body, **changes}, who=who)

    def withdraw(self, number: int, *, who: str | None = None) -> Entry:
        """Write that an entry no longer counts; it stays in the history."""
        with self._writing():
            last = self.history(number)[-1]
            if last.withdrawn:
                raise InputError(f"entry {number} is withdrawn already.")
            return self._next(number, last, action="withdraw", body=last.body, who=who, withdrawn=True)

    def undo(self, number: int, *, who: str | None = None) -> Entry:
        """Write again what stood before the latest change that is not yet undone.

        raises  InputError where nothing is left to undo
        """
        with self._writing():
            states: list[Revision] = []
            history = self.history(number)
            for one in history:
                if one.action == "undo" and states:
                    states.pop()
                elif one.action != "undo":
                    states.append(one)
            if not states:
                raise InputError(f"nothing of entry {number} is left to undo.")
            last, before = history[-1], states[-2] if len(states) > 1 else None
            if before is None:
                return self._next(number, last, action="undo", body=last.body, who=who, withdrawn=True)
            return self._next(
                number,
                replace(last, utc=before.utc, files=before.files, practice=before.practice),
                action="undo",
                body=before.body,
                who=who,
                withdrawn=before.withdrawn,
            )

    def merge(self, revisions: Iterable[Revision]) -> int:
        """Take in revisions of another log or archive, all or none; what is here already is left.

        returns  how many were new
        raises   FormatError where an entry here and there was continued in different ways
        """
        with self._writing():
            return sum(self._take_in(revision) for revision in revisions)

    # Reading

    def entries(self, kind: str | None = None, *, withdrawn: bool = False) -> list[Entry]:
        """The entries as they stand, in the order they were begun.

        kind       only of this kind
        withdrawn  whether withdrawn ones are told as well
        """
        latest = "number = (SELECT max(number) FROM revision AS other WHERE other.entry = revision.entry)"
        with self._in_words():
            found = [
                Entry(number=entry, revision=revision)
                for one in ([kind] if kind else KINDS)
                for _, entry, revision in revisions(self._database, one, latest)
                if withdrawn or not revision.withdrawn
            ]
        return sorted(found, key=lambda entry: entry.number)

    def entry(self, number: int) -> Entry:
        """One entry as it stands.

        raises  InputError where there is none of this number
        """
        return Entry(number=number, revision=self.history(number)[-1])

    def history(self, number: int) -> list[Revision]:
        """Every revision of an entry, the first one first.

        raises  InputError where there is none of this number
        """
        with self._in_words():
            known = 0 < number < 1 << 62
            row = one_row(self._database, "SELECT kind FROM entry WHERE id = ?", (number,)) if known else None
            if row is None:
                raise InputError(f"there is no entry {number} in {self.path}; 'tepui log list' shows what there is.")
            found = revisions(self._database, str(row[0]), "entry = ? ORDER BY number", (number,))
            return [revision for _, _, revision in found]

    def all_revisions(self) -> list[tuple[int, Revision]]:
        """Every revision with its place, in the order written."""
        with self._in_words():
            return self._after(0)

    def kept_files(self) -> dict[str, int]:
        """sha256 -> size of every file that a revision names."""
        with self._in_words():
            rows = all_rows(self._database, "SELECT sha256, size_bytes FROM kept_file")
        return {str(name): int(size) for name, size in rows}

    # Inside

    @contextmanager
    def _in_words(self) -> Iterator[None]:
        """What the database refuses becomes a sentence."""
        try:
            yield
        except sqlite3.Error as error:
            raise refusal(error, self.path) from error
        except Damaged as problem:
            raise damage(self.path, str(problem)) from problem

    @contextmanager
    def _locked(self) -> Iterator[None]:
        """Hold the lock of writers; what the block changed is committed at its end, or nothing is."""
        with self._in_words():
            self._database.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._database.execute("COMMIT")
            except BaseException:
                with contextlib.suppress(sqlite3.Error):
                    self._database.execute("ROLLBACK")
                raise

    @contextmanager
    def _writing(self) -> Iterator[None]:
        with self._locked():
            self._agree_with_copy()
            yield
        try:
            with self._locked():
                self._agree_with_copy()
        except (TepuiError, OSError) as problem:  # the entry stands; the next opening writes the line
            self.remarks.append(f"The entry is in the log, its copy {copy_path(self.path).name} lags: {problem}")

    def _agree_with_copy(self) -> None:
        """Write what the copy lacks, take in what only the copy holds."""
        copy = copy_path(self.path)
        last = last_line(copy)
        held = int((one_row(self._database, "SELECT coalesce(max(seq), 0) FROM revision") or (0,))[0])
        if last is not None:
            self._require_same_log(last, held)
        told = 0 if last is None else last[0]
        if told > held:
            beyond = lines_after(copy, held)
            for seq, revision in beyond:
                self._take_in(revision, seq=seq)
            self.remarks.append(f"{len(beyond)} entries that {self.path.name} had lost were taken in from {copy.name}.")
        elif told < held:
            missing = [line_of(revision, seq=seq) for seq, revision in self._after(told)]
            try:
                append_lines(copy, missing)
            except OSError as problem:
                reason = problem.strerror or str(problem)
                raise UnfinishedError(
                    f"{copy} could not be written ({reason}); make room and start again."
                ) from problem

    def _require_same_log(self, last: tuple[int, Revision], held: int) -> None:
        seq, revision = last
        row = one_row(self._database, "SELECT sha256 FROM revision WHERE seq = ?", (seq,))
        if (row is None and seq <= held) or (row is not None and row[0] != checksum(revision)):
            copy = copy_path(self.path)
            raise FormatError(
                f"{copy.name} belongs to another log than {self.path.name}; nothing was written: "
                "put the pair that belongs together back, or move the copy elsewhere."
            )

    def _copy_is_ahead(self) -> bool:
        last = last_line(copy_path(self.path))
        held = int((one_row(self._database, "SELECT coalesce(max(seq), 0) FROM revision") or (0,))[0])
        return last is not None and last[0] > held

    def _after(self, seq: int) -> list[tuple[int, Revision]]:
        found = [(place, one) for kind in KINDS for place, _, one in revisions(self._database, kind, "seq > ?", (seq,))]
        return sorted(found, key=lambda one: one[0])

    def _take_in(self, revision: Revision, *, seq: int | None = None) -> bool:
        row = one_row(
            self._database,
            "SELECT sha256 FROM revision JOIN entry ON entry.id = revision.entry WHERE uid = ? AND number = ?",
            (revision.uid, revision.number),
        )
        if row is None:
            insert(self._database, revision, seq=seq)
            return True
        if row[0] != checksum(revision):
            raise FormatError(
                f"{revision.kind} {revision.uid[:8]} was continued here and there in different ways (revision "
                f"{revision.number}); nothing was taken in: import into a log of its own with --log."
            )
        return False

    def _next(
        self, number: int, last: Revision, *, action: str, body: Body, who: str | None, withdrawn: bool = False
    ) -> Entry:
        revision = replace(
            last,
            number=count_revisions(self._database, number) + 1,
            action=action,
            written=utc_now(),
            who=who if who is not None else last.who,
            withdrawn=withdrawn,
            program=__version__,
            body=dict(body),
        )
        insert(self._database, revision)
        return Entry(number=number, revision=revision)


def new_revision(
    kind: str,
    body: Mapping[str, Any],
    *,
    utc: str | None = None,
    who: str | None = None,
    practice: bool = False,
    files: Sequence[KeptFile] = (),
) -> Revision:
    """The first revision of a new entry.

    raises  FormatError where it cannot be held
    """
    now = utc_now()
    return Revision(
        uid=secrets.token_hex(16),
        kind=kind,
        number=1,
        action="add",
        written=now,
        utc=now if utc is None else utc,
        who=who,
        practice=practice,
        withdrawn=False,
        program=__version__,
        body=dict(body),
        files=tuple(files),
    )
