"""Tuning by loss alone: rods as far as |S21| and a known unloaded Q tell them, and markers for whoever reads by hand.

Theory  evidence/filter_scalar for the rods. A marker's reading is held against the goal's loss there; the skirts'
        difference over their slope is how far the whole band is off; the rest is told by edges and centre.
Source  evidence/filter_scalar; peak and widen: common practice (no published source).
Holds   Absolute losses, the cables' own taken off. Which end is which |S21| never tells.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.resonators import coupled_scattering, tuned
from tepui.evidence.filter_model import Sweep
from tepui.evidence.filter_scalar import ScalarFit, scalar_fit
from tepui.ground.doubt import COVERAGE_FACTOR, Estimate
from tepui.ground.errors import RangeError
from tepui.ground.findings import Finding, Table
from tepui.jobs.statements import estimated, text, unknown
from tepui.jobs.tune_advice import AGAIN, rod_advice
from tepui.jobs.tune_findings import CHEAPEST, scalar_findings
from tepui.jobs.tune_tables import TYPICAL_Q

SOURCE = "|S21| with the unloaded Q held, every filter that has it, evidence/filter_scalar.py"
VAGUE = 0.25  # of the width: rods known no better are unknown
PLACES = (("lower skirt", -1.5), ("lower edge", -0.5), ("centre", 0.0), ("upper edge", 0.5), ("upper skirt", 1.5))
LEAST_MARKERS, LEAST_SHIFT, EXPLAINED = 3, 0.04, 0.3
MARKER_DB, SKIRT_DB = 0.5, 2.0  # accepted about the goal's loss, in the pass band and on the skirts


def scalar_rods(name: str, sweep: Sweep, goal: FilterGoal, *, unloaded_q: float) -> list[Finding]:
    """Rods of the filters that |S21| allows, each with an interval that encloses them all."""
    fit = scalar_fit(sweep, goal, unloaded_q=unloaded_q)
    if not fit.trusted:
        found = scalar_findings(name, goal.poles)
        found.append(
            Finding(about=f"recording:{name}", key="fit_poor", kind="caution", value=True, standing="measured",
                    source=SOURCE, remark="No filter of this many resonators and this unloaded Q has the losses read: "
                                          "take off the cables' loss, and check the unloaded Q.")
        )  # fmt: skip
        return found
    return [finding for rod in range(1, goal.poles + 1) for finding in _rod(fit, goal, rod)]


def _rod(fit: ScalarFit, goal: FilterGoal, rod: int) -> list[Finding]:
    about, other = f"stage:rod {rod}", goal.poles + 1 - rod
    value, low, high = fit.interval(rod - 1)
    ends = f" Mirror images cannot be told apart: this may be rod {other} as well." if rod != other else ""
    if high - low > 2 * VAGUE:
        return [
            unknown(about, "resonator_hz", "Hz", source=SOURCE,
                    remark=f"{len(fit.solutions)} filters have this |S21|, and they differ in this rod.{ends} "
                           f"{CHEAPEST[0].upper()}{CHEAPEST[1:]}.")
        ]  # fmt: skip
    half = max(high - value, value - low) * goal.width_hz
    hertz = Estimate(value=goal.centre_hz + value * goal.width_hz, std=half / COVERAGE_FACTOR)
    remark = f"The unloaded Q was given.{ends}"
    if len(fit.solutions) > 1:
        remark += f" The interval encloses {len(fit.solutions)} filters that have this |S21|."
    advice = rod_advice(rod, hertz, goal_hz=goal.centre_hz, width_hz=goal.width_hz, rate_hz=None, unlearned=AGAIN)
    line = advice.line + (
        f" (or rod {other}: try the one that helps)" if rod != other and advice.way != "leave" else ""
    )
    return [
        estimated(about, "resonator_hz", hertz, "Hz", source=SOURCE, remark=remark),
        text(about, "advice", line, source=SOURCE),
    ]


@dataclass(frozen=True, kw_only=True)
class Marker:
    """A place, what the goal loses there, what is accepted, and what was read."""

    name: str
    frequency_hz: float
    loss_db: float
    accepted_db: float
    read_db: float | None

    @property
    def verdict(self) -> str:
        """ "accepted", "more", "less" or nothing where nothing was read."""
        if self.read_db is None:
            return ""
        off = self.read_db - self.loss_db
        return "accepted" if abs(off) <= self.accepted_db else "more" if off > 0 else "less"


def markers_of(goal: FilterGoal, *, unloaded_q: float | None, read_db: Mapping[float, float]) -> list[Marker]:
    """The five markers of a goal, or those that were read; losses by the coupled resonators."""
    made = tuned(goal, unloaded_q=unloaded_q or TYPICAL_Q)
    places: list[tuple[str, float]] = [
        (name, goal.centre_hz * (1 + share * goal.relative_width)) for name, share in PLACES
    ]
    if read_db:
        names = {round(place): name for name, place in places}
        places = [(names.get(round(place), f"{place / 1e6:g} MHz"), place) for place in sorted(read_db)]
    found = []
    for name, place in places:
        loss = float(-20 * np.log10(abs(coupled_scattering(made, np.array([place]))[0, 1, 0])))
        inside = abs(place - goal.centre_hz) < 0.45 * goal.width_hz
        found.append(
            Marker(name=name, frequency_hz=place, loss_db=loss, accepted_db=MARKER_DB if inside else SKIRT_DB,
                   read_db=read_db.get(place))
        )  # fmt: skip
    return found


def marker_table(markers: list[Marker]) -> Table:
    """One row a marker."""
    rows = tuple(
        (one.name, one.verdict, one.frequency_hz, one.read_db, one.loss_db,
         max(one.loss_db - one.accepted_db, 0.0), one.loss_db + one.accepted_db)
        for one in markers
    )  # fmt: skip
    columns = (("place", ""), ("verdict", ""), ("frequency_hz", "Hz"), ("read_db", "dB"), ("loss_db", "dB"),
               ("low_db", "dB"), ("high_db", "dB"))  # fmt: skip
    return Table(name="markers", columns=columns, rows=rows)


def marker_advice(goal: FilterGoal, markers: list[Marker], *, unloaded_q: float | None) -> Finding:
    """One line from the markers read: which way all screws, or which ones.

    raises  RangeError for fewer than three readings
    """
    read = [one for one in markers if one.read_db is not None]
    if len(read) < LEAST_MARKERS:
        raise RangeError(
            f"{len(read)} markers say too little; read {LEAST_MARKERS} or more: a skirt, the centre, the other skirt."
        )
    line = "all markers are accepted: leave the screws"
    if any(one.verdict != "accepted" for one in read):
        shift = common_shift_hz(goal, read, unloaded_q=unloaded_q)
        if abs(shift) > LEAST_SHIFT * goal.width_hz:
            way, word = ("in", "high") if shift > 0 else ("out", "low")
            line = f"the band is about {abs(shift) / 1e6:.1f} MHz {word}: turn all screws {way} by the same little part"
        else:
            line = _shape_line(goal, read)
    return text("stage:filter", "advice", line, source="losses read at markers beside the goal's; common practice")


def common_shift_hz(goal: FilterGoal, read: list[Marker], *, unloaded_q: float | None) -> float:
    """How far the whole band is off, by least squares on the losses read; 0 where a shift explains little. [Hz]"""
    made = tuned(goal, unloaded_q=unloaded_q or TYPICAL_Q)
    places = np.array([one.frequency_hz for one in read])
    losses = np.array([one.read_db for one in read], dtype=np.float64)
    doubts = np.array([one.accepted_db for one in read])
    steps = np.linspace(-1.5, 1.5, 301) * goal.width_hz
    level = [-20 * np.log10(np.abs(coupled_scattering(made, places - step)[:, 1, 0])) for step in steps]
    apart = (np.minimum(np.abs((np.array(level) - losses) / doubts), 12.0) ** 2).sum(axis=1)
    best = int(np.argmin(apart))
    return float(steps[best]) if apart[best] < EXPLAINED * apart[len(steps) // 2] else 0.0


def _shape_line(goal: FilterGoal, read: list[Marker]) -> str:
    inside = [one for one in read if abs(one.frequency_hz - goal.centre_hz) < 0.55 * goal.width_hz]
    below = [one for one in inside if one.frequency_hz < goal.centre_hz and one.verdict == "more"]
    above = [one for one in inside if one.frequency_hz > goal.centre_hz and one.verdict == "more"]
    middle = [one for one in inside if abs(one.frequency_hz - goal.centre_hz) < 0.1 * goal.width_hz]
    ends = f"screws 1 and {goal.poles}"
    inner = "the inner screws" if goal.poles > 3 else "screw 2" if goal.poles == 3 else ends
    if any(one.verdict == "more" for one in middle):
        return f"too much loss at the centre: turn {inner} a hair either way for the least loss there"
    if below and above:
        return f"both edges lose too much: turn {ends} by turns, one in and one out a hair, for the widest flat top"
    if below or above:
        way = "in" if below else "out"
        return f"the {'lower' if below else 'upper'} edge loses too much: turn {ends} {way} a hair"
    skirts = [one for one in read if abs(one.frequency_hz - goal.centre_hz) > 0.9 * goal.width_hz]
    if skirts and all(one.verdict == "more" for one in skirts):
        return "both skirts lose more than the goal's: the filter is narrower; rods nearer together, or higher taps"
    if skirts and all(one.verdict == "less" for one in skirts):
        return "both skirts lose less than the goal's: the filter is wider; rods farther apart, or lower taps"
    return "the skirts are not the goal's though the pass band is: couplings or taps are off, and no screw mends that"


def peak_steps(goal: FilterGoal, *, unloaded_q: float | None) -> Table:
    """Peak and widen, step by step: what to do, where, and what loss to expect there."""
    by_name = {one.name: one for one in markers_of(goal, unloaded_q=unloaded_q, read_db={})}
    n = goal.poles
    inner = f"screws 2 to {n - 1}" if n > 3 else "screw 2" if n == 3 else "both screws"
    ends = "screw 1" if n == 1 else f"screws 1 and {n}"
    steps: list[tuple[str, Marker | None]] = [
        ("all screws to mid depth; noise source or a carrier of known level at port 1, receiver at port 2", None),
        (f"turn screws 1 to {n} in this order for the least loss, and once more" if n > 1 else "turn screw 1 for the "
         "least loss", by_name["centre"]),
        (f"turn {ends} a hair for the least loss here", by_name["lower edge"]),
        (f"turn {ends} a hair until this edge is like the other", by_name["upper edge"]),
        (f"turn {inner} a hair for the least loss, then look at both edges again", by_name["centre"]),
        ("both skirts alike? if the upper one loses more, the band is low: all screws out a hair",
         by_name["upper skirt"]),
    ]  # fmt: skip
    rows = tuple(
        (number, told, None if one is None else one.frequency_hz, None if one is None else one.loss_db,
         None if one is None else max(one.loss_db - one.accepted_db, 0.0),
         None if one is None else one.loss_db + one.accepted_db)
        for number, (told, one) in enumerate(steps, start=1)
    )  # fmt: skip
    columns = (("step", "1"), ("instruction", ""), ("frequency_hz", "Hz"), ("loss_db", "dB"), ("low_db", "dB"),
               ("high_db", "dB"))  # fmt: skip
    return Table(name="peaking", columns=columns, rows=rows)
