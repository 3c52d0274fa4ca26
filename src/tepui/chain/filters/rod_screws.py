"""Tuning screws: where they stand, and how far they reach.

Theory  A rod of length l and admittance Y = C c0 with end capacitance C_e resonates where Y cot(2 pi f l / c0) =
        2 pi f C_e. The screw moves C_e between that of the bare end and almost touching.
Source  line theory; end capacitance by chain/filters/rod_end.
Holds   A rod by itself, its neighbours at ground.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.constants import epsilon_0, speed_of_light

from tepui.chain.filters.rod_box import SCREW_SHARE, RodBox
from tepui.chain.filters.rod_end import pipe_diameter_m, screw_curve
from tepui.chain.filters.rod_line import box_capacitance

Floats = npt.NDArray[np.float64]
REACH = 0.045  # of the centre, upwards and downwards, wanted of the screws
END_DOUBT = 0.07  # standard uncertainty of the end capacitance, relative: round symmetry, edges, the tap's neighbours
LINE_DOUBT = 0.007  # standard uncertainty of the resonance by everything else in the TEM model, relative


@dataclass(frozen=True, kw_only=True, eq=False)
class Screws:
    """Depth of a screw against capacitance, for the rods of one box.

    depth_m, load_f  rising together
    """

    depth_m: Floats
    load_f: Floats

    def depth_for(self, load_f: float) -> float | None:
        """Intrusion that gives a capacitance; None beyond what the screw can do. [m]"""
        if not self.load_f[0] <= load_f <= self.load_f[-1]:
            return None
        return float(np.interp(math.log(load_f), np.log(self.load_f), self.depth_m))


def screws_of(box: RodBox) -> Screws:
    """The screws of a box, for the mean of its rods."""
    capacitance = float(np.mean(np.diag(box_capacitance(box))))
    depth, load = screw_curve(
        diameter_m=box.diameter_m,
        pipe_m=pipe_diameter_m(diameter_m=box.diameter_m, capacitance=capacitance),
        gap_m=box.gap_m,
        screw_diameter_m=SCREW_SHARE * box.diameter_m,
    )
    return Screws(depth_m=depth, load_f=load)


def rod_resonance_hz(*, length_m: float, admittance: float, load_f: float) -> float:
    """Resonance of one rod. [Hz]"""
    from scipy.optimize import brentq

    top = speed_of_light / (4 * length_m)

    def unbalance(f: float) -> float:
        return admittance / math.tan(2 * math.pi * f * length_m / speed_of_light) - 2 * math.pi * f * load_f

    return float(brentq(unbalance, 1e-3 * top, top * (1 - 1e-12), xtol=1.0))


def rod_admittance_s(box: RodBox) -> float:
    """Line admittance of a rod among its neighbours, the mean of all. [S]"""
    return float(np.mean(np.diag(box_capacitance(box)))) * float(epsilon_0 * speed_of_light)


def middle_load_f(box: RodBox, screws: Screws, *, centre_hz: float) -> float:
    """End capacitance at which a screw reaches as far up as down, at most REACH either way. [F]"""
    from scipy.optimize import brentq

    admittance = rod_admittance_s(box)
    least, most = float(screws.load_f[0]), float(screws.load_f[-1])
    omega = 2 * math.pi * centre_hz

    def length(load: float) -> float:
        return math.atan2(admittance, omega * load) / omega * float(speed_of_light)

    def up(load: float) -> float:
        return rod_resonance_hz(length_m=length(load), admittance=admittance, load_f=least) / centre_hz - 1

    def down(load: float) -> float:
        return 1 - rod_resonance_hz(length_m=length(load), admittance=admittance, load_f=most) / centre_hz

    balanced = float(brentq(lambda load: up(load) - down(load), least * 1.001, most * 0.999, xtol=1e-18))
    if up(balanced) <= REACH:
        return balanced
    return float(brentq(lambda load: up(load) - REACH, least, balanced, xtol=1e-18))


def screw_reach_hz(box: RodBox, screws: Screws) -> tuple[float, float]:
    """Lowest and highest resonance that the screws give a rod of the box. [Hz]"""
    admittance = rod_admittance_s(box)
    ends = [
        rod_resonance_hz(length_m=box.length_m, admittance=admittance, load_f=float(load))
        for load in (screws.load_f[-1], screws.load_f[0])
    ]
    return ends[0], ends[1]


def centre_doubt(box: RodBox) -> float:
    """Standard uncertainty of a rod's resonance by this model, relative."""
    share = float(np.mean(box.load_f)) / (rod_admittance_s(box) / speed_of_light * box.length_m)
    return math.hypot(LINE_DOUBT, END_DOUBT * share if box.structure != "combline" else 0.0)
