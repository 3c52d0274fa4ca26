"""``tepui tune``: measured traces of a filter in; what to turn, which way and how far out."""

import argparse
from pathlib import Path

from tepui.cli.parsing import place, quantity, width_hz

EXAMPLE = """\
tepui tune filter.s2p --centre "1296 MHz" --width "30 MHz" --poles 3 --ripple "0.1 dB"
tepui tune first.s2p second.s2p --turned "2: 0.25" --centre "1296 MHz" --width "30 MHz" --poles 3 --json
tepui tune step2.s1p --step 2 --centre "1296 MHz" --width "30 MHz" --poles 3       (screws 3 and on fully in)
tepui tune --method markers --marker "1281 MHz: 1.4 dB" --marker "1296 MHz: 0.6 dB" --marker "1311 MHz: 3.1 dB" \\
  --centre "1296 MHz" --width "30 MHz" --poles 3
tepui tune new.s2p --station station.toml
tepui tune --centre "1296 MHz" --width "30 MHz" --poles 3 --method peak            (a tuning sequence alone)"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    add = parser.add_argument
    add(
        "traces", metavar="FILE", nargs="*", type=Path, help=".s2p or .s1p, oldest first; or .csv of MHz and dB of loss"
    )
    add("--station", metavar="STATION", type=place, help="station file: its filter is the goal, its plan says where "
        "LO and image fall")  # fmt: skip
    add("--stage", metavar="NAME", help="which filter of the station; the first behind the last mixer without it")
    add("--centre", metavar="F", help='what the filter should have: "1296 MHz"')
    add("--width", metavar="W", help="equal-ripple width; 3 dB width where the ripple is 0 dB")
    add("--poles", metavar="N", help="number of resonators; found from the trace without it")
    add("--ripple", metavar="R", help='ripple of the goal ("0.1 dB"); "0 dB" is Butterworth')
    add("--unloaded-q", metavar="Q", help="unloaded Q, where it is known; found from the trace without it")
    add("--turned", metavar="N: T", action="append", default=[],
        help='turns (inwards positive) of screw N between the last two traces: "2: 0.25"; "0.25" alone is of the '
             "screw whose rod moved most")  # fmt: skip
    add("--rate", metavar="N: F", action="append", default=[], help='rate of screw N as learned before, for a turn '
        'inwards: "2: -7.5 MHz"')  # fmt: skip
    add("--step", metavar="N", help="the trace shows step N of the sequence: rods behind N shorted, reflection read")
    add("--method", choices=("delay", "peak", "markers"), default="delay", help="guided sequence: by reflected delay "
        "(an analyser), peak and widen (noise source and receiver), or markers alone (delay)")  # fmt: skip
    add("--marker", metavar="F: L", action="append", default=[], help='a loss read by hand: "1281 MHz: 1.4 dB"')
    add("--at", metavar="NAME: F", action="append", default=[], help='loss at a place: "image: 1012 MHz"; wanted, '
        "LO and image also tell which side the filter is on")  # fmt: skip
    add("--plots", metavar="DIR", type=Path, help="write the picture of the last trace into this folder")


def run(arguments: argparse.Namespace) -> int:
    """Turn the options into SI and hand over."""
    given = arguments
    from tepui.chain.filters.goal import MOST_POLES
    from tepui.cli.verbs.filter import _count, _number
    from tepui.desk.tune import TuneRequest, run_tune

    request = TuneRequest(
        traces=given.traces,
        station=given.station,
        stage=given.stage,
        centre_hz=None if given.centre is None else quantity(given.centre, kind="frequency", option="--centre"),
        width_hz=None if given.width is None else width_hz(given.width, option="--width"),
        poles=None if given.poles is None else _count(given.poles, "--poles", most=MOST_POLES),
        ripple_db=None if given.ripple is None else quantity(given.ripple, kind="ratio", option="--ripple"),
        unloaded_q=None if given.unloaded_q is None else _number(given.unloaded_q, "--unloaded-q"),
        turned=dict(_turn(text) for text in given.turned),
        rates_hz=dict(_rate(text) for text in given.rate),
        places_hz=dict(_place(text) for text in given.at),
        step=None if given.step is None else _count(given.step, "--step", most=MOST_POLES),
        method=given.method,
        read_db=dict(_marker(text) for text in given.marker),
        plots=given.plots,
    )
    return run_tune(request, as_json=given.json)


def _turn(text: str) -> tuple[int, float]:
    from tepui.ground.errors import RangeError

    rod, colon, turns = text.partition(":")
    try:
        return (int(rod), float(turns)) if colon else (0, float(rod))
    except ValueError as problem:
        raise RangeError(f'--turned must be a screw and its turns, such as "2: 0.25", not "{text}".') from problem


def _rate(text: str) -> tuple[int, float]:
    from tepui.ground.errors import RangeError

    rod, _, rate = text.partition(":")
    if not rod.strip().isdecimal():
        raise RangeError(f'--rate must be a screw and its rate, such as "2: -7.5 MHz", not "{text}".')
    return int(rod), quantity(rate.strip(), kind="frequency", option="--rate")


def _marker(text: str) -> tuple[float, float]:
    from tepui.ground.errors import RangeError

    where, colon, loss = text.rpartition(":")
    if not colon:
        raise RangeError(f'--marker must be a frequency and a loss, such as "1281 MHz: 1.4 dB", not "{text}".')
    return (
        quantity(where.strip(), kind="frequency", option="--marker"),
        abs(quantity(loss.strip(), kind="ratio", option="--marker")),
    )


def _place(text: str) -> tuple[str, float]:
    name, _, where = text.rpartition(":")
    return name.strip() or where.strip(), quantity(where.strip(), kind="frequency", option="--at")
