"""Samples on the disk: any stretch of a file of any length, turned into complex numbers piece by piece.

Theory  A quarter of a megabyte is read and turned at a time, so that the bytes are still in the cache.
Source  common practice (no published source).
Holds   Many threads at once: every read opens the file for itself. The file must not shrink meanwhile.
"""

import io
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from tepui.files.sample_types import SampleType, decode_into
from tepui.ground.errors import FormatError, UnfinishedError

PIECE_SAMPLES = 65536


@dataclass(frozen=True, kw_only=True)
class Piece:
    """Samples that lie side by side in the file: the first one's number, how many, and the byte where they begin."""

    start: int
    count: int
    byte: int


@dataclass(frozen=True, kw_only=True)
class FileSamples:
    """A SampleSource over one file; ``pieces`` in order and without gaps."""

    path: Path
    sample_type: SampleType
    pieces: tuple[Piece, ...]

    def read(self, start: int, count: int) -> npt.NDArray[np.complex64]:
        """Samples start to start + count, cut to what exists.

        returns  (n,) complex64, full scale 1
        raises   UnfinishedError where the disk fails or the file has shrunk
        """
        last = self.pieces[-1]
        samples = np.empty(max(0, min(count, last.start + last.count - start)), dtype=np.complex64)
        if len(samples):
            try:
                self._fill(samples, start)
            except OSError as error:
                raise UnfinishedError(f"{self.path} could not be read ({error.strerror or error}).") from error
        return samples

    def codes(self, start: int, count: int) -> npt.NDArray[np.int16] | None:
        """The stored 16-bit codes of samples start to start + count, for readers that scale as they go.

        returns  (n, 2) as stored, or None where they are stored otherwise or not side by side
        """
        if self.sample_type.code != "<i2" or sys.byteorder != "little" or self.sample_type.zero:
            return None
        for piece in self.pieces:
            if piece.start <= start and start + count <= piece.start + piece.count:
                stored = np.empty((count, 2), np.int16)
                try:
                    with self.path.open("rb", buffering=0) as handle:
                        handle.seek(piece.byte + (start - piece.start) * self.sample_type.n_bytes)
                        self._read_exactly(handle, stored.reshape(-1).view(np.uint8).data)
                except OSError as error:
                    raise UnfinishedError(f"{self.path} could not be read ({error.strerror or error}).") from error
                return stored
        return None

    @property
    def code_scale(self) -> float:
        """What one step of a code is worth, full scale 1."""
        return 1.0 / (self.sample_type.full_scale or 1.0)

    def _fill(self, samples: npt.NDArray[np.complex64], start: int) -> None:
        width = self.sample_type.n_bytes
        axes = samples.view(np.float32)
        stored = np.empty(min(len(samples), PIECE_SAMPLES) * width, dtype=np.uint8)
        end = start + len(samples)
        with self.path.open("rb", buffering=0) as handle:
            for piece in self.pieces:
                at, stop = max(start, piece.start), min(end, piece.start + piece.count)
                if at >= stop:
                    continue
                handle.seek(piece.byte + (at - piece.start) * width)
                while at < stop:
                    n = min(stop - at, PIECE_SAMPLES)
                    self._read_exactly(handle, stored.data[: n * width])
                    decode_into(self.sample_type, stored[: n * width], axes[2 * (at - start) : 2 * (at - start + n)])
                    at += n

    def _read_exactly(self, handle: io.RawIOBase, buffer: memoryview) -> None:
        filled = 0
        while filled < len(buffer):
            got = handle.readinto(buffer[filled:])
            if not got:
                raise UnfinishedError(f"{self.path} has become shorter while it was being read; run again.")
            filled += got


def size_of(path: Path) -> int:
    """Length of a file that must be there and not empty. [bytes]

    raises  FormatError
    """
    try:
        size = path.stat().st_size
    except OSError as error:
        raise FormatError(f"{path} cannot be opened ({error.strerror or error}).") from error
    if size == 0:
        raise FormatError(f"{path} is empty; nothing was recorded.")
    return size


def lay_out(
    path: Path, sample_type: SampleType, *, end_byte: int, headers: Sequence[tuple[int, int]]
) -> tuple[tuple[Piece, ...], tuple[str, ...]]:
    """Where the samples lie in a file that ends (or is cut off) at ``end_byte``.

    headers  (sample number, bytes that are no samples just before that sample), in order; the first at sample 0
    returns  the pieces, and a remark where the last sample is torn
    raises   FormatError where there is not one whole sample
    """
    width = sample_type.n_bytes
    pieces = []
    skipped = torn = 0
    for (start, n_bytes), following in zip(headers, [*(one[0] for one in headers[1:]), None], strict=True):
        skipped += n_bytes
        byte = skipped + start * width
        room, over = divmod(max(0, end_byte - byte), width)
        count = room if following is None else min(room, following - start)
        if count:
            pieces.append(Piece(start=start, count=count, byte=byte))
        if following is None or count < following - start:
            torn = over
            break
    if not pieces:
        raise FormatError(f"{path} ends before its first whole sample ({sample_type.name}, {width} bytes each).")
    remark = f"The data end inside a sample: the last {torn} bytes are left out."
    return tuple(pieces), ((remark,) if torn else ())
