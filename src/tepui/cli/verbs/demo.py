"""``tepui demo``: the whole job on the built-in practice station."""

import argparse

from tepui.cli.parsing import place

EXAMPLE = "tepui demo --folder practice-run"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    parser.add_argument(
        "--folder",
        metavar="DIR",
        type=place,
        help="where everything goes (practice-marl-bay)",
    )


def run(arguments: argparse.Namespace) -> int:
    """Hand over."""
    from tepui.desk.setup import ensure_kernels

    ensure_kernels()
    from tepui.desk.demo import run_demo

    return run_demo(folder=arguments.folder, as_json=arguments.json)
