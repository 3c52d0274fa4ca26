"""The station file on the disk: checked before it is written, never over another's change, steps undone and done again.

Theory  The disk is the truth. A change says from which text it was made; where the disk holds another one it is
        refused. What a change replaces is kept in a folder, and the steps of this sitting are also kept in order.
Source  our own design; the reader of station files judges.
Holds   One file in one folder; undo lasts as long as the program, the folder of earlier files for ever.
"""

import difflib
import hashlib
import threading
from dataclasses import dataclass
from pathlib import Path

from tepui.files.atomic import write_text_whole
from tepui.ground.document import utc_now
from tepui.ground.errors import InputError

EARLIER = "station-before"
MOST_BYTES = 1 << 20
MOST_STEPS = 500
MOST_DRAWN = 200
AROUND = 2  # lines shown around a difference


class ChangedError(InputError):
    """The disk holds another text than the one that was edited."""


@dataclass(frozen=True, kw_only=True)
class DiffLine:
    """One line of a difference: ``sign`` is "+" on the disk only, "-" here only, "" both, "~" a gap."""

    sign: str
    text: str


class StationFile:
    """The file, its earlier states, and the steps between them."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = threading.Lock()
        self._undo: list[str] = []
        self._redo: list[str] = []
        self._last = ""
        self._drawn: dict[str, str] = {}

    @property
    def steps(self) -> tuple[int, int]:
        """How many steps can be undone and done again."""
        return len(self._undo), len(self._redo)

    def text(self) -> str:
        """The file as it stands, what is not UTF-8 replaced; empty where there is none."""
        return self.path.read_text(encoding="utf-8-sig", errors="replace") if self.path.is_file() else ""

    def drawn(self, text: str) -> str:
        """Remember a text that a page is drawn from; returns its mark."""
        mark = mark_of(text)
        self._drawn.pop(mark, None)
        self._drawn[mark] = text
        for old in list(self._drawn)[:-MOST_DRAWN]:
            del self._drawn[old]
        return mark

    def known(self, mark: str) -> str:
        """The text of that mark, where a page was drawn from it not long ago; else empty."""
        return self._drawn.get(mark, "")

    def problem(self, text: str) -> str:
        """Why a text cannot be this file, in one sentence; empty where it can."""
        from tepui.files.station import station_from  # only now: the first page must not wait for numpy

        try:
            station_from(text, path=self.path)
        except InputError as problem:
            return str(problem)
        return ""

    def write(self, text: str, *, before: str, lenient: bool = False) -> None:
        """Write the file, once it is checked; the one before is kept.

        before   ``mark_of`` the text that was edited
        lenient  take a text with something wrong where the file on the disk has something wrong already
        raises   ChangedError, InputError
        """
        if len(text.encode()) > MOST_BYTES:
            raise InputError("a station file has at most 1 MiB; this is more.")
        with self._lock:
            now = self._unchanged(before)
            problem = self.problem(text)
            if problem and not (lenient and self.problem(now)):
                raise InputError(problem)
            self._put(text, now)
            self._undo = [*self._undo[-MOST_STEPS:], now]
            self._redo = []

    def undo(self, *, before: str) -> None:
        """Back by one step.

        raises  ChangedError, InputError where there is no step
        """
        self._step(self._undo, self._redo, before, "There is no step left to undo.")

    def redo(self, *, before: str) -> None:
        """Forward again by one step.

        raises  as undo
        """
        self._step(self._redo, self._undo, before, "There is no step left to do again.")

    def earlier(self, most: int = 20) -> list[str]:
        """Names of the earlier files, the newest first."""
        folder = self.path.parent / EARLIER
        return sorted((path.name for path in folder.glob("*.toml")), reverse=True)[:most] if folder.is_dir() else []

    def earlier_text(self, name: str) -> str:
        """An earlier file.

        raises  InputError for a name that is none of them
        """
        if name not in self.earlier(most=1 << 20):
            raise InputError(f"{name} is none of the earlier files; choose one from the list.")
        return (self.path.parent / EARLIER / name).read_text(encoding="utf-8")

    def _step(self, taken: list[str], given: list[str], before: str, nothing: str) -> None:
        with self._lock:
            now = self._unchanged(before)
            if not taken:
                raise InputError(nothing)
            if mark_of(now) != self._last:
                raise ChangedError(
                    "The station file was changed outside of this page since that step, and a step back would lose "
                    f"the change; the file of that time lies in {EARLIER}."
                )
            self._put(taken[-1], now)
            given.append(now)
            taken.pop()

    def _unchanged(self, before: str) -> str:
        now = self.text()
        if "\N{REPLACEMENT CHARACTER}" in now:
            raise InputError("The station file is not text in UTF-8 and was left as it is; save it as UTF-8 first.")
        if mark_of(now) != before:
            raise ChangedError(
                "The station file was changed on the disk meanwhile and was not overwritten; "
                "what is different is shown here."
            )
        return now

    def _put(self, text: str, now: str) -> None:
        if now:
            folder = self.path.parent / EARLIER
            folder.mkdir(exist_ok=True)
            stamp = utc_now().replace(":", "")
            again = sum(1 for _ in folder.glob(f"{stamp}*.toml"))
            write_text_whole(folder / f"{stamp}-{again:03d}.toml", now)
        write_text_whole(self.path, text)
        self._last = mark_of(text)


def mark_of(text: str) -> str:
    """A short name of a text, to see whether it has changed."""
    return hashlib.sha256(text.replace("\r\n", "\n").encode()).hexdigest()[:16]


def difference(here: str, disk: str) -> list[DiffLine]:
    """What is different, with a little around it; empty where nothing is."""
    found: list[DiffLine] = []
    for line in list(difflib.unified_diff(here.splitlines(), disk.splitlines(), n=AROUND, lineterm=""))[2:]:
        if line.startswith("@@"):
            found += [DiffLine(sign="~", text="")] if found else []
        else:
            found.append(DiffLine(sign=line[0].strip(), text=line[1:]))
    return found
