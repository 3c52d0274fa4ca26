"""Frequency plans judged and ranked: what is wrong with each, and which of the rest leaves the filter most to spare.

Theory  Faults are tested on all plans at once, in the order of ``REJECTING`` and ``MARGINAL``; the first names the
        plan. Rank: clean before marginal before rejected, then the worst product in the channel, then beside it (both
        by the upper end of their doubt, as far as they matter), then what the filter has to spare at the oscillator
        and the image. Ties go by frequency, so that the order of the input means nothing.
Source  The tests are common practice, their limits in plan_question.PlanLimits.
Holds   What the filter has to spare is theory; see filters/coupled.CLAIM_DB.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tepui.chain.conversion.mixer import ProductLevels, product_levels
from tepui.chain.conversion.products import (
    ProductRows,
    cascade_rows,
    multiplier_rows,
    product_rows,
    signed_frequencies,
)
from tepui.chain.filters.coupled import CLAIM_DB, loss_db
from tepui.chain.filters.ladder import ideal_loss_db
from tepui.ground.errors import RangeError
from tepui.prediction.plan_far import far_faults
from tepui.prediction.plan_ingress import Ingress, ingress, service_rows
from tepui.prediction.plan_question import PlanQuestion
from tepui.prediction.plan_search import NOTHING_DB, Between, Region, Worst, worst_in_regions

Floats = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
REJECTING = (
    "modulator", "oscillator", "step", "local service", "line in channel", "low order in channel", "level in channel",
    "local product", "protected", "lo out of reach", "image out of reach", "far lost",
)  # fmt: skip
MARGINAL = (
    "low order near", "level near", "lo thin", "local neighbour", "local product near", "local product unknown",
    "far missed", "far strayed",
)  # fmt: skip
VERDICTS = ("clean", "marginal", "rejected")
MATTERS_IN_DB, MATTERS_NEAR_DB = -70.0, -60.0  # products below these are no reason to prefer another plan
TABLE_POINTS = 6001
INGRESS_COLUMNS = (
    "inside_db", "inside_row", "inside_service", "beside_db", "beside_row", "beside_service", "unknown_row",
    "unknown_service",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Plans:
    """Every plan, best first.

    signed_hz     (c, b) oscillators and signal with signs; (c, 2), or (c, 3) behind two mixers
    high_side     (c,) the (last) oscillator stands above the channel
    inverted      (c,) the spectrum comes out mirrored
    error_hz      (c,) how far the oscillator's step puts the channel off
    in_channel, beside, guarded   worst products; ``guarded`` one for each protected range
    lo_needed_db, image_needed_db (c,) rejection the filter must have, and what theory gives it
    ingress       what local services make
    fault         (c,) the first fault's name, "" where there is none
    verdict       (c,) 0 clean, 1 marginal, 2 rejected
    """

    signed_hz: Floats
    high_side: Bools
    inverted: Bools
    error_hz: Floats
    rows: ProductRows
    levels: ProductLevels
    in_channel: Worst
    beside: Worst
    guarded: tuple[Worst, ...]
    lo_needed_db: float
    image_needed_db: float
    lo_theory_db: Floats
    image_theory_db: Floats
    ingress: Ingress
    fault: npt.NDArray[np.str_]
    verdict: npt.NDArray[np.int64]

    def __len__(self) -> int:
        return len(self.signed_hz)

    @property
    def if_hz(self) -> Floats:
        """Signal frequency of each plan. [Hz]"""
        return np.abs(self.signed_hz[:, -1])

    @property
    def lo_hz(self) -> Floats:
        """(Last) oscillator of each plan, multiplied. [Hz]"""
        return np.abs(self.signed_hz[:, -2])


class FilterTable:
    """The output filter over the wanted channel's centre, from a table: a search asks for it a million times.

    Where the built filter was measured its own curve stands, elsewhere the prototype.
    """

    def __init__(self, question: PlanQuestion) -> None:
        centre = question.wanted_hz
        reach = max(question.near_hz, 2 * question.width_hz) * 1.5
        low = min([centre - reach, *(one.low_hz for one in question.protected)])
        high = max([centre + reach, *(one.high_hz for one in question.protected)])
        self._design, self._measured = question.design, question.measured
        self._frequency = np.linspace(max(low, 1e3), high, TABLE_POINTS)
        self._floor = float(loss_db(self._design, [centre])[0])
        self._least = self._floor
        if self._measured is not None and self._measured.covers(centre):
            self._least = float(self._measured.loss_at_db(centre))
        self._loss = self.claimed(self._frequency)

    def near(self, frequency_hz: Floats) -> Floats:
        """Loss over the channel's, within the table; no more than may be claimed of an unmeasured filter."""
        return np.asarray(np.interp(frequency_hz, self._frequency, self._loss))

    def anywhere(self, frequency_hz: Floats) -> Floats:
        """Loss over the channel's at any frequency; a frequency of 0 passes no resonator."""
        frequency = np.maximum(frequency_hz, 1e3)
        return self._with_measured(frequency, loss_db(self._design, frequency) - self._floor)

    def claimed(self, frequency_hz: Floats) -> Floats:
        """The same, by theory no better than may be claimed."""
        frequency = np.maximum(frequency_hz, 1e3)
        theory = np.minimum(loss_db(self._design, frequency) - self._floor, CLAIM_DB[0])
        return self._with_measured(frequency, theory)

    def _with_measured(self, frequency: Floats, theory: Floats) -> Floats:
        if self._measured is None:
            return theory
        own = self._measured.loss_at_db(frequency) - self._least
        return np.where(self._measured.covers(frequency), own, theory)


