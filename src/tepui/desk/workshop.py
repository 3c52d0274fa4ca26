"""The workshop: commands run one by one in at most two warm processes, ended to stop, their results kept on disk.

Theory  A page asks for work and may go away; the work goes on and its document, pictures and last sentence stay in a
        folder of its own. Processes are spawned, not forked, and keep their libraries and kernels loaded between
        commands. To stop, the process is told to end and, where it does not at once, killed: a command leaves whole
        files or none. A process may have one of its own (a receiver's): so it is no daemon, and is seen to at exit.
Source  our own design; multiprocessing's documentation for spawned processes and pipes.
Holds   One workshop per folder. A command is the words of a command line, run by ``entry`` with ``--json``.
"""

import atexit
import json
import multiprocessing
import shutil
import threading
import time
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from pathlib import Path
from typing import Any

from tepui.desk.worker import serve_commands
from tepui.files.atomic import write_text_whole
from tepui.ground.document import utc_now

MOST_PROCESSES = 2
KEPT = 200  # results beyond which the oldest are removed
PATIENCE_S = 3.0  # for a recording to be ended whole
KEPT_PASSING = 8  # works that are not listed
RECORD, DOCUMENT = "work.json", "document.json"
PLACE = "{result}"
WAITING, RUNNING, DONE, REFUSED, STOPPED = "waiting", "running", "done", "refused", "stopped"


@dataclass(frozen=True, kw_only=True)
class Work:
    """One command: its words, how far it is, and what came of it.

    state     waiting, running, done, refused (the sentence says why) or stopped
    share     of the work that is done, 0 to 1; None where it cannot be told
    document  the JSON document of a command that is done
    listed    whether it is shown among the results
    """

    number: int
    title: str
    words: tuple[str, ...]
    folder: Path
    utc: str
    state: str = WAITING
    share: float | None = None
    sentence: str = ""
    document: dict[str, Any] | None = None
    listed: bool = True

    @property
    def ended(self) -> bool:
        """Whether nothing more will come."""
        return self.state in (DONE, REFUSED, STOPPED)

    @property
    def verb(self) -> str:
        """The first word."""
        return self.words[0]


@dataclass
class _Bench:
    """One process and the thread that feeds it."""

    thread: threading.Thread | None = None
    process: BaseProcess | None = None
    pipe: Connection | None = None
    busy: int | None = None
    stop: set[int] = field(default_factory=set)


