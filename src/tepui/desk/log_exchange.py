"""``log export`` and ``log import`` at the desk: the whole log as one archive, the contacts as ADIF, the copy as lines.

Theory  Files are taken in first, each under the name of its own sha256, and the entries last, in one transaction; so
        that a kill in between leaves files that nobody names, and never an entry without its files.
Source  tepui's own; files.archive, files.adif, logbook.records.
Holds   What the log holds already is left; an entry continued in two places is refused.
"""

import json
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from tepui import __version__
from tepui.desk.keep import keep_text, require_output
from tepui.desk.log import Common, say
from tepui.desk.log_entries import Stamp, remove_unnamed, stored_file
from tepui.desk.log_shown import entries_table
from tepui.files.adif import adif_text, read_adif
from tepui.files.archive import LINES, Archive, Member, member_of_bytes, write_archive
from tepui.files.atomic import written_whole
from tepui.files.kept import room_for, store_path
from tepui.ground.errors import FormatError, InputError
from tepui.logbook.contacts import contact_of, fields_of
from tepui.logbook.copybook import copy_path, sound_lines
from tepui.logbook.kinds import Body, Revision
from tepui.logbook.records import line_of, revision_from
from tepui.logbook.store import Entry, Log, new_revision

ENDINGS = ".zip (everything), .adi (contacts)"


@dataclass(frozen=True, kw_only=True)
class Exchanged:
    """What an export wrote or an import took in: the words for it, remarks, the entries it tells of."""

    words: str
    remarks: tuple[str, ...]
    entries: tuple[Entry, ...]


def run_export(common: Common, out: Path) -> int:
    """Write the log as an archive, or its contacts as ADIF, by the ending of the file's name."""
    return _say(export_log(common.log, out), as_json=common.as_json)


def run_import(common: Common, path: Path) -> int:
    """Take in an archive, an ADIF file or the copy of a log, by the ending of the file's name."""
    return _say(import_into(common.log, path, common.stamp), as_json=common.as_json)


def _say(done: Exchanged, *, as_json: bool) -> int:
    practice = any(entry.revision.practice for entry in done.entries)
    say(entries_table(done.entries), done.words, remarks=done.remarks, practice=practice, as_json=as_json)
    return 0


def export_log(log_path: Path, out: Path) -> Exchanged:
    """Write the log as an archive, or its contacts as ADIF, by the ending of the file's name.

    raises  InputError, UnfinishedError: then nothing was written
    """
    require_output(out, inputs=[log_path, copy_path(log_path)])
    match out.suffix.lower():
        case ".zip":
            return _export_archive(log_path, out)
        case ".adi" | ".adif":
            return _export_contacts(log_path, out)
    raise InputError(f"{out} must end in {ENDINGS}, so that it is plain what to write.")


def _export_archive(log_path: Path, out: Path) -> Exchanged:
    with Log(log_path) as log:
        numbered = log.all_revisions()
        entries = log.entries(withdrawn=True)
    revisions = [revision for _, revision in numbered]
    lines = "".join(line_of(revision, seq=seq) + "\n" for seq, revision in numbered)
    members = {LINES: member_of_bytes(LINES, lines.encode("ascii"))}
    for name, stored, digest, size in _files_of(revisions):
        source = store_path(log_path) / stored
        members[name] = Member(name=name, source=source, sha256=digest, size_bytes=size)
    newest = max((one.written for one in revisions), default="")
    about = {"program": __version__, "written": newest, "entries": len(entries), "revisions": len(revisions)}
    write_archive(out, list(members.values()), about=about)
    words = f"{len(entries)} entries in {len(revisions)} revisions and {len(members) - 1} files are in {out}."
    return Exchanged(words=words, remarks=tuple(log.remarks), entries=tuple(entries))


def _files_of(revisions: Sequence[Revision]) -> list[tuple[str, str, str, int]]:
    """Name in the archive, name in the store, sha256 and size of every file that revisions name."""
    found = {}
    for revision in revisions:
        for one in revision.files:
            stored = stored_file(revision, one)
            found[stored] = (f"files/{stored}", stored, one.sha256, one.size_bytes)
    return sorted(found.values())


def _export_contacts(log_path: Path, out: Path) -> Exchanged:
    with Log(log_path) as log:
        entries = log.entries("contact")
    ordered = sorted(entries, key=lambda one: (one.revision.utc, one.number))
    header: list[tuple[str, str | None, str]] = []
    for entry in ordered:
        for name, kind, value in json.loads(entry.revision.body["adif_header"]):
            if (name, kind, value) not in header:
                header.append((name, kind, value))
    records = [fields_of(entry.revision.body, entry.revision.utc) for entry in ordered]
    newest = max((entry.revision.written for entry in ordered), default="1980-01-01T00:00:00Z")
    keep_text(out, adif_text(records, header=header, program_version=__version__, utc=newest))
    return Exchanged(words=f"{len(records)} contacts are in {out}.", remarks=tuple(log.remarks), entries=tuple(ordered))


