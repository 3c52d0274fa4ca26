"""Kills a process that writes to the log, again and again at seeded moments, and looks whether anything is lost.

What was said to be written must be there, word for word, in the log and in its copy, and the log must be whole.
Every fourth round begins a new log, so that the beginning is struck too. Needs fork, and so not Windows.

python benchmarks/kill_log.py [ROUNDS] [SEED]
"""

import os
import random
import select
import shutil
import signal
import sqlite3
import sys
import tempfile
import time
from pathlib import Path

from tepui.logbook.copybook import copy_path, sound_lines
from tepui.logbook.store import Log

ROUNDS, SEED = 500, 7
NEW_LOG_EVERY = 4
LONGEST_S = 0.02


def write_on(log_path: Path, said: int, number: int) -> None:
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


def one_round(log_path: Path, number: int, wait_s: float, *, after_first_word: bool) -> list[str]:
    """Start a writer, kill it, and return what it had said was written."""
    hears, says = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(hears)
        try:
            write_on(log_path, says, number)
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
            heard = one_round(log_path, number, rng.uniform(0, LONGEST_S), after_first_word=rng.random() < 0.75)
            said += heard
            said_in_all += len(heard)
            early += not heard
            check(log_path, said)
    finally:
        shutil.rmtree(folder, ignore_errors=True)
    return rounds, said_in_all, early


if __name__ == "__main__":
    numbers = [int(word) for word in sys.argv[1:]]
    done, entries, unheard = run(*(numbers + [ROUNDS, SEED][len(numbers) :]))
    print(f"{done} kills, {entries} entries said to be written, none lost; {unheard} before the first word")
