"""The capture process: it owns the driver, fills the ring, and does what the handle asks between two reads.

It leaves when the other end of its pipe is gone, and takes no notice of Ctrl-C: whoever started it decides. What
drivers print goes nowhere unless TEPUI_TRACE is set.
"""

import contextlib
import os
import signal
import time
from multiprocessing.connection import Connection
from multiprocessing.shared_memory import SharedMemory
from typing import Any

from tepui.ground.errors import InputError, TepuiError
from tepui.instruments.driver import LAYOUTS, Driver
from tepui.instruments.library import LibraryMissingError
from tepui.instruments.ring import Ring
from tepui.signals.live import ReceiverStoppedError

STALL_S = 2.0
SETTLE_S = 0.02
BLOCK_S = 0.005
LEAST_BLOCK = 1024
IDLE_S = 0.1


def run(pipe: Connection, lock: Any) -> None:
    """The process from beginning to end."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if not os.environ.get("TEPUI_TRACE"):
        _silence()
    capture = _Capture(lock)
    try:
        while _serve(pipe, capture):
            capture.turn()
    except (EOFError, BrokenPipeError):
        pass
    finally:
        capture.close()


def _silence() -> None:
    nowhere = os.open(os.devnull, os.O_WRONLY)
    for descriptor in (1, 2):
        with contextlib.suppress(OSError):
            os.dup2(nowhere, descriptor)


def _serve(pipe: Connection, capture: "_Capture") -> bool:
    """Answer what was asked; False once told to leave."""
    while pipe.poll(0 if capture.runs else IDLE_S):
        name, arguments = pipe.recv()
        if name == "leave":
            return False
        try:
            answer: tuple[str, Any] = ("done", getattr(capture, f"do_{name}")(*arguments))
        except LibraryMissingError as problem:
            answer = ("missing", str(problem))
        except InputError as problem:
            answer = ("refused", str(problem))
        except TepuiError as problem:
            answer = ("stopped", str(problem))
        except Exception as problem:
            answer = ("stopped", f"the receiver's driver failed ({type(problem).__name__}: {problem}).")
        pipe.send(answer)
    return True


class _Capture:
    """The driver and the ring. What ``do_`` begins with may be asked over the pipe."""

    def __init__(self, lock: Any) -> None:
        self._lock = lock
        self._driver: Driver | None = None
        self._ring: Ring | None = None
        self._rate_hz = 0.0
        self._heard = 0.0
        self._problem = ""
        self._after_break = False
        self.runs = False

    def close(self) -> None:
        if self._driver is not None:
            with contextlib.suppress(Exception):
                self._driver.stop()
            with contextlib.suppress(Exception):
                self._driver.close()
        if self._ring is not None:
            with contextlib.suppress(Exception):
                self._ring.close()

    def do_list(self) -> list[dict[str, str]]:
        from tepui.instruments.soapy import found_devices, opened_library

        return found_devices(opened_library())

    def do_open(self, kind: str, arguments: str, key: str) -> Any:
        if kind == "practice":
            from tepui.instruments.practice_driver import PracticeDriver

            self._driver = PracticeDriver(arguments)
        else:
            from tepui.instruments.soapy import SoapyDriver

            self._driver = SoapyDriver(arguments)
        return self._driver.describe(key)

    def do_begin(self, rate_hz: float, frequency_hz: float, key: str, memory_name: str) -> Any:
        """Set the rate, tune, let samples flow into the ring; says what is in force."""
        driver = self._owned()
        self._rate_hz = driver.set_rate(rate_hz)
        tuned_hz = driver.set_frequency(frequency_hz)
        driver.start()
        info = driver.describe(key)
        memory = SharedMemory(memory_name)
        self._ring = Ring(memory, self._lock, sample_bytes=LAYOUTS[info.sample_type].n_bytes)
        self.runs = True
        self._settle()
        return info, self._rate_hz, tuned_hz

    def do_tune(self, frequency_hz: float) -> float:
        return float(self._anew(lambda driver: driver.set_frequency(frequency_hz)))

    def do_gain(self, name: str, gain_db: float) -> float:
        return float(self._anew(lambda driver: driver.set_gain(name, gain_db)))

    def do_problem(self) -> str:
        return self._problem

    def _owned(self) -> Driver:
        if self._driver is None:
            raise ReceiverStoppedError("no receiver is open.")
        return self._driver

    def _anew(self, change: Any) -> Any:
        """Change a setting with the flow stopped, so that nothing from before it comes after it."""
        driver = self._owned()
        if not self.runs:
            return change(driver)
        driver.stop()
        try:
            value = change(driver)
        finally:
            driver.start()
        self._settle()
        return value

    def _settle(self) -> None:
        """Read and drop what the receiver gives while it settles, then begin an epoch."""
        assert self._ring is not None
        left = int(SETTLE_S * self._rate_hz)
        begun = time.monotonic()
        while left > 0:
            took = self._owned().read(self._ring.space(left), min(left, self._ring.most))
            left -= took.count
            if time.monotonic() - begun > STALL_S:
                raise ReceiverStoppedError(
                    f"the receiver delivers no samples for {STALL_S:g} s; unplug it and try again."
                )
        self._ring.begin_epoch()
        self._heard = time.monotonic()

    def turn(self) -> None:
        """One read into the ring."""
        if not self.runs or self._ring is None:
            return
        space = self._ring.space(max(LEAST_BLOCK, int(BLOCK_S * self._rate_hz)))
        try:
            took = self._owned().read(space, len(space) // self._ring.sample_bytes)
            if took.count:
                self._heard = time.monotonic()
                self._ring.advance(took.count, after_break=self._after_break)
                self._after_break = False
            self._after_break |= took.overflow
            if time.monotonic() - self._heard > STALL_S:
                raise ReceiverStoppedError(
                    f"the receiver delivered no samples for {STALL_S:g} s; see that it is plugged in."
                )
        except Exception as problem:
            self._problem = str(problem) if isinstance(problem, TepuiError) else f"its driver failed ({problem})."
            self.runs = False
            self._ring.end()
