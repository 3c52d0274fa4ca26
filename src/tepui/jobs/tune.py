"""Tune: a measured filter in; which resonator to turn which way, by how much, and what no screw can mend out.

Theory  The coupled-resonator model is fitted to the trace (evidence/filter_extraction) and compared with the goal.
        Screws move frequencies only: a coupling or external Q that is wrong is metal's affair.
Source  evidence/filter_extraction; chain/filters/goal.
Holds   In-line filters of 2 to 7 resonators, swept over two to eight bandwidths.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.rod_design import Shape, shape_of
from tepui.evidence.filter_extraction import Extraction, extract
from tepui.evidence.filter_model import Sweep
from tepui.ground.errors import RangeError
from tepui.ground.findings import Finding, Outcome, Table
from tepui.jobs.tune_findings import extraction_findings, scalar_findings, shape_findings
from tepui.jobs.tune_tables import place_table, resonator_table, sequence_table
from tepui.signals.oneport import OnePort
from tepui.signals.twoport import TwoPort

REACH_WIDTHS = 2.2
FEWEST = 41
TRIED_POLES = range(2, 7)


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
    turned    rod number -> turns (inwards positive) between the last two traces
    places_hz name -> frequency at which the loss is told
    """

    goal: FilterGoal | None
    poles: int | None = None
    unloaded_q: float | None = None
    turned: Mapping[int, float] | None = None
    places_hz: Mapping[str, float] | None = None


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
    if not traces:
        if question.goal is None:
            raise RangeError("give a trace, or a goal with --centre, --width and --poles for the tuning sequence.")
        return Outcome(findings=_goal_findings(question.goal), tables=(_sequence(question),))
    trace = traces[-1]
    about = f"recording:{trace.name}"
    shape = trace_shape(trace)
    findings = list(shape_findings(about, shape, question.goal, trace.remarks))
    tables = [] if question.goal is None else [_sequence(question)]
    if question.places_hz and isinstance(trace.port, TwoPort):
        tables.append(place_table(trace.port, question.places_hz))
    if trace.scalar:
        poles = question.poles or (question.goal.poles if question.goal is not None else 3)
        findings += scalar_findings(trace.name, poles)
        return Outcome(findings=tuple(findings), tables=tuple(tables))
    found = _extracted(trace, question, shape)
    rates = _turn_rates(traces, found, question, shape)
    findings += extraction_findings(trace.name, found, question.goal, rates)
    tables.append(resonator_table(found, question.goal, rates))
    return Outcome(findings=tuple(findings), tables=tuple(tables), pictures={"tune": {"trace": trace, "found": found}})


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


def _turn_rates(
    traces: list[MeasuredTrace], found: Extraction, question: TuneQuestion, shape: Shape | None
) -> dict[int, float]:
    """Change of a rod's frequency per turn inwards, learned from the last two traces. [Hz], by rod number"""
    if len(traces) < 2 or not question.turned or traces[-2].scalar:
        return {}
    before = _extracted(traces[-2], question, shape)
    rates = {}
    for rod, turns in question.turned.items():
        if not 1 <= rod <= len(found.resonator_hz) or turns == 0:
            raise RangeError(f"--turned {rod}: there are rods 1 to {len(found.resonator_hz)}, and turns are not 0.")
        moved = found.resonator_hz[rod - 1].value - before.resonator_hz[rod - 1].value
        doubt = np.hypot(found.resonator_hz[rod - 1].std, before.resonator_hz[rod - 1].std)
        if abs(moved) > 2 * doubt:
            rates[rod] = float(moved / turns)
    return rates


def _goal_findings(goal: FilterGoal) -> tuple[Finding, ...]:
    from tepui.jobs.statements import exact

    source = "G. Matthaei, L. Young, E. Jones 1964, from memory; table kq_values"
    return (
        exact("stage:filter", "external_q", goal.external_q, "1", source=source, standing="computed"),
        exact("stage:filter", "width_3db_hz", goal.width_3db_hz, "Hz", source=source, standing="computed"),
    )


def _sequence(question: TuneQuestion) -> Table:
    assert question.goal is not None
    return sequence_table(question.goal, unloaded_q=question.unloaded_q)
