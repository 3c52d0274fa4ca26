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
    """Let a character the terminal cannot show come out as a question mark, never as a failure."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="replace")


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
