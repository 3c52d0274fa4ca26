"""The handle on a receiver in its capture process: ask, read, close.

The process is spawned, never forked, so that it is the same on every system and holds no half of our threads. Every
question has an answer within a time limit; a process that is gone or silent is a receiver that stopped.
"""

import contextlib
import multiprocessing
import time
from collections.abc import Mapping
from multiprocessing.shared_memory import SharedMemory
from types import TracebackType
from typing import Any

from tepui.ground.errors import InputError
from tepui.instruments.driver import LAYOUTS, complex_samples
from tepui.instruments.library import LibraryMissingError
from tepui.instruments.ring import HEAD_BYTES, RING_BYTES, Ring
from tepui.instruments.worker import STALL_S, run
from tepui.signals.live import LiveBlock, ReceiverInfo, ReceiverStoppedError

ANSWER_S = 30.0
SIMULATED_ANSWER_S = 180.0  # a simulation on a busy machine is slow; it does not hang
SILENCE_S = 5 * STALL_S  # a driver that hangs without a word; one that says so is heard of sooner
LEAVE_S = 3.0
WAIT_S = 0.002
UNKNOWN_LOSS = 1


class CaptureProcess:
    """The process and the pipe to it; one receiver at a time."""

    def __init__(self, *, answer_s: float = ANSWER_S) -> None:
        self._answer_s = answer_s
        context = multiprocessing.get_context("spawn")
        self.lock = context.Lock()
        self._pipe, theirs = context.Pipe()
        self._process = context.Process(target=run, args=(theirs, self.lock), name="tepui-capture", daemon=True)
        self._process.start()
        theirs.close()

    def ask(self, name: str, *arguments: Any) -> Any:
        """Have something done and wait for the answer.

        raises  InputError where the driver refuses; ReceiverStoppedError where it fails, or its process is gone
        """
        try:
            self._pipe.send((name, arguments))
            begun = time.monotonic()
            while not self._pipe.poll(0.05):
                if not self._process.is_alive() and not self._pipe.poll(0):
                    raise EOFError
                if time.monotonic() - begun > self._answer_s:
                    raise ReceiverStoppedError(
                        f"the receiver's driver does not answer for {self._answer_s:g} s; unplug the receiver and try "
                        "again."
                    )
            verdict, answer = self._pipe.recv()
        except (EOFError, OSError) as gone:
            raise ReceiverStoppedError(
                "the receiver's driver ended the capture process; unplug the receiver and try again, and see that its "
                "driver module fits the library."
            ) from gone
        if verdict == "missing":
            raise LibraryMissingError(answer)
        if verdict == "refused":
            raise InputError(answer)
        if verdict == "stopped":
            raise ReceiverStoppedError(answer)
        return answer

    def is_alive(self) -> bool:
        """Whether the process runs."""
        return self._process.is_alive()

    def close(self) -> None:
        """Let the process leave; make it leave where it does not."""
        with contextlib.suppress(OSError):
            self._pipe.send(("leave", ()))
        self._process.join(LEAVE_S)
        if self._process.is_alive():
            self._process.kill()
            self._process.join(LEAVE_S)
        self._pipe.close()


def driver_devices() -> list[dict[str, str]]:
    """What the receiver library's drivers see, in their own words.

    raises  InputError where the library is missing
    """
    process = CaptureProcess()
    try:
        return list(process.ask("list"))
    finally:
        process.close()


