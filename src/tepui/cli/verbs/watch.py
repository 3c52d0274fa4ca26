"""``tepui watch``: both shoulders, live, in figures that are read across the workshop while the drive is turned."""

import argparse
from typing import TYPE_CHECKING

from tepui.cli.live_options import add_receiver_options, receiver_choice
from tepui.cli.parsing import UsageError, quantity, width_hz

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tepui.desk.watch import WatchRequest
    from tepui.desk.watch_looks import WatchScreen

EXAMPLE = """\
tepui watch --receiver practice
tepui watch --receiver NAME --centre "1286 MHz" --width "7 MHz" --gain "LNA=20 dB" --attenuator "20 dB"
tepui watch --receiver practice --for "20 s" --test-pad --json
keys: p pad test, f floor from a terminated input, q end"""
FFT_SIZES = {"2K": 2048, "4K": 4096, "8K": 8192}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    add_receiver_options(parser)
    add = parser.add_argument
    add("--centre", metavar="F", help='centre of the channel: "1286 MHz"')
    add("--width", metavar="W", help='width of the channel: "7 MHz"')
    add("--usable", metavar="W", help='width the receiver shows truly ("1.8 MHz"; three quarters of the rate)')
    add("--dc-width", metavar="W", help='width of its line at zero ("0.1 MHz")')
    add("--fft", choices=tuple(FFT_SIZES), help="FFT size, with --guard; found where not told")
    add("--guard", choices=("1/4", "1/8", "1/16", "1/32"), help="guard fraction, with --fft")
    add("--pad", metavar="A", default="10 dB", help='pad used in the pad test ("10 dB")')
    add("--test-pad", action="store_true", help="do a pad test without being asked (needs a step attenuator)")
    add("--for", metavar="T", dest="duration", help='end by itself after this time ("20 s"), needed with --json')
    add("--plain", action="store_true", help="draw with plain characters only")


def run(arguments: argparse.Namespace) -> int:
    """Watch on this terminal."""
    from tepui.cli.terminal import watch_terminal

    request = request_of(arguments)
    from tepui.desk.watch import run_watch

    with watch_terminal(plain=arguments.plain) as screen:
        if screen is None and request.duration_s is None:
            raise UsageError('there is no terminal to draw on: give --for "20 s" to have the findings at the end.')
        return run_watch(request, screen)


def screened(words: "Sequence[str]", screen: "WatchScreen") -> int:
    """Watch by the words of a command line, for a screen of another kind."""
    from tepui.cli.parsing import SentenceParser
    from tepui.desk.watch import run_watch

    parser = SentenceParser(prog="tepui watch")
    add_arguments(parser)
    parser.set_defaults(json=False)
    return run_watch(request_of(parser.parse(words)), screen)


def request_of(given: argparse.Namespace) -> "WatchRequest":
    """The options in SI.

    raises  InputError
    """
    from fractions import Fraction

    from tepui.ground.checks import require_between

    choice = receiver_choice(given)
    duration_s = None if given.duration is None else quantity(given.duration, kind="time", option="--for")
    if given.json and duration_s is None:
        raise UsageError('--json needs --for, such as --for "20 s": the document is printed at the end.')
    if duration_s is not None:
        require_between("--for", duration_s, 1, 86400, unit="s", source="this program's limit")
    pad_db = quantity(given.pad, kind="ratio", option="--pad")
    require_between("--pad", pad_db, 3, 30, unit="dB", source="less does not tell, more hides the signal")
    if given.test_pad and choice.pad is None and choice.key != "practice":
        raise UsageError("--test-pad needs a step attenuator that can be set: name its gain element with --step-pad.")
    from tepui.desk.setup import ensure_kernels
    from tepui.desk.watch import WatchRequest

    ensure_kernels()
    return WatchRequest(
        receiver=choice,
        centre_hz=None if given.centre is None else quantity(given.centre, kind="frequency", option="--centre"),
        width_hz=None if given.width is None else width_hz(given.width, option="--width"),
        usable_hz=None if given.usable is None else width_hz(given.usable, option="--usable"),
        dc_width_hz=None if given.dc_width is None else width_hz(given.dc_width, option="--dc-width"),
        n_fft=None if given.fft is None else FFT_SIZES[given.fft],
        guard=None if given.guard is None else Fraction(given.guard),
        pad_db=pad_db,
        duration_s=duration_s,
        test_pad=given.test_pad,
        as_json=given.json,
    )
