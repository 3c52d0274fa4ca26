"""``tune`` at the desk: read the traces, extract, hand back the findings."""

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np

from tepui.chain.filters.goal import FilterGoal
from tepui.desk.filter_station import StationFilter, station_filter
from tepui.desk.hashes import InputHashes
from tepui.desk.keep import require_folder
from tepui.files.readings import read_loss_table
from tepui.files.station import named_files
from tepui.files.touchstone import read_network
from tepui.ground.document import build_document, document_text
from tepui.ground.errors import RangeError
from tepui.ground.findings import Outcome, Table
from tepui.ground.listing import outcome_text, page_for
from tepui.jobs.tune import MeasuredTrace, TuneQuestion, tune_filter
from tepui.signals.twoport import TwoPort

SHOWN_TABLES = ("places", "markers")
GUIDES = ("peaking", "sequence")
TABLES = (".csv", ".txt")


@dataclass(frozen=True, kw_only=True)
class TuneRequest:
    """What was asked on the command line, in SI; the goal may come from a station's filter."""

    traces: Sequence[Path]
    station: Path | None = None
    stage: str | None = None
    centre_hz: float | None = None
    width_hz: float | None = None
    poles: int | None = None
    ripple_db: float | None = None
    unloaded_q: float | None = None
    turned: Mapping[int, float] = field(default_factory=dict)
    rates_hz: Mapping[int, float] = field(default_factory=dict)
    places_hz: Mapping[str, float] = field(default_factory=dict)
    step: int | None = None
    method: str = "delay"
    read_db: Mapping[float, float] = field(default_factory=dict)
    plots: Path | None = None


def run_tune(request: TuneRequest, *, as_json: bool) -> int:
    """The verb: read, extract, print, return the exit code.

    raises  InputError where a file or a number cannot be used
    """
    if request.plots is not None:
        require_folder(request.plots)
    question, asked = tune_question(request)
    traces = [read_trace(path) for path in request.traces]
    named = () if asked is None or request.station is None else named_files(asked.station, request.station)
    hashes = InputHashes([*named, *request.traces])
    outcome = tune_filter(traces, question)
    written: list[str] = []
    if request.plots is not None and outcome.pictures:
        from tepui.report.pictures import draw_pictures

        request.plots.mkdir(exist_ok=True)
        written = [str(path) for path in draw_pictures(outcome.pictures, request.plots, practice=False)]
    document = build_document(
        verb="tune",
        outcomes=[outcome],
        inputs=hashes.result(),
        files=written,
        station=None if asked is None else asked.station.name,
    )
    guided = not traces or request.step is not None or request.method != "delay"
    sys.stdout.write(document_text(document) if as_json else _text(outcome, written, guided=guided))
    return 0


def tune_question(request: TuneRequest) -> tuple[TuneQuestion, StationFilter | None]:
    """The question of a request, its goal from the station where the command line is silent.

    raises  InputError
    """
    asked = None if request.station is None else station_filter(request.station, name=request.stage)
    centre, width, poles = request.centre_hz, request.width_hz, request.poles
    ripple, unloaded_q, places = request.ripple_db, request.unloaded_q, dict(request.places_hz)
    if asked is not None:
        centre, width = centre or asked.centre_hz, width or asked.width_hz
        poles = poles or asked.poles or 3
        ripple = asked.ripple_db if ripple is None else ripple
        places = {**asked.places_hz, **places}
    if (centre is None) != (width is None):
        raise RangeError("a goal needs both --centre and --width.")
    goal = None
    if centre is not None and width is not None:
        if poles is None:
            raise RangeError("a goal needs --poles beside --centre and --width.")
        goal = FilterGoal(centre_hz=centre, width_hz=width, poles=poles, ripple_db=0.1 if ripple is None else ripple)
    question = TuneQuestion(
        goal=goal,
        poles=poles,
        unloaded_q=unloaded_q,
        turned=request.turned,
        rates_hz=request.rates_hz,
        places_hz=places,
        step=request.step,
        method=request.method,
        read_db=request.read_db,
    )
    return question, asked


def read_trace(path: Path) -> MeasuredTrace:
    """A trace from a Touchstone file, or from a table of MHz and dB of loss.

    raises  FormatError
    """
    if path.suffix.lower() in TABLES:
        frequency_hz, loss_db = read_loss_table(path)
        s = np.zeros((len(frequency_hz), 2, 2), dtype=complex)
        s[:, 1, 0] = s[:, 0, 1] = 10 ** (-loss_db / 20)
        port = TwoPort(frequency_hz=frequency_hz, s=s, z0_ohm=50.0)
        remark = "Only |S21| was measured."
        return MeasuredTrace(name=path.stem, port=port, scalar=True, remarks=(remark,))
    read = read_network(path)
    return MeasuredTrace(name=path.stem, port=read.port, forward=read.forward, remarks=read.remarks)


def _text(outcome: Outcome, files: Sequence[str], *, guided: bool) -> str:
    by_name = {table.name: table for table in outcome.tables}
    shown = replace(outcome, tables=tuple(table for name, table in by_name.items() if name in SHOWN_TABLES))
    guide = next((by_name[name] for name in GUIDES if name in by_name and "markers" not in by_name), None)
    parts = [outcome_text(shown, page_for(sys.stdout))]
    if guide is not None and guided:
        parts.append(_guide_text(guide))
    if files:
        parts.append("Files\n" + "\n".join(f"  {name}" for name in files))
    return "\n\n".join(parts) + "\n"


def _guide_text(table: Table) -> str:
    """The sequence as it is worked through: what to do, what to read, what to accept."""
    lines = [{"sequence": "Sequence by reflected delay at the centre", "peaking": "Peak and widen"}[table.name]]
    place = {key: n for n, (key, _) in enumerate(table.columns)}
    for row in table.rows:
        lines.append(f"  {row[0]}  {row[place['instruction']]}")
        if table.name == "sequence":
            delay, low, high = (float(row[place[key]] or 0) * 1e9 for key in ("delay_s", "low_s", "high_s"))
            lines.append(f"     reads {delay:.1f} ns; accept {low:.1f} to {high:.1f} ns")
        elif row[place["frequency_hz"]] is not None:
            at, loss, low, high = (
                float(row[place[key]] or 0) for key in ("frequency_hz", "loss_db", "low_db", "high_db")
            )
            lines.append(f"     at {at / 1e6:g} MHz; loss {loss:.1f} dB, accept {low:.1f} to {high:.1f} dB")
    return "\n".join(lines)
