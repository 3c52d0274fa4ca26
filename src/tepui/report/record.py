"""What a report is made from: the station, findings documents with their pictures, and what the log holds.

Theory  A report says nothing of its own. The same record gives the same bytes: its time is the newest in the record.
Source  our own design.
Holds   Plain nouns, so that whoever opens files and logs may fill them.
"""

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from tepui.ground.document_reader import ReadDocument


@dataclass(frozen=True, kw_only=True)
class Picture:
    """A picture: file name, bytes, and what it shows in words."""

    name: str
    data: bytes
    alt: str


@dataclass(frozen=True, kw_only=True)
class Source:
    """A document of the record: its number in the report, its name, the sha256 of its text, its pictures."""

    ref: str
    name: str
    sha256: str
    size_bytes: int
    document: ReadDocument
    pictures: tuple[Picture, ...] = ()


@dataclass(frozen=True, kw_only=True)
class MeasuredTrace:
    """A measured trace that the station names: the stage, the file and its sha256, and the curves in decibels."""

    stage: str
    name: str
    text: str
    sha256: str
    frequency_hz: tuple[float, ...]
    transmission_db: tuple[float, ...]
    reflection_db: tuple[float, ...] | None


@dataclass(frozen=True, kw_only=True)
class StationText:
    """The station file: its name, its text, and what TOML makes of it."""

    name: str
    text: str
    values: Mapping[str, Any]

    @property
    def sha256(self) -> str:
        """Of the text's bytes."""
        return hashlib.sha256(self.text.encode("utf-8")).hexdigest()


@dataclass(frozen=True, kw_only=True)
class LogRow:
    """An entry of the log as it stands: its kind, its time, whether it is practice, its fields."""

    kind: str
    utc: str
    practice: bool
    body: Mapping[str, Any]


@dataclass(frozen=True, kw_only=True)
class Record:
    """Everything a report is made from.

    drawings  one for each trace, in the same order
    remarks   what could not be worked out, in sentences
    """

    program: str
    sources: tuple[Source, ...]
    station: StationText | None = None
    rows: tuple[LogRow, ...] = ()
    photographs: tuple[Picture, ...] = ()
    traces: tuple[MeasuredTrace, ...] = ()
    drawings: tuple[Picture, ...] = ()
    remarks: tuple[str, ...] = field(default=())

    @property
    def practice(self) -> bool:
        """Whether anything in it came from the practice station."""
        return any(source.document.practice for source in self.sources) or any(row.practice for row in self.rows)

    @property
    def utc(self) -> str:
        """The newest time in it."""
        times = [str(source.document.plain["utc"]) for source in self.sources] + [row.utc for row in self.rows]
        return max(times, default="1980-01-01T00:00:00Z")

    def rows_of(self, kind: str) -> list[LogRow]:
        """The rows of one kind, the oldest first."""
        return sorted((row for row in self.rows if row.kind == kind), key=lambda row: row.utc)
