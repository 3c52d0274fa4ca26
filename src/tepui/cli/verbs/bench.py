"""``tepui bench``: the bench in the browser, on this machine."""

import argparse
import importlib
from pathlib import Path

from tepui.cli.parsing import place, whole_number

EXAMPLE = """\
tepui bench
tepui bench my-station --port 8200 --no-open
tepui bench my-station/station.toml"""
PRACTICE = Path("practice-bench")
STATION = "station.toml"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    parser.add_argument(
        "folder",
        metavar="FOLDER",
        nargs="?",
        type=place,
        help=f"where {STATION} and recordings lie, or that file itself ({PRACTICE}: the practice station)",
    )
    parser.add_argument("--port", metavar="N", type=whole_number, help="port on this machine (8157, or the next free)")
    parser.add_argument("--no-open", action="store_true", help="do not open the browser")
    parser.add_argument(
        "--reach", choices=("lan",), help="let others in the room in, who have the token it prints; read its warning"
    )


def run(arguments: argparse.Namespace) -> int:
    """Hand over to the web package, which is a neighbour and is loaded by name."""
    from tepui.ground.errors import InputError

    folder: Path = arguments.folder or PRACTICE
    if arguments.json:
        raise InputError("bench serves pages and prints no document; leave out --json.")
    if arguments.port is not None and arguments.port > 65535:
        raise InputError(f"--port must be at most 65535 (TCP), not {arguments.port}.")
    if folder.is_file() and folder.name == STATION:
        folder = folder.parent
    if arguments.folder is not None and not folder.is_dir():
        raise InputError(
            f"{folder} is neither a folder nor a file named {STATION}; name the folder that your {STATION} and "
            "recordings lie in, or none for practice."
        )
    folder.mkdir(exist_ok=True)
    from tepui.desk.setup import ensure_kernels

    ensure_kernels()
    serve = importlib.import_module("tepui.web.serve").serve
    return int(
        serve(
            folder.resolve(),
            port=arguments.port,
            open_browser=not arguments.no_open,
            reach=arguments.reach or "this machine",
            practice=arguments.folder is None,
        )
    )
