"""What may happen to a log: kills, a full disk, a folder without rights, two processes, a later version, damage."""

import os
import re
import shutil
import sqlite3
import subprocess
import sys
import tempfile
from pathlib import Path

import kill_log
import pytest

from tepui.ground.errors import FormatError, InputError, UnfinishedError
from tepui.logbook.copybook import append_lines, copy_path, sound_lines
from tepui.logbook.database import open_database
from tepui.logbook.schema import MIGRATIONS
from tepui.logbook.store import Log

WINDOWS = os.name == "nt"


def texts(path):
    with Log(path) as log:
        return [entry.revision.body["text"] for entry in log.entries()]


@pytest.fixture
def full(tmp_path):
    """A closed log of 60 notes."""
    path = tmp_path / "log.sqlite"
    with Log(path, create=True, write=True) as log:
        for n in range(60):
            log.add("note", {"text": f"note {n} " + "x" * 200})
    return path


# Each kill strikes at another seeded moment; what had been said to be written must be there. 500 run in ./run fuzz.
@pytest.mark.skipif(WINDOWS, reason="needs fork")
def test_law_sixty_kills_lose_nothing_that_was_said_to_be_written():
    done = subprocess.run(
        [sys.executable, kill_log.__file__, "60", "11"], capture_output=True, text=True, check=False, timeout=300
    )
    assert done.stderr == ""
    notes, recordings, imports = done.stdout.splitlines()
    assert re.match(r"60 kills, \d\d+ entries said to be written, none lost", notes)
    assert re.match(r"60 kills of one who keeps recordings, \d\d+ said to be kept, none lost", recordings)
    struck = re.match(
        r"60 kills of one who takes an archive in, (\d+) times all of it was there, (\d+) nothing", imports
    )
    assert min(int(count) for count in struck.groups()) > 2  # it was struck on either side


