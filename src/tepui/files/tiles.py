"""Finished parts of a long piece of work, kept so that a killed run goes on where it stopped.

Theory  Each part is a file under the key of what it was worked out from; it appears whole or not at all.
Source  [NPY] format 1.0 for the file; own design for the names.
Holds   Arrays of 32-bit floats. A file that cannot be read, or of another shape, is worked out again.
"""

from collections.abc import Callable
from pathlib import Path

import numpy as np
import numpy.typing as npt

from tepui.files.atomic import written_whole

Singles = npt.NDArray[np.float32]


def kept_part(folder: Path | None, name: str, work: Callable[[], Singles]) -> Singles:
    """The part of this name, from the folder or worked out and kept there.

    folder  None keeps nothing
    raises  UnfinishedError where the disk refuses
    """
    if folder is None:
        return work()
    path = folder / f"{name}.npy"
    found = read_part(path)
    if found is not None:
        return found
    part = work()
    with written_whole(path) as handle:
        np.save(handle, part, allow_pickle=False)
    return part


def read_part(path: Path) -> Singles | None:
    """A part that was kept; None where there is none or it is spoilt."""
    try:
        part = np.load(path, allow_pickle=False)
    except (OSError, ValueError, EOFError):
        return None
    return part if part.dtype == np.float32 and part.ndim == 2 else None
