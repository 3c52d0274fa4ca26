"""The station file behind a bench: its levels worked out anew whenever it or the readings change.

Theory  The file on the disk is the truth: it may be edited by any editor at any time. A change is seen by its bytes;
        what was worked out from the bytes before stays on show until the new levels are there. A file that is written
        here is checked first, by the same verb, and the one before is kept.
Source  our own design; the verbs ``check`` and ``levels``.
Holds   One station file in the bench's folder, ``station.toml`` unless another is named; the readings are those of
        the log beside it.
"""

import hashlib
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tepui.desk.bench_log import BenchLog
from tepui.desk.workshop import DONE, Work, Workshop
from tepui.ground.errors import InputError
from tepui.web.station_file import StationFile
from tepui.web.trend import LogTrend

STATION = "station.toml"
CHECK_S = 30.0


@dataclass(frozen=True, kw_only=True)
class Levels:
    """What is known of the chain now.

    document  of the verb ``levels``; None before the first
    work      that is under way, or that failed; None where the document is of the files as they are
    """

    document: dict[str, Any] | None
    work: Work | None


class Chain:
    """The station file of a folder, and the readings in its log.

    name      of the station file
    practice  whether what is entered here is of the practice station
    """

    def __init__(self, folder: Path, workshop: Workshop, *, name: str = STATION, practice: bool = False) -> None:
        self.file = StationFile(folder / name)
        self.log = BenchLog(folder, practice=practice)
        self.trend = LogTrend(self.log, workshop)
        self._folder, self._name = folder, name
        self._workshop = workshop
        self._lock = threading.Lock()
        self._mark = ""
        self._work: int | None = None
        self._document: dict[str, Any] | None = None

    @property
    def station(self) -> Path:
        """The station file, whether it is there or not."""
        return self._folder / self._name

    def levels(self) -> Levels:
        """The newest levels; starts working them out where the files have changed."""
        with self._lock:
            readings = self.log.readings()
            mark = self._bytes_mark([f"{one.text} {one.shares} {one.practice}" for one in readings if one.counts])
            if mark is None:
                self._mark, self._work, self._document = "", None, None
                return Levels(document=None, work=None)
            if mark != self._mark:
                words = ["levels", str(self.station)]
                if any(one.counts for one in readings):
                    words += ["--log", str(self.log.path)]
                work = self._workshop.submit(words, title=self._name, pictures=False, listed=False)
                self._mark, self._work = mark, work.number
            work_now = None if self._work is None else self._workshop.get(self._work)
            if work_now is not None and work_now.state == DONE:
                self._document, self._work, work_now = work_now.document, None, None
            return Levels(document=self._document, work=work_now)

    def text(self) -> str:
        """The station file as it stands; empty where there is none."""
        return self.file.text()

    def write(self, text: str, *, before: str) -> None:
        """Write the station file, as StationFile does."""
        self.file.write(text, before=before)

    def _require(self, words: list[str], *, shown: str = "") -> None:
        """Run a command and refuse with its sentence where it refuses."""
        work = self._workshop.submit(words, title="check", pictures=False, listed=False)
        ended = self._workshop.wait(work.number, timeout_s=CHECK_S)
        if ended is None or ended.state != DONE:
            sentence = "the check took too long; try again." if ended is None or not ended.ended else ended.sentence
            raise InputError(sentence.replace(".station-draft.toml", shown) if shown else sentence)

    def _bytes_mark(self, readings: list[str]) -> str | None:
        if not self.station.is_file():
            return None
        parts = [self.station.read_bytes(), *(line.encode() for line in readings)]
        return hashlib.sha256(b"\0".join(parts)).hexdigest()
