"""What feeds the station: current of the main rail, drop along its cable, how long a battery lasts.

Theory  Behind a converter of efficiency e the main rail gives V I / (V0 e); behind a linear regulator the same current.
        A cable drops 2 rho l I / A, there and back.
Source  Ohm's law; resistivity of copper 1.72e-8 ohm m at 20 degC [IEC60028].
Holds   Warm cable drops more, 0.4 % a kelvin. Batteries give less when cold, old or emptied fast.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from tepui.ground.doubt import Estimate, estimate

COPPER_OHM_M = 1.72e-8
RESERVE = 0.25  # kept in hand of a supply: common practice


@dataclass(frozen=True, kw_only=True)
class Load:
    """What draws current.

    efficiency  of its converter; None feeds it straight or through a linear regulator
    """

    name: str
    voltage_v: float
    current_a: float
    std_a: float
    efficiency: float | None = None
    start_a: float | None = None

    @property
    def power_w(self) -> float:
        """Taken at its own rail. [W]"""
        return self.voltage_v * self.current_a


def main_current_a(load: Load, main_v: float) -> float:
    """Current a load takes from the main rail. [A]"""
    if load.efficiency is None:
        return load.current_a
    return load.power_w / (main_v * load.efficiency)


def total_current(loads: Sequence[Load], main_v: float) -> Estimate:
    """Current of the main rail with its doubt by load. [A]"""
    value = sum(main_current_a(load, main_v) for load in loads)
    parts = {load.name: main_current_a(load, main_v) * load.std_a / load.current_a for load in loads if load.current_a}
    return estimate(value, **{name: part for name, part in parts.items() if part})


def start_current_a(loads: Sequence[Load], main_v: float) -> float:
    """Current if all starts at once, where starting currents are known; a load without one counts as it runs. [A]"""
    return sum(
        max(load.start_a or 0.0, load.current_a) / max(load.current_a, 1e-12) * main_current_a(load, main_v)
        for load in loads
    )


def cable_drop_v(*, current_a: float, length_m: float, area_m2: float) -> float:
    """Drop there and back. [V]"""
    return 2 * COPPER_OHM_M * length_m * current_a / area_m2
