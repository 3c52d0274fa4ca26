"""Every frequency plan at once: for each oscillator and signal, what falls into the channel and beside it.

Theory  For plans (c) and products (p) all centres are one outer sum; only products whose true width touches a region
        are kept, and of those the share of power inside follows from the n-fold convolution (conversion/shape.py).
        Beside the channel the share is weighed with the filter in bins. Levels are relative to the wanted product.
Source  Arithmetic; levels from conversion/mixer.py, filter from filters/coupled.py.
Holds   Each product alone: powers of several are not summed, the worst is named. In the channel the filter takes the
        product as it takes the wanted one.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.chain.conversion.products import Ints, ProductRows, product_centres_hz
from tepui.chain.conversion.shape import share_table

Floats = npt.NDArray[np.float64]
Filter = Callable[[Floats], Floats]
Between = Callable[[Floats], Floats]
CHUNK = 4096
BINS = 12
NOTHING_DB = -300.0
NO_ORDER = 99


@dataclass(frozen=True, kw_only=True)
class Region:
    """A stretch of spectrum to keep clean; ``filtered`` weighs what falls into it with the filter."""

    low_hz: float
    high_hz: float
    filtered: bool


@dataclass(frozen=True, kw_only=True, eq=False)
class Worst:
    """The worst product of each plan in one region.

    level_db, doubt_db  (c,) share inside the region over the wanted; NOTHING_DB where nothing touches
    row                 (c,) which product row; -1 where nothing touches
    order, order_row    (c,) the lowest order that touches, and its row; NO_ORDER and -1 where nothing does
    """

    level_db: Floats
    doubt_db: Floats
    row: Ints
    order: Ints
    order_row: Ints


def worst_in_regions(
    signed_hz: Floats,
    *,
    rows: ProductRows,
    width_hz: float,
    regions: Sequence[tuple[Region, ...]],
    filter_db: Filter,
    between_db: Between | None = None,
) -> tuple[Worst, ...]:
    """The worst product of every plan in each group of regions.

    signed_hz   (c, b) oscillators and signal with signs, see conversion/products.py
    width_hz    of the signal, outermost carriers
    filter_db   loss over the loss for the wanted channel
    between_db  of a filter between two mixers: signed frequencies (c, b) to the loss of every row (c, p)
    """
    parts = []
    for begin in range(0, len(signed_hz), CHUNK):
        stretch = signed_hz[begin : begin + CHUNK]
        centre = product_centres_hz(rows, stretch)
        lost = np.zeros((1, 1)) if between_db is None else between_db(stretch)
        lost = np.broadcast_to(lost, centre.shape)
        parts.append(
            [_worst(centre, rows, lost, width_hz=width_hz, group=group, filter_db=filter_db) for group in regions]
        )
    return tuple(_joined([part[number] for part in parts]) for number in range(len(regions)))


def _joined(parts: list[Worst]) -> Worst:
    """The plans of all chunks behind one another."""
    return Worst(
        level_db=np.concatenate([part.level_db for part in parts]),
        doubt_db=np.concatenate([part.doubt_db for part in parts]),
        row=np.concatenate([part.row for part in parts]),
        order=np.concatenate([part.order for part in parts]),
        order_row=np.concatenate([part.order_row for part in parts]),
    )


def _worst(
    centre: Floats, rows: ProductRows, lost_db: Floats, *, width_hz: float, group: tuple[Region, ...], filter_db: Filter
) -> Worst:
    half = rows.spread * width_hz / 2
    plan_parts, row_parts, share_parts = [], [], []
    for region in group:
        touching = np.flatnonzero((centre + half > region.low_hz) & (centre - half < region.high_hz))
        plan, row = np.divmod(touching, len(half))
        plan_parts.append(plan)
        row_parts.append(row)
        share_parts.append(
            region_shares(centre[plan, row], rows.spread[row], width_hz=width_hz, region=region, filter_db=filter_db)
        )
    plan, row = np.concatenate(plan_parts), np.concatenate(row_parts)
    share_db = 10 * np.log10(np.maximum(np.concatenate(share_parts), 1e-30))
    level = rows.level_db[row] + share_db - lost_db[plan, row]
    return _reduced(centre.shape[0], plan, row, level=level, doubt=rows.doubt_db[row], order=rows.order[row])


def region_shares(centre_hz: Floats, n: Ints, *, width_hz: float, region: Region, filter_db: Filter) -> Floats:
    """Share of each product's power that comes out in a region. (k,), (k,) -> (k,) [1]"""
    edges = np.linspace(region.low_hz, region.high_hz, (BINS if region.filtered else 1) + 1)
    weight = np.ones(len(edges) - 1)
    if region.filtered:
        weight = 10 ** (-filter_db((edges[1:] + edges[:-1]) / 2) / 10)
    share = np.zeros(len(centre_hz))
    for order in np.unique(n):
        chosen = n == order
        away = (edges[None, :] - centre_hz[chosen][:, None]) / width_hz
        below = (away >= 0).astype(np.float64) if order == 0 else np.interp(away, *share_table(int(order)))
        share[chosen] = np.diff(below, axis=1) @ weight
    return share


def _reduced(n_plans: int, plan: Ints, row: Ints, *, level: Floats, doubt: Floats, order: Ints) -> Worst:
    """The worst by its upper end, and the lowest order, of each plan; ties go to the earlier row."""
    found = {
        "level_db": np.full(n_plans, NOTHING_DB),
        "doubt_db": np.zeros(n_plans),
        "row": np.full(n_plans, -1),
        "order": np.full(n_plans, NO_ORDER),
        "order_row": np.full(n_plans, -1),
    }
    by_level = np.lexsort((-row, level + doubt, plan))
    last = by_level[np.r_[plan[by_level][1:] != plan[by_level][:-1], True]] if len(plan) else by_level
    found["level_db"][plan[last]], found["doubt_db"][plan[last]] = level[last], doubt[last]
    found["row"][plan[last]] = row[last]
    by_order = np.lexsort((-row, -order, plan))
    first = by_order[np.r_[plan[by_order][1:] != plan[by_order][:-1], True]] if len(plan) else by_order
    found["order"][plan[first]], found["order_row"][plan[first]] = order[first], row[first]
    return Worst(**found)
