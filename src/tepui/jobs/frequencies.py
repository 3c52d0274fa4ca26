"""``frequencies``: which signal and oscillator frequencies to take, why the others lost, and what the oscillator costs.

Theory  The search judges every plan (prediction/plan.py); one plan, the best or the one asked for, is then stated in
        full: edges, levels, rejection needed, oscillator settings, phase noise, the far receiver.
Source  As each finding says.
Holds   No file and no screen here. Nothing here proves a plan: rejection in theory is stated as a bound.
"""

from dataclasses import dataclass, replace

import numpy as np

from tepui.ground.errors import RangeError
from tepui.ground.findings import Finding, Outcome, Table
from tepui.jobs.frequencies_direct import direct_findings, direct_plan_row, direct_product_rows, direct_reaches
from tepui.jobs.frequencies_far import FarQuestion, far_findings
from tepui.jobs.frequencies_ingress import local_products_table
from tepui.jobs.frequencies_lines import plan_oscillators_table
from tepui.jobs.frequencies_oscillator import OscillatorQuestion, oscillator_findings
from tepui.jobs.frequencies_plan import plan_findings
from tepui.jobs.frequencies_tables import PRODUCT_COLUMNS, cascade_table, plans_table, product_tables
from tepui.prediction.plan import FilterTable, Plans, find_plans
from tepui.prediction.plan_lines import PlanLine, filter_loss_db, plan_lines
from tepui.prediction.plan_question import PlanQuestion

SHOW_ALL_UP_TO = 500  # plans whose products are all listed; of longer lists the first ``show``
SHOW = 50
CURVE_POINTS = 1201


@dataclass(frozen=True, kw_only=True)
class FrequencyQuestion:
    """All of one question.

    number  rank of the plan to state in full, 1 the best
    show    how many plans' products are listed where there are many
    """

    plan: PlanQuestion
    oscillator: OscillatorQuestion | None = None
    fars: tuple[FarQuestion, ...] = ()
    number: int = 1
    show: int = SHOW


def plan_frequencies(question: FrequencyQuestion) -> Outcome:
    """Findings, tables and the picture of a frequency plan.

    raises  RangeError, ChoiceError
    """
    asked = question.plan
    plans = find_plans(asked)
    first = asked.direct and direct_reaches(asked)
    total = len(plans) + asked.direct
    if not 1 <= question.number <= total:
        raise RangeError(f"There are {total} plans; number {question.number} is none of them.")
    direct_rank = 1 if first else total
    tables: list[Table] = [plans_table(plans, asked, shift=int(first))]
    if asked.direct and question.number == direct_rank:
        return _direct(question, tables[0], rank=direct_rank)
    number = question.number - 1 - int(first)
    lines = plan_lines(plans, number, asked, table=FilterTable(asked))
    findings: list[Finding] = plan_findings(plans, number, asked, lines, rank=question.number)
    tables += _products(plans, question, lines, shift=int(first))
    if asked.locals_near:
        tables.append(
            local_products_table(plans, shown_plans(plans, question, shift=int(first)), asked, shift=int(first))
        )
    if asked.direct:
        tables[0] = _with_direct(tables[0], asked, rank=direct_rank)
    lo_hz = float(plans.lo_hz[number])
    if question.oscillator is not None:
        more, extra = oscillator_findings(question.oscillator, asked, lo_hz=lo_hz)
        findings += more
        tables += extra
        if question.oscillator.limits is not None:
            listed = shown_plans(plans, question, shift=int(first))[:SHOW]
            tables.append(plan_oscillators_table(plans, listed, question.oscillator.limits, asked, shift=int(first)))
    error_hz = 0.0 if question.oscillator is None else question.oscillator.error_hz(lo_hz)
    for far in question.fars:
        findings += far_findings(
            far, asked, if_hz=float(plans.if_hz[number]), inverted=bool(plans.inverted[number]),
            transmit_error_hz=error_hz, upward=bool(plans.signed_hz[number, -1] > 0),
        )  # fmt: skip
    needed = next(finding for finding in findings if finding.key == "rejection_lo_db")
    picture = _picture(plans, number, asked, lines, rank=question.number)
    picture["frequency_plan"]["finding"] = needed
    return Outcome(findings=tuple(findings), tables=tuple(tables), pictures=picture)


def _with_direct(table: Table, question: PlanQuestion, *, rank: int) -> Table:
    """The table of plans with the direct one in its place."""
    row = direct_plan_row(question, rank)
    rows = (row, *table.rows) if rank == 1 else (*table.rows, row)
    return replace(table, rows=rows)


def _direct(question: FrequencyQuestion, table: Table, *, rank: int) -> Outcome:
    """The direct plan stated, the others beside it."""
    asked = question.plan
    findings = direct_findings(asked, rank=rank)
    for far in question.fars:
        findings += far_findings(far, asked, if_hz=asked.wanted_hz, inverted=False, transmit_error_hz=0.0,
                                 upward=True)  # fmt: skip
    products = Table(name="products", columns=PRODUCT_COLUMNS, rows=tuple(direct_product_rows(asked, rank)))
    return Outcome(findings=tuple(findings), tables=(_with_direct(table, asked, rank=rank), products))


def shown_plans(plans: Plans, question: FrequencyQuestion, *, shift: int) -> list[int]:
    """Numbers of the plans whose products are listed."""
    count = len(plans) if len(plans) <= SHOW_ALL_UP_TO else min(question.show, len(plans))
    return sorted({*range(count), question.number - 1 - shift})


def _products(plans: Plans, question: FrequencyQuestion, chosen: tuple[PlanLine, ...], *, shift: int) -> list[Table]:
    stated = question.number - 1 - shift
    numbers = shown_plans(plans, question, shift=shift)
    table, asked = FilterTable(question.plan), question.plan
    shown = [
        (n + 1 + shift, chosen if n == stated else plan_lines(plans, n, asked, table=table, far=False)) for n in numbers
    ]
    tables = product_tables(shown)
    if question.plan.cascade is not None:
        tables.append(cascade_table(plans, numbers, shift=shift))
    return tables


def _picture(
    plans: Plans, number: int, question: PlanQuestion, lines: tuple[PlanLine, ...], *, rank: int
) -> dict[str, dict[str, object]]:
    """What the drawing needs: products with their shapes and levels, the filter's curve, the channel."""
    reach = max(
        4 * question.near_hz,
        1.25 * abs(float(plans.lo_hz[number]) - question.wanted_hz),
    )
    low, high = max(question.wanted_hz - reach, 1e5), question.wanted_hz + reach
    frequency = np.linspace(low, high, CURVE_POINTS)
    seen = [one for one in lines if one.line.high_hz > low and one.line.low_hz < high]
    return {
        "frequency_plan": {
            "wanted_hz": question.wanted_hz,
            "signal_width_hz": question.signal_width_hz,
            "near_hz": question.near_hz,
            "if_hz": float(plans.if_hz[number]),
            "lo_hz": float(plans.lo_hz[number]),
            "rank": rank,
            "frequency_hz": frequency,
            "filter_loss_db": filter_loss_db(question, frequency),
            "design": question.design.text(),
            "products": [
                (one.line.text(), abs(one.line.n), one.line.centre_hz, one.line.low_hz, one.line.high_hz,
                 one.level_db, one.doubt_db, one.place, one.name)
                for one in seen
            ],
            "protected": [(one.low_hz, one.high_hz) for one in question.protected],
            "needed_db": plans.lo_needed_db,
        }
    }  # fmt: skip
