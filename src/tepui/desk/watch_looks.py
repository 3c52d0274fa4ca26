"""How looks follow each other: one after another, or the next one heard while the last one is read.

Theory  Reading a look takes about half as long as listening to it. Where traces are wanted the receiver must not stand
        idle meanwhile, so that the reading goes on in a second thread; numerical libraries let both run. During a pad
        test the reading sets gains itself: then looks go one after another again.
Source  our own design.
Holds   One thread touches the receiver at a time.
"""

from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager
from functools import partial
from typing import Protocol

from tepui.jobs.watch import EdgeWatch
from tepui.jobs.watch_state import WITH_PAD, Snapshot
from tepui.jobs.watch_trace import LiveTraces, RunningTraces
from tepui.signals.live import LiveReceiver
from tepui.signals.recording import Recording


class WatchScreen(Protocol):
    """What shows a watch and hears its keys. hear: told every trace as it comes; None where none are wanted."""

    hear: Callable[[LiveTraces], None] | None

    def show(self, snapshot: Snapshot) -> None:
        """Draw it."""
        ...

    def pressed(self) -> str:
        """What was pressed since the last time."""
        ...


class Looks:
    """One look after another; without a screen nothing is shown."""

    def __init__(self, watch: EdgeWatch, screen: WatchScreen | None) -> None:
        self._watch, self._screen = watch, screen

    def step(self) -> None:
        """One look, read and shown."""
        self._show(self._watch.step())

    def settle(self) -> None:
        """Wait until all that was heard is read."""

    def _show(self, snapshot: Snapshot) -> None:
        if self._screen is not None:
            self._screen.show(snapshot)


class OverlappingLooks(Looks):
    """The next look is heard while the last is read; on a machine too busy for every one, the newest are read."""

    def __init__(self, watch: EdgeWatch, screen: WatchScreen, pool: ThreadPoolExecutor) -> None:
        super().__init__(watch, screen)
        self._pool = pool
        self._reading: Future[None] | None = None
        self._waiting: Mapping[str, Recording] | None = None

    def step(self) -> None:
        """Hear one look; what was read meanwhile is shown as soon as it is there."""
        heard = self._watch.look()
        if heard is None:
            self.settle()
            self._show(self._watch.snapshot())
        elif self._watch.task == WITH_PAD:
            self.settle()
            self._watch.reduce(heard)
            self._show(self._watch.snapshot())
        else:
            self._waiting = heard
            self._go_on()

    def settle(self) -> None:
        """Wait until what is being read is read, and show it; what waits is left."""
        self._waiting = None
        if self._reading is not None:
            reading, self._reading = self._reading, None
            reading.result()
            self._show(self._watch.snapshot())

    def hear(self, hear: Callable[[LiveTraces], None], traces: LiveTraces) -> None:
        """Hand on a trace, and before it what has been read meanwhile."""
        self._go_on()
        hear(traces)

    def _go_on(self) -> None:
        if self._reading is not None and self._reading.done():
            waiting = self._waiting
            self.settle()
            self._waiting = waiting
        if self._reading is None and self._waiting is not None:
            self._reading = self._pool.submit(self._watch.reduce, self._waiting)
            self._waiting = None


@contextmanager
def looking(watch: EdgeWatch, receiver: LiveReceiver, screen: WatchScreen | None) -> Iterator[Looks]:
    """The looks of a watch, as its screen wants them."""
    if screen is None or screen.hear is None:
        yield Looks(watch, screen)
        return
    with ThreadPoolExecutor(1) as pool:
        looks = OverlappingLooks(watch, screen, pool)
        watch.traces = RunningTraces(
            watch,
            rate_hz=receiver.rate_hz,
            reach_hz=watch.plan.reach_hz,
            dc_half_width_hz=watch.plan.dc_half_width_hz,
            centre_hz=watch.plan.centre_hz,
            occupied_hz=watch.occupied_hz,
            practice=receiver.info.practice,
            tell=partial(looks.hear, screen.hear),
        )
        yield looks