def find_plans(question: PlanQuestion) -> Plans:
    """Every plan the question allows, judged, best first.

    raises  RangeError, ChoiceError
    """
    levels = product_levels(question.drive, model=question.mixer, own=question.own)
    signed, high, error = _candidates(question)
    if len(signed) == 0:
        raise RangeError("No plan is left: every IF equals the wanted channel, where there is no oscillator.")
    rows = _rows(question, levels)
    table = FilterTable(question)
    between = between_of(question, rows)
    half, centre = question.signal_width_hz / 2, question.wanted_hz
    regions = [
        (Region(low_hz=centre - half, high_hz=centre + half, filtered=False),),
        (
            Region(low_hz=centre - question.near_hz, high_hz=centre - half, filtered=True),
            Region(low_hz=centre + half, high_hz=centre + question.near_hz, filtered=True),
        ),
        *((Region(low_hz=one.low_hz, high_hz=one.high_hz, filtered=True),) for one in question.protected),
    ]
    found = worst_in_regions(
        signed, rows=rows, width_hz=question.signal_width_hz, regions=regions, filter_db=table.near, between_db=between
    )
    image = np.abs(signed[:, -2] - (centre - signed[:, -2]))
    nearest = image + np.clip(centre - image, -half, half)
    plans = Plans(
        signed_hz=signed,
        high_side=high,
        inverted=np.asarray(signed[:, -1] < 0),
        error_hz=error,
        rows=rows,
        levels=levels,
        in_channel=found[0],
        beside=found[1],
        guarded=found[2:],
        lo_needed_db=question.drive.lo_line_db + question.goal_db,
        image_needed_db=question.goal_db,
        lo_theory_db=table.anywhere(np.abs(signed[:, -2])),
        image_theory_db=table.anywhere(nearest),
        ingress=ingress(
            question,
            signed,
            rows,
            regions=tuple(regions[:2]),
            filter_db=table.near,
            between_db=between_of(question, service_rows(rows)),
        ),
        fault=np.zeros(0, "U24"),
        verdict=np.zeros(0, np.int64),
    )
    return _ranked(question, plans)


def _candidates(question: PlanQuestion) -> tuple[Floats, Bools, Floats]:
    """Signed frequencies, side and error of every plan."""
    sides = {"low": [False], "high": [True], "both": [False, True]}[question.side]
    signal = np.unique(np.asarray(question.if_hz, dtype=np.float64))
    if question.cascade is None:
        parts = [signed_frequencies(signal, wanted_hz=question.wanted_hz, high_side=np.full(signal.size, side))
                 for side in sides]  # fmt: skip
        high = np.repeat(sides, signal.size)
        signed = np.concatenate(parts)
    else:
        signed, high = _cascaded(question, signal, sides)
    error = np.zeros(len(signed))
    if question.step_hz is not None:
        step = question.step_hz * question.multiplied
        made = np.round(signed[:, -2] / step) * step
        error = made - signed[:, -2]
        signed[:, -2] = made
    used = np.abs(signed[:, -2]) > 0
    return signed[used], np.asarray(high, dtype=bool)[used], error[used]


