"""Round-rod filters from the textbook: one formula for each dimension, the start of the optimisation.

Theory  Interdigital: log10 k = 0.91 d/h - 0.048 - 1.37 c/h (M. Dishal 1965) gives the spacing c of rods of diameter d
        between plates h apart. Z0 = 59.952 ln(4 h / pi d). Tap at height t of a quarter wave L: Qe = pi R /
        (4 Z0 sin^2(pi t / 2 L)). Comb-line of angle a: k = 2 (Cm/C11) cot a / (cot a + a / sin^2 a), loading
        capacitance cot a / (w Z0), slope (cot a + a / sin^2 a) / 2 Z0, Qe = R slope / (sin t' / sin a)^2.
Source  table interdigital_worked_examples for the two interdigital formulae; the comb-line ones are derived.
Holds   d/h 0.2 to 0.5, c/h 0.8 to 2 for the fit (2.5 to 7 % low against TEM theory); the tap has no inductance here.
"""

import math

import numpy as np
import numpy.typing as npt
from scipy.constants import speed_of_light

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.rod_box import RodBox
from tepui.chain.filters.rod_capacitance import rod_capacitance
from tepui.ground.errors import RangeError

Floats = npt.NDArray[np.float64]
WALL_OF_PLATES = 0.75
GAP_OF_DIAMETER = 0.9
PORT_OHM = 50.0


def rod_impedance_ohm(*, diameter_m: float, plates_m: float) -> float:
    """Impedance of one rod centred between plates, 59.952 ln(4 h / pi d). [ohm]"""
    return 59.952 * math.log(4 * plates_m / (math.pi * diameter_m))


def dishal_coupling(*, spacing_m: float, diameter_m: float, plates_m: float) -> float:
    """Coupling coefficient of neighbouring quarter-wave rods by the fit of 1965."""
    return float(10 ** (0.91 * diameter_m / plates_m - 0.048 - 1.37 * spacing_m / plates_m))


def dishal_spacing_m(coupling: float, *, diameter_m: float, plates_m: float) -> float:
    """Centre spacing that gives a coupling by the fit of 1965. [m]"""
    return float((0.91 * diameter_m / plates_m - 0.048 - math.log10(coupling)) * plates_m / 1.37)


def tap_external_q(tap_m: float, *, impedance_ohm: float, quarter_wave_m: float) -> float:
    """External Q of a tap on a quarter-wave rod."""
    return PORT_OHM * math.pi / (4 * impedance_ohm * math.sin(math.pi * tap_m / (2 * quarter_wave_m)) ** 2)


def tap_height_m(external_q: float, *, impedance_ohm: float, quarter_wave_m: float) -> float:
    """Height of the tap that gives an external Q. [m]

    raises  RangeError where even the open end loads the rod too little
    """
    sine = math.sqrt(PORT_OHM * math.pi / (4 * impedance_ohm * external_q))
    if sine >= 1:
        raise RangeError(
            f"an external Q of {external_q:.3g} is less than the open end of a rod of {impedance_ohm:.3g} ohm gives; "
            "make the filter narrower or the rods thicker."
        )
    return 2 * quarter_wave_m / math.pi * math.asin(sine)


def _combline_factor(angle: float) -> float:
    return 1 / (math.tan(angle) * (1 / math.tan(angle) + angle / math.sin(angle) ** 2))


def combline_coupling(*, spacing_m: float, diameter_m: float, plates_m: float, angle: float) -> float:
    """Coupling coefficient of two neighbouring comb-line rods, from their static capacitances."""
    pair = rod_capacitance([0.0, spacing_m], diameter_m=diameter_m, plates_m=plates_m, walls_m=None)
    return float(-2 * pair[0, 1] / pair[0, 0] * _combline_factor(angle))


def _combline_spacing_m(coupling: float, *, diameter_m: float, plates_m: float, angle: float) -> float:
    from scipy.optimize import brentq

    def excess(spacing: float) -> float:
        there = combline_coupling(spacing_m=spacing, diameter_m=diameter_m, plates_m=plates_m, angle=angle)
        return math.log(there / coupling)

    nearest, farthest = 1.12 * diameter_m, 4 * plates_m + diameter_m
    if excess(nearest) < 0:
        raise RangeError(
            f"a coupling of {coupling:.3g} needs rods nearer than this model holds for; take a narrower filter or "
            "another structure."
        )
    return float(brentq(excess, nearest, farthest, xtol=1e-6))


def textbook_box(
    goal: FilterGoal,
    *,
    structure: str,
    diameter_m: float,
    plates_m: float,
    unloaded_q: float,
    gap_m: float | None = None,
    angle_deg: float = 45.0,
) -> RodBox:
    """The filter by the formulae above, its rods brought to resonance by their end capacitances alone.

    raises  RangeError where a formula has no solution
    """
    quarter_m = speed_of_light / goal.centre_hz / 4
    impedance = rod_impedance_ohm(diameter_m=diameter_m, plates_m=plates_m)
    gap = GAP_OF_DIAMETER * diameter_m if gap_m is None else gap_m
    omega = 2 * math.pi * goal.centre_hz
    if structure == "combline":
        angle = math.radians(angle_deg)
        spacings = [
            _combline_spacing_m(float(k), diameter_m=diameter_m, plates_m=plates_m, angle=angle) for k in goal.couplings
        ]
        slope = (1 / math.tan(angle) + angle / math.sin(angle) ** 2) / (2 * impedance)
        sine = math.sin(angle) / math.sqrt(goal.external_q / (PORT_OHM * slope))
        if sine >= math.sin(angle):
            raise RangeError(
                f"an external Q of {goal.external_q:.3g} cannot be tapped on this rod; take a narrower filter."
            )
        tap, length = quarter_m * 2 / math.pi * math.asin(sine), quarter_m * angle_deg / 90
        load = 1 / (math.tan(angle) * omega * impedance)
    else:
        spacings = [dishal_spacing_m(float(k), diameter_m=diameter_m, plates_m=plates_m) for k in goal.couplings]
        tap = tap_height_m(goal.external_q, impedance_ohm=impedance, quarter_wave_m=quarter_m)
        length = 0.93 * quarter_m
        load = 1 / (math.tan(omega * length / speed_of_light) * omega * impedance)
    return RodBox(
        structure=structure,
        diameter_m=diameter_m,
        plates_m=plates_m,
        spacings_m=np.array(spacings),
        wall_m=max(WALL_OF_PLATES * plates_m, diameter_m),
        length_m=length,
        gap_m=gap,
        taps_m=(tap, tap),
        load_f=np.full(goal.poles, load),
        unloaded_q=unloaded_q,
    )
