"""``tepui check``: a station file in; every prediction it allows and every verdict it does not."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from tepui.desk.path_request import CareRequest

EXAMPLE = """\
tepui check station.toml
tepui check station.toml --json
tepui check station.toml --exposure --licence --candidate "1255 MHz" --country DE
tepui check --schema > station.schema.json     the JSON schema, for editors"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    parser.add_argument("station", metavar="FILE", nargs="?", type=Path, help="the station file")
    parser.add_argument("--exposure", action="store_true", help="distances to the published levels of exposure")
    parser.add_argument("--tx-antenna", choices=("dish", "array"), help="what the antenna's diameter is of (dish)")
    parser.add_argument("--licence", action="store_true", help="the channel beside band edges, segments and rules")
    parser.add_argument("--candidate", metavar="F", action="append", help="centre of another channel for the sheet")
    parser.add_argument("--country", metavar="CC", help="two letters, for national rules at hand: DE")
    parser.add_argument("--rules", metavar="FILE.csv", type=Path, help="rules of your own")
    parser.add_argument("--ticks", metavar="FILE.json", type=Path, help="your ticks, as the bench's sheet of care "
                        "keeps them; told as a table")  # fmt: skip
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
    return run_check(
        arguments.station,
        as_json=arguments.json,
        strict=arguments.strict,
        care=_care(arguments),
        ticks=arguments.ticks,
    )


def _care(given: argparse.Namespace) -> "CareRequest | None":
    """What of care is asked beside the check; None where nothing is."""
    from tepui.cli.parsing import width_hz
    from tepui.desk.path_request import CareRequest

    sheet = given.licence or given.candidate or given.country or given.rules
    if not (sheet or given.exposure):
        return None
    return CareRequest(
        exposure=given.exposure,
        long_array=given.tx_antenna == "array",
        licence=bool(sheet),
        candidates_hz=tuple(width_hz(text, option="--candidate") for text in given.candidate or ()),
        country=None if given.country is None else given.country.upper(),
        rules=given.rules,
    )