def _cascaded(question: PlanQuestion, signal: Floats, sides: list[bool]) -> tuple[Floats, Bools]:
    """LO1, LO2 and IF of every pair of signal and second IF, the first mixer on either side."""
    assert question.cascade is not None
    second = np.unique(np.asarray(question.cascade.second_if_hz, dtype=np.float64))
    parts, high = [], []
    for side in sides:
        for first in (False, True):
            grid_if, grid_second = (one.ravel() for one in np.meshgrid(signal, second, indexing="ij"))
            sign2 = -1.0 if side else 1.0
            lo2 = question.wanted_hz - sign2 * grid_second
            inner = -1.0 if first else 1.0
            lo1 = sign2 * (grid_second - inner * grid_if)
            parts.append(np.stack([lo1, lo2, sign2 * inner * grid_if], axis=1))
            high.append(np.full(grid_if.size, side))
    return np.concatenate(parts), np.concatenate(high)


def _rows(question: PlanQuestion, levels: ProductLevels) -> ProductRows:
    if question.cascade is not None:
        return cascade_rows(levels, order=question.order)
    rows = product_rows(levels, order=question.order, max_m=question.max_m, max_n=question.max_n)
    return multiplier_rows(
        rows,
        levels,
        factor=question.multiplied,
        harmonic_db=question.harmonic_db,
        harmonic_doubt_db=question.harmonic_doubt_db,
    )


def between_of(question: PlanQuestion, rows: ProductRows) -> Between | None:
    """Loss of the filter between two mixers for what of each row has to pass it; None with one mixer."""
    cascade = question.cascade
    if cascade is None:
        return None
    assert rows.inner is not None
    k, n, often = rows.inner.T
    width = cascade.width_hz or 5 * question.width_hz

    def lost(signed: Floats) -> Floats:
        # The filter stands where the second IF is; in the signal's place there may be another service.
        second = np.abs(question.wanted_hz - signed[:, 1])[:, None]
        made = np.maximum(np.abs(signed[:, :1] * k[None, :] + signed[:, 2:] * n[None, :]), 1e3)
        loss = ideal_loss_db(
            made / second - second / made, n_poles=cascade.n_poles, ripple_db=cascade.ripple_db, fraction=width / second
        )
        return np.asarray(often[None, :] * np.minimum(loss, CLAIM_DB[0]))

    return lost


def _ranked(question: PlanQuestion, plans: Plans) -> Plans:
    faults = _faults(question, plans)
    names = np.array([*REJECTING, *MARGINAL, ""])
    table = np.stack([*(faults[name] for name in names[:-1]), np.ones(len(plans), bool)])
    first = table.argmax(axis=0)
    verdict = np.where(first < len(REJECTING), 2, np.where(first < len(names) - 1, 1, 0))
    table[REJECTING.index("far lost")] = False  # that holds for all of them: their own faults go on ranking them
    own = np.searchsorted([len(REJECTING), len(names) - 1], table.argmax(axis=0), side="right")
    inside, beside = (_upper(one) for one in (plans.in_channel, plans.beside))
    spare = np.minimum(plans.lo_theory_db - plans.lo_needed_db, plans.image_theory_db - plans.image_needed_db)
    keys = (
        plans.signed_hz[:, 0],
        plans.high_side,
        plans.if_hz,
        -np.round(spare, 2),
        np.round(np.maximum(beside, MATTERS_NEAR_DB), 2),
        np.round(np.maximum(inside, MATTERS_IN_DB), 2),
        2 - own,
        verdict,
    )
    order = np.lexsort(keys)
    return Plans(
        signed_hz=plans.signed_hz[order],
        high_side=plans.high_side[order],
        inverted=plans.inverted[order],
        error_hz=plans.error_hz[order],
        rows=plans.rows,
        levels=plans.levels,
        in_channel=_taken(plans.in_channel, order),
        beside=_taken(plans.beside, order),
        guarded=tuple(_taken(one, order) for one in plans.guarded),
        lo_needed_db=plans.lo_needed_db,
        image_needed_db=plans.image_needed_db,
        lo_theory_db=plans.lo_theory_db[order],
        image_theory_db=plans.image_theory_db[order],
        ingress=_ingress_taken(plans.ingress, order),
        fault=names[first][order],
        verdict=verdict[order],
    )


