"""``tepui bench``: the bench in the browser, on this machine."""

import argparse
import importlib
from pathlib import Path

from tepui.cli.parsing import place, whole_number

EXAMPLE = """\
tepui bench
tepui bench my-station/station.toml
tepui bench my-station --port 8200 --no-open"""
PRACTICE = Path("practice-bench")
STATION = "station.toml"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    parser.add_argument(
        "station",
        metavar="STATION",
        nargs="?",
        type=place,
        help=f"the station file, or the folder it and the recordings lie in ({PRACTICE}: the practice station)",
    )
    parser.add_argument("--port", metavar="N", type=whole_number, help="port on this machine (8157, or the next free)")
    parser.add_argument("--no-open", action="store_true", help="do not open the browser")
    parser.add_argument(
        "--reach", choices=("lan",), help="let others in the room in, who have the token it prints; read its warning"
    )


def run(arguments: argparse.Namespace) -> int:
    """Hand over to the web package, which is a neighbour and is loaded by name."""
    from tepui.ground.errors import InputError

    asked: Path = arguments.station or PRACTICE
    folder, name = (asked.parent, asked.name) if asked.is_file() else (asked, STATION)
    if arguments.json:
        raise InputError("bench serves pages and prints no document; leave out --json.")
    if arguments.port is not None and arguments.port > 65535:
        raise InputError(f"--port must be at most 65535 (TCP), not {arguments.port}.")
    if arguments.station is not None and not folder.is_dir():
        raise InputError(
            f"{asked} is neither a station file nor a folder; 'tepui new' writes the one, and none is for practice."
        )
    if asked.is_file() and asked.suffix.lower() != ".toml":
        raise InputError(f"{asked} is no station file: its name ends in .toml; or name the folder it lies in.")
    folder.mkdir(exist_ok=True)
    from tepui.desk.setup import ensure_kernels

    ensure_kernels()
    serve = importlib.import_module("tepui.web.serve").serve
    return int(
        serve(
            folder.resolve(),
            station=name,
            port=arguments.port,
            open_browser=not arguments.no_open,
            reach=arguments.reach or "this machine",
            practice=arguments.station is None,
        )
    )
