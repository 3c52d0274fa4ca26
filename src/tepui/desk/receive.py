"""``receive`` at the desk: open the recordings, run the job, keep stream and pictures, hand back the findings."""

import sys
import time
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt

from tepui.desk.hashes import InputHashes
from tepui.desk.keep import kept_stream, require_folder, require_output
from tepui.files.recordings import open_recording, recording_files
from tepui.ground.document import build_document, document_text
from tepui.ground.findings import Finding, Outcome
from tepui.ground.listing import outcome_text, page_for
from tepui.jobs.receive import receive_recording
from tepui.signals.recording import Recording

SHOWN_TABLES = ("echoes", "locks")
SAY_AFTER_S = 2.0
SAY_EVERY_S = 0.5


@dataclass(frozen=True, kw_only=True)
class ReceiveResult:
    """What a reception hands back: the document, its text for a terminal, and the exit code."""

    document: dict[str, Any]
    text: str
    exit_code: int


def receive_files(
    paths: Sequence[Path],
    *,
    out: Path | None = None,
    plots: Path | None = None,
    sample_type: str | None = None,
    rate_hz: float | None = None,
    frequency_hz: float | None = None,
    width_hz: float | None = None,
    workers: int | None = None,
    verb: str = "receive",
    strict: bool = False,
) -> ReceiveResult:
    """Receive every recording, in order; packets of all go into one stream.

    raises  InputError where something cannot be used: then nothing is written
    """
    opened = [
        open_recording(path, sample_type=sample_type, rate_hz=rate_hz, frequency_hz=frequency_hz) for path in paths
    ]
    recordings = _named_apart(opened)
    read = [file for path in paths for file in recording_files(path)]
    hashes = InputHashes(read)
    if out is not None:
        require_output(out, inputs=read)
    if plots is not None:
        require_folder(plots)
    outcomes = []
    with ExitStack() as stack:
        stream = stack.enter_context(kept_stream(out)) if out is not None else None
        for recording in recordings:
            with _Progress(recording.name) as progress:
                outcome = receive_recording(
                    recording, width_hz=width_hz, workers=workers, packet_sink=_writer(stream), progress=progress.tell
                )
            outcomes.append(_with_remarks(outcome, recording))
        inputs = hashes.result()
    practice = any(recording.practice for recording in recordings)
    written = [str(out)] if out is not None else []
    if plots is not None:
        written += _draw(outcomes, recordings, plots, practice=practice)
    document = build_document(verb=verb, outcomes=outcomes, inputs=inputs, files=written, practice=practice)
    missed = any(f.margin is not None and f.margin < 0 for outcome in outcomes for f in outcome.findings)
    return ReceiveResult(
        document=document, text=_text(outcomes, written, practice=practice), exit_code=1 if strict and missed else 0
    )


def run_receive(
    paths: Sequence[Path],
    *,
    out: Path | None,
    plots: Path | None,
    sample_type: str | None,
    rate_hz: float | None,
    frequency_hz: float | None,
    width_hz: float | None,
    workers: int | None,
    as_json: bool,
    strict: bool,
) -> int:
    """The verb: receive, print, return the exit code."""
    result = receive_files(
        paths,
        out=out,
        plots=plots,
        sample_type=sample_type,
        rate_hz=rate_hz,
        frequency_hz=frequency_hz,
        width_hz=width_hz,
        workers=workers,
        strict=strict,
    )
    sys.stdout.write(document_text(result.document) if as_json else result.text)
    return result.exit_code


def _named_apart(recordings: Sequence[Recording]) -> list[Recording]:
    """Recordings of one name get a number, so that (about, key) occurs once."""
    seen: dict[str, int] = {}
    apart = []
    for recording in recordings:
        count = seen[recording.name] = seen.get(recording.name, 0) + 1
        apart.append(recording if count == 1 else replace(recording, name=f"{recording.name}-{count}"))
    return apart


def _writer(stream: BinaryIO | None) -> Callable[[npt.NDArray[np.uint8]], None] | None:
    if stream is None:
        return None

    def write(packets: npt.NDArray[np.uint8]) -> None:
        stream.write(packets.tobytes())

    return write


def _with_remarks(outcome: Outcome, recording: Recording) -> Outcome:
    """What was noticed on opening goes with the first finding."""
    if not recording.remarks:
        return outcome
    first, *rest = outcome.findings
    remark = " ".join([first.remark, *recording.remarks]).strip()
    findings: tuple[Finding, ...] = (replace(first, remark=remark), *rest)
    return replace(outcome, findings=findings)


def _draw(outcomes: Sequence[Outcome], recordings: Sequence[Recording], folder: Path, *, practice: bool) -> list[str]:
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


def _text(outcomes: Sequence[Outcome], files: Sequence[str], *, practice: bool) -> str:
    page = page_for(sys.stdout)
    parts = []
    if practice:
        parts.append("PRACTICE: made by the simulated bench, not measured on any transmitter.")
    for outcome in outcomes:
        shown = tuple(table for table in outcome.tables if table.name in SHOWN_TABLES)
        parts.append(outcome_text(replace(outcome, tables=shown), page))
    if files:
        parts.append("Files\n" + "\n".join(f"  {name}" for name in files))
    return "\n\n".join(parts) + "\n"


class _Progress:
    """A line on stderr that says how far a long recording is, only on a terminal."""

    def __init__(self, name: str) -> None:
        self._name = name
        self._begun = time.monotonic()
        self._said = 0.0

    def __enter__(self) -> "_Progress":
        return self

    def __exit__(self, *_: object) -> None:
        if self._said:
            sys.stderr.write("\r" + " " * 60 + "\r")
            sys.stderr.flush()

    def tell(self, share: float) -> None:
        """Show the share that is done, now and then."""
        now = time.monotonic()
        if not sys.stderr.isatty() or now - self._begun < SAY_AFTER_S or now - self._said < SAY_EVERY_S:
            return
        self._said = now
        sys.stderr.write(f"\r{self._name[:40]}: {100 * min(share, 1.0):.0f} %")
        sys.stderr.flush()
