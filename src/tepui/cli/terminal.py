"""A terminal to draw on and keys to hear, on any system, with nothing but the standard library.

The page goes to stderr, so that stdout holds the findings and nothing else. Where the terminal cannot place the cursor,
lines are written one below the other.
"""

import contextlib
import os
import shutil
import sys
from collections.abc import Callable, Iterator
from typing import Any, TextIO

from tepui.cli.watch_page import Paper, page_lines, short_line
from tepui.jobs.watch_state import Snapshot
from tepui.jobs.watch_trace import LiveTraces

BEGIN, END = "\x1b[?1049h\x1b[?25l\x1b[2J", "\x1b[?25h\x1b[?1049l"
HOME, REST_OF_LINE, REST_OF_PAGE = "\x1b[H", "\x1b[K", "\x1b[J"
VIRTUAL_TERMINAL, STDERR_HANDLE = 0x0004, -12


class WatchTerminal:
    """Shows snapshots and hears keys (``desk.watch_looks.WatchScreen``); it has no room for traces."""

    hear: Callable[[LiveTraces], None] | None = None

    def __init__(self, stream: TextIO, *, plain: bool, placed: bool) -> None:
        self._stream, self._plain, self._placed = stream, plain, placed

    def paper(self) -> Paper:
        """The window as it is now."""
        size = shutil.get_terminal_size()
        bold = self._placed and "NO_COLOR" not in os.environ
        return Paper(columns=size.columns, rows=size.lines, blocks=not self._plain, bold=bold)

    def show(self, snapshot: Snapshot) -> None:
        """Draw it over the last one."""
        paper = self.paper()
        if not self._placed:
            self._stream.write(short_line(snapshot, paper) + "\n")
        elif not paper.is_large:
            self._stream.write(HOME + short_line(snapshot, paper) + REST_OF_LINE + REST_OF_PAGE)
        else:
            lines = (line + REST_OF_LINE for line in page_lines(snapshot, paper))
            self._stream.write(HOME + "\r\n".join(lines) + REST_OF_PAGE)
        self._stream.flush()

    def pressed(self) -> str:
        """What was pressed since the last time."""
        return _keys_nt() if os.name == "nt" else _keys_posix()


@contextlib.contextmanager
def watch_terminal(*, plain: bool) -> Iterator[WatchTerminal | None]:
    """A terminal taken over for the while, and given back as it was; None where stderr leads to none.

    plain  no characters but those of ASCII
    """
    stream = sys.stderr
    if not stream.isatty():
        yield None
        return
    placed = os.environ.get("TERM") != "dumb" and _can_place()
    terminal = WatchTerminal(stream, plain=plain or not _has_blocks(stream), placed=placed)
    with _single_keys():
        try:
            if placed:
                stream.write(BEGIN)
            yield terminal
        finally:
            if placed:
                stream.write(END)
            stream.flush()


def _has_blocks(stream: TextIO) -> bool:
    try:
        "█▁±".encode(stream.encoding or "ascii")
    except (UnicodeError, LookupError):
        return False
    return True


def _can_place() -> bool:
    """Whether cursor sequences work; on Windows they are switched on."""
    if os.name != "nt":
        return True
    import ctypes

    kernel: Any = ctypes.windll.kernel32  # type: ignore[attr-defined,unused-ignore]
    handle, mode = kernel.GetStdHandle(STDERR_HANDLE), ctypes.c_uint32(0)
    if not kernel.GetConsoleMode(handle, ctypes.byref(mode)):
        return False
    return bool(kernel.SetConsoleMode(handle, mode.value | VIRTUAL_TERMINAL))


@contextlib.contextmanager
def _single_keys() -> Iterator[None]:
    """Keys come one by one and are not shown; Ctrl-C still stops."""
    if os.name == "nt" or sys.stdin is None or not sys.stdin.isatty():
        yield
        return
    import termios
    import tty

    descriptor = sys.stdin.fileno()
    before = termios.tcgetattr(descriptor)
    try:
        tty.setcbreak(descriptor)
        yield
    finally:
        termios.tcsetattr(descriptor, termios.TCSADRAIN, before)


def _keys_posix() -> str:
    import select

    if sys.stdin is None or not sys.stdin.isatty():
        return ""
    pressed = ""
    while select.select([sys.stdin], [], [], 0)[0]:
        got = os.read(sys.stdin.fileno(), 64).decode("ascii", "ignore")
        if not got:
            break
        pressed += got
    return pressed


def _keys_nt() -> str:
    import msvcrt

    pressed = ""
    console: Any = msvcrt
    while console.kbhit():
        pressed += console.getwch()
    return pressed
