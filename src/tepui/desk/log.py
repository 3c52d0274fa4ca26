"""``log`` at the desk: adding to the log, changing, undoing, listing and showing."""

import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tepui.desk.log_entries import (
    MOST_TEXT,
    Stamp,
    changes_of_words,
    contact_revisions,
    keep_findings_entry,
    keep_photograph_entry,
    keep_recording_entry,
    keep_station_entry,
    pictures_of,
    reading_revisions,
    value_of_word,
)
from tepui.desk.log_shown import entries_table, entries_text, history_text, revisions_table
from tepui.ground.document import build_document, document_text
from tepui.ground.errors import FormatError, InputError
from tepui.ground.findings import Outcome, Table
from tepui.ground.listing import page_for
from tepui.logbook.kinds import Body
from tepui.logbook.store import Entry, Log

DEFAULT_LOG = Path("tepui-log.sqlite")


@dataclass(frozen=True, kw_only=True)
class Common:
    """What every addition may say: the log, when it happened, who says so, whether it is practice."""

    log: Path
    utc: str | None = None
    who: str | None = None
    practice: bool = False
    as_json: bool = False

    @property
    def stamp(self) -> Stamp:
        """What the entry says beside itself."""
        return Stamp(utc=self.utc, who=self.who, practice=self.practice)


def add_note(common: Common, text: str) -> int:
    """Write a note and say so."""
    with Log(common.log, create=True, write=True) as log:
        entry = log.add("note", {"text": text}, utc=common.utc, who=common.who, practice=common.practice)
        return _said([entry], log, as_json=common.as_json)


def add_readings(
    common: Common, point: str, words: Sequence[str], *, instrument: str | None, pads_db: float | None, note: str | None
) -> int:
    """Write readings of one test point, all or none."""
    values = [value_of_word(word) for word in words]
    revisions = reading_revisions(point, values, common.stamp, instrument=instrument, pads_db=pads_db, note=note)
    with Log(common.log, create=True, write=True) as log:
        return _said(log.add_all(revisions), log, as_json=common.as_json)


def add_contact(common: Common, body: Body, *, far: Sequence[str] = ()) -> int:
    """Write a contact and what the far station read of us, all or none.

    far  KEY=VALUE words
    """
    revisions = contact_revisions(body, common.stamp, far=[value_of_word(word) for word in far])
    with Log(common.log, create=True, write=True) as log:
        return _said(log.add_all(revisions), log, as_json=common.as_json)


def add_recording(
    common: Common,
    path: Path,
    *,
    sample_type: str | None,
    rate_hz: float | None,
    frequency_hz: float | None,
    note: str | None,
) -> int:
    """Keep a recording beside the log as SigMF, and enter it."""
    with Log(common.log, create=True, write=True) as log:
        entry, new = keep_recording_entry(
            log,
            path,
            common.stamp,
            sample_type=sample_type,
            rate_hz=rate_hz,
            frequency_hz=frequency_hz,
            note=note,
        )
        if not new:
            log.remarks.append(f"These samples are in the log already, as entry {entry.number}.")
        return _said([entry], log, as_json=common.as_json)


def add_findings(common: Common, path: Path) -> int:
    """Keep a document that a verb printed, and the pictures it names where they are still there."""
    text = text_of_file(path, what="a document that a verb printed with --json")
    with Log(common.log, create=True, write=True) as log:
        entry, new = keep_findings_entry(
            log, text, common.stamp, name=str(path), pictures=_pictures(text, beside=path.parent)
        )
        if not new:
            log.remarks.append(f"This document is in the log already, as entry {entry.number}.")
        return _said([entry], log, as_json=common.as_json)


def _pictures(text: str, *, beside: Path) -> list[Path]:
    try:
        return pictures_of(text, beside=beside)
    except (ValueError, TypeError, AttributeError, RecursionError):
        return []  # no document: the one who keeps it says so in a sentence


def add_station(common: Common, path: Path) -> int:
    """Keep a station file and what it names: the first time as a new entry, later as a revision of it."""
    text = text_of_file(path, what="a station file")
    with Log(common.log, create=True, write=True) as log:
        entry, new = keep_station_entry(log, text, common.stamp, path=path)
        if not new:
            log.remarks.append(f"The station stands like that already, in entry {entry.number}.")
        return _said([entry], log, as_json=common.as_json)


def add_photograph(common: Common, path: Path, caption: str) -> int:
    """Keep a picture beside the log, and enter it."""
    with Log(common.log, create=True, write=True) as log:
        entry = keep_photograph_entry(log, path, common.stamp, caption=caption)
        return _said([entry], log, as_json=common.as_json)


def edit_entry(common: Common, number: int, words: Sequence[str]) -> int:
    """Write a revision with some fields, or the time it tells of, changed."""
    if not words and common.utc is None:
        raise InputError(
            'nothing to change was given; write FIELD=VALUE, such as note="after the new filter", or --utc.'
        )
    with Log(common.log, write=True) as log:
        changes = changes_of_words(log.entry(number).revision, words)
        return _said([log.edit(number, changes, who=common.who, utc=common.utc)], log, as_json=common.as_json)


def undo_entry(common: Common, number: int) -> int:
    """Write again what stood before the latest change."""
    with Log(common.log, write=True) as log:
        return _said([log.undo(number, who=common.who)], log, as_json=common.as_json)


def withdraw_entry(common: Common, number: int) -> int:
    """Write that an entry no longer counts."""
    with Log(common.log, write=True) as log:
        return _said([log.withdraw(number, who=common.who)], log, as_json=common.as_json)


def list_entries(common: Common, kind: str | None, *, withdrawn: bool) -> int:
    """List the entries as they stand."""
    with Log(common.log) as log:
        return _said(log.entries(kind, withdrawn=withdrawn), log, as_json=common.as_json)


def show_entry(common: Common, number: int) -> int:
    """Show every revision of an entry."""
    with Log(common.log) as log:
        history = log.history(number)
        remarks = log.remarks
    practice = any(one.practice for one in history)
    say(
        revisions_table(number, history),
        history_text(number, history),
        remarks=remarks,
        practice=practice,
        as_json=common.as_json,
    )
    return 0


def say(table: Table, text: str, *, remarks: Sequence[str], practice: bool, as_json: bool) -> None:
    """Print a table as a document, or a text for a terminal; remarks go to stderr."""
    for remark in remarks:
        print(f"tepui: {remark}", file=sys.stderr)
    if as_json:
        document = build_document(verb="log", outcomes=[Outcome(findings=(), tables=(table,))], practice=practice)
        sys.stdout.write(document_text(document))
    else:
        sys.stdout.write(text + "\n")


def text_of_file(path: Path, *, what: str) -> str:
    """The text of a file of a size that fits what it should be.

    raises  InputError, FormatError
    """
    if not path.is_file():
        raise InputError(f"{path} is no file; {what} is wanted.")
    if path.stat().st_size > MOST_TEXT:
        raise FormatError(f"{path} is larger than {MOST_TEXT >> 20} MiB, too large for {what}.")
    try:
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise FormatError(f"{path} is not text in UTF-8, so it is not {what}.") from error


def _said(entries: Sequence[Entry], log: Log, *, as_json: bool) -> int:
    practice = any(entry.revision.practice for entry in entries)
    width = page_for(sys.stdout).width if sys.stdout.isatty() else 10_000
    text = entries_text(entries, width=width)
    say(entries_table(entries), text, remarks=log.remarks, practice=practice, as_json=as_json)
    return 0
