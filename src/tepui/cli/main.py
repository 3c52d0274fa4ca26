"""The entry: chooses the verb, and turns every failure into one sentence on stderr and an exit code.

Exit codes: 0 done, 1 a limit missed (only with --strict), 2 the input cannot be used, 3 could not finish,
130 stopped. After 2, 3 and 130 stdout is empty.
"""

import contextlib
import difflib
import errno
import importlib
import os
import signal
import sys
import warnings
from collections.abc import Iterator, Sequence
from typing import Any

from tepui import __version__
from tepui.cli.catalogue import VERBS
from tepui.cli.output import HeldOutput, one_line, prepare_streams, write_out
from tepui.cli.parsing import SentenceParser, UsageError
from tepui.ground.errors import TepuiError

TRACE = "TEPUI_TRACE"
UNFINISHED, STOPPED = 3, 130
_DISK = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk quota is used up",
    errno.EFBIG: "the file is too big",
}
_NAMED_BY_USER = (FileNotFoundError, IsADirectoryError, NotADirectoryError, PermissionError)


def main(words: Sequence[str] | None = None) -> int:
    """Run one command line; returns the exit code.

    words  the command line without the program's name; None takes the process's own
    """
    prepare_streams()
    stdout = sys.stdout
    held = HeldOutput(stdout)
    try:
        with _stop_on_terminate(), contextlib.redirect_stdout(held):
            code = _run(sys.argv[1:] if words is None else list(words))
        if code in (0, 1):
            write_out(held.getvalue(), stdout)
        return code
    except KeyboardInterrupt:
        return _refuse("stopped.", STOPPED)
    except BaseException as problem:
        if isinstance(problem, SystemExit | GeneratorExit):
            raise
        sentence, code = sentence_for(problem)
        if code == UNFINISHED and os.environ.get(TRACE):
            import traceback

            traceback.print_exc()
        return _refuse(sentence, code)


def sentence_for(problem: BaseException) -> tuple[str, int]:
    """What the operator reads about a failure, and the exit code."""
    if isinstance(problem, TepuiError):
        return str(problem), problem.exit_code
    if isinstance(problem, MemoryError):
        return "the machine's memory is used up; close other programs or give a shorter recording.", 3
    if isinstance(problem, OSError) and problem.strerror:
        name = f" ({problem.filename})" if problem.filename is not None else ""
        if problem.errno in _DISK:
            return f"{_DISK[problem.errno]}{name}; make room and start again.", 3
        code = 2 if isinstance(problem, _NAMED_BY_USER) and name else 3
        return f"{problem.strerror[:1].lower()}{problem.strerror[1:]}{name}.", code
    words = " ".join(str(problem).split())
    detail = type(problem).__name__ + (f": {words}" if words else "")
    return f"this is a fault of tepui's own ({detail}); {TRACE}=1 shows where.", 3


def _run(words: list[str]) -> int:
    if not words or words[0] in ("--help", "-h", "help"):
        print(overview())
        return 0
    if words[0] == "--version":
        print(f"tepui {__version__}")
        return 0
    verb = words[0]
    if verb not in VERBS:
        raise UsageError(_unknown(verb))
    module = importlib.import_module(f"tepui.cli.verbs.{verb}")
    parser = _parser(verb, module)
    try:
        arguments = parser.parse(words[1:])
    except SystemExit:  # argparse leaves this way once --help is printed
        return 0
    if not os.environ.get(TRACE):
        warnings.simplefilter("ignore")
    return int(module.run(arguments))


def _parser(verb: str, module: Any) -> SentenceParser:
    example = "\n".join("  " + line for line in module.EXAMPLE.splitlines())
    parser = SentenceParser(prog=f"tepui {verb}", description=VERBS[verb], epilog=f"example:\n{example}")
    module.add_arguments(parser)
    parser.add_argument("--json", action="store_true", help="print the JSON document and nothing else")
    return parser


def overview() -> str:
    """The page of ``tepui --help``: every verb with its line."""
    width = max(len(verb) for verb in VERBS)
    lines = [f"  {verb:<{width}}  {summary}" for verb, summary in VERBS.items()]
    return "\n".join(
        [
            "usage: tepui VERB ...   (tepui VERB --help says more, tepui --version the version)",
            "",
            "Plan, measure and prove a home-built digital television transmitter for the amateur bands.",
            "",
            *lines,
        ]
    )


def _unknown(verb: str) -> str:
    if not verb.strip():
        return "the first word is empty, and a verb is needed; see 'tepui --help'."
    if verb.startswith("-"):
        return f"the first word must be a verb, not {verb}; see 'tepui --help'."
    close = difflib.get_close_matches(verb, VERBS, n=1)
    return f"{verb} is no verb of tepui" + (f", did you mean {close[0]}?" if close else "; see 'tepui --help'.")


def _refuse(sentence: str, code: int) -> int:
    with contextlib.suppress(OSError):
        print(f"tepui: {one_line(sentence)}", file=sys.stderr, flush=True)
    return code


@contextlib.contextmanager
def _stop_on_terminate() -> Iterator[None]:
    """Let a request to end (closing terminal, service manager) unwind like Ctrl-C and leave nothing half-written."""
    names = ("SIGTERM", "SIGHUP", "SIGBREAK")
    before: dict[int, Any] = {}
    try:
        for name in names:
            number = getattr(signal, name, None)
            if number is not None and signal.getsignal(number) is signal.SIG_DFL:
                before[number] = signal.signal(number, signal.default_int_handler)
    except ValueError:  # not the main thread: whoever called us keeps the signals
        pass
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


if __name__ == "__main__":
    sys.exit(main())
