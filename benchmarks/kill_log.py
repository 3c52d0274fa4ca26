"""Kills a process that writes to the log, again and again at seeded moments, and looks whether anything is lost.

What was said to be written must be there, word for word, in the log and in its copy, and the log must be whole. Three
writers are struck: one that adds and edits notes, one that takes an archive in, one that keeps recordings. An archive
is there with all it names or not at all; a recording is there with its samples and metadata; what was there before
stays; and doing it again completes it. Every fourth round begins a new log, so that the beginning is struck too. Needs
fork, and so not Windows.

python benchmarks/kill_log.py [ROUNDS] [SEED]     of each writer
"""

import hashlib
import json
import os
import random
import select
import shutil
import signal
import sqlite3
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

from tepui.desk.log_entries import Stamp, keep_recording_entry, stored_file
from tepui.desk.log_exchange import export_log, import_into
from tepui.files.kept import store_path
from tepui.files.recordings import open_recording
from tepui.files.sigmf import DATA, META
from tepui.logbook.copybook import copy_path, sound_lines
from tepui.logbook.store import Log

ROUNDS, SEED = 500, 7
NEW_LOG_EVERY = 4
LONGEST_S = 0.02
RECORDINGS, PACKED, SAMPLES = 10, 4, 30_000


def write_on(log_path: Path, number: int, said: int) -> None:
    """In the child: write until killed, telling each entry's words only once the log has them."""
    count = 0
    while True:
        with Log(log_path, create=True, write=True) as log:
            for _ in range(5):
                words = f"round {number} entry {count}"
                entry = log.add("note", {"text": words})
                os.write(said, (words + "\n").encode())
                if count % 3 == 2:
                    log.edit(entry.number, {"text": words + " edited"})
                    os.write(said, (words + " edited\n").encode())
                count += 1


def keep_on(log_path: Path, recordings: list[Path], said: int) -> None:
    """In the child: keep recordings until killed, telling each one's name only once the log has it."""
    while True:
        for path in recordings:
            with Log(log_path, create=True, write=True) as log:
                keep_recording_entry(log, path, Stamp())
            os.write(said, (path.name + "\n").encode())


def import_on(log_path: Path, archive: Path, said: int) -> None:
    """In the child: take an archive in, telling so only once the log has it; then a note, until killed."""
    with Log(log_path, create=True, write=True) as log:
        log.add("note", {"text": "before"})
    os.write(said, b"before\n")
    import_into(log_path, archive, Stamp())
    os.write(said, b"archive\n")
    while True:
        with Log(log_path, write=True) as log:
            log.add("note", {"text": "after"})


def one_round(write: Callable[[int], None], wait_s: float, *, after_first_word: bool) -> list[str]:
    """Start a writer, kill it, and return what it had said was written."""
    hears, says = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(hears)
        try:
            write(says)
        finally:
            os._exit(1)
    os.close(says)
    if after_first_word:
        select.select([hears], [], [], 10)
    time.sleep(wait_s)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    with os.fdopen(hears, encoding="utf-8") as heard:
        return heard.read().splitlines()


def check(log_path: Path, said: list[str]) -> None:
    """Everything said is in the log and in its copy, and the file is whole."""
    with Log(log_path, create=True, write=True) as log:
        held = {str(revision.body["text"]) for _, revision in log.all_revisions()}
    missing = [words for words in said if words not in held]
    assert not missing, f"lost: {missing}"
    if not held:
        return
    copied, damaged = sound_lines(copy_path(log_path))
    assert not damaged
    assert {str(revision.body["text"]) for revision in copied} == held
    database = sqlite3.connect(log_path)
    assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert database.execute("PRAGMA foreign_key_check").fetchall() == []
    database.close()


def whole(log_path: Path) -> dict[str, set[str]]:
    """uid of every revision by what it says; every file that one names is there, with the bytes it was kept with."""
    found: dict[str, set[str]] = {"uids": set(), "names": set()}
    if not log_path.exists() or not log_path.stat().st_size:
        return found
    with Log(log_path, create=True, write=True) as log:
        revisions = [revision for _, revision in log.all_revisions()]
    for revision in revisions:
        found["uids"].add(revision.uid)
        found["names"].add(str(revision.body.get("text") or revision.body.get("name")))
        for one in revision.files:
            data = (store_path(log_path) / stored_file(revision, one)).read_bytes()
            assert hashlib.sha256(data).hexdigest() == one.sha256, f"{one.name} is not what was kept"
        if revision.kind == "recording":
            place = store_path(log_path) / (revision.body["data"] + META)
            assert open_recording(place).n_samples == revision.body["samples"]
    copied, damaged = sound_lines(copy_path(log_path)) if revisions else ([], [])
    assert not damaged
    assert {one.uid for one in copied} == found["uids"]
    database = sqlite3.connect(log_path)
    assert database.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
    assert database.execute("PRAGMA foreign_key_check").fetchall() == []
    database.close()
    return found


