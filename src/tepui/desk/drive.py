"""``drive`` at the desk: open readings and recordings, reduce and fit them, keep the picture, print the findings."""

import re
import sys
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import numpy.typing as npt

from tepui.desk.drive_inputs import open_series, reduced
from tepui.desk.hashes import InputHashes
from tepui.desk.keep import require_folder
from tepui.evidence.drive import Baseline, FilterCurve
from tepui.files.readings import read_loss_table, read_readings
from tepui.ground.document import build_document, document_text
from tepui.ground.errors import FormatError, RangeError
from tepui.ground.findings import Outcome
from tepui.ground.listing import outcome_text, page_for
from tepui.ground.quantity import Quantity
from tepui.jobs.drive import drive_series
from tepui.jobs.drive_series import READING_DOUBT_DB, STEP_DB, DriveQuestion, SeriesRow
from tepui.jobs.set_sweeps import SetOptions
from tepui.signals.dvbt.mode import Mode
from tepui.signals.recording import Recording

Floats = npt.NDArray[np.float64]
SHOWN_TABLES = ("drive_readings", "price_of_next")
CONFIDENCE = 0.9  # where nobody says
GAIN_DB = 1.0  # more than a passive part's calibration may be off
TOUCHSTONE = re.compile(r"\.(s[0-9]+p|ts|snp)$", re.IGNORECASE)
STATION = ".toml"
ABSOLUTE_HZ = 45e6  # a filter table that begins above is in absolute frequency: no channel reaches so far from itself


@dataclass(frozen=True, kw_only=True)
class DriveRequest:
    """What was asked on the command line, in SI; None where a station file or a default may answer.

    centre_hz    of the channel, for a filter table in absolute frequency and for narrow recordings
    settings     table of settings of narrow recordings
    calibration  recordings of noise alone, or of a terminated input
    usable_hz    width that a narrow receiver shows truly
    no_filter    the station's filter lies behind the place where the shoulders were read
    """

    recordings: Sequence[Path]
    readings: Path | None
    baseline: Quantity | None
    filter_table: Path | None
    target_db: float | None
    confidence: float | None = None
    doubt_db: float | None = None
    step_db: float | None = None
    model: str = "auto"
    mode: Mode | None = None
    width_hz: float | None = None
    centre_hz: float | None = None
    supply_v: float | None = None
    confirm: bool = False
    plots: Path | None = None
    workers: int | None = None
    station: Path | None = None
    settings: Path | None = None
    calibration: Sequence[Path] = ()
    usable_hz: float | None = None
    no_filter: bool = False


def run_drive(request: DriveRequest, *, as_json: bool, strict: bool) -> int:
    """The verb: reduce, fit, print, return the exit code.

    raises  InputError where something cannot be used: then nothing is written
    """
    station: str | None = None
    curve: FilterCurve | None = None
    odd: tuple[str, ...] = ()
    tables = [path for path in (request.readings, request.filter_table, request.settings) if path is not None]
    if request.station is not None:
        from tepui.desk.drive_station import with_station

        told = with_station(request, request.station)
        request, station = told.request, told.name
        curve, odd = (None, ()) if request.no_filter else (told.curve, told.remarks)
        tables += told.files
    if request.target_db is None:
        raise RangeError('--target is needed, such as --target "-32 dB", or a station file that states it (--station).')
    rows = read_readings(request.readings) if request.readings is not None else ()
    opened = open_series(request.recordings, rows, settings=request.settings)
    quiet = open_series(request.calibration, (), settings=None)
    if request.plots is not None:
        require_folder(request.plots)
    hashes = InputHashes([*dict.fromkeys([*tables, *opened.files, *quiet.files])])
    if request.filter_table is not None:
        curve, odd = _filter(request.filter_table, centre_hz=_centre_of(opened.recordings, request.centre_hz))
    options = SetOptions(
        width_hz=request.width_hz if request.width_hz is not None or request.mode is None or station is None
        else request.mode.width_hz,
        centre_hz=request.centre_hz,
        usable_hz=request.usable_hz,
        calibration=tuple(quiet.recordings),
    )  # fmt: skip
    series = reduced(opened, options, workers=request.workers)
    if curve is not None and station is not None and request.filter_table is None and not _both_sides(series):
        curve, odd = (
            None,
            (*odd, "It is not taken off after all: the filter needs both sides of every reading."),
        )
    question = DriveQuestion(
        name=request.readings.stem if request.readings is not None else "drive",
        target_db=request.target_db,
        confidence=CONFIDENCE if request.confidence is None else request.confidence,
        baseline=_baseline(request.baseline, request.doubt_db),
        curve=curve,
        doubt_db=request.doubt_db,
        step_db=STEP_DB if request.step_db is None else request.step_db,
        model=request.model,
        mode=request.mode,
        supply_v=request.supply_v,
        confirm=request.confirm,
    )
    outcome = drive_series(series, question)
    outcome = _with_remarks(outcome, [*odd, *(remark for one in opened.recordings for remark in one.remarks)])
    practice = any(recording.practice for recording in opened.recordings)
    written: list[str] = []
    if request.plots is not None and outcome.pictures:
        from tepui.report.pictures import draw_pictures

        request.plots.mkdir(exist_ok=True)
        written = [str(path) for path in draw_pictures(outcome.pictures, request.plots, practice=practice)]
    document = build_document(
        verb="drive", outcomes=[outcome], inputs=hashes.result(), files=written, practice=practice, station=station
    )
    sys.stdout.write(document_text(document) if as_json else _text(outcome, written, practice=practice))
    crossed = [f for f in outcome.findings if f.margin is not None and f.margin < 0]
    return 1 if strict and crossed else 0


