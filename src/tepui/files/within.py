"""Files that other files name: anywhere for the operator at a terminal, within one folder for a bench.

Theory  A table or a station file may name others beside it. Handed in through a page such a name could lead anywhere on
        the machine, so that a process that works for a bench says once which folder is its world, and every name read
        from a file is judged by where it truly leads, links followed.
Source  our own design.
Holds   Names read from files. What the operator names on a command line is not judged.
"""

from pathlib import Path

from tepui.ground.errors import FormatError

_world: list[Path] = []


def keep_within(folder: Path) -> None:
    """From now on names read from files may lead into this folder only, for this process."""
    _world[:] = [folder.resolve()]


def named_file(beside: Path, name: str | Path) -> Path:
    """The file of this name, counted from the folder of the file that names it.

    beside  the file that names it
    raises  FormatError where it leads out of the folder that this process is kept within
    """
    path = beside.parent / name
    if _world:
        try:
            inside = path.resolve().is_relative_to(_world[0])
        except (OSError, ValueError):  # a name that no file can have
            inside = False
        if not inside:
            raise FormatError(
                f"{beside} names {name}, which lies outside the folder of this bench; put the file into that folder."
            )
    return path
