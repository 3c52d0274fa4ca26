"""The station file behind a bench: its levels worked out anew whenever it or the readings change.

Theory  The file on the disk is the truth: it may be edited by any editor at any time. A change is seen by its bytes;
        what was worked out from the bytes before stays on show until the new levels are there. A file that is written
        here is checked first, by the same verb, and the one before is kept.
Source  our own design; the verbs ``check`` and ``levels``.
Holds   One station file, ``station.toml``, in the bench's folder; readings one a line in ``readings.txt`` beside it.
"""

import hashlib
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tepui.desk.workshop import DONE, Work, Workshop
from tepui.files.atomic import write_text_whole
from tepui.ground.errors import InputError
from tepui.web.station_file import StationFile

STATION, READINGS = "station.toml", "readings.txt"
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
    """The station file and readings of a folder."""

    def __init__(self, folder: Path, workshop: Workshop) -> None:
        self.file = StationFile(folder / STATION)
        self._folder = folder
        self._workshop = workshop
        self._lock = threading.Lock()
        self._mark = ""
        self._work: int | None = None
        self._document: dict[str, Any] | None = None

    @property
    def station(self) -> Path:
        """The station file, whether it is there or not."""
        return self._folder / STATION

    @property
    def readings(self) -> Path:
        """The readings, whether there are any or not."""
        return self._folder / READINGS

    def levels(self) -> Levels:
        """The newest levels; starts working them out where the files have changed."""
        with self._lock:
            mark = self._bytes_mark()
            if mark is None:
                self._mark, self._work, self._document = "", None, None
                return Levels(document=None, work=None)
            if mark != self._mark:
                words = ["levels", str(self.station)]
                if self.readings.is_file() and self.reading_lines():
                    words += ["--readings", str(self.readings)]
                work = self._workshop.submit(words, title=STATION, pictures=False, listed=False)
                self._mark, self._work = mark, work.number
            work_now = None if self._work is None else self._workshop.get(self._work)
            if work_now is not None and work_now.state == DONE:
                self._document, self._work, work_now = work_now.document, None, None
            return Levels(document=self._document, work=work_now)

    def text(self) -> str:
        """The station file as it stands; empty where there is none."""
        return self.file.text()

    def reading_lines(self) -> list[str]:
        """The readings as they were entered."""
        if not self.readings.is_file():
            return []
        lines = self.readings.read_text(encoding="utf-8").splitlines()
        return [line for line in lines if line.partition("#")[0].strip()]

    def add_reading(self, line: str) -> None:
        """Put a reading at the end, once the verb takes it.

        raises  InputError where it does not
        """
        plain = " ".join(line.split())
        self._require(["levels", str(self.station), "--reading", plain])
        write_text_whole(self.readings, "\n".join([*self.reading_lines(), plain]) + "\n")

    def drop_reading(self, number: int) -> None:
        """Take one reading out; its place counts from 0."""
        lines = self.reading_lines()
        if 0 <= number < len(lines):
            kept = lines[:number] + lines[number + 1 :]
            write_text_whole(self.readings, "".join(f"{line}\n" for line in kept))

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

    def _bytes_mark(self) -> str | None:
        if not self.station.is_file():
            return None
        parts = [path.read_bytes() if path.is_file() else b"" for path in (self.station, self.readings)]
        return hashlib.sha256(b"\0".join(parts)).hexdigest()
