"""A filter at the screws: the folder is watched, and each new trace becomes a line for each screw.

Theory  The analyser, or the program that reads it, writes one file after another into the bench's folder. The newest
        is the one with the latest change; it is read once it has stood unchanged for a moment, so that no half of a
        file is judged. The folder is looked through while a page asks, a few times a second, by no other means than
        listing it: so it works on every system and over a network's drive.
Source  our own design; the verb ``tune``.
Holds   Touchstone and tables of two columns, MHz and dB, in the folder or one below it. One watch for all pages.
"""

import re
import threading
import time
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tepui.desk.workshop import DONE, Work, Workshop
from tepui.files.tunings import COLUMNS as LISTED
from tepui.web.forms import FORMS
from tepui.web.state import TRACES, BenchState

STEADY_S = 0.5
TABLE, HEAD_BYTES = ".csv", 4096
OPTIONS = (*FORMS["tune"].options, *FORMS["tune"].folded)


@dataclass(frozen=True, kw_only=True)
class Told:
    """What there is to show: the trace, how its reading stands, and what came of it.

    before    the trace that was shown before; empty where there was none
    document  of the verb ``tune`` for ``shown``; None before the first
    number    grows with every change
    """

    number: int
    name: str
    shown: str
    before: str
    work: Work | None
    document: dict[str, Any] | None
    sentence: str


class Screws:
    """The watch of one folder."""

    def __init__(self, workshop: Workshop) -> None:
        self._workshop = workshop
        self._lock = threading.Lock()
        self._words: tuple[str, ...] | None = None
        self._since = 0.0
        self._forget()

    def _forget(self) -> None:
        self._seen: tuple[str, int, int] | None = None
        self._seen_at = 0.0
        self._read: tuple[str, int, int] | None = None
        self._work: int | None = None
        self._document: dict[str, Any] | None = None
        self._name = self._shown = self._before = self._sentence = ""
        self._number = 0

    @property
    def words(self) -> tuple[str, ...] | None:
        """What is asked of every trace; None while nothing is watched."""
        return self._words

    def start(self, given: Mapping[str, str]) -> None:
        """Watch from now on, with these options of the verb ``tune``."""
        words: list[str] = []
        for option in OPTIONS:
            text = given.get(option.name, "").strip()
            if text:
                words += [option.flag, text]
        with self._lock:
            self._forget()
            self._words = tuple(words)

    def stop(self) -> None:
        """Watch no more."""
        with self._lock:
            self._words = None

    def look(self, state: BenchState) -> Told:
        """List the folder, begin to read what is new, and say what there is."""
        with self._lock:
            if self._words is not None:
                self._find(state)
                self._take()
            work = None if self._work is None else self._workshop.get(self._work)
            return Told(
                number=self._number,
                name=self._name,
                shown=self._shown,
                before=self._before,
                work=work,
                document=self._document,
                sentence=self._sentence,
            )

    def _find(self, state: BenchState) -> None:
        newest: tuple[int, str, int] | None = None
        for file in state.files((*TRACES, TABLE)):
            path = state.folder / file.name
            try:
                told = path.stat()
                one = (told.st_mtime_ns, file.name, told.st_size)
                if (newest is None or one > newest) and (path.suffix.lower() != TABLE or _is_curve(path)):
                    newest = one
            except OSError:  # gone since it was listed
                continue
        if newest is None:
            return
        seen = (newest[1], newest[0], newest[2])
        if seen != self._seen:
            self._seen, self._seen_at = seen, time.monotonic()
            return
        if seen == self._read or self._work is not None or time.monotonic() - self._seen_at < STEADY_S:
            return
        assert self._words is not None
        self._read = seen
        self._begin(state, seen[0])

    def turned(self, state: BenchState, *, screw: str, turns: str) -> None:
        """Read the last two traces again with the turn between them: the rate of a screw is learned from that."""
        with self._lock:
            if self._words is not None and self._shown and self._before and self._work is None:
                self._begin(state, self._shown, "--turned", f"{screw.strip()}: {turns.strip()}", before=self._before)

    def _begin(self, state: BenchState, name: str, *more: str, before: str = "") -> None:
        assert self._words is not None
        traces = [str(state.folder / one) for one in (before, name) if one]
        words = ["tune", *traces, *self._words, *more]
        self._work = self._workshop.submit(words, title=name, pictures=False, listed=False).number
        self._name = name
        self._number += 1

    def _take(self) -> None:
        work = None if self._work is None else self._workshop.get(self._work)
        if work is None or not work.ended:
            return
        self._work = None
        self._number += 1
        if work.state == DONE:
            if self._shown not in ("", self._name):
                self._before = self._shown
            self._document, self._shown, self._sentence = work.document, self._name, ""
        else:
            self._sentence = f"{self._name}: {work.sentence}"


def _is_curve(path: Path) -> bool:
    """Whether a table has rows of two numbers and nothing else: a curve, not a list of readings."""
    with path.open("rb") as handle:
        lines = handle.read(HEAD_BYTES).decode("utf-8", "replace").splitlines()
    if any(name in LISTED for name in re.split(r"[\s,;]+", "".join(lines[:1]).lower())):
        return False
    rows = [re.split(r"[\s,;]+", line.strip()) for line in lines[1:4] if line.strip()]
    return bool(rows) and all(len(row) == 2 and all(map(_is_number, row)) for row in rows)


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