def import_into(log_path: Path, path: Path, stamp: Stamp, *, name: str | None = None) -> Exchanged:
    """Take in an archive, an ADIF file or the copy of a log, by the ending of the file's name.

    name    what the file is called in words, where it is not its path
    raises  InputError, FormatError, UnfinishedError: then nothing was taken in
    """
    told = name or str(path)
    if not path.is_file():
        raise InputError(f"{told} is no file; give an archive (.zip), contacts (.adi) or the copy of a log (.jsonl).")
    match path.suffix.lower():
        case ".zip":
            return _import_archive(log_path, path, told)
        case ".adi" | ".adif":
            return _import_contacts(log_path, path, stamp, told)
        case ".jsonl":
            return _import_copy(log_path, path, told)
    raise InputError(f"{told} must end in .zip (archive), .adi (contacts) or .jsonl (the copy of a log).")


def _import_archive(log_path: Path, path: Path, told: str) -> Exchanged:
    store = store_path(log_path)
    with Archive(path) as archive:
        revisions, wanted = content_of(archive)
        archive.verify()
        need = sum(size for *_, size in wanted)
        if need > room_for(log_path.absolute().parent):
            raise InputError(f"{told} holds {need} bytes of files, more than the disk has room for; make room first.")
        with Log(log_path, create=True, write=True) as log:
            new = _unpack(archive, store, wanted, log)
            try:
                count = log.merge(revisions)
            except BaseException:
                remove_unnamed(log, [place.name for place in new])
                raise
            return _taken(log, count, f"{count} of {len(revisions)} revisions of {told} were new.")


def content_of(archive: Archive) -> tuple[list[Revision], list[tuple[str, str, str, int]]]:
    """Revisions of an archive, and of each file they name: name there, name in the store, sha256, size.

    raises  FormatError where revisions and files do not belong together
    """
    path = archive.path
    revisions = [
        revision_from(line, where=f"{path}, {LINES} line {number}")[1]
        for number, line in enumerate(archive.lines(), start=1)
    ]
    wanted = _files_of(revisions)
    for name, _, digest, size in wanted:
        if archive.members.get(name) != (size, digest):
            raise FormatError(
                f"{path}: {LINES} names {name[:90]}, and the archive does not hold it as stated; it was changed, and "
                "is refused."
            )
    spare = set(archive.members) - {LINES} - {name for name, *_ in wanted}
    if spare:
        raise FormatError(f"{path} holds {min(spare)[:90]}, which no entry names; it was changed, and is refused.")
    return revisions, wanted


def _unpack(archive: Archive, store: Path, wanted: Sequence[tuple[str, str, str, int]], log: Log) -> list[Path]:
    """Take the files in that are not there; every one is hashed before it takes its name."""
    new = []
    try:
        for name, stored, _, size in wanted:
            place = store / stored
            if place.exists() and place.stat().st_size == size:
                continue
            store.mkdir(exist_ok=True)
            with written_whole(place) as handle:
                archive.unpack(name, handle)
            new.append(place)
    except BaseException:
        remove_unnamed(log, [place.name for place in new])
        raise
    return new


def _import_contacts(log_path: Path, path: Path, stamp: Stamp, told: str) -> Exchanged:
    read = read_adif(path)
    remarks = list(read.remarks)
    made = []
    for number, record in enumerate(read.records, start=1):
        body, utc, said = contact_of(record, header=read.header, where=f"{told}, record {number}")
        remarks += said
        made.append((body, utc))
    with Log(log_path, create=True, write=True) as log:
        left = Counter(_words_of(one.revision.body, one.revision.utc) for one in log.entries("contact", withdrawn=True))
        fresh = []
        for body, utc in made:
            words = _words_of(body, utc)
            if left[words]:  # it is here; the same words twice in a file are two contacts
                left[words] -= 1
            else:
                fresh.append(new_revision("contact", body, utc=utc, who=stamp.who, practice=stamp.practice))
        log.add_all(fresh)
        log.remarks[:0] = remarks
        return _taken(log, len(fresh), f"{len(fresh)} of {len(made)} contacts of {told} were new.")


def _words_of(body: Body, utc: str) -> str:
    """A contact as its record tells it, by which it is known again."""
    return json.dumps(fields_of(body, utc))


def _import_copy(log_path: Path, path: Path, told: str) -> Exchanged:
    if path.absolute() == copy_path(log_path).absolute() and log_path.exists():
        raise InputError(
            f"{told} is the copy of {log_path} itself; move {log_path.name} elsewhere, so that a new one is begun."
        )
    revisions, damaged = sound_lines(path)
    own = path.absolute() == copy_path(log_path).absolute()
    if own and not damaged:  # a log that is begun beside its copy takes all of it in
        with Log(log_path, create=True, write=True) as log:
            count = len(log.all_revisions())
            return _taken(log, count, f"{count} revisions were taken in from {told}.")
    if own:
        path.replace(path.with_name(path.stem + ".damaged.jsonl"))  # the new log writes a copy of its own
    with Log(log_path, create=True, write=True) as log:
        count = log.merge(revisions)
        if damaged:
            log.remarks.append(f"Lines {', '.join(map(str, damaged[:9]))} of {told} are damaged and were left out.")
        return _taken(log, count, f"{count} of {len(revisions)} revisions of {told} were new.")


def _taken(log: Log, count: int, words: str) -> Exchanged:
    entries = log.entries(withdrawn=True) if count else []
    return Exchanged(words=words, remarks=tuple(log.remarks), entries=tuple(entries))
