"""``spectrum --tunings`` at the desk: station file opened, tuning list printed."""

import sys
from dataclasses import dataclass
from pathlib import Path

from tepui.desk.hashes import InputHashes
from tepui.desk.recordings import text_of
from tepui.files.station import named_files, open_station
from tepui.ground.document import build_document, document_text
from tepui.ground.errors import InputError
from tepui.jobs.station_tunings import Told, request_of
from tepui.jobs.tunings import TuningRequest, tuning_list

SHOWN_TABLES = ()  # the findings name the frequencies in full


@dataclass(frozen=True, kw_only=True)
class TuningsRequest:
    """What was asked on the command line.

    station     file to take channel and receiver from; None where the options tell all
    instrument  name of the receiver in it
    """

    station: Path | None = None
    instrument: str | None = None
    told: Told
    quick: bool = False


def tunings_asked(request: TuningsRequest) -> tuple[TuningRequest, str | None, list[Path]]:
    """Channel and receiver, name of the station, and the files they came from.

    raises  InputError where something is missing or cannot be used
    """
    if request.station is not None:
        try:
            station = open_station(request.station)
            found = request_of(station, instrument=request.instrument, told=request.told, quick=request.quick)
        except InputError as problem:
            if str(request.station.name) in str(problem):
                raise
            raise type(problem)(f"{request.station}: {problem}") from problem
        return found, station.name, [*named_files(station, request.station)]
    if request.instrument is not None:
        raise InputError("--instrument names one of a station file: give the file with --tunings STATION.")
    told = request.told
    named = (("--centre", told.centre_hz), ("--width", told.width_hz), ("--usable", told.usable_hz))
    missing = [name for name, value in named if value is None]
    if told.centre_hz is None or told.width_hz is None or told.usable_hz is None:
        raise InputError(
            f'--tunings needs {" and ".join(missing)} as well, such as --usable "1.8 MHz", or a station file.'
        )
    return _by_options(told, request.quick), None, []


def _by_options(told: Told, quick: bool) -> TuningRequest:
    from tepui.jobs.station_tunings import USUAL_DC_HZ, USUAL_FFT

    assert told.centre_hz is not None
    assert told.width_hz is not None
    assert told.usable_hz is not None
    return TuningRequest(
        centre_hz=told.centre_hz,
        width_hz=told.width_hz,
        n_fft=told.n_fft or USUAL_FFT,
        usable_hz=told.usable_hz,
        dc_width_hz=USUAL_DC_HZ if told.dc_width_hz is None else told.dc_width_hz,
        rate_hz=told.rate_hz,
        level_dbm=told.level_dbm,
        max_input_dbm=told.max_input_dbm,
        quick=quick,
    )


def run_tunings(request: TuningsRequest, *, as_json: bool) -> int:
    """Print where to tune; return the exit code.

    raises  InputError where the receiver cannot do it
    """
    asked, station, files = tunings_asked(request)
    hashes = InputHashes(files)
    outcome = tuning_list(asked)
    document = build_document(
        verb="spectrum", outcomes=[outcome], inputs=hashes.result(), files=[], practice=False, station=station
    )
    text = text_of([outcome], [], practice=False, tables=SHOWN_TABLES)
    sys.stdout.write(document_text(document) if as_json else text)
    return 0
