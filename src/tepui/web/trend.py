"""The trend of the log for a page: worked out anew by the verb whenever the log has changed.

Theory  Statistics and drawing belong to a worker; what was worked out before stays on show until the new is there.
Source  our own design; the verb ``log trend``.
Holds   One log. Pictures lie under the results of the bench.
"""

import threading
from dataclasses import dataclass
from typing import Any

from tepui.desk.bench_log import BenchLog
from tepui.desk.workshop import DONE, Work, Workshop

FOLDER = "trend"


@dataclass(frozen=True, kw_only=True)
class Trend:
    """What is known of the trend now, as ``chain.Levels`` is of the levels."""

    document: dict[str, Any] | None
    work: Work | None


class LogTrend:
    """The trend of a bench's log."""

    def __init__(self, log: BenchLog, workshop: Workshop) -> None:
        self._log = log
        self._workshop = workshop
        self._lock = threading.Lock()
        self._seen: object = None
        self._work: int | None = None
        self._document: dict[str, Any] | None = None

    def now(self) -> Trend:
        """The newest trend; starts working it out where the log has changed."""
        with self._lock:
            mark = [
                (entry.number, entry.revision.number)
                for entry in self._log.entries()
                if entry.revision.kind in ("check", "contact", "reading", "findings", "station")
            ]
            if not any(entry.revision.kind in ("check", "contact", "reading") for entry in self._log.entries()):
                self._seen, self._work, self._document = mark, None, None
                return Trend(document=None, work=None)
            if mark != self._seen:
                folder = self._workshop.folder / FOLDER
                folder.parent.mkdir(parents=True, exist_ok=True)
                words = ["log", "trend", "--log", str(self._log.path), "--plots", str(folder)]
                work = self._workshop.submit(words, title="trend", pictures=False, listed=False)
                self._seen, self._work = mark, work.number
            work_now = None if self._work is None else self._workshop.get(self._work)
            if work_now is not None and work_now.state == DONE:
                self._document, self._work, work_now = work_now.document, None, None
            return Trend(document=self._document, work=work_now)
