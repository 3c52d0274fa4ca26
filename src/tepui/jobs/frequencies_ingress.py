"""What local services make in the mixer, plan by plan: products near the channel, and the shielding each one asks for.

Theory  prediction/plan_ingress.py.
Source  As the mixer's levels; shielding is the operator's or an assumption that is told.
Holds   Products that reach the channel or what lies beside it.
"""

from collections.abc import Sequence

import numpy as np

from tepui.chain.conversion.products import Line, moves
from tepui.chain.conversion.shape import share_below
from tepui.ground.findings import Table, Value
from tepui.jobs.frequencies_reasons import service_text
from tepui.prediction.plan import Plans
from tepui.prediction.plan_ingress import at_level, service_hz, service_line
from tepui.prediction.plan_lines import wanted_line
from tepui.prediction.plan_question import LocalService, PlanQuestion

COLUMNS = (
    ("plan", "1"), ("local_hz", "Hz"), ("product", ""), ("centre_hz", "Hz"), ("low_hz", "Hz"), ("high_hz", "Hz"),
    ("width_hz", "Hz"), ("level_db_low", "dB"), ("level_db_high", "dB"), ("in_channel", ""), ("shielding_db", "dB"),
    ("lo_up_hz", "Hz"),
)  # fmt: skip


def local_products_table(plans: Plans, numbers: Sequence[int], question: PlanQuestion, *, shift: int) -> Table:
    """Products of local services that touch the channel or stand beside it, of the plans shown."""
    rows: list[tuple[Value, ...]] = []
    for number in numbers:
        for service in question.locals_near:
            rows += [(number + 1 + shift, *row) for row in _of_service(plans, number, service, question)]
    return Table(name="local_products", columns=COLUMNS, rows=tuple(rows))


def _of_service(plans: Plans, number: int, service: LocalService, question: PlanQuestion) -> list[tuple[Value, ...]]:
    kept = plans.ingress.rows
    signed = plans.signed_hz[number]
    centre = np.abs(service_hz(signed[None, :], service) @ kept.multiples.T)[0]
    half = kept.n * service.width_hz / 2
    near = np.flatnonzero(
        (centre + half > question.wanted_hz - question.near_hz)
        & (centre - half < question.wanted_hz + question.near_hz)
    )
    own = at_level(kept, service, question)
    found: list[tuple[Value, ...]] = []
    for row in near.tolist():
        line = service_line(kept, row, signed_hz=signed, service=service)
        inside = share_inside(line, service, question)
        low = high = shielding = None
        if service.level_dbm is not None:
            middle, doubt = float(own.level_db[row]), float(own.doubt_db[row])
            low, high = middle - doubt, middle + doubt
            limit = question.limits.in_channel_db if inside else question.limits.near_db
            shielding = max(question.shielding_db + (high - limit) / line.spread, 0.0)
        found.append((service.centre_hz, service_text(line, service), line.centre_hz, line.low_hz, line.high_hz,
                      line.width_hz, low, high, inside > 0, shielding,
                      moves(line, wanted=wanted_line(plans, number, question)).lo_up_hz))  # fmt: skip
    return found


def share_inside(line: Line, service: LocalService, question: PlanQuestion) -> float:
    """Share of a service's product that falls into the channel."""
    half = question.signal_width_hz / 2
    edges = [(question.wanted_hz + end * half - line.centre_hz) / service.width_hz for end in (-1, 1)]
    below = share_below(edges, n=line.spread)
    return float(below[1] - below[0])
