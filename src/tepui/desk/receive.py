"""``receive`` at the desk: open the recordings, run the job, keep stream and pictures, hand back the findings."""

import sys
from collections.abc import Callable, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import numpy.typing as npt

from tepui.chain.programme.picture import MOST_BYTES, received_picture
from tepui.desk.hashes import InputHashes
from tepui.desk.keep import keep_bytes, kept_stream, require_folder, require_output
from tepui.desk.progress import Progress
from tepui.desk.recordings import draw, named_apart, text_of, with_remarks
from tepui.files.recordings import open_recording, recording_files
from tepui.ground.document import build_document, document_text
from tepui.ground.findings import Outcome
from tepui.jobs.receive import receive_recording

SHOWN_TABLES = ("echoes", "locks")


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
    picture: Path | None = None,
    sample_type: str | None = None,
    rate_hz: float | None = None,
    frequency_hz: float | None = None,
    width_hz: float | None = None,
    workers: int | None = None,
    verb: str = "receive",
    strict: bool = False,
) -> ReceiveResult:
    """Receive every recording, in order; packets of all go into one stream.

    picture  where a picture of the first recording's programme goes, where there is one
    raises  InputError where something cannot be used: then nothing is written
    """
    opened = [
        open_recording(path, sample_type=sample_type, rate_hz=rate_hz, frequency_hz=frequency_hz) for path in paths
    ]
    recordings = named_apart(opened)
    read = [file for path in paths for file in recording_files(path)]
    hashes = InputHashes(read)
    if out is not None:
        require_output(out, inputs=read)
    if plots is not None:
        require_folder(plots)
    if picture is not None:
        require_output(picture, inputs=read)
    seen = bytearray()
    outcomes: list[Outcome] = []
    with ExitStack() as stack:
        stream = stack.enter_context(kept_stream(out)) if out is not None else None
        for recording in recordings:
            with Progress(recording.name) as progress:
                wanted = seen if picture is not None and not outcomes else None
                outcome = receive_recording(
                    recording,
                    width_hz=width_hz,
                    workers=workers,
                    packet_sink=_writer(stream, wanted),
                    progress=progress.tell,
                )
            outcomes.append(with_remarks(outcome, recording))
        inputs = hashes.result()
    practice = any(recording.practice for recording in recordings)
    written = [str(out)] if out is not None else []
    if picture is not None and _keep_picture(picture, bytes(seen)):
        written.append(str(picture))
    if plots is not None:
        written += draw(outcomes, recordings, plots, practice=practice)
    document = build_document(verb=verb, outcomes=outcomes, inputs=inputs, files=written, practice=practice)
    missed = any(f.margin is not None and f.margin < 0 for outcome in outcomes for f in outcome.findings)
    text = text_of(outcomes, written, practice=practice, tables=SHOWN_TABLES)
    return ReceiveResult(document=document, text=text, exit_code=1 if strict and missed else 0)


def run_receive(
    paths: Sequence[Path],
    *,
    out: Path | None,
    plots: Path | None,
    picture: Path | None,
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
        picture=picture,
        sample_type=sample_type,
        rate_hz=rate_hz,
        frequency_hz=frequency_hz,
        width_hz=width_hz,
        workers=workers,
        strict=strict,
    )
    sys.stdout.write(document_text(result.document) if as_json else result.text)
    return result.exit_code


def _writer(stream: BinaryIO | None, seen: bytearray | None) -> Callable[[npt.NDArray[np.uint8]], None] | None:
    """Takes packets to the stream, and as many as a picture needs to ``seen``."""
    if stream is None and seen is None:
        return None

    def write(packets: npt.NDArray[np.uint8]) -> None:
        data = packets.tobytes()
        if stream is not None:
            stream.write(data)
        if seen is not None and len(seen) < MOST_BYTES:
            seen.extend(data)

    return write


def _keep_picture(path: Path, stream: bytes) -> bool:
    """Write a picture of the stream as PNG; False where there is none in it."""
    found = received_picture(stream)
    if found is None:
        return False
    from tepui.report.received import png_of

    keep_bytes(path, png_of(found.pixels))
    return True
