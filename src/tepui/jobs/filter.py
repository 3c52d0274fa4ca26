"""Filter: what a band-pass filter must do and the metal to hand in; dimensions, predicted trace and doubts out.

Theory  Prototype, couplings, textbook dimensions, fit of the coupled-line trace; see chain/filters.
Source  chain/filters, module by module.
Holds   Round rods between plates, interdigital or comb-line, and lumped circuits for an IF; two to nine poles.
"""

import numpy as np

from tepui.chain.filters.resonators import coupled_scattering, tuned
from tepui.chain.filters.rod_box import STRUCTURES
from tepui.chain.filters.rod_design import RodDesign, design_rods
from tepui.chain.filters.rod_line import rod_scattering
from tepui.ground.checks import require_one_of
from tepui.ground.errors import RangeError
from tepui.ground.findings import Outcome
from tepui.jobs.filter_findings import design_findings
from tepui.jobs.filter_question import ABOUT, FilterQuestion, question_q
from tepui.jobs.filter_shop import shop_findings
from tepui.jobs.filter_tables import cut_list, prototype_table, rods_table, trace_table
from tepui.jobs.tune_tables import sequence_table
from tepui.signals.twoport import TwoPort
from tepui.tables.load import load_table

TRACE_POINTS = 401
TRACE_WIDTHS = 4.0


def trace_of(design: RodDesign, *, points: int = TRACE_POINTS, widths: float = TRACE_WIDTHS) -> TwoPort:
    """The predicted response of the dimensions about the centre."""
    goal = design.goal
    low = max(goal.centre_hz - widths * goal.width_3db_hz, 0.2 * goal.centre_hz)
    high = min(goal.centre_hz + widths * goal.width_3db_hz, 1.6 * goal.centre_hz)
    f = np.linspace(low, high, points)
    return TwoPort(frequency_hz=f, s=rod_scattering(design.box, f), z0_ohm=50.0)


def design_filter(question: FilterQuestion) -> Outcome:
    """The design of a round-rod filter, with everything that can be said before there is metal.

    raises  RangeError where the metal to hand cannot make it
    """
    require_one_of("metal", question.metal, load_table("metals").column("metal"), source="table metals")
    if question.structure not in STRUCTURES:
        raise RangeError(f"structure must be interdigital or combline, not {question.structure}.")
    unloaded_q, origin = question_q(question)
    design = design_rods(
        question.goal,
        structure=question.structure,
        diameter_m=question.diameter_m,
        plates_m=question.plates_m,
        unloaded_q=unloaded_q,
        gap_m=question.gap_m,
        angle_deg=question.angle_deg,
    )
    trace = trace_of(design)
    findings = design_findings(ABOUT, question, design, trace, q_origin=origin) + shop_findings(question, design)
    tables = [
        rods_table("rods", design.box, design.screw_m),
        rods_table("textbook", design.textbook, (None,) * question.goal.poles),
        prototype_table(question.goal),
        trace_table(trace),
        cut_list(design.box),
        sequence_table(question.goal, unloaded_q=unloaded_q),
    ]
    band = None
    if question.yield_trials:
        from tepui.jobs.filter_yield import yield_outcome

        more, band = yield_outcome(ABOUT, question, design)
        findings += more
        tables.append(band)
    ideal = coupled_scattering(tuned(question.goal, unloaded_q=unloaded_q), trace.frequency_hz)
    pictures = {
        "filter": {"design": design, "trace": trace, "ideal": ideal, "band": None if band is None else band.rows}
    }
    return Outcome(findings=tuple(findings), tables=tuple(tables), pictures=pictures)
