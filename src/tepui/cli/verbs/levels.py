"""``tepui levels``: what each test point should show, and what readings make of it."""

import argparse
from pathlib import Path

from tepui.cli.parsing import UsageError, day_or_utc

LOG = "tepui-log.sqlite"
EXAMPLE = """\
tepui levels station.toml
tepui levels station.toml --reading "after driver = 9.7 dBm ± 0.5 dB" --reading "after amplifier on head = -4.4 dBm"
tepui levels station.toml --log             with the readings of the log ('tepui log add reading')
tepui levels station.toml --card            the bring-up card, step by step
a reading "on NAME" is what that instrument shows behind its pads ("on NAME through 20 dB" behind others);
  without it, the mean power at the point"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    add = parser.add_argument
    add("station", metavar="FILE", type=Path, help="the station file")
    add("--reading", metavar="TEXT", action="append", default=[], help='"after driver = 9.7 dBm ± 0.5 dB"; may repeat')
    add("--readings", metavar="FILE", type=Path, help="a text file of readings, one a line")
    add("--log", metavar="LOG", type=Path, nargs="?", const=Path(LOG), help=f"take the log's readings in ({LOG} here)")
    add("--since", metavar="T", help="leave out the log's readings before T: 2026-01-31T20:15:00Z or 2026-01-31")
    add("--card", action="store_true", help="print the bring-up card")
    add("--strict", action="store_true", help="leave with 1 where a limit of yours is missed")


def run(arguments: argparse.Namespace) -> int:
    """Hand over."""
    from tepui.desk.levels import LevelsRequest, run_levels

    since = arguments.since
    if since is not None:
        if arguments.log is None:
            raise UsageError("--since is about the readings of a log; give --log.")
        since = day_or_utc(since, option="--since")
    request = LevelsRequest(
        station=arguments.station,
        readings=arguments.reading,
        readings_file=arguments.readings,
        log=arguments.log,
        since=since,
        card=arguments.card,
    )
    return run_levels(request, as_json=arguments.json, strict=arguments.strict)
