"""``spectrum`` at the desk: open the recordings, measure each, keep the pictures, hand back the findings."""

import sys
from collections.abc import Sequence
from pathlib import Path

from tepui.desk.hashes import InputHashes
from tepui.desk.keep import require_folder
from tepui.desk.progress import Progress
from tepui.desk.recordings import draw, named_apart, text_of, watched, with_remarks
from tepui.files.recordings import open_recording, recording_files
from tepui.ground.document import build_document, document_text
from tepui.jobs.spectrum import measure_spectrum

SHOWN_TABLES = ("lines",)
PASSES = 3  # over the samples: peaks, the fine spectrum, the one for the mask


def run_spectrum(
    paths: Sequence[Path],
    *,
    plots: Path | None,
    sample_type: str | None,
    rate_hz: float | None,
    frequency_hz: float | None,
    width_hz: float | None,
    centre_hz: float | None,
    mask: str | None,
    workers: int | None,
    as_json: bool,
    strict: bool = False,
) -> int:
    """The verb: measure, print, return the exit code.

    raises  InputError where something cannot be used: then nothing is written
    """
    opened = [
        open_recording(path, sample_type=sample_type, rate_hz=rate_hz, frequency_hz=frequency_hz) for path in paths
    ]
    recordings = named_apart(opened)
    hashes = InputHashes([file for path in paths for file in recording_files(path)])
    if plots is not None:
        require_folder(plots)
    outcomes = []
    for recording in recordings:
        with Progress(recording.name) as progress:
            outcome = measure_spectrum(
                watched(recording, progress.tell, passes=PASSES),
                width_hz=width_hz,
                centre_hz=centre_hz,
                mask=mask,
                workers=workers,
            )
        outcomes.append(with_remarks(outcome, recording))
    practice = any(recording.practice for recording in recordings)
    written = draw(outcomes, recordings, plots, practice=practice) if plots is not None else []
    document = build_document(
        verb="spectrum", outcomes=outcomes, inputs=hashes.result(), files=written, practice=practice
    )
    text = text_of(outcomes, written, practice=practice, tables=SHOWN_TABLES)
    sys.stdout.write(document_text(document) if as_json else text)
    missed = any(f.margin is not None and f.margin < 0 for outcome in outcomes for f in outcome.findings)
    return 1 if strict and missed else 0
