"""I/Q in a WAV file: the left channel is I, the right channel Q.

Theory  Chunks of (name, length, data), little-endian. A file beyond 4 GiB is RF64: its true lengths stand in "ds64".
Source  [MMPI 1.0] RIFF and WAVE; WAVE_FORMAT_EXTENSIBLE from its later revision; [EBU3306] RF64.
        Left = I, right = Q is common practice (no published source).
Holds   Two channels of 8, 16, 24 or 32 bit integers or 32 or 64 bit floats. The tuned frequency is not in the file.
"""

import struct
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from tepui.files.rates import require_rate
from tepui.files.sample_file import FileSamples, lay_out, size_of
from tepui.files.sample_types import SAMPLE_TYPES, WAV_8, WAV_24, SampleType
from tepui.ground.errors import FormatError
from tepui.signals.recording import Recording, Stretch

INTEGER, FLOATING, EXTENSIBLE = 1, 3, 0xFFFE
SUBFORMAT_TAIL = bytes.fromhex("000000001000800000aa00389b71")
UNTOLD = 0xFFFFFFFF
WRAP_BYTES = 1 << 32
MOST_CHUNKS = 1000
STORED = {
    (INTEGER, 8): WAV_8,
    (INTEGER, 16): SAMPLE_TYPES["ci16_le"],
    (INTEGER, 24): WAV_24,
    (INTEGER, 32): SAMPLE_TYPES["ci32_le"],
    (FLOATING, 32): SAMPLE_TYPES["cf32_le"],
    (FLOATING, 64): SAMPLE_TYPES["cf64_le"],
}


@dataclass(frozen=True, kw_only=True)
class WavLayout:
    """Where the samples stand and what they are; ``promised_bytes`` as the header says, None where it is silent."""

    sample_type: SampleType
    rate_hz: float
    first_byte: int
    promised_bytes: int | None


def is_wav(head: bytes) -> bool:
    """Whether these first 12 bytes open a WAV file, plain or RF64."""
    return head[:4] in (b"RIFF", b"RF64") and head[8:12] == b"WAVE"


def open_wav(path: Path, *, rate_hz: float | None = None, frequency_hz: float | None = None) -> Recording:
    """Open an I/Q WAV file; a rate that is given replaces the header's, with a remark.

    raises  FormatError or RangeError, one sentence, for a file that is no I/Q recording
    """
    size = size_of(path)
    with path.open("rb") as handle:
        layout = read_layout(handle, path)
    remarks = []
    rate = layout.rate_hz if rate_hz is None else rate_hz
    if rate != layout.rate_hz:
        remarks.append(f"The header says {layout.rate_hz:.12g} S/s; {rate:.12g} S/s was given and used.")
    require_rate(rate, path=path)
    end_byte, about_end = data_end(layout, size=size)
    pieces, torn = lay_out(path, layout.sample_type, end_byte=end_byte, headers=[(0, layout.first_byte)])
    count = pieces[0].count
    return Recording(
        name=path.stem,
        sample_rate_hz=rate,
        n_samples=count,
        stretches=(Stretch(start=0, count=count, frequency_hz=frequency_hz),),
        sample_type=layout.sample_type.name,
        remarks=(*remarks, *about_end, *torn),
        source=FileSamples(path=path, sample_type=layout.sample_type, pieces=pieces),
    )


def data_end(layout: WavLayout, *, size: int) -> tuple[int, tuple[str, ...]]:
    """The byte after the last sample of a file of ``size`` bytes, and a remark where the header is wrong about it."""
    available = size - layout.first_byte
    promised = layout.promised_bytes
    if promised is None:
        return size, ("The header leaves the length open (recording not closed); the file is used to its end.",)
    if promised > available:
        width = layout.sample_type.n_bytes
        return size, (
            f"The header promises {promised // width} samples, the file holds {available // width}; "
            "it is used as far as it goes.",
        )
    turns = (available - promised) // WRAP_BYTES
    if turns:
        return layout.first_byte + promised + turns * WRAP_BYTES, (
            f"The header's length has wrapped {turns} times at 4 GiB; the file is used to its end.",
        )
    return layout.first_byte + promised, ()


def read_layout(handle: BinaryIO, path: Path) -> WavLayout:
    """Read the header.

    raises  FormatError where it is no two-channel WAV of a readable kind
    """
    is_rf64 = handle.read(12)[:4] == b"RF64"
    long_bytes: int | None = None
    stored: tuple[SampleType, float] | None = None
    for name, n_bytes in _chunks(handle):
        if name == b"ds64" and n_bytes >= 16:
            long_bytes = struct.unpack("<8xQ", handle.read(16))[0]
        elif name == b"fmt ":
            stored = _stored(handle.read(min(n_bytes, 40)), path)
        elif name == b"data":
            if stored is None:
                break
            promised: int | None = n_bytes
            if n_bytes == UNTOLD:
                promised = long_bytes if is_rf64 else None
            elif n_bytes == 0:
                promised = None
            return WavLayout(
                sample_type=stored[0], rate_hz=stored[1], first_byte=handle.tell(), promised_bytes=promised
            )
    raise FormatError(f"{path} is a WAV file without its {'data' if stored else 'fmt'} chunk; it cannot be read.")


def _chunks(handle: BinaryIO) -> Iterator[tuple[bytes, int]]:
    """Name and length of each chunk; the handle stands at its first byte."""
    for _ in range(MOST_CHUNKS):
        head = handle.read(8)
        if len(head) < 8:
            return
        name, n_bytes = struct.unpack("<4sI", head)
        begin = handle.tell()
        yield name, n_bytes
        handle.seek(begin + n_bytes + n_bytes % 2)


def _stored(chunk: bytes, path: Path) -> tuple[SampleType, float]:
    if len(chunk) < 16:
        raise FormatError(f"{path} is a WAV file whose fmt chunk is cut short; it cannot be read.")
    tag, channels, rate, _, align, bits = struct.unpack("<HHIIHH", chunk[:16])
    if tag == EXTENSIBLE and len(chunk) >= 40 and chunk[26:40] == SUBFORMAT_TAIL:
        tag = struct.unpack("<H", chunk[24:26])[0]
    if channels != 2:
        raise FormatError(
            f"{path} is a WAV file with {channels} channel{'' if channels == 1 else 's'}; "
            "an I/Q recording has two, I on the left and Q on the right."
        )
    sample_type = STORED.get((tag, bits))
    if sample_type is None or align != sample_type.n_bytes:
        raise FormatError(
            f"{path} is a WAV file of format {tag} with {bits} bits; "
            "tepui reads integers of 8, 16, 24 or 32 bits (1) and floats of 32 or 64 bits (3)."
        )
    return sample_type, float(rate)
