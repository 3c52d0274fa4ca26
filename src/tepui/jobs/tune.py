"""Tune: a measured filter in; which resonator to turn which way, by how much, and what no screw can mend out.

Theory  The coupled-resonator model is fitted to the trace (evidence/filter_extraction) and compared with the goal.
        Screws move frequencies only: a coupling or external Q that is wrong is metal's affair.
Source  evidence/filter_extraction; chain/filters/goal.
Holds   In-line filters of 2 to 7 resonators, swept over two to eight bandwidths.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.resonators import coupled_scattering, tuned
from tepui.chain.filters.rod_design import Shape, shape_of
from tepui.evidence.filter_extraction import Extraction, extract
from tepui.evidence.filter_model import Sweep
from tepui.ground.checks import require_one_of
from tepui.ground.errors import RangeError
from tepui.ground.findings import Finding, Outcome, Table
from tepui.jobs.tune_findings import extraction_findings, moved_findings, scalar_findings, shape_findings
from tepui.jobs.tune_scalar import marker_advice, marker_table, markers_of, peak_steps, scalar_rods
from tepui.jobs.tune_side import elsewhere_findings, places_of, side_findings
from tepui.jobs.tune_step import step_outcome
from tepui.jobs.tune_tables import place_table, resonator_table, sequence_table
from tepui.signals.oneport import OnePort
from tepui.signals.twoport import TwoPort

REACH_WIDTHS = 2.2
FEWEST = 41
TRIED_POLES = range(2, 7)
BESIDE = ("reflected_delay_s", "width_3db_hz")
METHODS = ("delay", "peak", "markers")


@dataclass(frozen=True, kw_only=True)
class MeasuredTrace:
    """One trace as it was read.

    forward  only S11 and S21 were measured;  scalar  only |S21|, held in ``port`` without phase
    """

    name: str
    port: TwoPort | OnePort
    forward: bool = False
    scalar: bool = False
    remarks: tuple[str, ...] = ()


@dataclass(frozen=True, kw_only=True)
class TuneQuestion:
    """What is asked of a trace.

    goal      what the filter should be; None tells only what it is
    poles     how many resonators; None finds the least that explains the trace
    turned    rod number -> turns (inwards positive) between the last two traces; 0 for the rod that moved most
    rates_hz  rod number -> change per turn inwards, as learned before
    places_hz name -> frequency at which the loss is told; "wanted", "LO" and "image" also say which side it is
    step      of the sequence that the trace shows; None where the whole filter works
    read_db   frequency -> loss read by hand
    """

    goal: FilterGoal | None
    poles: int | None = None
    unloaded_q: float | None = None
    turned: Mapping[int, float] | None = None
    rates_hz: Mapping[int, float] | None = None
    places_hz: Mapping[str, float] | None = None
    step: int | None = None
    method: str = "delay"
    read_db: Mapping[float, float] | None = None


def sweep_of(trace: MeasuredTrace, *, centre_hz: float, width_hz: float) -> Sweep:
    """The rows of a trace within a few bandwidths, where the model holds.

    raises  RangeError where the trace does not show the filter
    """
    f = trace.port.frequency_hz
    near = np.abs(f - centre_hz) <= REACH_WIDTHS * width_hz
    if near.sum() < FEWEST:
        near = np.abs(f - centre_hz) <= 2 * REACH_WIDTHS * width_hz
    if near.sum() < 5:
        raise RangeError(
            f"{trace.name} runs from {f[0] / 1e6:g} to {f[-1] / 1e6:g} MHz with {int(near.sum())} points near "
            f"{centre_hz / 1e6:g} MHz; sweep 201 points over four bandwidths about the centre."
        )
    if isinstance(trace.port, OnePort):
        rows = {"s11": trace.port.gamma[near]}
    else:
        s = trace.port.s[near]
        rows = {"s11": s[:, 0, 0], "s21": s[:, 1, 0] if trace.forward else (s[:, 1, 0] + s[:, 0, 1]) / 2}
        if not trace.forward:
            rows["s22"] = s[:, 1, 1]
    return Sweep(frequency_hz=f[near], rows=rows, centre_hz=centre_hz, width_hz=width_hz)


def trace_shape(trace: MeasuredTrace) -> Shape | None:
    """3 dB points and least loss of a trace with transmission."""
    if isinstance(trace.port, OnePort):
        return None
    return shape_of(trace.port.frequency_hz, trace.port.s[:, 1, 0])


def tune_filter(traces: list[MeasuredTrace], question: TuneQuestion) -> Outcome:
    """What the last of the traces says, with the turn rate from the last two where screws were told.

    raises  RangeError where a trace does not show the filter
    """
    require_one_of("--method", question.method, METHODS, source="the sequences there are")
    goal = question.goal
    if not traces:
        return _without_trace(question)
    trace = traces[-1]
    about = f"recording:{trace.name}"
    shape = trace_shape(trace)
    tables = _guides(question)
    if question.step is not None:
        return _step(trace, question, tables)
    findings = list(shape_findings(about, shape, goal, trace.remarks))
    if isinstance(trace.port, TwoPort):
        places = places_of(question.places_hz, goal)
        findings += side_findings(about, trace.port, shape, places)
        if places:
            tables.append(place_table(trace.port, places))
    if goal is not None and shape is not None and _elsewhere(trace, goal):
        findings += elsewhere_findings(about, trace.port.frequency_hz, goal)
        return Outcome(
            findings=tuple(findings), tables=tuple(tables), pictures={"tune": {"trace": trace, "goal": goal}}
        )
    if trace.scalar:
        findings += _scalar(trace, question)
        return Outcome(
            findings=tuple(findings), tables=tuple(tables), pictures={"tune": {"trace": trace, "goal": goal}}
        )
    found = _extracted(trace, question, shape)
    rates = dict(question.rates_hz or {})
    more: list[Finding] = []
    if len(traces) > 1 and not traces[-2].scalar:
        before = _extracted(traces[-2], question, shape)
        rates |= turn_rates(before, found, question.turned)
        more = moved_findings(traces[-2].name, before, found)
    findings += [*extraction_findings(trace.name, found, goal, rates), *more]
    tables.append(resonator_table(found, goal, rates))
    return _outcome(findings, tables, trace, goal)


def _outcome(findings: list[Finding], tables: list[Table], trace: MeasuredTrace, goal: FilterGoal | None) -> Outcome:
    """The outcome with what the picture of the trace needs."""
    return Outcome(
        findings=tuple(findings), tables=tuple(tables), pictures={"tune": tune_picture(trace, goal, findings)}
    )


def tune_picture(trace: MeasuredTrace, goal: FilterGoal | None, findings: Sequence[Finding]) -> dict[str, Any]:
    """Levels of a trace and of its goal, the number beside them, and the line for each screw."""
    f = trace.port.frequency_hz
    both = isinstance(trace.port, TwoPort)
    s21 = trace.port.s[:, 1, 0] if isinstance(trace.port, TwoPort) else None
    s11 = None if trace.scalar else trace.port.s[:, 0, 0] if isinstance(trace.port, TwoPort) else trace.port.gamma
    own = None if goal is None or not both else coupled_scattering(tuned(goal), np.maximum(f, 1.0))[:, 1, 0]
    level = [None if one is None else 20 * np.log10(np.maximum(np.abs(one), 1e-6)) for one in (s21, s11, own)]
    shown = {finding.key: finding for finding in reversed(findings) if finding.is_number}
    beside = next((shown[key] for key in BESIDE if key in shown), findings[0])
    return {
        "frequency_hz": f,
        "s21_db": level[0],
        "s11_db": level[1],
        "goal_db": level[2],
        "finding": beside,
        "lines": [str(finding.value) for finding in findings if finding.key == "advice"],
        "name": trace.name,
    }


def _without_trace(question: TuneQuestion) -> Outcome:
    """The sequence alone, or the markers read by hand."""
    if question.goal is None:
        raise RangeError("give a trace, or a goal with --centre, --width and --poles for the tuning sequence.")
    if question.step is not None:
        raise RangeError("--step tells which step a trace shows; name the trace (.s1p) too.")
    findings, tables = list(_goal_findings(question.goal)), _guides(question)
    if question.read_db:
        markers = markers_of(question.goal, unloaded_q=question.unloaded_q, read_db=question.read_db)
        findings.append(marker_advice(question.goal, markers, unloaded_q=question.unloaded_q))
        tables = [table for table in tables if table.name != "markers"] + [marker_table(markers)]
    return Outcome(findings=tuple(findings), tables=tuple(tables))


def _guides(question: TuneQuestion) -> list[Table]:
    """The guided sequence by the method asked."""
    goal = question.goal
    if goal is None:
        return []
    tables = [sequence_table(goal, unloaded_q=question.unloaded_q)]
    if question.method == "peak":
        tables.append(peak_steps(goal, unloaded_q=question.unloaded_q))
    if question.method == "markers":
        tables.append(marker_table(markers_of(goal, unloaded_q=question.unloaded_q, read_db={})))
    return tables


def _step(trace: MeasuredTrace, question: TuneQuestion, tables: list[Table]) -> Outcome:
    goal, step = question.goal, question.step
    if goal is None or step is None:
        raise RangeError("--step needs the goal: --centre, --width and --poles, or --station.")
    if trace.scalar:
        raise RangeError("a step of the sequence is read by reflection with its phase; save S11 (.s1p or .s2p).")
    sweep = sweep_of(trace, centre_hz=goal.centre_hz, width_hz=goal.width_hz)
    findings, table, _ = step_outcome(
        sweep, goal, step, unloaded_q=question.unloaded_q, rate_hz=(question.rates_hz or {}).get(step),
        about=f"recording:{trace.name}",
    )  # fmt: skip
    return _outcome(findings, [*tables, table], trace, goal)


def _elsewhere(trace: MeasuredTrace, goal: FilterGoal) -> bool:
    """Whether a sweep has nothing of the goal's pass band."""
    f = trace.port.frequency_hz
    return bool(f[-1] < goal.centre_hz - goal.width_hz or f[0] > goal.centre_hz + goal.width_hz)


