"""The products of one plan, each with its span, width, level before and behind the filter, and what moves it.

Theory  Behind the filter a product has what its spectral shape (n-fold convolution) leaves under the filter's curve,
        relative to the wanted signal behind the same filter.
Source  As plan_search.py.
Holds   As plan_search.py. Far from the passband the filter is taken for what may be claimed of an unmeasured one.
"""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tepui.chain.conversion.products import Line, Moves, line_of, moves, product_centres_hz
from tepui.chain.conversion.shape import density, share_below
from tepui.chain.filters.coupled import loss_db
from tepui.prediction.plan import FilterTable, Plans, between_of
from tepui.prediction.plan_question import PlanQuestion

Floats = npt.NDArray[np.float64]
POINTS = 65


@dataclass(frozen=True, kw_only=True)
class PlanLine:
    """One product of one plan.

    level_db, doubt_db  over the wanted signal, before the filter, and half of 95 %
    behind_db           the same behind the filter, by theory no better than may be claimed
    share_in_channel    of its power
    place               "channel", "near", "protected" or "far"
    name                "wanted", "image", "oscillator", "signal" for those that have one, else ""
    """

    line: Line
    level_db: float
    doubt_db: float
    behind_db: float
    share_in_channel: float
    place: str
    moves: Moves
    name: str = ""


def wanted_line(plans: Plans, number: int, question: PlanQuestion) -> Line:
    """The wanted product of a plan."""
    signed = plans.signed_hz[number]
    ones = (1,) * len(signed)
    return line_of(ones, signed_hz=signed.tolist(), width_hz=question.signal_width_hz, factor=plans.rows.factor)


def plan_lines(
    plans: Plans, number: int, question: PlanQuestion, *, table: FilterTable, far: bool = True
) -> tuple[PlanLine, ...]:
    """The products of one plan, the nearest to the channel first.

    number  of the plan, 0 the best
    table   the filter's, made once for all plans
    far     also those far away that bear no name
    """
    signed = plans.signed_hz[number].tolist()
    wanted = wanted_line(plans, number, question)
    between = between_of(question, plans.rows)
    lost = np.zeros(len(plans.rows)) if between is None else between(plans.signed_hz[number : number + 1])[0]
    found = []
    for row in range(len(plans.rows)) if far else _worth_a_look(plans, number, question):
        line = line_of(
            plans.rows.multiples[row].tolist(),
            signed_hz=signed,
            width_hz=question.signal_width_hz,
            factor=plans.rows.factor,
            widths=None if plans.rows.widths is None else int(plans.rows.widths[row]),
        )
        place, name = _place(line, question), _name(line, wanted)
        if place == "far" and not name and not far:
            continue
        level, doubt = float(plans.rows.level_db[row]) - float(lost[row]), float(plans.rows.doubt_db[row])
        found.append(
            PlanLine(
                line=line,
                level_db=level,
                doubt_db=doubt,
                behind_db=level - _taken_db(line, table, question),
                share_in_channel=_share_in(line, question),
                place=place,
                moves=moves(line, wanted=wanted),
                name=name,
            )
        )
    return tuple(sorted(_strongest(found), key=lambda one: (_distance(one.line, question), -one.level_db)))


def _worth_a_look(plans: Plans, number: int, question: PlanQuestion) -> list[int]:
    """Rows that touch the near region or protected spectrum, or may bear a name."""
    rows = plans.rows
    centre = product_centres_hz(rows, plans.signed_hz[number : number + 1])[0]
    half = rows.spread * question.signal_width_hz / 2
    kept = np.asarray(np.abs(rows.multiples).max(axis=1) <= 1)
    near = (question.wanted_hz - question.near_hz, question.wanted_hz + question.near_hz)
    for low, high in (near, *((one.low_hz, one.high_hz) for one in question.protected)):
        kept |= (centre + half > low) & (centre - half < high)
    return [int(row) for row in np.flatnonzero(kept)]


def _strongest(found: list[PlanLine]) -> list[PlanLine]:
    """Of products with one sum and one width, which two mixers make in several ways, the strongest."""
    kept: dict[tuple[tuple[Fraction, ...], int], PlanLine] = {}
    for one in found:
        place = (one.line.multiples, one.line.spread)
        if place not in kept or one.level_db > kept[place].level_db:
            kept[place] = one
    return list(kept.values())


def _distance(line: Line, question: PlanQuestion) -> float:
    """From the nearest end of the product to the channel's centre. [Hz]"""
    return max(line.low_hz - question.wanted_hz, question.wanted_hz - line.high_hz, 0.0)


def _name(line: Line, wanted: Line) -> str:
    others = [line.multiples[:-2] == wanted.multiples[:-2] or not any(line.multiples[:-2])]
    if line.n == 0 and abs(line.m) == 1 and all(others):
        return "oscillator"
    if abs(line.n) == 1 and not any(line.multiples[:-1]):
        return "signal"
    if abs(line.n) == 1 and abs(line.m) == 1 and len(line.multiples) == 2:
        return "image"
    return ""


def _share_in(line: Line, question: PlanQuestion) -> float:
    half = question.signal_width_hz / 2
    edges = [(question.wanted_hz + end * half - line.centre_hz) / question.signal_width_hz for end in (-1, 1)]
    below = share_below(edges, n=line.spread)
    return float(below[1] - below[0])


def _place(line: Line, question: PlanQuestion) -> str:
    half = question.signal_width_hz / 2
    for place, reach in (("channel", half), ("near", question.near_hz)):
        if line.high_hz > question.wanted_hz - reach and line.low_hz < question.wanted_hz + reach:
            return place
    for one in question.protected:
        if line.high_hz > one.low_hz and line.low_hz < one.high_hz:
            return "protected"
    return "far"


def _taken_db(line: Line, table: FilterTable, question: PlanQuestion) -> float:
    """What the filter takes from a product more than from the wanted signal. [dB]"""
    n = line.spread
    if n == 0:
        return float(table.claimed(np.array([line.centre_hz]))[0])
    x = np.linspace(-n / 2, n / 2, POINTS + 2)[1:-1]
    weight = density(x, n=n)
    loss = table.claimed(line.centre_hz + x * question.signal_width_hz)
    return float(-10 * np.log10((weight * 10 ** (-loss / 10)).sum() / weight.sum()))


def filter_loss_db(question: PlanQuestion, frequency_hz: Floats) -> Floats:
    """The filter's transmission loss for the picture. (k,) -> (k,) [dB]"""
    theory = loss_db(question.design, frequency_hz)
    if question.measured is None:
        return theory
    return np.where(question.measured.covers(frequency_hz), question.measured.loss_at_db(frequency_hz), theory)
