"""``spectrum --receiver`` at the desk: the tuning list recorded with a receiver that runs, kept, then measured.

The recordings are made as ``record`` makes them, each a SigMF pair that appears whole; whatever interrupts leaves those
before it. Where the receiver's gain behind its front end is known by name, it is set anew at every tuning, in few
steps, so that the far slopes fill the converter too.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from tepui.desk.live import DC_WIDTH_HZ, USABLE_SHARE, USUAL_RATE_HZ, ReceiverChoice, completed
from tepui.desk.record import RecordRequest, record_all
from tepui.desk.spectrum import SpectrumRequest, run_spectrum
from tepui.desk.tunings import TuningsRequest, tunings_asked
from tepui.files.tunings import Tuning
from tepui.ground.errors import InputError
from tepui.ground.findings import Outcome
from tepui.jobs.tunings import PAD_STEP_DB, PADS, tuning_list
from tepui.practice.station import MARL_BAY


@dataclass(frozen=True, kw_only=True)
class LiveRequest:
    """What was asked on the command line.

    out       new folder for the recordings
    rows      a list of tunings from a file, in place of one made here
    pads_db   pads to record every tuning with; None takes three where a step attenuator can be set, else what is fitted
    """

    receiver: ReceiverChoice
    out: Path
    rows: Path | None
    tunings: TuningsRequest
    pads_db: tuple[float, ...] | None
    duration_s: float | None
    spectrum: SpectrumRequest


def run_live(request: LiveRequest, *, ask: Callable[[str], bool], as_json: bool, strict: bool) -> int:
    """The verb with a receiver in place of recordings: record, measure, print, return the exit code.

    ask     shows a sentence and waits until the operator has done it; False where nobody is there
    raises  InputError before anything is written; UnfinishedError or KeyboardInterrupt after an interruption
    """
    if request.out.exists():
        raise InputError(f"{request.out} exists already, and a set is recorded into a new folder: name another.")
    spectrum = request.spectrum
    choice = completed(request.receiver)
    rows: tuple[Tuning, ...] = ()
    if request.rows is None:
        asked = _with_practice(request.tunings, choice)
        channel, _, _ = tunings_asked(asked)
        if choice.rate_hz is None and channel.rate_hz is not None:
            choice = replace(choice, rate_hz=channel.rate_hz)
        rows = _rows(tuning_list(channel), _pads(request, choice))
        spectrum = replace(
            spectrum, centre_hz=channel.centre_hz, width_hz=channel.width_hz, usable_hz=channel.usable_hz
        )
    recorded = record_all(
        RecordRequest(
            receiver=choice, out=request.out, tunings=request.rows, rows=rows, duration_s=request.duration_s, fill=True
        ),
        ask=ask,
    )
    data = [path for path in recorded.files if path.name.endswith(".sigmf-meta")]
    spectrum = replace(spectrum, paths=data, sample_type=None, rate_hz=None, frequency_hz=None, made=recorded.files)
    return run_spectrum(spectrum, as_json=as_json, strict=strict)


def _with_practice(request: TuningsRequest, choice: ReceiverChoice) -> TuningsRequest:
    """What was not told of channel and receiver, where it can be known: the practice station, the usual width."""
    if request.station is not None:
        return request
    told = request.told
    if choice.is_practice:
        told = replace(
            told,
            centre_hz=told.centre_hz or MARL_BAY.centre_hz,
            width_hz=told.width_hz or MARL_BAY.mode.width_hz,
            n_fft=told.n_fft or MARL_BAY.mode.n_fft,
        )
    elif told.centre_hz is None or told.width_hz is None:
        raise InputError(
            'the channel must be told: --tunings STATION, --centre "1286 MHz" --width "7 MHz", or a --list of tunings.'
        )
    usable_hz = told.usable_hz or USABLE_SHARE * (told.rate_hz or choice.rate_hz or USUAL_RATE_HZ)
    dc_hz = DC_WIDTH_HZ if told.dc_width_hz is None else told.dc_width_hz
    return replace(request, told=replace(told, usable_hz=usable_hz, dc_width_hz=dc_hz))


def _pads(request: LiveRequest, choice: ReceiverChoice) -> tuple[float | None, ...]:
    """Pads of the passes, the largest first: the transmitter is not yet known to be harmless."""
    if request.pads_db is not None:
        if len(set(request.pads_db)) < len(request.pads_db) or min(request.pads_db) < 0:
            raise InputError('--pads names pads of 0 dB and more, each once, such as "10 dB, 20 dB, 30 dB".')
        return tuple(sorted(request.pads_db, reverse=True))
    fitted_db = choice.attenuator_db
    if choice.pad is None:
        return (fitted_db,)
    return tuple((fitted_db or 0.0) + PAD_STEP_DB * number for number in reversed(range(PADS)))


def _rows(outcome: Outcome, pads_db: Sequence[float | None]) -> tuple[Tuning, ...]:
    """The list's tunings at every pad, one pass after the other."""
    table = next(one for one in outcome.tables if one.name == "tunings")
    places = dict.fromkeys((float(row[0]), float(row[1])) for row in table.rows)  # type: ignore[arg-type]
    rows = []
    for pad_db in pads_db:
        for frequency_hz, duration_s in places:
            values = {"frequency_hz": frequency_hz, "duration_s": duration_s}
            if pad_db is not None:
                values["attenuator_db"] = pad_db
            rows.append(Tuning(place="the list", values=values, terminated=None, name=None))
    return tuple(rows)
