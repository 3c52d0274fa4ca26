"""The process behind the workshop: takes the words of a command line, runs them, sends back what came out.

Theory  It lives through many commands, so that only the first pays for libraries and kernels. Standard output and
        error belong to the command; what it says of its progress goes to the pipe.
Source  our own design.
Holds   One command at a time. It ends when the other end of the pipe is closed.
"""

import contextlib
import importlib
import io
import os
import signal
from multiprocessing.connection import Connection
from pathlib import Path

from tepui.desk.progress import Listener, listening
from tepui.files.within import keep_within


def serve_commands(pipe: Connection, entry: str, within: Path | None = None) -> None:
    """Run commands until the pipe closes.

    entry   "module:function" that takes the words and returns an exit code
    within  the folder that names read from files may lead into; None for anywhere
    """
    if within is not None:
        keep_within(within)
    with contextlib.suppress(ValueError):
        signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the bench; it closes the pipe
    module, _, name = entry.partition(":")
    run = getattr(importlib.import_module(module), name)
    while True:
        try:
            words = pipe.recv()
        except (EOFError, OSError):
            return
        out, said = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(said), listening(_teller(pipe)):
            try:
                code = int(run([*words, "--json"]))
            except BaseException as problem:  # the entry turns all it knows into a sentence; this is what it does not
                code = 3
                said.write(f"this is a fault of tepui's own ({type(problem).__name__}: {problem}).")
        try:
            pipe.send(("end", (code, out.getvalue(), _last_sentence(said.getvalue()))))
        except OSError:
            os._exit(0)


def _teller(pipe: Connection) -> Listener:
    def tell(_: str, share: float) -> None:
        with contextlib.suppress(OSError):
            pipe.send(("share", share))

    return tell


def _last_sentence(said: str) -> str:
    lines = [line.strip() for line in said.splitlines() if line.strip()]
    return lines[-1].removeprefix("tepui: ") if lines else ""
