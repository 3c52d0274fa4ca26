"""The second copy: every committed revision as one line in a plain file beside the log.

Theory  A line is appended after its commit and before the next one, under the log's own lock; so the copy is never
        ahead of what was committed, and lags by one entry at most, which the next opening mends. A log whose journal
        or pages were lost is filled up from it.
Source  common practice (no published source).
Holds   Lines are in the order of the log, without a gap. A torn last line is cut off: its entry stands in the log.
"""

import os
from collections.abc import Iterable, Iterator
from pathlib import Path

from tepui.ground.errors import FormatError
from tepui.logbook.kinds import Revision
from tepui.logbook.records import revision_from

BLOCK = 1 << 16


def copy_path(path: Path) -> Path:
    """Where the copy of the log at ``path`` lies."""
    return path.with_name(path.stem + ".copy.jsonl")


def last_line(copy: Path) -> tuple[int, Revision] | None:
    """Place and revision of the last whole line; None where there is none.

    raises  FormatError where that line is damaged
    """
    if not copy.exists():
        return None
    for start, line in _backwards(copy):
        if line.endswith(b"\n"):
            return revision_from(_text(line, copy), where=f"the last line of {copy} (byte {start})")
    return None


def lines_after(copy: Path, seq: int) -> list[tuple[int, Revision]]:
    """The whole lines of a place beyond ``seq``.

    raises  FormatError where one is damaged
    """
    with copy.open("rb") as handle:
        numbered = [
            revision_from(_text(line, copy), where=f"line {number} of {copy}")
            for number, line in enumerate(handle, start=1)
            if line.endswith(b"\n") and _may_be_beyond(line, seq)
        ]
    return [(place, revision) for place, revision in numbered if place > seq]


def sound_lines(copy: Path) -> tuple[list[Revision], list[int]]:
    """Every sound revision of a copy, in order, and the numbers of its damaged lines.

    raises  FormatError where not one line is sound
    """
    found, damaged = {}, []
    with copy.open("rb") as handle:
        for number, line in enumerate(handle, start=1):
            try:
                seq, revision = revision_from(_text(line, copy), where=f"line {number} of {copy}")
            except FormatError:
                damaged.append(number)
            else:
                found[seq] = revision
    if not found:
        raise FormatError(f"{copy} holds no sound line of a log.")
    return [found[seq] for seq in sorted(found)], damaged


def append_lines(copy: Path, lines: Iterable[str]) -> None:
    """Add lines at the end and force them to the disk; a torn end is cut off first.

    raises  OSError
    """
    data = "".join(line + "\n" for line in lines).encode("ascii")
    _cut_torn_end(copy)
    with copy.open("ab") as handle:
        handle.write(data)
        handle.flush()
        os.fsync(handle.fileno())


def _cut_torn_end(copy: Path) -> None:
    if not copy.exists():
        return
    for start, line in _backwards(copy):
        if not line.endswith(b"\n"):
            with copy.open("r+b") as handle:
                handle.truncate(start)
        return


def _backwards(copy: Path) -> Iterator[tuple[int, bytes]]:
    """The last two pieces between line ends, the last one first, with the byte each begins at."""
    size = copy.stat().st_size
    if not size:
        return
    taken = BLOCK
    with copy.open("rb") as handle:
        while True:
            begin = max(0, size - taken)
            handle.seek(begin)
            pieces = handle.read(size - begin).splitlines(keepends=True)
            if begin == 0 or len(pieces) > 2:
                break
            taken *= 4
    end = size
    for piece in reversed(pieces[-2:]):
        end -= len(piece)
        yield end, piece


def _may_be_beyond(line: bytes, seq: int) -> bool:
    """Spare the checksum of lines that plainly lie before; the line's own text puts "seq" in the open."""
    mark = line.rfind(b'"seq":')
    digits = line[mark + 6 : mark + 26].split(b",")[0] if mark >= 0 else b""
    return not digits.isdigit() or int(digits) > seq


def _text(line: bytes, copy: Path) -> str:
    try:
        return line.decode("ascii")
    except UnicodeDecodeError as error:
        raise FormatError(f"{copy} is not plain text.") from error
