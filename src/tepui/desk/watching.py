"""An edge watch in a process of its own, for a page: snapshots and traces out, keys in, the newest one only.

Theory  A watch must not wait for whoever looks at it: the newest snapshot and the newest trace are kept and older ones
        are forgotten, so a page that stalled shows the present when it wakes. Who looks is rung for, and asks. The
        process is killed to end it; the receiver is its own.
Source  our own design.
Holds   One watch at a time.
"""

import contextlib
import importlib
import io
import multiprocessing
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from dataclasses import asdict
from multiprocessing.connection import Connection
from multiprocessing.process import BaseProcess
from typing import TYPE_CHECKING, Any

from tepui.ground.doubt import Estimate
from tepui.jobs.watch_state import SIDES, Moment, Side, Snapshot

if TYPE_CHECKING:  # the bench starts without the libraries that a watch needs in its own process
    from tepui.desk.watch_looks import WatchScreen
    from tepui.jobs.watch_trace import LiveTraces

KEYS = frozenset("pfq+-")


class Watching:
    """The watch as a page sees it.

    entry  "module:function" that takes the words of the verb and a screen, and watches until the screen says q
    """

    def __init__(self, *, entry: str) -> None:
        self._entry = entry
        self._changed = threading.Lock()
        self._process: BaseProcess | None = None
        self._pipe: Connection | None = None
        self._number = 0
        self._latest: dict[str, Any] | None = None
        self._trace: tuple[int, bytes] = (0, b"")
        self._bells: set[Callable[[], None]] = set()
        self._sentence = ""
        self.words: tuple[str, ...] = ()

    @property
    def is_running(self) -> bool:
        """Whether a watch is on."""
        return self._process is not None and self._process.is_alive()

    @property
    def sentence(self) -> str:
        """Why the last watch ended, where it did not end by itself."""
        return self._sentence

    def start(self, words: Sequence[str]) -> None:
        """Begin a watch; one that is on is ended first."""
        self.stop()
        context = multiprocessing.get_context("spawn")
        ours, theirs = context.Pipe()
        process = context.Process(target=_watch, args=(theirs, self._entry, list(words)), daemon=False)
        process.start()
        theirs.close()
        with self._changed:
            self._process, self._pipe, self._latest, self._sentence = process, ours, None, ""
            self._trace = (self._trace[0], b"")
            self.words = tuple(words)
            self._number += 1
        threading.Thread(target=self._listen, args=(ours, process), name="watching", daemon=True).start()

    def stop(self) -> None:
        """End the watch: politely, so that the receiver is put down, and by force after a while."""
        with self._changed:
            process, pipe = self._process, self._pipe
            self._process = self._pipe = None
        if process is None:
            return
        if pipe is not None:
            with contextlib.suppress(OSError):
                pipe.send("q")
        process.join(3.0)
        if process.is_alive():
            process.kill()
            process.join(3.0)

    def press(self, key: str) -> None:
        """Hand on a key of the watch; others are ignored."""
        with self._changed:
            pipe = self._pipe
        if pipe is not None and key in KEYS:
            with contextlib.suppress(OSError):
                pipe.send(key)

    def newest(self) -> tuple[int, dict[str, Any] | None]:
        """The newest snapshot, and a number that grows with each and with the beginning and the end of a watch."""
        with self._changed:
            return self._number, self._latest

    def newest_trace(self) -> tuple[int, bytes]:
        """The newest frame of traces (``watch_frames``), and a number that grows with each; empty before the first."""
        with self._changed:
            return self._trace

    @contextlib.contextmanager
    def ringing(self, bell: Callable[[], None]) -> Iterator[None]:
        """Have ``bell`` called, from another thread, whenever there is something new."""
        with self._changed:
            self._bells.add(bell)
        try:
            yield
        finally:
            with self._changed:
                self._bells.discard(bell)

    def _ring(self) -> None:
        for bell in tuple(self._bells):
            with contextlib.suppress(RuntimeError):  # a loop that is closed hears nothing more
                bell()

    def _listen(self, pipe: Connection, process: BaseProcess) -> None:
        try:
            while True:
                kind, value = pipe.recv()
                with self._changed:
                    if self._pipe is not pipe and kind != "end":
                        continue
                    if kind == "traces":
                        self._trace = (self._trace[0] + 1, value)
                    else:
                        self._number += 1
                        if kind == "snapshot":
                            self._latest = value
                        else:
                            self._sentence = value
                    self._ring()
        except (EOFError, OSError):
            process.join(3.0)
            with self._changed:
                if self._pipe is pipe:
                    self._process = self._pipe = None
                self._number += 1
                self._ring()


