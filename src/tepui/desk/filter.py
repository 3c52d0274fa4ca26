"""``filter`` at the desk: choose a response where none was named, design, keep the drawing, hand back the findings."""

import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from tepui.chain.filters.goal import FilterGoal
from tepui.desk.keep import require_folder
from tepui.desk.setup import ensure_kernels
from tepui.ground.document import build_document, document_text
from tepui.ground.findings import Outcome
from tepui.ground.listing import outcome_text, page_for
from tepui.jobs.filter import FilterQuestion, Rejection, design_filter
from tepui.jobs.filter_choice import choose_response

SHOWN_TABLES = ("rods", "cut_list", "parts", "prototype", "candidates")
RIPPLE_DB = 0.1


@dataclass(frozen=True, kw_only=True)
class FilterRequest:
    """What was asked on the command line, in SI; ``lengths_m`` by name, None where not given."""

    centre_hz: float
    width_hz: float
    poles: int | None
    ripple_db: float | None
    structure: str
    lengths_m: Mapping[str, float | None]
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
    if request.trials:
        ensure_kernels()
    outcome = _designed(request)
    written: list[str] = []
    if request.plots is not None:
        from tepui.report.filter_pictures import draw_filter

        request.plots.mkdir(exist_ok=True)
        written = [str(path) for path in draw_filter(outcome.pictures, request.plots)]
    document = build_document(verb="filter", outcomes=[outcome], files=written)
    sys.stdout.write(document_text(document) if as_json else _text(outcome, written))
    missed = [f for f in outcome.findings if f.margin is not None and f.margin < 0]
    return 1 if strict and missed else 0


def _designed(request: FilterRequest) -> Outcome:
    poles, ripple_db = request.poles, request.ripple_db
    candidates = None
    first = FilterGoal(
        centre_hz=request.centre_hz,
        width_hz=request.width_hz,
        poles=poles or 3,
        ripple_db=RIPPLE_DB if ripple_db is None else ripple_db,
    )
    question = _question(request, first)
    if poles is None or request.rejections or request.most_loss_db is not None:
        candidates, best = choose_response(question, poles=poles, ripple_db=ripple_db)
        question = replace(question, goal=best)
    if request.structure == "lumped":
        from tepui.jobs.filter_lumped import design_lumped

        outcome = design_lumped(question, inductor_h=request.inductor_h)
    else:
        outcome = design_filter(question)
    return outcome if candidates is None else replace(outcome, tables=(*outcome.tables, candidates))


def _question(request: FilterRequest, goal: FilterGoal) -> FilterQuestion:
    lengths = request.lengths_m
    return FilterQuestion(
        goal=goal,
        structure=request.structure,
        diameter_m=lengths["diameter_m"] or 8e-3,
        plates_m=lengths["plates_m"] or 25e-3,
        unloaded_q=request.unloaded_q,
        metal=request.metal,
        gap_m=lengths["gap_m"],
        rejections=tuple(request.rejections),
        channel_hz=request.channel_hz,
        power_w=request.power_w,
        most_loss_db=request.most_loss_db,
        drilling_m=lengths["drilling_m"] or 0.1e-3,
        yield_trials=request.trials,
    )


def _text(outcome: Outcome, files: Sequence[str]) -> str:
    shown = replace(outcome, tables=tuple(table for table in outcome.tables if table.name in SHOWN_TABLES))
    parts = [outcome_text(shown, page_for(sys.stdout))]
    if files:
        parts.append("Files\n" + "\n".join(f"  {name}" for name in files))
    return "\n\n".join(parts) + "\n"