def make_recordings(folder: Path) -> list[Path]:
    """Small recordings, every one of other samples."""
    made = []
    for number in range(RECORDINGS):
        data = random.Random(number).randbytes(2 * SAMPLES)
        (folder / f"r{number}{DATA}").write_bytes(data)
        about = {"core:datatype": "ci8", "core:sample_rate": 8e6, "core:version": "1.0.0"}
        document = {"global": about, "captures": [{"core:sample_start": 0}], "annotations": []}
        (folder / f"r{number}{META}").write_text(json.dumps(document))
        made.append(folder / f"r{number}{META}")
    return made


def make_archive(folder: Path, recordings: list[Path]) -> tuple[Path, set[str]]:
    """An archive with recordings and notes, and the uids in it."""
    log_path = folder / "packed.sqlite"
    with Log(log_path, create=True, write=True) as log:
        for path in recordings[:PACKED]:
            keep_recording_entry(log, path, Stamp())
        log.add_all([_note(f"packed {n}") for n in range(20)])
        uids = {revision.uid for _, revision in log.all_revisions()}
    export_log(log_path, folder / "packed.zip")
    return folder / "packed.zip", uids


def _note(text: str) -> Any:
    from tepui.logbook.store import new_revision

    return new_revision("note", {"text": text})


def run_recordings(rounds: int, seed: int) -> tuple[int, int]:
    """Kill the one who keeps recordings; rounds, and recordings said to be kept."""
    rng = random.Random(f"recordings {seed}")
    folder = Path(tempfile.mkdtemp(prefix="tepui-kill-"))
    kept = 0
    said: set[str] = set()
    try:
        recordings = make_recordings(folder)
        for number in range(rounds):
            log_path = folder / f"log-{number // NEW_LOG_EVERY}.sqlite"
            if number % NEW_LOG_EVERY == 0:
                said = set()
            order = rng.sample(recordings, len(recordings))
            wait_s = rng.uniform(0, 3 * LONGEST_S)
            keep = partial(keep_on, log_path, order)
            heard = one_round(keep, wait_s, after_first_word=rng.random() < 0.5)
            said |= set(heard)
            kept += len(heard)
            names = whole(log_path)["names"]
            missing = {name.removesuffix(META) for name in said} - names
            assert not missing, f"lost: {missing}"
        for path in recordings:  # what was struck half-way is kept after all
            with Log(log_path, create=True, write=True) as log:
                keep_recording_entry(log, path, Stamp())
        assert len(whole(log_path)["names"]) == RECORDINGS
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return rounds, kept


def run_imports(rounds: int, seed: int) -> tuple[int, int, int]:
    """Kill the one who takes an archive in; rounds, how often all of it was there, and how often nothing."""
    rng = random.Random(f"imports {seed}")
    folder = Path(tempfile.mkdtemp(prefix="tepui-kill-"))
    complete = nothing = 0
    try:
        archive, packed = make_archive(folder, make_recordings(folder))
        begun = time.monotonic()
        import_into(folder / "timed.sqlite", archive, Stamp())
        longest_s = 1.3 * (time.monotonic() - begun)
        for number in range(rounds):
            log_path = folder / f"import-{number}.sqlite"
            wait_s = rng.uniform(0, longest_s)
            take_in = partial(import_on, log_path, archive)
            heard = one_round(take_in, wait_s, after_first_word=rng.random() < 0.9)
            found = whole(log_path)
            assert "before" not in heard or "before" in found["names"], "lost what was there before"
            there = len(found["uids"] & packed)
            assert there in (0, len(packed)), f"{there} of {len(packed)} entries of an archive"
            assert "archive" not in heard or there, "lost an archive that was said to be taken in"
            complete += there > 0
            nothing += there == 0
            import_into(log_path, archive, Stamp())
            assert packed <= whole(log_path)["uids"]
            for path in folder.glob(f"import-{number}.*"):
                shutil.rmtree(path) if path.is_dir() else path.unlink()
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return rounds, complete, nothing


def run(rounds: int, seed: int) -> tuple[int, int, int]:
    """Rounds, entries said to be written, and rounds in which the writer was struck before it said a word."""
    rng = random.Random(seed)
    folder = Path(tempfile.mkdtemp(prefix="tepui-kill-"))
    said_in_all = early = 0
    said: list[str] = []
    try:
        for number in range(rounds):
            log_path = folder / f"log-{number // NEW_LOG_EVERY}.sqlite"
            if number % NEW_LOG_EVERY == 0:
                said = []
            wait_s = rng.uniform(0, LONGEST_S)
            write = partial(write_on, log_path, number)
            heard = one_round(write, wait_s, after_first_word=rng.random() < 0.75)
            said += heard
            said_in_all += len(heard)
            early += not heard
            check(log_path, said)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return rounds, said_in_all, early


def told(rounds: int, seed: int) -> list[str]:
    """A line for each writer that was struck."""
    done, entries, unheard = run(rounds, seed)
    lines = [f"{done} kills, {entries} entries said to be written, none lost; {unheard} before the first word"]
    done, kept = run_recordings(rounds, seed)
    lines.append(f"{done} kills of one who keeps recordings, {kept} said to be kept, none lost")
    done, complete, nothing = run_imports(rounds, seed)
    lines.append(
        f"{done} kills of one who takes an archive in, {complete} times all of it was there, {nothing} nothing"
    )
    return lines


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]]
    print("\n".join(told(*(numbers + [ROUNDS, SEED][len(numbers) :]))))