def _taken(worst: Worst, order: npt.NDArray[np.int64]) -> Worst:
    return Worst(
        level_db=worst.level_db[order],
        doubt_db=worst.doubt_db[order],
        row=worst.row[order],
        order=worst.order[order],
        order_row=worst.order_row[order],
    )


def _ingress_taken(found: Ingress, order: npt.NDArray[np.int64]) -> Ingress:
    columns = {name: getattr(found, name)[order] for name in INGRESS_COLUMNS}
    return replace(found, **columns)


def _upper(worst: Worst) -> Floats:
    return np.where(worst.row < 0, NOTHING_DB, worst.level_db + worst.doubt_db)


def _faults(question: PlanQuestion, plans: Plans) -> dict[str, Bools]:
    limits, never = question.limits, np.zeros(len(plans), bool)
    oscillator = np.abs(plans.signed_hz[:, -2]) / question.multiplied
    line_row = (plans.rows.spread[plans.in_channel.order_row] == 0) & (plans.in_channel.order_row >= 0)
    signal = plans.if_hz
    tuned = never if question.modulator_hz is None else ~np.any(
        [(signal >= low) & (signal <= high) for low, high in question.modulator_hz], axis=0
    )  # fmt: skip
    beyond = never if question.oscillator_hz is None else (
        (oscillator < question.oscillator_hz[0]) | (oscillator > question.oscillator_hz[1])
    )  # fmt: skip
    guarded = never.copy()
    for place, worst in zip(question.protected, plans.guarded, strict=True):
        guarded |= _upper(worst) > place.limit_db
    far = far_faults(
        question.fars, wanted_hz=question.wanted_hz, width_hz=question.width_hz, off_hz=plans.error_hz,
        drift_hz=np.abs(plans.signed_hz[:, -2]) * question.transmit_ppm * 1e-6,
    )  # fmt: skip
    return {
        "modulator": np.asarray(tuned),
        "oscillator": np.asarray(beyond),
        "step": np.abs(plans.error_hz) > limits.error_hz,
        "local service": _meets(question, signal, gap_hz=0.0),
        "line in channel": line_row,
        "low order in channel": plans.in_channel.order <= limits.low_order,
        "level in channel": _upper(plans.in_channel) > limits.in_channel_db,
        "local product": plans.ingress.inside_db > limits.in_channel_db,
        "protected": guarded,
        "lo out of reach": plans.lo_theory_db < plans.lo_needed_db,
        "image out of reach": plans.image_theory_db < plans.image_needed_db,
        "far lost": far.lost,
        "low order near": plans.beside.order <= limits.low_order,
        "level near": _upper(plans.beside) > limits.near_db,
        "lo thin": plans.lo_theory_db < plans.lo_needed_db + limits.lo_thin_db,
        "local neighbour": _meets(question, signal, gap_hz=question.width_hz / 4),
        "local product near": plans.ingress.beside_db > limits.near_db,
        "local product unknown": plans.ingress.unknown_row >= 0,
        "far missed": far.missed,
        "far strayed": far.strayed,
    }


def _meets(question: PlanQuestion, signal_hz: Floats, *, gap_hz: float) -> Bools:
    """Whether a local service lies on the signal's channel, or closer to it than a gap."""
    met = np.zeros(len(signal_hz), bool)
    for service in question.locals_near:
        met |= np.abs(service.centre_hz - signal_hz) < (service.width_hz + question.signal_width_hz) / 2 + gap_hz
    return met
