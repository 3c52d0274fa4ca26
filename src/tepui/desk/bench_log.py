"""The log of a bench's folder, as pages read it and write to it.

Theory  One server owns the log of its folder; the command line may write to it as well at any time. A page reads what
        was read before as long as neither the log nor its journal has changed on the disk, and every write is a
        transaction of its own, so that nothing stays open between two questions.
Source  our own design; logbook.store.
Holds   ``tepui-log.sqlite`` in the folder. Many threads may ask.
"""

import threading
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TypeVar

from tepui.desk.log import DEFAULT_LOG
from tepui.desk.log_entries import Stamp
from tepui.desk.log_levels import LIST_NAME, LoggedReading, enter_level, logged_readings, take_in_folder
from tepui.ground.errors import TepuiError
from tepui.logbook.store import Entry, Log

Outcome = TypeVar("Outcome")


class BenchLog:
    """The log of a folder, whether it has been begun or not.

    practice  whether what is entered here is of the practice station
    """

    def __init__(self, folder: Path, *, practice: bool = False) -> None:
        self.path = folder / DEFAULT_LOG.name
        self._folder = folder
        self._practice = practice
        self._lock = threading.RLock()
        self._seen: tuple[object, ...] | None = None
        self._entries: list[Entry] = []
        self._sentence = ""
        self._taken_in = ""

    @property
    def sentence(self) -> str:
        """Why the log cannot be read, or what was done with an older list of readings; else empty."""
        with self._lock:
            return self._sentence or self._taken_in

    @property
    def is_refused(self) -> bool:
        """Whether the log cannot be read."""
        with self._lock:
            return bool(self._sentence)

    @property
    def mark(self) -> tuple[object, ...]:
        """Changes whenever the log on the disk does."""
        found: list[object] = []
        for name in (self.path.name, f"{self.path.name}-wal"):
            try:
                told = self.path.with_name(name).stat()
            except OSError:
                found.append(None)
            else:
                found.append((told.st_mtime_ns, told.st_size, told.st_ino))
        return tuple(found)

    def entries(self) -> list[Entry]:
        """Every entry as it stands, withdrawn ones too; none where the log cannot be read."""
        with self._lock:
            self._take_in_list()
            mark = self.mark
            if mark != self._seen:
                self._entries, self._sentence = [], ""
                try:
                    if self.path.exists() and self.path.stat().st_size:
                        with Log(self.path) as log:
                            self._entries = log.entries(withdrawn=True)
                except TepuiError as problem:
                    self._sentence = str(problem)
                self._seen = mark
            return list(self._entries)

    def readings(self) -> list[LoggedReading]:
        """The readings of levels, the earliest first."""
        return logged_readings(self.entries())

    def write(self, change: Callable[[Log], Outcome]) -> Outcome:
        """Open the log, let ``change`` write, close it.

        raises  TepuiError, one sentence; then nothing was written
        """
        with self._lock:
            try:
                with Log(self.path, create=True, write=True) as log:
                    return change(log)
            finally:
                self._seen = None

    def read(self, look: Callable[[Log], Outcome]) -> Outcome:
        """Open the log to read.

        raises  TepuiError, one sentence
        """
        with self._lock, Log(self.path) as log:
            return look(log)

    def stamp(self, *, utc: str | None = None, who: str | None = None) -> Stamp:
        """What an entry of this bench says beside itself."""
        return Stamp(utc=utc, who=who, practice=self._practice)

    def enter_level(
        self,
        text: str,
        *,
        points: Sequence[str],
        instruments: Sequence[str],
        pads_db: float | None = None,
        who: str | None = None,
        note: str | None = None,
    ) -> Entry:
        """Enter a reading of a level as it was typed.

        raises  TepuiError where it cannot be used or written
        """
        return self.write(
            lambda log: enter_level(
                log,
                text,
                self.stamp(who=who),
                points=points,
                instruments=instruments,
                pads_db=pads_db,
                note=note,
            )
        )

    def _take_in_list(self) -> None:
        """An older list of readings beside the station file goes into the log, once."""
        if not (self._folder / LIST_NAME).is_file():
            return
        try:
            self._taken_in = take_in_folder(self.path, self._folder, practice=self._practice)
        except (TepuiError, OSError) as problem:
            self._taken_in = f"{LIST_NAME} could not be taken into the log: {problem}"
        self._seen = None
