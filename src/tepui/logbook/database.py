"""Opening the log's file: its version, its soundness, and refusals in words.

Theory  A write-ahead journal lets readers go on while one process writes, and leaves a killed write undone. Every
        commit is forced to the disk. A file is checked page by page before anything is read from it.
Source  the SQLite documentation: write-ahead logging, pragma quick_check, the backup interface.
Holds   SQLite 3.37 or later, for strict tables. A folder on a network drive may not keep what the journal needs.
"""

import contextlib
import sqlite3
import time
from collections.abc import Sequence
from pathlib import Path
from urllib.parse import quote

from tepui.ground.errors import FormatError, InputError, TepuiError, UnfinishedError
from tepui.logbook.copybook import copy_path
from tepui.logbook.schema import APPLICATION_ID, MIGRATIONS

BUSY_S = 15.0
OLDEST_SQLITE = (3, 37, 0)
_PART = ".part"


def open_database(
    path: Path, *, create: bool, write: bool, migrations: Sequence[Sequence[str]] = MIGRATIONS
) -> sqlite3.Connection:
    """A connection to a sound log of the newest version.

    create   whether a missing file is begun
    write    whether it will be written; an older version is brought up to date only then
    raises   InputError, FormatError, UnfinishedError; nothing was written where it is refused
    """
    _require_place(path, create=create)
    if sqlite3.sqlite_version_info < OLDEST_SQLITE:
        raise UnfinishedError(f"the log needs SQLite 3.37 or later, and this Python has {sqlite3.sqlite_version}.")
    try:
        database = _connected(path, create=create, write=write)
        try:
            _prepare(database, path, write=write, migrations=migrations)
        except BaseException:
            database.close()
            raise
    except sqlite3.Error as error:
        raise refusal(error, path) from error
    return database


def refusal(error: sqlite3.Error, path: Path) -> TepuiError:
    """What the operator reads about a failure of the database."""
    code = getattr(error, "sqlite_errorcode", None)
    primary = None if code is None else code & 0xFF
    words = str(error)
    if primary == sqlite3.SQLITE_FULL:
        return UnfinishedError(f"the disk is full ({path}); nothing of this was written: make room and enter it again.")
    if primary in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return UnfinishedError(
            f"{path} was being written by another process for {BUSY_S:g} s; nothing of this was written: "
            "wait for it to end and start again."
        )
    if primary == sqlite3.SQLITE_NOTADB:
        return damage(path, "its header is not that of a database") if copy_path(path).exists() else _no_log(path)
    if primary == sqlite3.SQLITE_CORRUPT:
        return damage(path, words)
    if primary in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM):
        return InputError(
            f"{path} cannot be written here ({words}); nothing was written: copy the log to a folder of your own, "
            "or name another with --log."
        )
    if primary == sqlite3.SQLITE_IOERR:
        return UnfinishedError(
            f"the disk refused {path} ({words}); nothing of this was written: see that the disk is sound and has room."
        )
    return UnfinishedError(f"the log {path} refused ({words}); nothing of this was written.")


def damage(path: Path, words: str) -> TepuiError:
    """What the operator reads about a damaged log, and how every entry is got back."""
    copy = copy_path(path)
    told = f"{path} is damaged ({' '.join(words.split())[:120]}); nothing was written. "
    if copy.exists():
        return FormatError(
            f"{told}Every entry also stands in {copy.name}: move {path.name} elsewhere and run "
            f"'tepui log import {copy} --log {path}'."
        )
    return FormatError(f"{told}Its copy {copy.name} is missing; import the newest archive or backup into a new log.")


def _no_log(path: Path) -> TepuiError:
    return FormatError(f"{path} is no log of tepui; name the log, or another file to begin one.")


def _require_place(path: Path, *, create: bool) -> None:
    if path.is_dir():
        raise InputError(f"{path} is a folder; the log is a file in it.")
    if path.exists():
        return
    if not create:
        raise InputError(f"there is no log {path}; 'tepui log add' begins one, and --log names another place.")
    if not path.absolute().parent.is_dir():
        raise InputError(f"the folder {path.absolute().parent} does not exist; make it, or name another place.")


