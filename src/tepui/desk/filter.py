"""``filter`` at the desk: choose a response where none was named, design, keep the drawing, hand back the findings."""

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from tepui.chain.filters.goal import FilterGoal
from tepui.desk.filter_station import StationFilter, station_filter
from tepui.desk.hashes import InputHashes
from tepui.desk.keep import require_folder
from tepui.desk.setup import ensure_kernels
from tepui.files.station import named_files
from tepui.ground.document import build_document, document_text
from tepui.ground.errors import RangeError
from tepui.ground.findings import Outcome
from tepui.ground.listing import outcome_text, page_for
from tepui.jobs.filter import design_filter
from tepui.jobs.filter_choice import choose_response
from tepui.jobs.filter_question import FilterQuestion, Rejection
from tepui.jobs.filter_shop import choose_metal

SHOWN_TABLES = ("metal", "rods", "cut_list", "parts", "prototype", "candidates")
RIPPLE_DB = 0.1


@dataclass(frozen=True, kw_only=True)
class FilterRequest:
    """What was asked on the command line, in SI; None where not given, so that a station file may say it.

    diameters_m, plates_m  every rod and plate distance to hand
    """

    station: Path | None = None
    stage: str | None = None
    centre_hz: float | None
    width_hz: float | None
    poles: int | None
    ripple_db: float | None
    structure: str
    diameters_m: Sequence[float] = ()
    plates_m: Sequence[float] = ()
    lengths_m: Mapping[str, float | None]
    angle_deg: float | None = None
    unloaded_q: float | None = None
    metal: str = "brass"
    inductor_h: float | None = None
    rejections: Sequence[Rejection] = ()
    most_loss_db: float | None = None
    channel_hz: float | None = None
    power_w: float | None = None
    trials: int = 0
    plots: Path | None = None


def run_filter(request: FilterRequest, *, as_json: bool, strict: bool) -> int:
    """The verb: design, draw, print, return the exit code.

    raises  InputError where something cannot be used: then nothing is written
    """
    if request.plots is not None:
        require_folder(request.plots)
    asked, hashes = None, None
    if request.station is not None:
        asked = station_filter(request.station, name=request.stage)
        hashes = InputHashes(named_files(asked.station, request.station))
        request = _with_station(request, asked)
    if request.trials:
        ensure_kernels()
    outcome = _with_remarks(designed(request), () if asked is None else asked.said)
    written: list[str] = []
    if request.plots is not None:
        from tepui.report.filter_pictures import draw_filter

        request.plots.mkdir(exist_ok=True)
        written = [str(path) for path in draw_filter(outcome.pictures, request.plots)]
    document = build_document(
        verb="filter",
        outcomes=[outcome],
        inputs=() if hashes is None else hashes.result(),
        files=written,
        station=None if asked is None else asked.station.name,
    )
    sys.stdout.write(document_text(document) if as_json else _text(outcome, written))
    missed = [f for f in outcome.findings if f.kind == "result" and f.margin is not None and f.margin < 0]
    return 1 if strict and missed else 0


def _with_station(request: FilterRequest, asked: StationFilter) -> FilterRequest:
    """The request with what the station says where the command line is silent."""

    def first(given: float | None, said: float | None) -> float | None:
        return said if given is None else given

    return replace(
        request,
        centre_hz=first(request.centre_hz, asked.centre_hz),
        width_hz=first(request.width_hz, asked.width_hz),
        poles=asked.poles if request.poles is None else request.poles,
        ripple_db=first(request.ripple_db, asked.ripple_db),
        unloaded_q=first(request.unloaded_q, asked.unloaded_q),
        channel_hz=first(request.channel_hz, asked.channel_hz),
        power_w=first(request.power_w, asked.power_w),
        rejections=(*asked.rejections, *request.rejections),
    )


def designed(request: FilterRequest) -> Outcome:
    """The design that a complete request asks for: metal and response chosen where they were left open.

    raises  RangeError where nothing to hand makes it
    """
    if request.centre_hz is None or request.width_hz is None:
        raise RangeError('--centre and --width are needed, or a station file: --centre "1296 MHz" --width "30 MHz".')
    poles, ripple_db = request.poles, request.ripple_db
    first = FilterGoal(
        centre_hz=request.centre_hz,
        width_hz=request.width_hz,
        poles=poles or 3,
        ripple_db=RIPPLE_DB if ripple_db is None else ripple_db,
    )
    question = _question(request, first)
    tables = []
    if poles is None or request.rejections or request.most_loss_db is not None:
        candidates, best = choose_response(question, poles=poles, ripple_db=ripple_db)
        question = replace(question, goal=best)
        tables.append(candidates)
    if request.structure == "lumped":
        from tepui.jobs.filter_lumped import design_lumped

        outcome = design_lumped(question, inductor_h=request.inductor_h)
        return replace(outcome, tables=(*outcome.tables, *tables))
    if len(request.diameters_m) * len(request.plates_m) > 1:
        metal, question = choose_metal(question, diameters_m=request.diameters_m, plates_m=request.plates_m)
        tables.append(metal)
    outcome = design_filter(question)
    return replace(outcome, tables=(*outcome.tables, *tables))


def _question(request: FilterRequest, goal: FilterGoal) -> FilterQuestion:
    lengths = request.lengths_m
    return FilterQuestion(
        goal=goal,
        structure=request.structure,
        diameter_m=request.diameters_m[0] if request.diameters_m else 8e-3,
        plates_m=request.plates_m[0] if request.plates_m else 25e-3,
        unloaded_q=request.unloaded_q,
        metal=request.metal,
        gap_m=lengths.get("gap_m"),
        angle_deg=request.angle_deg,
        least_tap_m=lengths.get("least_tap_m"),
        rejections=tuple(request.rejections),
        channel_hz=request.channel_hz,
        power_w=request.power_w,
        most_loss_db=request.most_loss_db,
        drilling_m=lengths.get("drilling_m") or 0.1e-3,
        yield_trials=request.trials,
    )


def _with_remarks(outcome: Outcome, said: Sequence[str]) -> Outcome:
    """What the station file left open goes with the first finding."""
    if not said:
        return outcome
    first, *rest = outcome.findings
    return replace(outcome, findings=(replace(first, remark=" ".join([first.remark, *said]).strip()), *rest))


def _text(outcome: Outcome, files: Sequence[str]) -> str:
    shown = replace(outcome, tables=tuple(table for table in outcome.tables if table.name in SHOWN_TABLES))
    parts = [outcome_text(shown, page_for(sys.stdout))]
    if files:
        parts.append("Files\n" + "\n".join(f"  {name}" for name in files))
    return "\n\n".join(parts) + "\n"