@pytest.mark.parametrize("struck", ["header", "middle", "zeros", "short", "journal"])
def test_law_damage_is_told_and_every_entry_is_got_back(full, struck):
    before = texts(full)
    data = bytearray(full.read_bytes())
    if struck == "header":
        data[:64] = bytes(range(64))
    elif struck == "middle":
        for page in range(8, len(data) // 4096, 3):
            data[page * 4096 : page * 4096 + 600] = b"\xa5" * 600
    elif struck == "zeros":
        data[4096 * 4 :] = bytes(len(data) - 4096 * 4)
    elif struck == "short":
        del data[len(data) // 2 :]
    else:  # the last entries stand in the journal alone, and that is lost
        with Log(full, write=True) as log:
            log.add("note", {"text": "in the journal"})
            shutil.copy(full, full.with_name("without.sqlite"))
        before = texts(full)
        data = bytearray(full.with_name("without.sqlite").read_bytes())
    for name in ("-wal", "-shm"):
        full.with_name(full.name + name).unlink(missing_ok=True)
    full.write_bytes(data)
    if struck == "journal":
        assert texts(full) == before
        return
    with pytest.raises(FormatError, match=r"damaged.*nothing was written.*move log.sqlite elsewhere and run 'tepui"):
        Log(full)
    with pytest.raises(FormatError):
        Log(full, write=True)
    assert full.read_bytes() == data
    full.rename(full.with_name("damaged.sqlite"))
    with Log(full, create=True, write=True) as log:  # as 'tepui log import' does
        assert log.remarks == ["60 entries that log.sqlite had lost were taken in from log.copy.jsonl."]
    assert texts(full) == before


def test_law_a_changed_letter_inside_a_page_is_found(full):
    """SQLite itself does not notice: the page stays well formed."""
    with Log(full, write=True) as log:
        log._database.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    data = full.read_bytes()
    full.write_bytes(data.replace(b"note 31 xxx", b"note 13 xxx"))
    with pytest.raises(FormatError, match="entry 32 does not have the checksum"), Log(full) as log:
        log.entries()


def test_law_a_torn_or_missing_copy_is_mended(full):
    copy = copy_path(full)
    whole = copy.read_bytes()
    for broken in (whole[:-40], whole[:-1], whole[: len(whole) // 2], b""):
        copy.write_bytes(broken)
        with Log(full, write=True):
            pass
        assert copy.read_bytes() == whole
    copy.unlink()
    with Log(full, write=True):
        pass
    assert copy.read_bytes() == whole


def test_limit_a_copy_of_another_log_is_refused(full, tmp_path):
    other = tmp_path / "other.sqlite"
    with Log(other, create=True, write=True) as log:
        log.add("note", {"text": "elsewhere"})
    shutil.copy(copy_path(other), copy_path(full))
    with pytest.raises(FormatError, match="belongs to another log"):
        Log(full, write=True)


def test_limit_a_file_from_a_later_version_is_left_alone(full):
    database = sqlite3.connect(full)
    database.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
    database.close()
    before = full.read_bytes()
    for write in (False, True):
        with pytest.raises(FormatError, match=r"written by a later tepui \(log version .*nothing was changed"):
            Log(full, write=write)
    assert full.read_bytes() == before


def test_law_a_step_forward_is_taken_after_a_backup(full):
    later = (*MIGRATIONS, ("CREATE TABLE weather (revision INTEGER PRIMARY KEY, words TEXT) STRICT",))
    with pytest.raises(FormatError, match="of the older log version"):
        open_database(full, create=False, write=False, migrations=later)
    open_database(full, create=False, write=True, migrations=later).close()
    backup = full.with_name(f"log.before-version-{len(later)}.sqlite")
    assert len(texts(backup)) == 60
    database = sqlite3.connect(full)
    assert database.execute("PRAGMA user_version").fetchone() == (len(later),)
    assert database.execute("SELECT count(*) FROM weather").fetchone() == (0,)
    assert database.execute("SELECT count(*) FROM note").fetchone() == (60,)


def test_law_a_step_that_fails_changes_nothing(full):
    broken = (*MIGRATIONS, ("CREATE TABLE weather (a TEXT) STRICT", "CREATE TABLE entry (a TEXT) STRICT"))
    with pytest.raises(UnfinishedError):
        open_database(full, create=False, write=True, migrations=broken)
    assert len(texts(full)) == 60


def test_law_a_full_disk_leaves_what_was_there(full):
    """SQLite's own limit of pages answers as a full disk does."""
    before = texts(full)
    with Log(full, write=True) as log:
        pages = log._database.execute("PRAGMA page_count").fetchone()[0]
        log._database.execute(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(UnfinishedError, match=r"the disk is full .*nothing of this was written"):
            log.add("note", {"text": "y" * 100_000})
    assert texts(full) == before


FULL_DISK = """
import resource, signal, sys
from pathlib import Path
from tepui.ground.errors import TepuiError
from tepui.logbook.store import Log
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
with Log(Path(sys.argv[1]), write=True) as log:
    room = Path(sys.argv[1] + "-wal").stat().st_size + 20000
    resource.setrlimit(resource.RLIMIT_FSIZE, (room, room))
    try:
        for n in range(100):
            log.add("note", {"text": f"more {n} " + "z" * 2000})
            print(n, flush=True)
    except TepuiError as refusal:
        print(refusal)
"""


@pytest.mark.skipif(WINDOWS, reason="needs a limit on the size of files")
def test_law_a_disk_that_refuses_in_the_middle_loses_nothing_said_to_be_written(full):
    done = subprocess.run(
        [sys.executable, "-c", FULL_DISK, str(full)], capture_output=True, text=True, check=False, timeout=60
    )
    assert done.stderr == ""
    *said, sentence = done.stdout.splitlines()
    assert "the disk" in sentence
    assert sentence.endswith(".")
    after = texts(full)
    assert len(after) == 60 + len(said)
    with Log(full, write=True) as log:
        log.add("note", {"text": "room again"})
    copied, damaged = sound_lines(copy_path(full))
    assert damaged == []
    assert len(copied) == 61 + len(said)


READ_ONLY = """
import os, sys
from pathlib import Path
from tepui.ground.errors import InputError
from tepui.logbook.store import Log
if os.getuid() == 0:  # root may write anywhere
    os.setegid(65534)
    os.seteuid(65534)
with Log(Path(sys.argv[1])) as log:
    print(len(log.entries()))
for name in (sys.argv[1], sys.argv[1].replace("log.sqlite", "new.sqlite")):
    try:
        Log(Path(name), create=True, write=True)
    except InputError as refusal:
        print(refusal)
"""


@pytest.mark.skipif(WINDOWS, reason="needs rights on folders")
def test_law_a_folder_that_cannot_be_written_is_read_and_writing_is_refused(full):
    for name in ("-wal", "-shm"):
        full.with_name(full.name + name).unlink(missing_ok=True)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for path in (full, copy_path(full)):
            Path(shutil.copy(path, folder)).chmod(0o444)
        folder.chmod(0o555)
        done = subprocess.run(
            [sys.executable, "-c", READ_ONLY, str(folder / "log.sqlite")],
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
        )
        assert sorted(path.name for path in folder.iterdir()) == ["log.copy.jsonl", "log.sqlite"]
        folder.chmod(0o755)
    assert done.stderr == ""
    count, *refusals = done.stdout.splitlines()
    assert count == "60"
    assert len(refusals) == 2
    assert all("cannot be written here" in line and "name another with --log" in line for line in refusals)


WRITER = """
import sys
from pathlib import Path
from tepui.logbook.store import Log
for n in range(25):
    with Log(Path(sys.argv[1]), create=True, write=True) as log:
        log.add("note", {"text": f"{sys.argv[2]} {n}"})
"""


def test_law_two_processes_write_one_log_that_both_begin(tmp_path):
    path = tmp_path / "log.sqlite"
    writers = [
        subprocess.Popen([sys.executable, "-c", WRITER, str(path), name], stderr=subprocess.PIPE, text=True)
        for name in ("one", "two")
    ]
    for writer in writers:
        _, errors = writer.communicate(timeout=120)
        assert (writer.returncode, errors) == (0, "")
    written = texts(path)
    assert sorted(written) == sorted(f"{name} {n}" for name in ("one", "two") for n in range(25))
    copied, damaged = sound_lines(copy_path(path))
    assert damaged == []
    assert [one.body["text"] for one in copied] == written


def test_limit_a_lock_that_is_held_is_told(full, monkeypatch):
    monkeypatch.setattr("tepui.logbook.database.BUSY_S", 0.05)
    holder = sqlite3.connect(full, isolation_level=None)
    holder.execute("BEGIN IMMEDIATE")
    with pytest.raises(UnfinishedError, match="being written by another process"):
        Log(full, write=True)
    assert len(texts(full)) == 60
    holder.close()


@pytest.mark.parametrize(
    ("name", "content", "sentence"),
    [
        ("none.sqlite", None, "there is no log"),
        ("empty.sqlite", b"", "holds no entry yet"),
        (
            "text.sqlite",
            b"a letter to the editor, much longer than a header of a database would be",
            "is no log of tepui",
        ),
        (".", None, "is a folder"),
    ],
)
def test_limit_what_is_no_log_is_one_sentence(tmp_path, name, content, sentence):
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    with pytest.raises((InputError, FormatError), match=sentence):
        Log(path)


def test_limit_another_programs_database_is_left_alone(tmp_path):
    path = tmp_path / "other.sqlite"
    database = sqlite3.connect(path)
    database.execute("CREATE TABLE recipes (a)")
    database.commit()
    database.close()
    before = path.read_bytes()
    for write in (False, True):
        with pytest.raises(FormatError, match="is no log of tepui"):
            Log(path, write=write, create=write)
    assert path.read_bytes() == before


def test_law_lines_are_appended_whole(tmp_path):
    copy = tmp_path / "a.copy.jsonl"
    append_lines(copy, ["one", "two"])
    copy.write_bytes(copy.read_bytes() + b"tor")
    append_lines(copy, ["three"])
    assert copy.read_text() == "one\ntwo\nthree\n"
