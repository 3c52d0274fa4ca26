"""The sha256 of every input, taken in a thread of its own and remembered by path, size and time.

Theory  Hashing a long recording takes seconds and needs no answer until the document is written, so it runs beside
        the work. A file of the same place, size and modification time is taken to hold the same bytes.
Source  FIPS 180-4 (sha256); common practice for the rest (no published source).
Holds   A file whose time is younger than two seconds is hashed again next time: it may still change within one tick
        of a coarse clock, which FAT counts in two seconds.
"""

import hashlib
import json
import threading
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from tepui.files.atomic import write_text_whole
from tepui.ground.document import InputFile
from tepui.ground.errors import InputError, TepuiError

CLOCK_TICK_S = 2.0
REMEMBERED = 2000


class InputHashes:
    """Starts hashing when made; ``result`` waits for the end."""

    def __init__(self, paths: Sequence[Path], *, memory: Path | None = None) -> None:
        """Begin at once.

        paths   the inputs, in the order of the document
        memory  the file that remembers; None takes the one in the user's cache folder
        """
        self._paths = tuple(paths)
        self._memory = memory
        self._files: tuple[InputFile, ...] = ()
        self._failure: Exception | None = None
        self._thread = threading.Thread(target=self._run, name="input hashes", daemon=True)
        self._thread.start()

    def result(self) -> tuple[InputFile, ...]:
        """Path, size and sha256 of every input.

        raises  InputError for an input that cannot be read
        """
        self._thread.join()
        if self._failure is not None:
            raise self._failure
        return self._files

    def _run(self) -> None:
        try:
            self._files = hash_files(self._paths, memory=self._memory)
        except OSError as problem:
            self._failure = InputError(f"{problem.filename} cannot be read ({problem.strerror}).")
        except Exception as problem:  # to be raised where somebody waits for it
            self._failure = problem


def hash_files(paths: Sequence[Path], *, memory: Path | None = None) -> tuple[InputFile, ...]:
    """Path, size and sha256 of every file, from memory where that can be trusted.

    raises  OSError for a file that cannot be read
    """
    place = memory or _default_memory()
    remembered = _read(place)
    learned: dict[str, list[Any]] = {}
    files = []
    for path in paths:
        status = path.stat()
        name = str(path.resolve())
        known = remembered.get(name)
        if known is not None and known[:2] == [status.st_size, status.st_mtime_ns]:
            digest = str(known[2])
        else:
            digest = _sha256(path)
            unchanged = path.stat().st_mtime_ns == status.st_mtime_ns
            if unchanged and abs(time.time() - status.st_mtime) > CLOCK_TICK_S:
                learned[name] = [status.st_size, status.st_mtime_ns, digest]
        files.append(InputFile(path=str(path), size_bytes=status.st_size, sha256=digest))
    if learned:
        _remember(place, {**{key: value for key, value in remembered.items() if key not in learned}, **learned})
    return tuple(files)


def _sha256(path: Path) -> str:
    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()


def _default_memory() -> Path:
    from platformdirs import user_cache_path

    return user_cache_path("tepui", appauthor=False) / "hashes.json"


def _read(place: Path) -> dict[str, list[Any]]:
    try:
        entries = json.loads(place.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    if not isinstance(entries, dict):
        return {}
    return {key: value for key, value in entries.items() if isinstance(value, list) and len(value) == 3}


def _remember(place: Path, entries: dict[str, list[Any]]) -> None:
    newest = dict(list(entries.items())[-REMEMBERED:])
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        write_text_whole(place, json.dumps(newest))
    except (OSError, TepuiError):
        return  # a memory that cannot be kept costs time, never the result
