"""Getting the heat out: resistances in a row, a finned sink in still air, a fan, the air through a box.

Theory  Temperatures rise by power times resistance. Fins in still air have a best spacing S = 2.714 L / Ra^(1/4), with
        h = 1.307 k / S; closer they choke, wider they waste room. Moving air: P = rho c V dT.
Source  A. Bar-Cohen and W. M. Rohsenow 1984 for the fins; properties of dry air at 1 atm from a textbook's table, from
        memory; density against height: [ISO2533]; 0.435 at 2 m/s from a worked example of a maker of sinks.
Holds   Upright fins, 0 to 100 degC of film. Convection only: radiation, which a black sink adds, is kept in hand.
"""

import math
from dataclasses import dataclass

import numpy as np

from tepui.ground.checks import require_positive
from tepui.ground.errors import RangeError

GRAVITY_M_S2 = 9.80665
FORCED_RATIO = 0.435  # sink-to-air resistance at 2 m/s over that in still air
AIR_DENSITY_KG_M3 = 1.2014  # 0.075 lb/ft3, 20 degC at sea level
AIR_HEAT_J_KG_K = 1005.0
# Dry air at 1 atm: degC, W/(m K), m2/s, 1; from memory of a textbook's table.
_AIR = np.array([
    (0, 0.02364, 1.338e-5, 0.7362),
    (20, 0.02514, 1.516e-5, 0.7309),
    (40, 0.02662, 1.702e-5, 0.7255),
    (50, 0.02735, 1.798e-5, 0.7228),
    (60, 0.02808, 1.896e-5, 0.7202),
    (80, 0.02953, 2.097e-5, 0.7154),
    (100, 0.03095, 2.306e-5, 0.7111),
])  # fmt: skip
_ZERO_CELSIUS_K = 273.15


@dataclass(frozen=True, kw_only=True)
class FinnedSink:
    """A sink of upright fins.

    spacing_m   between fins, the best for its height
    heat_w      that it gives to still air at the base temperature asked for
    resistance  base to air [K/W]
    """

    width_m: float
    height_m: float
    fin_m: float
    spacing_m: float
    n_fins: int
    film_w_m2_k: float
    heat_w: float
    resistance_k_w: float


def sink_needed_k_w(*, heat_w: float, case_max_k: float, air_k: float, interface_k_w: float) -> float:
    """Largest sink-to-air resistance that keeps the case at its limit; zero or less where none can. [K/W]"""
    require_positive("heat_w", heat_w, unit="W")
    return (case_max_k - air_k) / heat_w - interface_k_w


def junction_k(*, heat_w: float, air_k: float, resistances_k_w: tuple[float, ...]) -> float:
    """Temperature behind a row of resistances. [K]"""
    return air_k + heat_w * sum(resistances_k_w)


def finned_sink(
    *, width_m: float, height_m: float, fin_m: float, thick_m: float, base_k: float, air_k: float
) -> FinnedSink:
    """The sink of best spacing within an outline, and the heat it gives to still air.

    raises  RangeError where the base is no warmer than the air
    """
    if base_k <= air_k:
        raise RangeError(
            f"the base ({base_k - 273.15:.0f} degC) must be warmer than the air ({air_k - 273.15:.0f} degC)."
        )
    film_k = (base_k + air_k) / 2
    conductivity, viscosity, prandtl = (
        float(np.interp(film_k - _ZERO_CELSIUS_K, _AIR[:, 0], _AIR[:, n])) for n in (1, 2, 3)
    )
    rayleigh = GRAVITY_M_S2 / film_k * (base_k - air_k) * height_m**3 / viscosity**2 * prandtl
    spacing = 2.714 * height_m / rayleigh**0.25
    film = 1.307 * conductivity / spacing
    n_fins = max(math.floor(width_m / (spacing + thick_m)), 1)
    heat = film * 2 * n_fins * height_m * fin_m * (base_k - air_k)
    return FinnedSink(
        width_m=width_m,
        height_m=height_m,
        fin_m=fin_m,
        spacing_m=spacing,
        n_fins=n_fins,
        film_w_m2_k=film,
        heat_w=heat,
        resistance_k_w=(base_k - air_k) / heat,
    )


def sink_width_m(*, heat_w: float, height_m: float, fin_m: float, thick_m: float, base_k: float, air_k: float) -> float:
    """Width of a finned sink that gives off the heat in still air. [m]"""
    one = finned_sink(width_m=1.0, height_m=height_m, fin_m=fin_m, thick_m=thick_m, base_k=base_k, air_k=air_k)
    per_fin = one.heat_w / one.n_fins
    return math.ceil(heat_w / per_fin) * (one.spacing_m + thick_m)


def air_flow_m3_s(*, heat_w: float, rise_k: float, altitude_m: float = 0.0) -> float:
    """Air through a box that carries the heat away while warming by ``rise_k``. [m3/s]

    >>> round(air_flow_m3_s(heat_w=40, rise_k=10) * 3600, 1)
    11.9
    """
    require_positive("heat_w", heat_w, unit="W")
    require_positive("rise_k", rise_k, unit="K")
    thin = float((1 - 2.25577e-5 * altitude_m) ** 4.2559)
    return heat_w / (AIR_DENSITY_KG_M3 * thin * AIR_HEAT_J_KG_K * rise_k)