def _scalar(trace: MeasuredTrace, question: TuneQuestion) -> list[Finding]:
    """Rods where the unloaded Q and a goal were given; otherwise unknown."""
    goal = question.goal
    if goal is None or question.unloaded_q is None:
        poles = question.poles or (goal.poles if goal is not None else 3)
        return scalar_findings(trace.name, poles)
    sweep = sweep_of(trace, centre_hz=goal.centre_hz, width_hz=goal.width_hz)
    return scalar_rods(trace.name, sweep, goal, unloaded_q=question.unloaded_q)


def _place(question: TuneQuestion, trace: MeasuredTrace, shape: Shape | None) -> tuple[float, float]:
    """Centre and width the sweep is seen about."""
    if question.goal is not None:
        return question.goal.centre_hz, question.goal.width_hz
    if shape is None:
        raise RangeError(
            f"{trace.name} shows no pass band with 3 dB points; name the goal with --centre, --width and --poles."
        )
    return shape.centre_hz, shape.width_hz


def _extracted(trace: MeasuredTrace, question: TuneQuestion, shape: Shape | None) -> Extraction:
    centre_hz, width_hz = _place(question, trace, shape)
    sweep = sweep_of(trace, centre_hz=centre_hz, width_hz=width_hz)
    loss = None if question.unloaded_q is None else centre_hz / (width_hz * question.unloaded_q)
    poles = question.poles or (question.goal.poles if question.goal is not None else None)
    if poles is not None:
        return extract(sweep, poles, loss=loss)
    best = None
    for tried in TRIED_POLES:
        found = extract(sweep, tried, loss=loss)
        if best is None or found.misfit < 0.5 * best.misfit:
            best = found
        if best.trusted:
            break
    assert best is not None
    return best


