"""From a goal and the metal to hand to a round-rod filter that can be made: textbook start, fit, screws.

Theory  The gap is chosen, the screws' mid position such that they reach as far up as down, the rods' length, spacings
        and taps by the fit of the trace; the textbook's dimensions are kept beside it. Comb-line rods are as long as
        the screws at mid position leave them, near 70 degrees; where an angle is asked, capacitors make up for it.
Source  own method, see rod_textbook, rod_fit, rod_screws.
Holds   As those do; what cannot be made is refused with what would make it so.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.rod_box import RodBox
from tepui.chain.filters.rod_fit import Fitted, fit_box
from tepui.chain.filters.rod_line import rod_scattering
from tepui.chain.filters.rod_screws import (
    Screws,
    centre_doubt,
    middle_load_f,
    rod_admittance_s,
    screw_reach_hz,
    screws_of,
)
from tepui.chain.filters.rod_textbook import textbook_box
from tepui.ground.checks import require_between
from tepui.ground.errors import RangeError

Floats = npt.NDArray[np.float64]
# standard uncertainty of the width, relative, against fields on a grid; in comb-line two couplings nearly cancel
WIDTH_DOUBT = {"interdigital": 0.05, "combline": 0.09}
POOR_FIT = 0.03
COMBLINE_ANGLES_DEG = (20.0, 80.0)
COMBLINE_START_DEG = 68.0


@dataclass(frozen=True, kw_only=True, eq=False)
class RodDesign:
    """A round-rod filter ready to be cut.

    textbook, box   dimensions by formula, and after the fit;  screw_m  mid positions (None: beyond a screw's reach)
    reach_hz        lowest and highest resonance the screws give;  centre_std_hz  doubt of an unturned rod
    """

    goal: FilterGoal
    textbook: RodBox
    box: RodBox
    screws: Screws | None
    screw_m: tuple[float | None, ...]
    reach_hz: tuple[float, float] | None
    centre_std_hz: float
    fit: Fitted


def design_rods(
    goal: FilterGoal,
    *,
    structure: str,
    diameter_m: float,
    plates_m: float,
    unloaded_q: float,
    gap_m: float | None = None,
    angle_deg: float | None = None,
) -> RodDesign:
    """A filter of equal round rods for a goal.

    angle_deg  electrical length of comb-line rods; None takes what the screws alone can load
    raises     RangeError where the metal to hand cannot make it
    """
    _require_slab(goal, plates_m)
    if goal.poles == 1:
        raise RangeError("a row of rods needs two poles or more; take 2 to 9 poles.")
    if angle_deg is not None:
        require_between("angle", angle_deg, *COMBLINE_ANGLES_DEG, unit="degrees",
                        source="near 90 the electric and magnetic couplings of comb-line rods cancel")  # fmt: skip
    metal: dict[str, Any] = {"diameter_m": diameter_m, "plates_m": plates_m, "unloaded_q": unloaded_q, "gap_m": gap_m}
    start = textbook_box(goal, structure=structure, angle_deg=angle_deg or COMBLINE_START_DEG, **metal)
    if structure == "combline" and angle_deg is None:
        load = middle_load_f(start, screws_of(start), centre_hz=goal.centre_hz)
        omega = 2 * np.pi * goal.centre_hz
        angle = math.degrees(math.atan2(rod_admittance_s(start), omega * load))
        start = textbook_box(goal, structure=structure, angle_deg=min(angle, COMBLINE_ANGLES_DEG[1]), **metal)
    if start.spacings_m.size and start.spacings_m.min() < 1.12 * diameter_m:
        raise RangeError(
            f"a width of {goal.width_hz / 1e6:g} MHz needs rods {start.spacings_m.min() * 1e3:.3g} mm apart, and they "
            f"are {diameter_m * 1e3:g} mm thick; take thinner rods, plates farther apart or a narrower filter."
        )
    if structure == "combline" and angle_deg is not None:
        fitted = fit_box(goal, start)
        screws, reach = None, None
        depths: tuple[float | None, ...] = (None,) * goal.poles
    else:
        screws = screws_of(start)
        fitted = fit_box(goal, start, load_f=middle_load_f(start, screws, centre_hz=goal.centre_hz))
        depths = tuple(screws.depth_for(float(load)) for load in fitted.box.load_f)
        reach = screw_reach_hz(fitted.box, screws, centre_hz=goal.centre_hz)
    return RodDesign(
        goal=goal,
        textbook=start,
        box=fitted.box,
        screws=screws,
        screw_m=depths,
        reach_hz=reach,
        centre_std_hz=centre_doubt(fitted.box, centre_hz=goal.centre_hz) * goal.centre_hz,
        fit=fitted,
    )


def _require_slab(goal: FilterGoal, plates_m: float) -> None:
    most = 0.45 * 299792458.0 / (goal.centre_hz + goal.width_hz)
    if plates_m > most:
        raise RangeError(
            f"plates {plates_m * 1e3:g} mm apart are near half a wave at {goal.centre_hz / 1e6:g} MHz, where "
            f"other waves go through the box; bring them to {most * 1e3:.3g} mm or nearer."
        )


@dataclass(frozen=True, kw_only=True)
class Shape:
    """What a transmission curve amounts to: the 3 dB points, the least loss, and how far apart points stand there."""

    low_hz: float
    high_hz: float
    loss_db: float
    step_hz: float

    @property
    def centre_hz(self) -> float:
        """Geometric middle of the 3 dB points."""
        return float(np.sqrt(self.low_hz * self.high_hz))

    @property
    def width_hz(self) -> float:
        """Between the 3 dB points."""
        return self.high_hz - self.low_hz


def shape_of(frequency_hz: Floats, s21: npt.NDArray[np.complex128]) -> Shape | None:
    """3 dB points about the highest point of a curve; None where the curve does not fall by 3 dB on both sides."""
    level = 20 * np.log10(np.maximum(np.abs(s21), 1e-12))
    top = int(np.argmax(level))
    under = level < level[top] - 3.0103
    left, right = np.flatnonzero(under[:top]), np.flatnonzero(under[top:])
    if not left.size or not right.size:
        return None
    ends = []
    for inner, outer in ((left[-1] + 1, left[-1]), (top + right[0] - 1, top + right[0])):
        share = (level[inner] - level[top] + 3.0103) / (level[inner] - level[outer])
        ends.append(float(frequency_hz[inner] + share * (frequency_hz[outer] - frequency_hz[inner])))
    step = float(np.mean(np.diff(frequency_hz[left[-1] : top + right[0] + 1])))
    return Shape(low_hz=ends[0], high_hz=ends[1], loss_db=float(-level[top]), step_hz=step)


def midband_loss_of(box: RodBox, centre_hz: float) -> float:
    """Loss of the dimensions at one frequency. [dB]"""
    return float(-20 * np.log10(np.abs(rod_scattering(box, np.array([centre_hz]))[0, 1, 0])))
