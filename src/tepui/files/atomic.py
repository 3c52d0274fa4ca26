"""A file that appears whole or not at all.

Theory  Written under another name in the same folder, forced to the disk, then renamed over the old one in one step.
Source  common practice (no published source); os.replace is atomic on one file system.
Holds   One file. A kill in mid-write leaves the old file as it was, and a hidden ``.NAME.XXXX.part`` beside it.
"""

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO

from tepui.ground.errors import UnfinishedError


@contextmanager
def written_whole(path: Path) -> Iterator[BinaryIO]:
    """A binary file to write to; it takes the name ``path`` only when the block ends without an error.

    raises  UnfinishedError where the disk refuses; whatever the block raises, after removing what was written
    """
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        with part.open("xb") as handle:
            yield handle
            handle.flush()
            os.fsync(handle.fileno())
        part.replace(path)
    except BaseException as error:
        with suppress(OSError):
            part.unlink(missing_ok=True)
        if isinstance(error, OSError):
            reason = error.strerror or str(error)
            raise UnfinishedError(
                f"{path} could not be written ({reason}); make room or choose another place."
            ) from error
        raise


def write_text_whole(path: Path, text: str) -> None:
    """Write ``text`` as UTF-8 under the name ``path``, whole or not at all.

    raises  UnfinishedError where the disk refuses
    """
    with written_whole(path) as handle:
        handle.write(text.encode("utf-8"))
