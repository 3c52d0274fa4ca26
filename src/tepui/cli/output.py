"""What a verb prints is held back until it has succeeded, so that stdout is empty after a failure."""

import io
import os
import sys
from typing import TextIO


class HeldOutput(io.StringIO):
    """Stands in for stdout while a verb runs; tells the truth about the terminal behind it."""

    def __init__(self, behind: TextIO) -> None:
        super().__init__()
        self._behind = behind

    def isatty(self) -> bool:
        """Whether what is held will be shown on a terminal."""
        return self._behind.isatty()


def prepare_streams() -> None:
    """Let a character the terminal cannot show come out as a question mark, never as a failure.

    A stream that was closed before we began (``2>&-``) leads nowhere from here on, or its number would go to the next
    file that is opened, and what is meant for it to the other stream.
    """
    for name in ("stdout", "stderr"):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, "w", encoding="utf-8"))  # noqa: SIM115 - open as long as we run
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


def one_line(sentence: str) -> str:
    """The sentence on one line, whatever a file's name in it holds: control characters become question marks.

    >>> one_line("a\\nb\\x1b[31m.wav cannot be opened.")
    'a?b?[31m.wav cannot be opened.'
    """
    return "".join(letter if letter.isprintable() else "?" for letter in sentence)


def write_out(text: str, stream: TextIO) -> None:
    """Write and flush; a reader that has gone away (``| head``) is no failure.

    raises  OSError for anything else, a full disk say
    """
    try:
        stream.write(text)
        stream.flush()
    except BrokenPipeError:
        _silence(stream)


def _silence(stream: TextIO) -> None:
    """Point the descriptor elsewhere, or the interpreter would complain about it on leaving."""
    try:
        descriptor = stream.fileno()
    except (OSError, ValueError):
        return
    nowhere = os.open(os.devnull, os.O_WRONLY)
    os.dup2(nowhere, descriptor)
    os.close(nowhere)
