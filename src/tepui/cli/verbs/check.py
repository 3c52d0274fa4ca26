"""``tepui check``: a station file in; every prediction it allows and every verdict it does not."""

import argparse
from pathlib import Path

EXAMPLE = """\
tepui check station.toml
tepui check station.toml --json
tepui check --schema > station.schema.json     the JSON schema, for editors"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    parser.add_argument("station", metavar="FILE", nargs="?", type=Path, help="the station file")
    parser.add_argument("--schema", action="store_true", help="print the JSON schema of the station file and leave")
    parser.add_argument("--keys", action="store_true", help="print every key of the station file with its meaning")
    parser.add_argument("--strict", action="store_true", help="leave with 1 where a limit of yours is missed")


def run(arguments: argparse.Namespace) -> int:
    """Hand over.

    raises  UsageError without a file
    """
    from tepui.cli.parsing import UsageError
    from tepui.desk.check import print_keys, print_schema, run_check

    if arguments.schema:
        return print_schema()
    if arguments.keys:
        return print_keys()
    if arguments.station is None:
        raise UsageError(
            "name a station file, such as station.toml; 'tepui new station.toml' writes one to begin with."
        )
    return run_check(arguments.station, as_json=arguments.json, strict=arguments.strict)
