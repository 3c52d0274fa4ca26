"""The tables of the log, and the steps from an older version to the newest.

Theory  STRICT tables refuse a value of another type, foreign keys a reference to nothing, and triggers every change
        of what is written: the history only grows. ``user_version`` counts the steps that were taken.
Source  the SQLite documentation: strict tables (3.37 and later), pragma user_version, triggers.
Holds   A step is never edited once released; a new one is added behind it.
"""

from tepui.logbook.kinds import ACTIONS, KINDS, ROLES, Field

APPLICATION_ID = 0x74657075  # "tepu", told in the file's header


def _column(name: str, rule: Field) -> str:
    return f'"{name}" {rule.sql}' + (" NOT NULL" if rule.needed else "")


def _listed(words: tuple[str, ...]) -> str:
    return ", ".join(f"'{word}'" for word in words)


def _first() -> list[str]:
    kinds = tuple(KINDS)
    statements = [
        "CREATE TABLE entry (id INTEGER PRIMARY KEY, uid TEXT NOT NULL UNIQUE CHECK (length(uid) = 32), "
        f"kind TEXT NOT NULL CHECK (kind IN ({_listed(kinds)}))) STRICT",
        "CREATE TABLE revision (seq INTEGER PRIMARY KEY AUTOINCREMENT, entry INTEGER NOT NULL REFERENCES entry (id), "
        f"number INTEGER NOT NULL CHECK (number >= 1), action TEXT NOT NULL CHECK (action IN ({_listed(ACTIONS)})), "
        "written TEXT NOT NULL, utc TEXT NOT NULL, who TEXT, practice INTEGER NOT NULL CHECK (practice IN (0, 1)), "
        "withdrawn INTEGER NOT NULL CHECK (withdrawn IN (0, 1)), program TEXT NOT NULL, "
        "sha256 TEXT NOT NULL CHECK (length(sha256) = 64), UNIQUE (entry, number)) STRICT",
        "CREATE TABLE kept_file (sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64), "
        "size_bytes INTEGER NOT NULL CHECK (size_bytes >= 0)) STRICT",
        "CREATE TABLE revision_file (revision INTEGER NOT NULL REFERENCES revision (seq), "
        f"role TEXT NOT NULL CHECK (role IN ({_listed(ROLES)})), name TEXT NOT NULL, "
        "sha256 TEXT NOT NULL REFERENCES kept_file (sha256), PRIMARY KEY (revision, role, name)) STRICT",
        # What a findings document states and what it was made from, row by row, so that it can be searched.
        "CREATE TABLE finding (revision INTEGER NOT NULL REFERENCES revision (seq), about TEXT NOT NULL, "
        "key TEXT NOT NULL, kind TEXT NOT NULL, value ANY, unit TEXT NOT NULL, low REAL, high REAL, "
        "standing TEXT NOT NULL, source TEXT NOT NULL, PRIMARY KEY (revision, about, key)) STRICT",
        "CREATE TABLE finding_input (revision INTEGER NOT NULL REFERENCES revision (seq), path TEXT NOT NULL, "
        "bytes INTEGER NOT NULL, sha256 TEXT NOT NULL, PRIMARY KEY (revision, path)) STRICT",
    ]
    for kind, fields in KINDS.items():
        columns = ", ".join(_column(name, rule) for name, rule in fields.items())
        statements.append(
            f'CREATE TABLE "{kind}" (revision INTEGER PRIMARY KEY REFERENCES revision (seq), {columns}) STRICT'
        )
    tables = ("entry", "revision", "kept_file", "revision_file", "finding", "finding_input", *KINDS)
    for table in tables:
        for change in ("UPDATE", "DELETE"):
            statements.append(
                f'CREATE TRIGGER "{table}_no_{change.lower()}" BEFORE {change} ON "{table}" BEGIN '
                "SELECT RAISE(ABORT, 'the log only grows: an edit is a new revision'); END"
            )
    statements += [
        "CREATE INDEX finding_by_key ON finding (key)",
        "CREATE INDEX finding_input_by_hash ON finding_input (sha256)",
    ]
    return statements


MIGRATIONS: tuple[tuple[str, ...], ...] = (tuple(_first()),)
"""Step n brings a log from version n to n + 1."""
