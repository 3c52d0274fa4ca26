"""What the shop has: which rods and plates make the filter, and what to do where a tap comes too low to make.

Theory  sin^2 of the tap's angle goes as width / Z0: a wider filter or thicker rods lift it. Each pair of rod and plate
        distance is designed in full; of those that can be made the one with the highest unloaded Q is taken.
Source  chain/filters/rod_textbook for the tap; least heights and gaps are common practice.
Holds   Up to a dozen pairs.
"""

import math
from collections.abc import Sequence
from dataclasses import replace

from tepui.chain.filters.rod_box import POST_M
from tepui.chain.filters.rod_design import POOR_FIT, RodDesign, design_rods
from tepui.chain.filters.rod_textbook import rod_impedance_ohm
from tepui.ground.errors import RangeError
from tepui.ground.findings import Finding, Table
from tepui.jobs.filter_question import ABOUT, FilterQuestion, question_q

LEAST_TAP_M = POST_M / 2 + 1.5e-3
MOST_PAIRS = 12
THICKEST = 0.6  # of the plate distance, beyond which rods leave the formulae


def least_tap_m(question: FilterQuestion) -> float:
    """The lowest tap that may be asked of the shop. [m]"""
    return LEAST_TAP_M if question.least_tap_m is None else question.least_tap_m


def shop_findings(question: FilterQuestion, design: RodDesign) -> list[Finding]:
    """Cautions where a tap is too low, with what would lift it.

    The height asked by --min-tap is held against the tap that is drilled; the usual one also against the formula's.
    """
    least, taps = least_tap_m(question), [design.box.taps_m[0]]
    if question.least_tap_m is None:
        taps.append(design.textbook.taps_m[0])
    low = min(taps)
    if low >= least:
        return []
    return [
        Finding(
            about=ABOUT, key="tap_too_low", kind="caution", value=float(low), unit="m", low=float(low), high=float(low),
            standing="computed", source="common practice" if question.least_tap_m is None else "asked (--min-tap)",
            limit=least, limit_sense="at_least", limit_source="asked" if question.least_tap_m else "common practice",
            margin=float(low - least),
            remark=f"A tap {low * 1e3:.2f} mm up{'' if low == taps[0] else ' (by formula)'} is hard to make and to "
                   f"repeat; {least * 1e3:.2g} mm is the least for a {POST_M * 1e3:g} mm post. "
                   f"{tap_advice(question, low_m=low, least_m=least)}",
        )
    ]  # fmt: skip


def tap_advice(question: FilterQuestion, *, low_m: float, least_m: float) -> str:
    """What lifts a tap, in numbers."""
    quarter_m = 299792458.0 / question.goal.centre_hz / 4
    lift = (math.sin(math.pi / 2 * least_m / quarter_m) / math.sin(math.pi / 2 * low_m / quarter_m)) ** 2
    impedance = rod_impedance_ohm(diameter_m=question.diameter_m, plates_m=question.plates_m)
    parts = [f"take a wider filter (about {question.goal.width_hz * lift / 1e6:.3g} MHz)"]
    thicker = 4 * question.plates_m / math.pi * math.exp(-impedance / lift / 59.952)
    if thicker < THICKEST * question.plates_m:
        parts.append(
            f"another Z0 ({impedance / lift:.0f} in place of {impedance:.0f} ohm, rods of about "
            f"{thicker * 1e3:.2g} mm: the tap rises as Z0 falls)"
        )
    else:
        parts.append(f"another Z0 (the tap rises as it falls below {impedance:.0f} ohm: thicker rods, nearer plates)")
    parts.append("or feed the end rods by a coupling loop at their shorted ends in place of a tap")
    return "To mend it " + ", ".join(parts) + "."


def choose_metal(
    question: FilterQuestion, *, diameters_m: Sequence[float], plates_m: Sequence[float]
) -> tuple[Table, FilterQuestion]:
    """Table ``metal``, one row a pair, and the question with the pair taken.

    raises  RangeError where no pair can be made
    """
    pairs = [(d, h) for h in plates_m for d in diameters_m]
    if len(pairs) > MOST_PAIRS:
        raise RangeError(
            f"{len(pairs)} pairs of rod and gap are more than the {MOST_PAIRS} this verb designs; name fewer rods."
        )
    rows, good = [], []
    for diameter, plates in pairs:
        one = replace(question, diameter_m=diameter, plates_m=plates)
        unloaded_q, _ = question_q(one)
        row: tuple[float | str | None, ...]
        try:
            design = design_rods(
                one.goal, structure=one.structure, diameter_m=diameter, plates_m=plates, unloaded_q=unloaded_q,
                gap_m=one.gap_m, angle_deg=one.angle_deg,
            )  # fmt: skip
        except RangeError as problem:
            row = (diameter, plates, "no", None, None, unloaded_q, None, str(problem))
        else:
            verdict = _verdict(one, design)
            impedance = rod_impedance_ohm(diameter_m=diameter, plates_m=plates)
            spacing = float(design.box.spacings_m.min())
            row = (diameter, plates, "no" if verdict else "yes", design.box.taps_m[0], impedance, unloaded_q, spacing,
                   verdict)  # fmt: skip
            if not verdict:
                good.append((-unloaded_q, design.box.width_m * plates, one))
        rows.append(row)
    table = Table(
        name="metal",
        columns=(
            ("diameter_m", "m"), ("plates_m", "m"), ("makeable", ""), ("tap_m", "m"), ("impedance_ohm", "Ohm"),
            ("unloaded_q", "1"), ("to_next_m", "m"), ("reason", ""),
        ),
        rows=tuple(rows),
    )  # fmt: skip
    if not good:
        raise RangeError(f"none of {len(pairs)} pairs of rod and gap makes this filter; the last: {rows[-1][-1]}")
    return table, min(good, key=lambda three: three[:2])[2]


def _verdict(question: FilterQuestion, design: RodDesign) -> str:
    """What stands against making a design; empty where nothing does."""
    least = least_tap_m(question)
    if design.box.taps_m[0] < least:
        return f"the tap is {design.box.taps_m[0] * 1e3:.2f} mm up and {least * 1e3:.2g} mm is the least."
    if design.fit.reflection_rms > POOR_FIT:
        return "its dimensions do not reach the response."
    if any(depth is None for depth in design.screw_m) and design.screws is not None:
        return "a screw would stand outside its travel."
    return ""
