"""``spectrum`` at the desk: open the recordings, measure each or each set, keep the pictures, print the findings."""

import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path

from tepui.desk.hashes import InputHashes
from tepui.desk.keep import require_folder
from tepui.desk.progress import Progress
from tepui.desk.recordings import draw, named_apart, text_of, watched, with_remarks
from tepui.desk.spectrum_inputs import opened
from tepui.ground.document import build_document, document_text
from tepui.ground.doubt import Estimate
from tepui.ground.errors import RangeError
from tepui.ground.findings import Outcome
from tepui.jobs.set_grouping import contradiction, grouped
from tepui.jobs.set_sweeps import SetOptions
from tepui.jobs.spectrum import measure_spectrum
from tepui.jobs.spectrum_set import measure_set
from tepui.signals.recording import Recording

SHOWN_TABLES = ("lines", "readings")
PASSES = 3  # over the samples: peaks, the fine spectrum, the one for the mask
SET_PASSES = 3  # a look for the channel, codes, spectra


@dataclass(frozen=True, kw_only=True)
class SpectrumRequest:
    """What was asked on the command line, in SI.

    settings      table of settings of the recordings
    calibration   recordings of noise alone, or of a terminated input
    usable_hz     width that a narrow receiver shows truly
    mer           of a wide recording, read elsewhere
    made          files that were recorded for it
    """

    paths: Sequence[Path]
    plots: Path | None = None
    sample_type: str | None = None
    rate_hz: float | None = None
    frequency_hz: float | None = None
    width_hz: float | None = None
    centre_hz: float | None = None
    mask: str | None = None
    workers: int | None = None
    settings: Path | None = None
    calibration: Sequence[Path] = ()
    usable_hz: float | None = None
    mer: Estimate | None = None
    made: Sequence[Path] = ()


@dataclass(frozen=True, kw_only=True)
class _Set:
    name: str
    practice: bool


def run_spectrum(request: SpectrumRequest, *, as_json: bool, strict: bool = False) -> int:
    """The verb: measure, print, return the exit code.

    raises  InputError where something cannot be used: then nothing is written
    """
    found, files = _opened(request.paths, request, settings=request.settings)
    quiet, more = _opened(request.calibration, request, settings=None) if request.calibration else ([], [])
    recordings = named_apart(found)
    hashes = InputHashes([*files, *more])
    if request.plots is not None:
        require_folder(request.plots)
    grouping = grouped(recordings, width_hz=request.width_hz)
    if (refusal := contradiction(grouping)) is not None:
        raise RangeError(refusal)
    outcomes: list[Outcome] = []
    owners: list[Recording | _Set] = []
    for name, members in grouping.sets:
        owners.append(_Set(name=name, practice=any(one.practice for one in members)))
        outcomes.append(_measured_set(name, members, named_apart(quiet), request))
    for recording in grouping.single:
        owners.append(recording)
        outcomes.append(_measured(recording, request))
    practice = any(recording.practice for recording in [*recordings, *quiet])
    written = draw(outcomes, owners, request.plots, practice=practice) if request.plots is not None else []
    written = [*(str(path) for path in request.made), *written]
    document = build_document(
        verb="spectrum", outcomes=outcomes, inputs=hashes.result(), files=written, practice=practice
    )
    text = text_of(outcomes, written, practice=practice, tables=SHOWN_TABLES)
    sys.stdout.write(document_text(document) if as_json else text)
    missed = any(f.margin is not None and f.margin < 0 for outcome in outcomes for f in outcome.findings)
    return 1 if strict and missed else 0


def _opened(
    paths: Sequence[Path], request: SpectrumRequest, *, settings: Path | None
) -> tuple[list[Recording], list[Path]]:
    return opened(
        paths,
        settings=settings,
        sample_type=request.sample_type,
        rate_hz=request.rate_hz,
        frequency_hz=request.frequency_hz,
    )


def _measured(recording: Recording, request: SpectrumRequest) -> Outcome:
    with Progress(recording.name) as progress:
        outcome = measure_spectrum(
            watched(recording, progress.tell, passes=PASSES),
            width_hz=request.width_hz,
            centre_hz=request.centre_hz,
            mask=request.mask,
            workers=request.workers,
            usable_hz=request.usable_hz,
            mer=request.mer,
        )
    return with_remarks(outcome, recording)


def _measured_set(
    name: str, members: Sequence[Recording], quiet: Sequence[Recording], request: SpectrumRequest
) -> Outcome:
    shares = dict.fromkeys(range(len(members)), 0.0)
    with Progress(name) as progress:

        def tell(number: int, share: float) -> None:
            shares[number] = share
            progress.tell(sum(shares.values()) / len(shares))

        outcome = measure_set(
            name,
            [watched(one, partial(tell, number), passes=SET_PASSES) for number, one in enumerate(members)],
            SetOptions(
                width_hz=request.width_hz,
                centre_hz=request.centre_hz,
                mask=request.mask,
                usable_hz=request.usable_hz,
                mer=request.mer,
                calibration=tuple(quiet),
            ),
        )
    remarks = tuple(dict.fromkeys(f"{one.name}: {remark}" for one in members for remark in one.remarks))
    return with_remarks(outcome, replace(members[0], remarks=remarks))