class Workshop:
    """Takes commands and keeps what came of them under ``folder``.

    entry   "module:function" that runs the words of a command line and returns an exit code
    within  the folder that names read from files may lead into; None for anywhere
    """

    def __init__(
        self, folder: Path, *, entry: str, processes: int = MOST_PROCESSES, within: Path | None = None
    ) -> None:
        self._folder, self._within = folder, within
        self._entry = entry
        self._lock = threading.Condition()
        self._works: dict[int, Work] = _kept(folder)
        self._queue: deque[int] = deque()
        self._open = True
        self._benches = [_Bench() for _ in range(processes)]
        for bench in self._benches:
            bench.thread = threading.Thread(target=self._run, args=(bench,), name="workshop", daemon=True)
            bench.thread.start()
        atexit.register(self.close)

    @property
    def folder(self) -> Path:
        """Where results are kept."""
        return self._folder

    def submit(self, words: Sequence[str], *, title: str, pictures: bool = True, listed: bool = True) -> Work:
        """Queue a command.

        words     of the command line, without ``--json`` and ``--plots``; PLACE in one is the result's own folder
        pictures  whether it takes ``--plots``
        listed    whether it is kept and shown among the results
        """
        with self._lock:
            number = max(self._works, default=0) + 1
            folder = self._folder / f"{number:04d}"
            if listed:
                folder.mkdir(parents=True, exist_ok=True)
            given = tuple(word.replace(PLACE, str(folder)) for word in words)
            given = (*given, "--plots", str(folder / "pictures")) if pictures else given
            work = Work(number=number, title=title, words=given, folder=folder, utc=utc_now(), listed=listed)
            self._put(work)
            self._queue.append(number)
            self._forget_oldest()
            self._lock.notify_all()
            return work

    def get(self, number: int) -> Work | None:
        """One piece of work, or None."""
        with self._lock:
            return self._works.get(number)

    def all(self) -> list[Work]:
        """Everything that is listed, the newest first."""
        with self._lock:
            return sorted((work for work in self._works.values() if work.listed), key=lambda work: -work.number)

    def wait(self, number: int, *, timeout_s: float) -> Work | None:
        """The work once it has ended, or as it stands after the time given."""
        end = time.monotonic() + timeout_s
        with self._lock:
            while (work := self._works.get(number)) is not None and not work.ended:
                left = end - time.monotonic()
                if left <= 0:
                    break
                self._lock.wait(left)
            return self._works.get(number)

    def stop(self, number: int) -> None:
        """Stop a piece of work: one that waits is taken out, one that runs is killed."""
        with self._lock:
            work = self._works.get(number)
            if work is None or work.ended:
                return
            if number in self._queue:
                self._queue.remove(number)
                self._put(replace(work, state=STOPPED, sentence="stopped before it began."))
                self._lock.notify_all()
                return
            for bench in self._benches:
                if bench.busy == number and bench.process is not None:
                    bench.stop.add(number)
                    bench.process.terminate()
                    insist = threading.Timer(PATIENCE_S, self._insist, (bench, bench.process, number))
                    insist.daemon = True
                    insist.start()

    def _insist(self, bench: _Bench, process: BaseProcess, number: int) -> None:
        """Kill what was told to end and did not."""
        with self._lock:
            if bench.busy == number and bench.process is process:
                process.kill()

    def close(self) -> None:
        """Kill what runs; nothing more is taken."""
        with self._lock:
            self._open = False
            for bench in self._benches:
                if bench.process is not None:
                    bench.process.kill()
            self._lock.notify_all()
        atexit.unregister(self.close)

    def _run(self, bench: _Bench) -> None:
        while True:
            with self._lock:
                while self._open and not self._queue:
                    self._lock.wait()
                if not self._open:
                    return
                number = self._queue.popleft()
                bench.busy = number
                self._start(bench)
                work = replace(self._works[number], state=RUNNING)
                self._put(work)
                self._lock.notify_all()
            ended = self._follow(bench, work)
            with self._lock:
                bench.busy = None
                self._put(ended)
                self._lock.notify_all()

    def _start(self, bench: _Bench) -> None:
        if bench.process is not None and bench.process.is_alive():
            return
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        bench.process = context.Process(target=serve_commands, args=(theirs, self._entry, self._within), daemon=False)
        bench.process.start()
        theirs.close()
        bench.pipe = ours

    def _follow(self, bench: _Bench, work: Work) -> Work:
        """Send a command to its process and listen until it ends."""
        assert bench.pipe is not None
        try:
            bench.pipe.send(work.words)
            while True:
                kind, value = bench.pipe.recv()
                if kind == "share":
                    work = replace(work, share=value)
                    with self._lock:
                        self._works[work.number] = work
                        self._lock.notify_all()
                    continue
                code, text, sentence = value
                if code in (0, 1):
                    return replace(work, state=DONE, share=1.0, document=json.loads(text), sentence=sentence)
                return replace(
                    work, state=STOPPED if code == 130 else REFUSED, sentence=sentence or "could not finish."
                )
        except (EOFError, OSError, ValueError):
            stopped = work.number in bench.stop or not self._open
            bench.stop.discard(work.number)
            shutil.rmtree(work.folder / "pictures", ignore_errors=True)
            why = "stopped." if stopped else "the process that did it ended without a word; start it again."
            return replace(work, state=STOPPED if stopped else REFUSED, sentence=why)

    def _put(self, work: Work) -> None:
        self._works[work.number] = work
        record = {
            "title": work.title,
            "words": list(work.words),
            "utc": work.utc,
            "state": work.state,
            "sentence": work.sentence,
            "document": work.document,
        }
        if work.folder.is_dir():
            write_text_whole(work.folder / RECORD, json.dumps(record))
            if work.document is not None:
                write_text_whole(work.folder / DOCUMENT, json.dumps(work.document))

    def _forget_oldest(self) -> None:
        passing = sorted(number for number, work in self._works.items() if work.ended and not work.listed)
        for number in passing[:-KEPT_PASSING]:
            del self._works[number]
        ended = sorted(number for number, work in self._works.items() if work.ended and work.listed)
        for number in ended[: max(0, len(ended) - KEPT)]:
            shutil.rmtree(self._works.pop(number).folder, ignore_errors=True)


def _kept(folder: Path) -> dict[int, Work]:
    """What an earlier run left; work that had not ended counts as stopped."""
    found: dict[int, Work] = {}
    for record in sorted(folder.glob(f"[0-9]*/{RECORD}")):
        if not record.parent.name.isdecimal():
            continue
        try:
            told = json.loads(record.read_text(encoding="utf-8"))
            state = told["state"] if told["state"] in (DONE, REFUSED, STOPPED) else STOPPED
            number = int(record.parent.name)
            found[number] = Work(
                number=number,
                title=str(told["title"]),
                words=tuple(map(str, told["words"])),
                folder=record.parent,
                utc=str(told["utc"]),
                state=state,
                sentence=str(told["sentence"]) or ("" if state == DONE else "stopped when the bench was closed."),
                document=told["document"],
            )
        except (OSError, ValueError, KeyError, TypeError):
            continue  # a record half gone with its disk: the result is lost, the bench is not
    return found