def turn_rates(before: Extraction, found: Extraction, turned: Mapping[int, float] | None) -> dict[int, float]:
    """Change of a rod's frequency per turn inwards, learned from two traces. [Hz], by rod number

    raises  RangeError for a rod that is not there, or no turn
    """
    rates = {}
    for told, turns in (turned or {}).items():
        count = min(len(found.resonator_hz), len(before.resonator_hz))
        if not 0 <= told <= count or turns == 0:
            raise RangeError(f"--turned {told}: {turns:g}: there are rods 1 to {count}, and a turn is not 0.")
        moved = [found.resonator_hz[n].value - before.resonator_hz[n].value for n in range(count)]
        rod = told or int(np.argmax(np.abs(moved))) + 1
        doubt = np.hypot(found.resonator_hz[rod - 1].std, before.resonator_hz[rod - 1].std)
        if abs(moved[rod - 1]) > 2 * doubt:
            rates[rod] = float(moved[rod - 1] / turns)
    return rates


def _goal_findings(goal: FilterGoal) -> tuple[Finding, ...]:
    from tepui.jobs.statements import exact

    source = "G. Matthaei, L. Young, E. Jones 1964, from memory; table kq_values"
    return (
        exact("stage:filter", "external_q", goal.external_q, "1", source=source, standing="computed"),
        exact("stage:filter", "width_3db_hz", goal.width_3db_hz, "Hz", source=source, standing="computed"),
    )
