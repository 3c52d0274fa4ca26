"""Filter for an IF from inductors and capacitors: parts and predicted trace.

Theory  chain/filters/lumped; the circuit's own trace, not the prototype's.
Source  chain/filters/lumped.
Holds   Ideal capacitors; inductors of one Q. Screened coils, one at right angles to the next.
"""

import math

import numpy as np

from tepui.chain.filters.goal import midband_loss_db
from tepui.chain.filters.lumped import lumped_filter, lumped_scattering
from tepui.chain.filters.rod_design import shape_of
from tepui.ground.findings import Finding, Outcome, Table
from tepui.jobs.filter import TRACE_POINTS, TRACE_WIDTHS
from tepui.jobs.filter_question import ABOUT, FilterQuestion
from tepui.jobs.filter_response import channel_findings, rejection_findings
from tepui.jobs.filter_tables import prototype_table, trace_table
from tepui.jobs.statements import exact
from tepui.jobs.tune_tables import sequence_table
from tepui.signals.twoport import TwoPort

COIL_Q = 120.0
COIL_OHM = 60.0
TOLERANCE = 0.05
WIDEST = 0.12


def design_lumped(question: FilterQuestion, *, inductor_h: float | None) -> Outcome:
    """Parts of a lumped band-pass.

    inductor_h  of every node; None takes the one of 60 ohm at the centre
    raises      RangeError where the inductor does not suit
    """
    goal = question.goal
    coil_h = inductor_h or COIL_OHM / (2 * math.pi * goal.centre_hz)
    unloaded_q = question.unloaded_q or COIL_Q
    made = lumped_filter(goal, inductor_h=coil_h, unloaded_q=unloaded_q)
    reach = TRACE_WIDTHS * goal.width_3db_hz
    f = np.linspace(max(goal.centre_hz - reach, 0.2 * goal.centre_hz), goal.centre_hz + reach, TRACE_POINTS)
    trace = TwoPort(frequency_hz=f, s=lumped_scattering(made, f), z0_ohm=50.0)
    shape = shape_of(f, trace.s[:, 1, 0])
    source = "nodal analysis of the parts, chain/filters/lumped.py"
    findings = [
        Finding(about=ABOUT, key="structure", value="lumped", standing="given", source="asked"),
        exact(ABOUT, "external_q", goal.external_q, "1", source="table kq_values", standing="computed"),
        exact(ABOUT, "unloaded_q", unloaded_q, "1", standing="given",
              source="asked" if question.unloaded_q else "common practice for an air coil at VHF and UHF"),
    ]  # fmt: skip
    loss = midband_loss_db(goal, unloaded_q)
    if shape is not None:
        half = TOLERANCE / 2 * shape.centre_hz / math.sqrt(goal.poles)
        findings += [
            Finding(about=ABOUT, key="centre_hz", value=shape.centre_hz, unit="Hz", low=shape.centre_hz - half,
                    high=shape.centre_hz + half, standing="computed", source=source,
                    remark="Doubt of parts of 5 %; make one capacitor of every node adjustable."),
            exact(ABOUT, "width_3db_hz", shape.width_hz, "Hz", source=source, standing="computed"),
            exact(ABOUT, "insertion_loss_db", shape.loss_db, "dB", source=source, standing="computed",
                  remark=f"By the prototype alone {loss:.2f} dB."),
        ]  # fmt: skip
    findings += rejection_findings(question, lambda f: lumped_scattering(made, f), source=source)
    findings += channel_findings(question, lambda f: lumped_scattering(made, f), source=source)
    if goal.relative_width > WIDEST:
        findings.append(
            Finding(about=ABOUT, key="fit_poor", kind="caution", value=True, standing="computed",
                    source="narrow-band theory of coupled resonators",
                    remark=f"A width of {goal.relative_width:.0%} of the centre is more than the {WIDEST:.0%} this "
                           "holds for: believe the trace and not the goal, or take a higher IF or a narrower filter.")
        )  # fmt: skip
    coils = f"L1 to L{goal.poles}"
    rows: list[tuple[str, str, float | None, float | None]] = [(coils, "node to ground", made.inductor_h, None)]
    rows += [(f"C{n}", f"node {n} to ground", None, value) for n, value in enumerate(made.shunt_f, start=1)]
    rows += [
        (f"C{n}{n + 1}", f"node {n} to node {n + 1}", None, value) for n, value in enumerate(made.between_f, start=1)
    ]
    rows += [("C in, C out", "port to end node", None, made.series_f)]
    parts = Table(
        name="parts", columns=(("part", ""), ("between", ""), ("inductance_h", "H"), ("capacitance_f", "F")),
        rows=tuple(rows),
    )  # fmt: skip
    tables = (parts, prototype_table(goal), trace_table(trace), sequence_table(goal, unloaded_q=unloaded_q))
    return Outcome(findings=tuple(findings), tables=tables)
