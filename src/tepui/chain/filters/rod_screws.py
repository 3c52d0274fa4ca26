"""Tuning screws: where they stand, and how far they reach.

Theory  A rod of length l and admittance Y = C c0 with end capacitance C_e resonates where Y cot(2 pi f l / c0) =
        2 pi f C_e / (1 - (2 pi f)^2 L_e C_e), L_e that of gap and screw. The screw moves C_e between that of the bare
        end and almost touching.
Source  line theory; end capacitance by chain/filters/rod_end.
Holds   A rod by itself, its neighbours at ground.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.constants import epsilon_0, speed_of_light

from tepui.chain.filters.rod_box import SCREW_SHARE, RodBox
from tepui.chain.filters.rod_end import pipe_diameter_m, screw_curve
from tepui.chain.filters.rod_line import box_capacitance, gap_inductance_h

Floats = npt.NDArray[np.float64]
REACH = 0.045  # of the centre, upwards and downwards, wanted of the screws at least
COMBLINE_REACH = 0.08  # of comb-line rods, which screws that stand deeper keep well short of a quarter wave
REACH_DOUBTS = 2.6  # and so many standard uncertainties of the centre
RATE_STEP_M = 0.3e-3
END_DOUBT = 0.05  # standard uncertainty of the end capacitance, relative: round symmetry, edges, neighbours
LINE_DOUBT = 0.007  # standard uncertainty of the resonance by everything else in the model, relative


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


def rod_resonance_hz(*, length_m: float, admittance: float, load_f: float, inductance_h: float = 0.0) -> float:
    """Resonance of one rod. [Hz]"""
    from scipy.optimize import brentq

    top = speed_of_light / (4 * length_m)

    def unbalance(f: float) -> float:
        omega = 2 * math.pi * f
        rod = admittance / math.tan(omega * length_m / speed_of_light)
        return rod * (1 - omega**2 * inductance_h * load_f) - omega * load_f

    return float(brentq(unbalance, 1e-3 * top, top * (1 - 1e-12), xtol=1.0))


def reentrant_hz(box: RodBox) -> float:
    """Next resonance of a rod, near three quarters of a wave, its end loaded by its capacitance alone. [Hz]"""
    from scipy.optimize import brentq

    admittance, load = rod_admittance_s(box), float(np.mean(box.load_f))
    half = speed_of_light / (2 * box.length_m)

    def unbalance(f: float) -> float:
        return admittance / math.tan(2 * math.pi * f * box.length_m / speed_of_light) - 2 * math.pi * f * load

    return float(brentq(unbalance, half * (1 + 1e-9), 2 * half * (1 - 1e-9), xtol=1e3))


def screw_rates_hz(box: RodBox, screws: Screws, depths_m: Sequence[float | None], *, centre_hz: float) -> list[float]:
    """Change of each rod's resonance per metre of its screw inwards, at the depths given. [Hz/m]"""
    made = {"length_m": box.length_m, "admittance": rod_admittance_s(box), "inductance_h": gap_inductance_h(box)}
    rates = []
    for depth, load in zip(depths_m, box.load_f, strict=True):
        ends = np.clip((depth or 0.0) + np.array([-RATE_STEP_M, RATE_STEP_M]), 0.0, screws.depth_m[-1])
        loads = np.exp(np.interp(ends, screws.depth_m, np.log(screws.load_f)))
        own = rod_resonance_hz(load_f=float(load), **made)
        moved = [rod_resonance_hz(load_f=float(one), **made) / own for one in loads]
        rates.append(centre_hz * (moved[1] - moved[0]) / float(ends[1] - ends[0]))
    return rates


def rod_admittance_s(box: RodBox) -> float:
    """Line admittance of a rod among its neighbours, the mean of all. [S]"""
    return float(np.mean(np.diag(box_capacitance(box)))) * float(epsilon_0 * speed_of_light)


def middle_load_f(box: RodBox, screws: Screws, *, centre_hz: float) -> float:
    """End capacitance at which a screw reaches as far up as down, at most as far as wanted either way. [F]"""
    from scipy.optimize import brentq

    admittance, inductance = rod_admittance_s(box), gap_inductance_h(box)
    least, most = float(screws.load_f[0]), float(screws.load_f[-1])
    omega = 2 * math.pi * centre_hz

    def length(load: float) -> float:
        loaded = omega * load / (1 - omega**2 * inductance * load)
        return math.atan2(admittance, loaded) / omega * float(speed_of_light)

    def turned(load: float, end: float) -> float:
        made = rod_resonance_hz(length_m=length(load), admittance=admittance, load_f=end, inductance_h=inductance)
        return abs(made / centre_hz - 1)

    def spare(load: float) -> float:
        doubt = end_share(load, length_m=length(load), admittance=admittance, frequency_hz=centre_hz)
        wanted = COMBLINE_REACH if box.structure == "combline" else REACH
        return turned(load, least) - max(wanted, REACH_DOUBTS * math.hypot(LINE_DOUBT, END_DOUBT * doubt))

    balanced = float(
        brentq(lambda load: turned(load, least) - turned(load, most), least * 1.001, most * 0.999, xtol=1e-18)
    )
    if spare(balanced) <= 0:
        return balanced
    return float(brentq(spare, least, balanced, xtol=1e-18))


def screw_reach_hz(box: RodBox, screws: Screws, *, centre_hz: float) -> tuple[float, float]:
    """Lowest and highest resonance that the screws give every rod of a box tuned to a centre. [Hz]"""
    made = {"length_m": box.length_m, "admittance": rod_admittance_s(box), "inductance_h": gap_inductance_h(box)}
    ends = [rod_resonance_hz(load_f=float(load), **made) for load in (screws.load_f[-1], screws.load_f[0])]
    tuned = [rod_resonance_hz(load_f=float(load), **made) for load in (box.load_f.max(), box.load_f.min())]
    return centre_hz * ends[0] / tuned[0], centre_hz * ends[1] / tuned[1]


def end_share(load_f: float, *, length_m: float, admittance: float, frequency_hz: float) -> float:
    """How far a relative change of the end capacitance goes into the resonance. [1]"""
    angle = min(2 * math.pi * frequency_hz * length_m / float(speed_of_light), math.pi / 2)
    own = admittance / float(speed_of_light) * length_m / math.sin(angle) ** 2
    return load_f / (own + load_f)


def centre_doubt(box: RodBox, *, centre_hz: float) -> float:
    """Standard uncertainty of a rod's resonance by this model, relative."""
    share = end_share(
        float(np.mean(box.load_f)), length_m=box.length_m, admittance=rod_admittance_s(box), frequency_hz=centre_hz
    )
    return math.hypot(LINE_DOUBT, END_DOUBT * share)
