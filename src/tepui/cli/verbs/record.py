"""``tepui record``: from a running receiver to SigMF, one frequency or a list of tunings."""

import argparse

from tepui.cli.live_options import add_receiver_options, asked_on_terminal, receiver_choice
from tepui.cli.parsing import UsageError, place, quantity

EXAMPLE = """\
tepui record --receiver practice --frequency "1282.5 MHz" --for "2 s" --out lower-edge
tepui record --receiver NAME --list tunings.csv --for "0.5 s" --front LNA --behind IF --out sweep
columns of the list: frequency_hz, and any of rate_hz duration_s attenuator_db frontend_gain_db if_gain_db gain_db
  setting_dbm terminated name; a JSON document with a table "tunings" is read too"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    add_receiver_options(parser)
    add = parser.add_argument
    add("--frequency", metavar="F", help='frequency to tune to: "1282.5 MHz"')
    add("--list", metavar="FILE", dest="tunings", type=place, help="tunings, CSV or a JSON document")
    add("--for", metavar="T", dest="duration", help='length of each recording ("1 s")')
    add("--out", metavar="NAME", type=place, required=True, help="name of the recording; with --list, of a folder")
    add("--setting", metavar="L", help='drive setting to be noted with it: "-3 dBm"')
    add("--terminated", action="store_true", help="note that the receiver's input is terminated")


def run(arguments: argparse.Namespace) -> int:
    """Turn the options into SI and hand over."""
    given = arguments
    if (given.frequency is None) == (given.tunings is None):
        raise UsageError('either --frequency "1282.5 MHz" or --list FILE is needed, and not both.')
    frequency_hz = (
        None if given.frequency is None else quantity(given.frequency, kind="frequency", option="--frequency")
    )
    duration_s = None if given.duration is None else quantity(given.duration, kind="time", option="--for")
    setting_dbm = None if given.setting is None else quantity(given.setting, kind="level", option="--setting")
    from tepui.ground.checks import require_between

    if duration_s is not None:
        require_between("--for", duration_s, 1e-3, 86400, unit="s", source="this program's limit")
    choice = receiver_choice(given)
    from tepui.desk.record import RecordRequest, run_record

    request = RecordRequest(
        receiver=choice,
        out=given.out,
        tunings=given.tunings,
        frequency_hz=frequency_hz,
        duration_s=duration_s,
        setting_dbm=setting_dbm,
        terminated=given.terminated,
        as_json=given.json,
    )
    return run_record(request, ask=asked_on_terminal)