class CapturedReceiver:
    """A receiver that runs in a capture process (``signals.live.LiveReceiver``); close it, or use ``with``."""

    def __init__(self, *, kind: str, arguments: str, key: str) -> None:
        self._process = CaptureProcess(answer_s=SIMULATED_ANSWER_S if kind == "practice" else ANSWER_S)
        self._memory: SharedMemory | None = None
        self._ring: Ring | None = None
        self._gains: dict[str, float] = {}
        self._rate_hz = 0.0
        self.key = key
        self.lost = 0
        try:
            self._info: ReceiverInfo = self._process.ask("open", kind, arguments, key)
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> "CapturedReceiver":
        return self

    def __exit__(
        self, kind: type[BaseException] | None, problem: BaseException | None, at: TracebackType | None
    ) -> None:
        self.close()

    @property
    def info(self) -> ReceiverInfo:
        """What the receiver says of itself."""
        return self._info

    @property
    def rate_hz(self) -> float:
        """Sample rate in force. [Hz]"""
        return self._rate_hz

    @property
    def gains_db(self) -> Mapping[str, float]:
        """Gains set so far, by element. [dB]"""
        return dict(self._gains)

    def begin(self, *, rate_hz: float, frequency_hz: float) -> float:
        """Set the rate, tune, and let samples flow; returns the frequency in force. [Hz]

        raises  InputError for what the receiver cannot do
        """
        _require_within("a sample rate", rate_hz, self._info.rates_hz, key=self.key)
        _require_within("a frequency", frequency_hz, self._info.frequencies_hz, key=self.key)
        self._memory = SharedMemory(create=True, size=HEAD_BYTES + RING_BYTES)
        self._info, self._rate_hz, tuned_hz = self._process.ask(
            "begin", rate_hz, frequency_hz, self.key, self._memory.name
        )
        layout = LAYOUTS[self._info.sample_type]
        self._ring = Ring(self._memory, self._process.lock, sample_bytes=layout.n_bytes)
        self._ring.seek_epoch()
        return float(tuned_hz)

    def tune(self, frequency_hz: float) -> float:
        """Tune; what is read afterwards was taken afterwards. Returns the frequency in force. [Hz]

        raises  InputError for a frequency out of reach
        """
        _require_within("a frequency", frequency_hz, self._info.frequencies_hz, key=self.key)
        tuned_hz = float(self._process.ask("tune", frequency_hz))
        if self._ring is not None:
            self._ring.seek_epoch()
        return tuned_hz

    def set_gain(self, name: str, gain_db: float) -> float:
        """Set one gain; what is read afterwards was taken afterwards. Returns the gain in force. [dB]

        raises  InputError for an element or a gain the receiver does not have
        """
        element = self._info.gain_named(name)
        if element is None:
            names = ", ".join(one.name for one in self._info.gains) or "none"
            raise InputError(f"the receiver {self.key} has no gain named {name}; it has {names}.")
        _require_within(
            f"a gain {element.name}", gain_db, ((element.low_db, element.high_db),), key=self.key, unit="dB", scale=1.0
        )
        self._gains[element.name] = float(self._process.ask("gain", element.name, gain_db))
        if self._ring is not None:
            self._ring.seek_epoch()
        return self._gains[element.name]

    def read(self, count: int) -> LiveBlock:
        """The next samples, at most ``count`` and at most a sixteenth of what the ring holds.

        raises  ReceiverStoppedError
        """
        if self._ring is None:
            raise ReceiverStoppedError(f"the receiver {self.key} was not started.")
        count = min(count, self._ring.most)
        seen, moved = -1, time.monotonic()
        while True:
            written, ended = self._ring.written()
            if written - self._ring.position >= count or ended:
                given = self._ring.read(count)
                if given is not None:
                    self.lost += given.lost + UNKNOWN_LOSS * len(given.breaks)
                    samples = complex_samples(given.stored, self._info.sample_type)
                    return LiveBlock(samples=samples, lost=given.lost, breaks=given.breaks)
                if ended:
                    raise ReceiverStoppedError(self._problem())
            now = time.monotonic()
            if written != seen:
                seen, moved = written, now
            elif now - moved > SILENCE_S or not self._process.is_alive():
                raise ReceiverStoppedError(f"the receiver {self.key} stopped delivering; see that it is plugged in.")
            time.sleep(WAIT_S)

    def _problem(self) -> str:
        told = str(self._process.ask("problem"))
        return told or f"the receiver {self.key} stopped delivering; see that it is plugged in."

    def close(self) -> None:
        """Stop the receiver and its process, and give the memory back."""
        self._process.close()
        if self._ring is not None:
            self._ring.close()
            self._ring = None
        elif self._memory is not None:
            self._memory.close()
        if self._memory is not None:
            with contextlib.suppress(FileNotFoundError):
                self._memory.unlink()
            self._memory = None


def _require_within(
    what: str,
    value: float,
    ranges: tuple[tuple[float, float], ...],
    *,
    key: str,
    unit: str = "MHz",
    scale: float = 1e6,
) -> None:
    """Refuse what lies outside every range the receiver names; where it names none, its driver decides.

    raises  InputError
    """
    if not ranges or any(low <= value <= high for low, high in ranges):
        return
    nearest = min((end for limits in ranges for end in limits), key=lambda end: abs(end - value))
    listed = ", ".join(
        f"{low / scale:.10g}" if low == high else f"{low / scale:.10g} to {high / scale:.10g}" for low, high in ranges
    )
    raise InputError(
        f"the receiver {key} takes {what} of {listed} {unit}, not {value / scale:.10g}. "
        f"Nearest: {nearest / scale:.10g}."
    )
