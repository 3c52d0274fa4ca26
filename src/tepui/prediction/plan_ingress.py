"""Local services that creep into the mixer's signal port: what they make of the oscillator in the channel.

Theory  A service F at the signal's port mixes as the signal does: m LO ± n F, n widths of F wide, and passes straight
        through where the mixer leaks (m = 0). Its n-th order product lies n dB lower with each dB by which it is weaker
        than the signal. What reaches the port is its level in the shack less the shielding.
Source  conversion/mixer.py for the levels; the shielding is the operator's, or an assumption that is told.
Holds   Each service alone. Where its level is not known only the first products count, whatever their level.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tepui.chain.conversion.products import Ints, Line, ProductRows, line_of
from tepui.prediction.plan_question import LocalService, PlanQuestion
from tepui.prediction.plan_search import NOTHING_DB, Between, Filter, Region, worst_in_regions

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
MOST_N = 3
FIRST_ORDERS = 3  # |m| + 1: what any mixer makes plainly
SHIELDING_DOUBT_DB = 10.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Ingress:
    """By plan, each (c,); rows count within ``rows``, services within the question's.

    inside_db, beside_db       upper end of the worst product in the channel and beside it; NOTHING_DB where none
    inside_row, inside_service which one it is; -1 where none. ``beside_row``, ``beside_service`` likewise
    unknown_row, unknown_service  a first product in the channel of a service whose level is not known; -1 where none
    """

    rows: ProductRows
    inside_db: Floats
    inside_row: Ints
    inside_service: Ints
    beside_db: Floats
    beside_row: Ints
    beside_service: Ints
    unknown_row: Ints
    unknown_service: Ints


def ingress(
    question: PlanQuestion, signed_hz: Floats, rows: ProductRows, *, regions: tuple[tuple[Region, ...], ...],
    filter_db: Filter, between_db: Between | None,
) -> Ingress:  # fmt: skip
    """The worst that local services make in the channel and beside it.

    signed_hz  (c, b) oscillators and signal with signs
    regions    the channel, and what lies beside it
    """
    kept = service_rows(rows)
    count = len(signed_hz)
    found = Ingress(
        rows=kept,
        inside_db=np.full(count, NOTHING_DB),
        inside_row=np.full(count, -1),
        inside_service=np.full(count, -1),
        beside_db=np.full(count, NOTHING_DB),
        beside_row=np.full(count, -1),
        beside_service=np.full(count, -1),
        unknown_row=np.full(count, -1),
        unknown_service=np.full(count, -1),
    )
    for n, service in enumerate(question.locals_near):
        own = at_level(kept, service, question)
        signed = service_hz(signed_hz, service)
        inside, beside = worst_in_regions(
            signed, rows=own, width_hz=service.width_hz, regions=regions, filter_db=filter_db, between_db=between_db
        )
        if service.level_dbm is None:
            early = (inside.order <= FIRST_ORDERS) & (found.unknown_row < 0)
            found.unknown_row[early], found.unknown_service[early] = inside.order_row[early], n
            continue
        for worst, level, row, whose in (
            (inside, found.inside_db, found.inside_row, found.inside_service),
            (beside, found.beside_db, found.beside_row, found.beside_service),
        ):
            upper = np.where(worst.row < 0, NOTHING_DB, worst.level_db + worst.doubt_db)
            more = upper > level
            level[more], row[more], whose[more] = upper[more], worst.row[more], n
    return found


def service_rows(rows: ProductRows) -> ProductRows:
    """The rows in which a service may stand for the signal."""
    n = rows.n
    kept = (n >= 1) & (n <= MOST_N) & ~((n > 1) & (np.abs(rows.multiples[:, :-1]).sum(axis=1) == 0))
    if rows.inner is not None:
        kept &= rows.inner[:, 2] <= 1  # mutual products of two services' products are out of sight
        kept &= rows.spread == n
    return ProductRows(
        multiples=rows.multiples[kept],
        order=rows.order[kept],
        level_db=rows.level_db[kept],
        doubt_db=rows.doubt_db[kept],
        factor=rows.factor,
        widths=None if rows.widths is None else rows.widths[kept],
        inner=None if rows.inner is None else rows.inner[kept],
    )


def at_level(rows: ProductRows, service: LocalService, question: PlanQuestion) -> ProductRows:
    """The rows with the levels that a service makes; unchanged where its level is not known."""
    if service.level_dbm is None:
        return rows
    weaker = service.level_dbm - question.shielding_db - question.drive.signal_dbm
    return replace(
        rows,
        level_db=rows.level_db + rows.n * weaker,
        doubt_db=np.hypot(rows.doubt_db, rows.n * SHIELDING_DOUBT_DB),
    )


def service_hz(signed_hz: Floats, service: LocalService) -> Floats:
    """Signed frequencies with the service in the signal's place."""
    placed = signed_hz.copy()
    placed[:, -1] = np.copysign(service.centre_hz, signed_hz[:, -1])
    return placed


def service_line(rows: ProductRows, row: int, *, signed_hz: Floats, service: LocalService) -> Line:
    """One product of a service at one plan (b,)."""
    return line_of(
        rows.multiples[row].tolist(),
        signed_hz=service_hz(signed_hz[None, :], service)[0].tolist(),
        width_hz=service.width_hz,
        factor=rows.factor,
    )