def _connected(path: Path, *, create: bool, write: bool) -> sqlite3.Connection:
    mode = ("rwc" if create else "rw") if write else "ro"
    name = "file:" + quote(str(path.absolute()), safe="/:\\") + f"?mode={mode}"
    database = sqlite3.connect(name, uri=True, timeout=BUSY_S, isolation_level=None)
    try:
        database.execute("PRAGMA schema_version").fetchone()
    except sqlite3.OperationalError:
        database.close()
        journal = path.with_name(path.name + "-wal")
        if write or (journal.exists() and journal.stat().st_size):
            raise
        # A folder that cannot be written, with nothing in the journal: the file as it stands is the whole log.
        database = sqlite3.connect(name + "&immutable=1", uri=True, timeout=BUSY_S, isolation_level=None)
    except BaseException:
        database.close()
        raise
    return database


def _prepare(database: sqlite3.Connection, path: Path, *, write: bool, migrations: Sequence[Sequence[str]]) -> None:
    database.execute("PRAGMA foreign_keys = ON")
    database.execute("PRAGMA trusted_schema = OFF")
    version = _version(database)
    if version > len(migrations):
        raise FormatError(
            f"{path} was written by a later tepui (log version {version}, this program knows {len(migrations)}); "
            "nothing was changed: use that version."
        )
    begun = _begun(database)
    if begun:
        _require_sound(database, path)
    if begun and database.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID:
        raise _no_log(path)
    if not write:
        if not begun:
            raise InputError(f"{path} holds no entry yet; 'tepui log add' writes the first.")
        if version < len(migrations):
            raise FormatError(
                f"{path} is of the older log version {version}; any 'tepui log add' brings it to {len(migrations)}."
            )
        return
    _journal(database)
    database.execute("PRAGMA synchronous = FULL")
    if version < len(migrations):
        _migrate(database, path, migrations)


def _version(database: sqlite3.Connection) -> int:
    return int(database.execute("PRAGMA user_version").fetchone()[0])


def _begun(database: sqlite3.Connection) -> bool:
    return bool(database.execute("SELECT count(*) FROM sqlite_master").fetchone()[0])


def _require_sound(database: sqlite3.Connection, path: Path) -> None:
    found = [str(row[0]) for row in database.execute("PRAGMA quick_check(3)")]
    if found != ["ok"]:
        raise damage(path, found[0])


def _journal(database: sqlite3.Connection) -> None:
    """Turn the write-ahead journal on; two processes that begin one log at once take turns."""
    end = time.monotonic() + BUSY_S
    while True:
        try:
            database.execute("PRAGMA journal_mode = WAL").fetchone()
            return
        except sqlite3.OperationalError as error:
            if (error.sqlite_errorcode & 0xFF) != sqlite3.SQLITE_BUSY or time.monotonic() > end:
                raise
            time.sleep(0.02)


def _migrate(database: sqlite3.Connection, path: Path, migrations: Sequence[Sequence[str]]) -> None:
    if _begun(database):
        back_up(database, path.with_name(f"{path.stem}.before-version-{len(migrations)}{path.suffix}"))
    database.execute("BEGIN IMMEDIATE")
    try:
        version = _version(database)  # another process may have been first
        for step in migrations[version:]:
            for statement in step:
                database.execute(statement)
        database.execute(f"PRAGMA application_id = {APPLICATION_ID}")
        database.execute(f"PRAGMA user_version = {max(version, len(migrations))}")
        database.execute("COMMIT")
    except BaseException:
        with contextlib.suppress(sqlite3.Error):
            database.execute("ROLLBACK")
        raise


def back_up(database: sqlite3.Connection, place: Path) -> None:
    """Copy the whole database to a file of its own, which appears whole or not at all."""
    part = place.with_name(place.name + _PART)
    part.unlink(missing_ok=True)
    copy = sqlite3.connect(part)
    try:
        database.backup(copy)
    finally:
        copy.close()
    part.replace(place)
