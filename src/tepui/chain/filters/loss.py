"""Unloaded Q of round rods, and what loss does: heat and peak voltage at a power.

Theory  Skin resistance Rs = sqrt(pi f mu0 / sigma). A rod between plates: Q = 2 pi f mu0 Z0 / (119.9 Rs (1/h + 1/d)) by
        Wheeler's rule of incremental inductance; joints, screws and end walls take their part by a workmanship factor.
        Stored energy at the design power from the coupling matrix: resonator voltages follow from the column of A^-1.
Source  H. Wheeler 1942 and the slab line, from memory; conductivities in table metals. The factor 0.5 is common
        practice: 800 to 2000 is measured where 2000 to 4000 is computed.
Holds   Smooth solid metal, thicker than the skin; a breakdown figure is not stated.
"""

import math

import numpy as np
import numpy.typing as npt
from scipy.constants import mu_0

from tepui.chain.filters.resonators import CoupledFilter, chain_matrix
from tepui.tables.load import load_table

WORKMANSHIP = 0.5


def skin_resistance_ohm(frequency_hz: float, *, metal: str) -> float:
    """Surface resistance of a metal. [ohm]"""
    conductivity = float(load_table("metals").cell("conductivity_s_per_m", metal=metal))
    return math.sqrt(math.pi * frequency_hz * float(mu_0) / conductivity)


def expansion_per_k(metal: str) -> float:
    """Thermal expansion of a metal, relative per kelvin."""
    return float(load_table("metals").cell("expansion_ppm_per_k", metal=metal)) * 1e-6


def rod_unloaded_q(
    frequency_hz: float, *, impedance_ohm: float, diameter_m: float, plates_m: float, metal: str
) -> float:
    """Unloaded Q of a rod between plates before workmanship."""
    resistance = skin_resistance_ohm(frequency_hz, metal=metal)
    inverse = 1 / plates_m + 1 / diameter_m
    return 2 * math.pi * frequency_hz * float(mu_0) * impedance_ohm / (119.9 * resistance * inverse)


def resonator_energy_j(made: CoupledFilter, frequency_hz: npt.ArrayLike, *, power_w: float) -> npt.NDArray[np.float64]:
    """Energy stored in every resonator with a power going in. (n_f, n) [J]

    |x_i|^2 4 P / (Qe1 w), x the first column of A^-1: the power lost in resonator i is w W_i / Qu.
    """
    f = np.asarray(frequency_hz, dtype=np.float64)
    column = np.linalg.inv(chain_matrix(made, f))[:, :, 0]
    return np.asarray(np.abs(column) ** 2 * 4 * power_w / made.q_first / (2 * np.pi * f[:, None]))


def open_end_voltage_v(energy_j: float, *, impedance_ohm: float, frequency_hz: float) -> float:
    """Peak voltage at the open end of a quarter-wave rod that stores an energy, W = pi V^2 / (16 w Z0). [V]"""
    return math.sqrt(energy_j * 8 * 4 * impedance_ohm * frequency_hz)
