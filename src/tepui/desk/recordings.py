"""What the verbs on recordings share: names apart, remarks of opening, pictures, the text for a terminal."""

import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Protocol

import numpy as np
import numpy.typing as npt

from tepui.ground.findings import Finding, Outcome
from tepui.ground.listing import outcome_text, page_for
from tepui.signals.recording import Recording, SampleSource


def named_apart(recordings: Sequence[Recording]) -> list[Recording]:
    """Recordings of one name get a number, so that (about, key) occurs once."""
    seen: dict[str, int] = {}
    apart = []
    for recording in recordings:
        count = seen[recording.name] = seen.get(recording.name, 0) + 1
        apart.append(recording if count == 1 else replace(recording, name=f"{recording.name}-{count}"))
    return apart


def with_remarks(outcome: Outcome, recording: Recording) -> Outcome:
    """What was noticed on opening goes with the first finding."""
    if not recording.remarks:
        return outcome
    first, *rest = outcome.findings
    remark = " ".join([first.remark, *recording.remarks]).strip()
    findings: tuple[Finding, ...] = (replace(first, remark=remark), *rest)
    return replace(outcome, findings=findings)


class Named(Protocol):
    """What pictures are kept under: a recording or a set."""

    @property
    def name(self) -> str:
        """Its name, and that of its folder where there are several."""
        ...

    @property
    def practice(self) -> bool:
        """Whether it comes from the simulated bench."""
        ...


def draw(outcomes: Sequence[Outcome], recordings: Sequence[Named], folder: Path, *, practice: bool) -> list[str]:
    """Draw every outcome's pictures; one recording's into the folder itself, several into a folder each."""
    from tepui.report.pictures import draw_pictures

    files = []
    for outcome, recording in zip(outcomes, recordings, strict=True):
        if not outcome.pictures:
            continue
        place = folder if len(outcomes) == 1 else folder / recording.name
        folder.mkdir(exist_ok=True)
        place.mkdir(exist_ok=True)
        files += [str(path) for path in draw_pictures(outcome.pictures, place, practice=practice or recording.practice)]
    return files


def text_of(outcomes: Sequence[Outcome], files: Sequence[str], *, practice: bool, tables: Sequence[str]) -> str:
    """Findings, the named tables that hold anything, and the files, for a terminal."""
    page = page_for(sys.stdout)
    parts = []
    if practice:
        parts.append("PRACTICE: made by the simulated bench, not measured on any transmitter.")
    for outcome in outcomes:
        shown = tuple(table for table in outcome.tables if table.name in tables and table.rows)
        parts.append(outcome_text(replace(outcome, tables=shown), page))
    if files:
        parts.append("Files\n" + "\n".join(f"  {name}" for name in files))
    return "\n\n".join(parts) + "\n"


@dataclass
class _Watched:
    """A source of samples that tells what share of all that will be read has been."""

    source: SampleSource
    total: int
    tell: Callable[[float], None]
    done: int = 0

    def read(self, start: int, count: int) -> npt.NDArray[np.complex64]:
        samples = self.source.read(start, count)
        self.done += len(samples)  # for show: two threads may lose a count
        self.tell(self.done / self.total)
        return samples


def watched(recording: Recording, tell: Callable[[float], None], *, passes: int) -> Recording:
    """The same recording, which tells its share read while it is read ``passes`` times over."""
    return replace(recording, source=_Watched(recording.source, passes * recording.n_samples, tell))
