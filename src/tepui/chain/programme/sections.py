"""Sections: the tables of a transport stream, put together from packets and checked by their CRC.

Theory  A section starts where the pointer field says, may run over several packets and is followed by the next
        one or by stuffing 0xFF. The last four bytes make the CRC-32 of the whole section zero.
Source  [ISO13818-1] 2.4.4 (sections, pointer field), annex A (CRC decoder model); [EN300468] 5.1 (long sections).
Holds   Sections up to 4096 bytes. A lost, damaged or repeated packet costs the section it belongs to, no more.
"""

import zlib
from dataclasses import dataclass, field

LONGEST_SECTION = 4096
_MIRRORED = bytes(int(f"{value:08b}"[::-1], 2) for value in range(256))


def crc32_mpeg(data: bytes) -> int:
    """CRC-32 with polynomial 0x04C11DB7, start value all ones, neither mirrored nor inverted.

    The common library's CRC is the mirrored, inverted one of the same polynomial, so bits are mirrored around it.

    >>> hex(crc32_mpeg(b"123456789"))
    '0x376e6e7'
    """
    mirrored = zlib.crc32(data.translate(_MIRRORED)) ^ 0xFFFFFFFF
    return int(f"{mirrored:032b}"[::-1], 2)


@dataclass(frozen=True, kw_only=True)
class Section:
    """One whole section.

    valid  whether its CRC agrees (True where the syntax has none)
    """

    table_id: int
    extension: int
    data: bytes
    valid: bool

    @property
    def body(self) -> bytes:
        """What follows the eight bytes of the long header, without the CRC."""
        return self.data[8:-4]


def _section(data: bytes) -> Section:
    long_syntax = bool(data[1] & 0x80)
    whole = len(data) >= (12 if long_syntax else 3)
    extension = int.from_bytes(data[3:5], "big") if long_syntax and whole else 0
    return Section(
        table_id=data[0], extension=extension, data=data, valid=whole and (not long_syntax or crc32_mpeg(data) == 0)
    )


@dataclass
class SectionAssembler:
    """Collects the sections of one PID, packet by packet; never holds more than one section and one packet."""

    _partial: bytearray = field(default_factory=bytearray)
    _running: bool = False

    def drop(self) -> None:
        """Forget the section under way: a packet of it is missing."""
        self._partial.clear()
        self._running = False

    def take(self, payload: bytes, *, starts: bool) -> list[Section]:
        """Sections that this payload completes.

        payload  what follows the packet header and adaptation field
        starts   payload_unit_start_indicator: the first byte is a pointer field
        """
        done: list[Section] = []
        if starts:
            if not payload or payload[0] + 1 > len(payload):
                self.drop()
                return done
            pointer = payload[0]
            if self._running:
                self._partial += payload[1 : 1 + pointer]
                done += self._complete()
            self.drop()
            self._running = True
            self._partial += payload[1 + pointer :]
        elif self._running:
            self._partial += payload
        return done + self._complete()

    def _complete(self) -> list[Section]:
        done: list[Section] = []
        while self._running and len(self._partial) >= 3:
            if self._partial[0] == 0xFF:
                self.drop()
                break
            length = 3 + (int.from_bytes(self._partial[1:3], "big") & 0x0FFF)
            if length > LONGEST_SECTION:
                self.drop()
                break
            if len(self._partial) < length:
                break
            done.append(_section(bytes(self._partial[:length])))
            del self._partial[:length]
        return done
