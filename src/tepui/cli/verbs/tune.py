"""``tepui tune``: measured traces of a filter in; what to turn, which way and how far out."""

import argparse
from pathlib import Path

from tepui.cli.parsing import quantity, width_hz

EXAMPLE = """\
tepui tune filter.s2p --centre "1296 MHz" --width "30 MHz" --poles 3 --ripple "0.1 dB"
tepui tune first.s2p second.s2p --turned "2: 0.25" --centre "1296 MHz" --width "30 MHz" --poles 3 --json
tepui tune --centre "1296 MHz" --width "30 MHz" --poles 3 --ripple "0.1 dB"     (the tuning sequence alone)"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    add = parser.add_argument
    add(
        "traces", metavar="FILE", nargs="*", type=Path, help=".s2p or .s1p, oldest first; or .csv of MHz and dB of loss"
    )
    add("--centre", metavar="F", help='what the filter should have: "1296 MHz"')
    add("--width", metavar="W", help="equal-ripple width; 3 dB width where the ripple is 0 dB")
    add("--poles", metavar="N", help="number of resonators; found from the trace without it")
    add("--ripple", metavar="R", default="0.1 dB", help='ripple of the goal ("0.1 dB"); "0 dB" is Butterworth')
    add("--unloaded-q", metavar="Q", help="unloaded Q, where it is known; found from the trace without it")
    add("--turned", metavar="N: T", action="append", default=[],
        help='turns (inwards positive) of screw N between the last two traces: "2: 0.25"')  # fmt: skip
    add("--at", metavar="NAME: F", action="append", default=[], help='loss at a place: "image: 1012 MHz"')


def run(arguments: argparse.Namespace) -> int:
    """Turn the options into SI and hand over."""
    given = arguments
    from tepui.chain.filters.goal import MOST_POLES, FilterGoal
    from tepui.cli.verbs.filter import _count, _number
    from tepui.ground.errors import RangeError

    poles = None if given.poles is None else _count(given.poles, "--poles", most=MOST_POLES)
    if (given.centre is None) != (given.width is None):
        raise RangeError("a goal needs both --centre and --width.")
    goal = None
    if given.centre is not None:
        if poles is None:
            raise RangeError("a goal needs --poles beside --centre and --width.")
        goal = FilterGoal(
            centre_hz=quantity(given.centre, kind="frequency", option="--centre"),
            width_hz=width_hz(given.width, option="--width"),
            poles=poles,
            ripple_db=quantity(given.ripple, kind="ratio", option="--ripple"),
        )
    from tepui.desk.tune import run_tune
    from tepui.jobs.tune import TuneQuestion

    question = TuneQuestion(
        goal=goal,
        poles=poles,
        unloaded_q=None if given.unloaded_q is None else _number(given.unloaded_q, "--unloaded-q"),
        turned=dict(_turn(text) for text in given.turned),
        places_hz=dict(_place(text) for text in given.at),
    )
    return run_tune(given.traces, question, as_json=given.json)


def _turn(text: str) -> tuple[int, float]:
    from tepui.ground.errors import RangeError

    rod, _, turns = text.partition(":")
    try:
        return int(rod), float(turns)
    except ValueError as problem:
        raise RangeError(f'--turned must be a screw and its turns, such as "2: 0.25", not "{text}".') from problem


def _place(text: str) -> tuple[str, float]:
    name, _, place = text.rpartition(":")
    return name.strip() or place.strip(), quantity(place.strip(), kind="frequency", option="--at")
