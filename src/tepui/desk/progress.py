"""How far a long recording is: a line on a terminal, or told to whoever listens.

Theory  A reader in a hurry wants to know that it goes on, not how: a share now and then, and nothing in short work.
Source  our own design.
Holds   One listener at a time, set for the length of a command.
"""

import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

SAY_AFTER_S = 2.0
SAY_EVERY_S = 0.5
TELL_EVERY_S = 0.1
Listener = Callable[[str, float], None]
_listeners: list[Listener] = []


@contextmanager
def listening(listener: Listener) -> Iterator[None]:
    """Tell name and share of all progress to ``listener`` while the block runs."""
    _listeners.append(listener)
    try:
        yield
    finally:
        _listeners.remove(listener)


class Progress:
    """Says how far one recording is."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._begun = time.monotonic()
        self._said = 0.0
        self._told = 0.0

    def __enter__(self) -> "Progress":
        return self

    def __exit__(self, *_: object) -> None:
        if self._said:
            sys.stderr.write("\r" + " " * 60 + "\r")
            sys.stderr.flush()

    def tell(self, share: float) -> None:
        """Show the share that is done, now and then."""
        now = time.monotonic()
        share = min(max(share, 0.0), 1.0)
        if _listeners and now - self._told >= TELL_EVERY_S:
            self._told = now
            _listeners[-1](self._name, share)
        if not sys.stderr.isatty() or now - self._begun < SAY_AFTER_S or now - self._said < SAY_EVERY_S:
            return
        self._said = now
        sys.stderr.write(f"\r{self._name[:40]}: {100 * share:.0f} %")
        sys.stderr.flush()