class _Screen:
    """Shows to the pipe and hears from it."""

    hear: "Callable[[LiveTraces], None] | None"

    def __init__(self, pipe: Connection) -> None:
        self._pipe = pipe
        self.hear = self._hear

    def _hear(self, traces: "LiveTraces") -> None:
        from tepui.desk.watch_frames import packed_traces

        self._pipe.send(("traces", packed_traces(traces)))

    def show(self, snapshot: Snapshot) -> None:
        """Send it."""
        self._pipe.send(("snapshot", plain_snapshot(snapshot)))

    def pressed(self) -> str:
        """Keys since the last time; the other end gone is the end."""
        keys = ""
        try:
            while self._pipe.poll():
                keys += self._pipe.recv()
        except (EOFError, OSError):
            return "q"
        return keys


def _watch(pipe: Connection, entry: str, words: list[str]) -> None:
    with contextlib.suppress(ValueError):
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    module, _, name = entry.partition(":")
    run = getattr(importlib.import_module(module), name)
    screen: WatchScreen = _Screen(pipe)
    said = ""
    try:
        with contextlib.redirect_stdout(io.StringIO()):
            run(words, screen)
    except (EOFError, BrokenPipeError):
        return
    except Exception as problem:
        known = isinstance(problem, ValueError | RuntimeError) or type(problem).__module__.startswith("tepui.")
        said = str(problem) if known else f"this is a fault of tepui's own ({type(problem).__name__}: {problem})."
    with contextlib.suppress(OSError):
        pipe.send(("end", said))


def plain_snapshot(snapshot: Snapshot) -> dict[str, Any]:
    """A snapshot as JSON has it: numbers, texts, lists; None where nothing is known."""
    state = snapshot.state
    worst = None
    if snapshot.moment is not None:
        worst = max(snapshot.moment.side(side).best.value for side in SIDES)
    return {
        "time_s": snapshot.time_s,
        "practice": snapshot.practice,
        "receiver": snapshot.receiver,
        "channel": snapshot.channel,
        "problem": snapshot.problem,
        "moment": None if snapshot.moment is None else _moment(snapshot.moment),
        "minute": [_moment(one) for one in snapshot.minute],
        "verdicts": {
            side: {"origin": told.origin, "sentence": told.sentence, "low_db": told.low_db, "high_db": told.high_db}
            for side, told in snapshot.verdicts.items()
        },
        "state": None
        if state is None
        else {
            "level_db": state.level_db,
            "clipping": state.is_clipping,
            "clipped_share": state.clipped_share,
            "used_bits": state.used_bits,
            "floor_db": state.floor_db,
            "lost": state.lost,
            "advice": "" if worst is None else state.advice(worst),
        },
        "task": snapshot.task,
        "share": snapshot.share,
        "pad_db": snapshot.pad_db,
        "pad_step_db": snapshot.pad_step_db,
        "gains_db": dict(snapshot.gains_db),
        "half_hz": snapshot.occupied_hz / 2,
        "lines": {side: asdict(line) for side, line in snapshot.lines.items()},
        "drift": [asdict(slot) for slot in snapshot.drift],
    }


def _moment(moment: Moment) -> dict[str, Any]:
    return {"time_s": moment.time_s, **{side: _side(moment.side(side)) for side in SIDES}}


def _side(side: Side) -> dict[str, Any]:
    best: Estimate = side.best
    value = best.high if side.is_bound else best.value
    return {"value": value, "half": 2 * best.std, "bound": side.is_bound}
