"""``tepui new``: a complete, commented station file to begin with, or one from a few questions."""

import argparse
from pathlib import Path

EXAMPLE = """\
tepui new station.toml
tepui new station.toml --ask       a few questions, Enter takes what stands in brackets"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    parser.add_argument("station", metavar="FILE", type=Path, help="the file to write; never overwrites one")
    parser.add_argument("--ask", action="store_true", help="ask a few questions in place of the example's values")


def run(arguments: argparse.Namespace) -> int:
    """Hand over."""
    from tepui.desk.new import run_new

    return run_new(arguments.station, ask=arguments.ask, as_json=arguments.json)
