"""Documents that a sheet stands on: a command run again whenever its words or the files it reads change.

Theory  A sheet asks for the document of some words; while nothing has changed it is the one at hand, else the command
        is put to the workshop and the sheet says so. What was worked out before stays on show until then.
Source  our own design, as web/chain.py has it for the levels.
Holds   Commands that are quick and write nothing; the last two dozen of them.
"""

import hashlib
import threading
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tepui.desk.workshop import DONE, Work, Workshop

MOST = 24


@dataclass(frozen=True, kw_only=True)
class Stood:
    """What is at hand.

    document  of the words, or of the same sheet before; None where there is none
    work      that is under way, or that was refused; None where the document is of the files as they are
    """

    document: dict[str, Any] | None
    work: Work | None

    @property
    def sentence(self) -> str:
        """Why it could not be done; empty where it could, or is not yet."""
        return self.work.sentence if self.work is not None and self.work.ended else ""

    @property
    def waits_for(self) -> int | None:
        """Number of the work that is under way."""
        return None if self.work is None or self.work.ended else self.work.number


class Standing:
    """Documents by their words."""

    def __init__(self, workshop: Workshop) -> None:
        self._workshop = workshop
        self._lock = threading.Lock()
        self._works: OrderedDict[str, int] = OrderedDict()
        self._done: dict[str, Work] = {}

    def get(self, words: Sequence[str], *, files: Sequence[Path], title: str) -> Stood:
        """The document of these words; starts the command where it or a file is new."""
        key = _mark(words, files)
        with self._lock:
            if key not in self._done and key not in self._works:
                work = self._workshop.submit(words, title=title, pictures=False, listed=False)
                self._works[key] = work.number
            if key in self._works:
                now = self._workshop.get(self._works[key])
                if now is None:  # forgotten before anyone looked
                    del self._works[key]
                    return Stood(document=None, work=None)
                if not now.ended:
                    return Stood(document=None, work=now)
                self._done[key] = now
                del self._works[key]
                while len(self._done) > MOST:
                    del self._done[next(iter(self._done))]
            ended = self._done[key]
        return Stood(document=ended.document, work=None if ended.state == DONE else ended)


def _mark(words: Sequence[str], files: Sequence[Path]) -> str:
    digest = hashlib.sha256("\0".join(words).encode())
    for path in files:
        if path.is_file():
            status = path.stat()
            digest.update(f"{path} {status.st_size} {status.st_mtime_ns}".encode())
    return digest.hexdigest()
