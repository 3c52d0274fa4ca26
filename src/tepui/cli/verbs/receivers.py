"""``tepui receivers``: which there are; what one can do, what a check shows, and its entry for the station file."""

import argparse

from tepui.cli.live_options import add_receiver_options, receiver_choice
from tepui.cli.parsing import UsageError, quantity

EXAMPLE = """\
tepui receivers
tepui receivers --receiver NAME --check --frequency "1282.5 MHz" --gain "LNA=20 dB"
tepui receivers --receiver NAME --check --terminated --frequency "1282.5 MHz" --gain "LNA=40 dB" """.rstrip()


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    add_receiver_options(parser, needed=False)
    add = parser.add_argument
    add("--check", action="store_true", help="listen for half a second and measure what the receiver does itself")
    add("--terminated", action="store_true", help="the input is terminated: the noise shows the usable width")
    add("--frequency", metavar="F", help="where to listen for the check")


def run(arguments: argparse.Namespace) -> int:
    """Turn the options into SI and hand over."""
    given = arguments
    if given.receiver is None and (given.check or given.terminated or given.frequency is not None):
        raise UsageError("--check needs --receiver NAME; 'tepui receivers' lists the names.")
    if (given.terminated or given.frequency is not None) and not given.check:
        raise UsageError("--terminated and --frequency belong to --check.")
    frequency_hz = (
        None if given.frequency is None else quantity(given.frequency, kind="frequency", option="--frequency")
    )
    choice = None if given.receiver is None else receiver_choice(given)
    from tepui.desk.receivers import run_receivers

    return run_receivers(
        choice, check=given.check, terminated=given.terminated, frequency_hz=frequency_hz, as_json=given.json
    )