def _both_sides(series: Sequence[SeriesRow]) -> bool:
    return all(
        row.recording is not None or {"shoulder_lower_db", "shoulder_upper_db"} <= set(row.values) for row in series
    )


def _baseline(given: Quantity | None, doubt_db: float | None) -> Baseline | None:
    if given is None:
        return None
    if given.value >= 0:
        raise RangeError(f"--baseline is a level below the signal and negative, not {given.value:g} dB.")
    if given.low is not None and given.high is not None:
        return Baseline(level_db=given.value, std_db=(given.high - given.low) / 4)
    return Baseline(level_db=given.value, std_db=(READING_DOUBT_DB if doubt_db is None else doubt_db) / 2)


def _filter(path: Path, *, centre_hz: float | None) -> tuple[FilterCurve, tuple[str, ...]]:
    """The filter's curve from the channel's centre on, and what was odd about its file."""
    remarks: tuple[str, ...] = ()
    if path.suffix.lower() == STATION:
        return _station_filter(path)
    if TOUCHSTONE.search(path.name):
        frequency_hz, loss_db, remarks = _transmission(path)
    else:
        frequency_hz, loss_db = read_loss_table(path)
    if frequency_hz[0] > ABSOLUTE_HZ or TOUCHSTONE.search(path.name):
        if centre_hz is None:
            raise RangeError(
                f"{path} is in absolute frequency, from {frequency_hz[0] / 1e6:g} MHz on; give the channel's centre "
                "with --centre, or write the table in MHz from the channel's centre."
            )
        if not frequency_hz[0] < centre_hz < frequency_hz[-1]:
            raise RangeError(
                f"{path} reaches from {frequency_hz[0] / 1e6:g} to {frequency_hz[-1] / 1e6:g} MHz and the channel's "
                f"centre, {centre_hz / 1e6:g} MHz, lies outside; measure the filter there, or correct --centre."
            )
        frequency_hz = frequency_hz - centre_hz
    return FilterCurve(offset_hz=frequency_hz, loss_db=loss_db), remarks


def _station_filter(path: Path) -> tuple[FilterCurve, tuple[str, ...]]:
    """The curve of the filter behind the last amplifier of a station, from its channel's centre on.

    raises  InputError where no filter stands there, or none with a curve
    """
    from tepui.files.station import open_station

    station = open_station(path)
    amplifiers = [n for n, stage in enumerate(station.stages) if stage.kind == "amplifier"]
    behind = station.stages[amplifiers[-1] :] if amplifiers else station.stages
    found = [stage for stage in behind if stage.kind == "filter"]
    if not found:
        raise RangeError(
            f"{path} has no filter behind its last amplifier, so nothing hides the amplifier's shoulders; leave out "
            "--filter, or add the stage."
        )
    stage = found[-1]
    if stage.curve is None or len(stage.curve.frequency_hz) < 2:
        raise RangeError(
            f'{path}: the filter {stage.name} states no curve; measure it and write response = "filter.s2p".'
        )
    offset_hz = stage.curve.frequency_hz - station.channel.centre.value
    remark = f"Filter {stage.name} of {path.name} by its {stage.curve.how}."
    return FilterCurve(offset_hz=offset_hz, loss_db=stage.curve.loss_db), (remark,)


def _transmission(path: Path) -> tuple[Floats, Floats, tuple[str, ...]]:
    """Frequency and loss of a two-port by its S21, and the reader's remarks.

    raises  FormatError, also for a two-port that amplifies or lets nothing through
    """
    from tepui.files.touchstone import read_network
    from tepui.signals.twoport import TwoPort

    network = read_network(path)
    port = network.port
    if not isinstance(port, TwoPort):
        raise FormatError(f"{path} is of one port and says nothing of transmission; a two-port (.s2p) is wanted.")
    loss_db = -20 * np.log10(np.maximum(np.abs(port.s[:, 1, 0]), 1e-10))
    if loss_db.max() < -GAIN_DB:
        raise FormatError(
            f"{path} amplifies at every frequency, so it is no output filter; give the filter's own file."
        )
    return port.frequency_hz, np.asarray(loss_db), tuple(f"{path.name}: {remark}" for remark in network.remarks)


def _centre_of(opened: Sequence[Recording], given_hz: float | None) -> float | None:
    """The channel's centre, as given or as the recordings were tuned; None where they say nothing or disagree."""
    if given_hz is not None:
        return given_hz
    tuned = {recording.centre_hz for recording in opened}
    return tuned.pop() if len(tuned) == 1 else None


def _with_remarks(outcome: Outcome, remarks: Sequence[str]) -> Outcome:
    """What was noticed on opening goes with the first finding."""
    if not remarks:
        return outcome
    first, *rest = outcome.findings
    return replace(outcome, findings=(replace(first, remark=" ".join([first.remark, *remarks]).strip()), *rest))


def _text(outcome: Outcome, files: Sequence[str], *, practice: bool) -> str:
    shown = replace(outcome, tables=tuple(table for table in outcome.tables if table.name in SHOWN_TABLES))
    parts = ["PRACTICE: made by the simulated bench, not measured on any transmitter."] if practice else []
    parts.append(outcome_text(shown, page_for(sys.stdout)))
    if files:
        parts.append("Files\n" + "\n".join(f"  {name}" for name in files))
    return "\n\n".join(parts) + "\n"
