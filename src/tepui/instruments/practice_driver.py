"""The simulated receiver as a driver: the same path as any other, at the pace of the clock.

Where the simulation is slower than the samples should come, they come later; nothing is lost, and nothing is skipped.
"""

import time

import numpy as np

from tepui.ground.errors import InputError
from tepui.instruments.driver import Bytes, Took
from tepui.practice.live import PracticeReceiverLive
from tepui.signals.live import ReceiverInfo

AHEAD_S = 0.05


class PracticeDriver:
    """One practice receiver; ``arguments`` must be empty."""

    def __init__(self, arguments: str) -> None:
        if arguments:
            raise InputError(f"the practice receiver takes no arguments, and {arguments} was given.")
        self._receiver = PracticeReceiverLive()
        self._rate_hz = 1.0
        self._given = 0
        self._begun = 0.0

    def describe(self, key: str) -> ReceiverInfo:
        """What it says of itself."""
        return self._receiver.describe(key)

    def set_rate(self, rate_hz: float) -> float:
        """Set the sample rate. [Hz]"""
        self._rate_hz = self._receiver.set_rate(rate_hz)
        return self._rate_hz

    def set_gain(self, name: str, gain_db: float) -> float:
        """Set one gain. [dB]"""
        return self._receiver.set_gain(name, gain_db)

    def set_frequency(self, frequency_hz: float) -> float:
        """Tune. [Hz]"""
        return self._receiver.set_frequency(frequency_hz)

    def start(self) -> None:
        """Let samples flow from now on; what takes long is made before."""
        self._receiver.read(1)
        self._given, self._begun = 0, time.monotonic()

    def stop(self) -> None:
        """Nothing is held that could be old."""

    def read(self, space: Bytes, count: int) -> Took:
        """Write the next samples when they are due."""
        count = min(count, len(space) // 2)
        codes = self._receiver.read(count)
        space[: 2 * count] = codes.view(np.uint8)
        self._given += count
        due = self._begun + self._given / self._rate_hz
        now = time.monotonic()
        if due > now:
            time.sleep(due - now)
        elif now - due > AHEAD_S:  # too slow for the clock: go on from here instead of hurrying after it
            self._begun = now - self._given / self._rate_hz
        return Took(count=count)

    def close(self) -> None:
        """Nothing to give back."""
