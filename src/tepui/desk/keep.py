"""Where a verb may write, checked before the work begins; and writing that leaves nothing half-done.

Theory  A place that cannot be written is the operator's to mend, and is told before the work, not after it. A regular
        file appears whole (files.atomic); a device or pipe cannot be renamed over, so it is written straight on.
Source  common practice (no published source).
Holds   One writer per file.
"""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO

from tepui.files.atomic import written_whole
from tepui.ground.errors import InputError


def require_output(path: Path, *, inputs: Iterable[Path] = ()) -> None:
    """Refuse an output file that could not be written, or that is one of the inputs.

    raises  InputError
    """
    if path.is_dir():
        raise InputError(f"{path} is a folder; name a file inside it to write to.")
    if not path.absolute().parent.is_dir():
        raise InputError(f"the folder {path.absolute().parent} does not exist; make it, or name another place.")
    for given in inputs:
        if path.exists() and given.exists() and path.samefile(given):
            raise InputError(f"{path} is an input and would be overwritten; name another file to write to.")


def require_folder(path: Path) -> None:
    """Refuse an output folder whose name belongs to a file, or whose parents do not exist.

    raises  InputError
    """
    if path.exists() and not path.is_dir():
        raise InputError(f"{path} is a file and a folder is needed here; name another place.")
    if not path.absolute().parent.is_dir():
        raise InputError(f"the folder {path.absolute().parent} does not exist; make it, or name another place.")


@contextmanager
def kept_stream(path: Path) -> Iterator[BinaryIO]:
    """A file written over time: it takes its name when the block ends well, and is gone after an error or Ctrl-C.

    raises  UnfinishedError where the disk refuses
    """
    if path.exists() and not path.is_file():
        with path.open("wb") as handle:
            yield handle
        return
    with written_whole(path.resolve() if path.is_symlink() else path) as handle:
        yield handle


def keep_bytes(path: Path, data: bytes) -> None:
    """Write ``data`` under the name ``path``, whole or not at all.

    raises  UnfinishedError where the disk refuses
    """
    with kept_stream(path) as handle:
        handle.write(data)


def keep_text(path: Path, text: str) -> None:
    """Write ``text`` as UTF-8 under the name ``path``, whole or not at all.

    raises  UnfinishedError where the disk refuses
    """
    keep_bytes(path, text.encode("utf-8"))
