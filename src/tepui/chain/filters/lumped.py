"""A lumped band-pass for an IF: parallel resonators coupled by capacitors at their tops.

Theory  Every node has L and C = 1 / w0^2 L in all; neighbours share C_ij = k_ij C. A series capacitor brings the port's
        R to the load the end wants, R_p = Qe w0 L: its reactance is R sqrt(R_p / R - 1), and what it adds at the node
        is taken off the shunt capacitor. The trace is that of the circuit, every inductor with the Q stated.
Source  narrow-band coupled resonators, G. Matthaei, L. Young, E. Jones 1964, from memory.
Holds   Widths below about a tenth of the centre; the upper skirt is flatter than the lower.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.chain.filters.goal import FilterGoal
from tepui.ground.errors import RangeError

Floats = npt.NDArray[np.float64]
PORT_OHM = 50.0


@dataclass(frozen=True, kw_only=True)
class LumpedFilter:
    """Parts: the inductor of every node, shunt capacitors (n), coupling capacitors (n - 1), series ones at the ends."""

    inductor_h: float
    shunt_f: tuple[float, ...]
    between_f: tuple[float, ...]
    series_f: float
    unloaded_q: float


def lumped_filter(goal: FilterGoal, *, inductor_h: float, unloaded_q: float) -> LumpedFilter:
    """The parts for a goal.

    raises  RangeError where the inductor does not suit
    """
    omega = 2 * math.pi * goal.centre_hz
    node = 1 / (omega**2 * inductor_h)
    wanted = goal.external_q * omega * inductor_h
    if wanted <= PORT_OHM * 1.02:
        raise RangeError(
            f"an inductor of {inductor_h * 1e9:.3g} nH makes the end resonators want {wanted:.3g} ohm, below the "
            f"{PORT_OHM:g} ohm of the ports; take more than {inductor_h * 1e9 * 1.1 * PORT_OHM / wanted:.3g} nH."
        )
    reactance = PORT_OHM * math.sqrt(wanted / PORT_OHM - 1)
    series = 1 / (omega * reactance)
    seen = series / (1 + (omega * series * PORT_OHM) ** 2)
    between = tuple(float(k * node) for k in goal.couplings)
    beside = np.concatenate([[seen], between]) + np.concatenate([between, [seen]])
    shunt = node - beside
    if shunt.min() <= 0:
        raise RangeError(
            f"an inductor of {inductor_h * 1e9:.3g} nH leaves no capacitance at a node; take a smaller one."
        )
    return LumpedFilter(
        inductor_h=inductor_h,
        shunt_f=tuple(float(c) for c in shunt),
        between_f=between,
        series_f=series,
        unloaded_q=unloaded_q,
    )


def lumped_scattering(made: LumpedFilter, f: Floats) -> npt.NDArray[np.complex128]:
    """Scattering parameters of the circuit. (n_f, 2, 2)"""
    n = len(made.shunt_f)
    p = 2j * np.pi * np.asarray(f, dtype=np.float64)
    total = np.zeros((len(p), n + 2, n + 2), dtype=complex)

    def add(one: int, two: int | None, admittance: npt.NDArray[np.complexfloating[Any, Any]]) -> None:
        total[:, one, one] += admittance
        if two is not None:
            total[:, two, two] += admittance
            total[:, one, two] -= admittance
            total[:, two, one] -= admittance

    for node, shunt in enumerate(made.shunt_f):
        add(node, None, p * shunt + 1 / (p * made.inductor_h + np.abs(p) * made.inductor_h / made.unloaded_q))
    for node, between in enumerate(made.between_f):
        add(node, node + 1, p * between)
    add(0, n, p * made.series_f)
    add(n - 1, n + 1, p * made.series_f)
    for port in (n, n + 1):
        total[:, port, port] += 1 / PORT_OHM
    inverse = np.linalg.inv(total)[:, n:, n:]
    return np.asarray(2 * inverse / PORT_OHM - np.eye(2))
