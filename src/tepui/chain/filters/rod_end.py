"""Capacitance of a rod's open end to the wall and screw it faces.

Theory  Near its end a rod is taken as round symmetric: its surroundings become a pipe of the diameter that gives the
        rod's own capacitance per length, D = d exp(2 pi / C). Laplace's equation in r and z by finite volumes on a
        graded grid; the charge on the rod less that of an endless rod of the same length is the end's capacitance.
Source  own computation; a bare end and a flat wall far away or near are solved by hand in the tests.
Holds   Electrostatics: gaps short against the wave. The screw is flat-ended and coaxial. Within about 5 %.
"""

import itertools
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.constants import epsilon_0

from tepui.ground.checks import require_positive
from tepui.ground.errors import RangeError

Floats = npt.NDArray[np.float64]
CELLS_OF_GAP = 28
LEAST_FREE = 0.04  # of the gap stays open between screw and rod


def pipe_diameter_m(*, diameter_m: float, capacitance: float) -> float:
    """Pipe around a rod that gives it the capacitance per length over eps0. [m]"""
    return float(diameter_m * np.exp(2 * np.pi / capacitance))


@lru_cache(maxsize=4096)
def end_capacitance_f(
    *, diameter_m: float, pipe_m: float, gap_m: float, screw_m: float, screw_diameter_m: float
) -> float:
    """Excess capacitance of an open end: to the end wall a gap away, with a screw standing in from it. [F]

    raises  RangeError where the screw would touch the rod
    """
    for name, value in (("diameter", diameter_m), ("gap", gap_m)):
        require_positive(name, value, unit="m")
    if not 0 <= screw_m <= (1 - LEAST_FREE / 2) * gap_m:
        raise RangeError(f"a screw {screw_m * 1e3:.3g} mm deep does not fit a gap of {gap_m * 1e3:.3g} mm.")
    radius, shield, screw = diameter_m / 2, pipe_m / 2, screw_diameter_m / 2
    length = 1.2 * shield
    r = _graded([0.0, screw, radius, shield], radius / 9)
    marks = [0.0, screw_m, gap_m, gap_m + length] if screw_m > 0 else [0.0, gap_m, gap_m + length]
    z = _graded(marks, min(gap_m, radius) / 10)
    charge = _charge(r, z, radius=radius, screw=screw, screw_m=screw_m, gap_m=gap_m)
    endless = 2 * np.pi * epsilon_0 / np.log(shield / radius)
    return float(charge - endless * length)


def _graded(marks: list[float], widest: float) -> Floats:
    """Points from mark to mark, close at the marks (where edges are) and wider between."""
    parts = [np.array([marks[0]])]
    for low, high in itertools.pairwise(marks):
        count = max(5, int(np.ceil(1.6 * (high - low) / widest)))
        count = min(count, 24)
        even = np.arange(1, count + 1) / count
        parts.append(low + (high - low) * (even - 0.75 / (2 * np.pi) * np.sin(2 * np.pi * even)))
    return np.concatenate(parts)


def _charge(r: Floats, z: Floats, *, radius: float, screw: float, screw_m: float, gap_m: float) -> float:
    """Charge on the rod at 1 V, everything else at 0, by finite volumes. [C]"""
    from scipy.sparse import coo_matrix
    from scipy.sparse.linalg import spsolve

    small = 1e-9 * radius
    rr, zz = np.meshgrid(r, z, indexing="ij")
    rod = (rr <= radius + small) & (zz >= gap_m - small)
    ground = (rr >= r[-1] - small) | (zz <= small) | ((rr <= screw + small) & (zz <= screw_m + small) & (screw_m > 0))
    edge_r = np.concatenate([[0.0], (r[1:] + r[:-1]) / 2, [r[-1]]])
    edge_z = np.concatenate([[z[0]], (z[1:] + z[:-1]) / 2, [z[-1]]])
    area = np.pi * np.diff(edge_r**2)
    height = np.diff(edge_z)
    outward = 2 * np.pi * edge_r[1:-1, None] * height[None, :] / np.diff(r)[:, None]
    upward = area[:, None] / np.diff(z)[None, :]
    number = np.arange(rr.size).reshape(rr.shape)
    pairs = [(number[:-1], number[1:], outward), (number[:, :-1], number[:, 1:], upward)]
    one = np.concatenate([a.ravel() for a, _, _ in pairs])
    two = np.concatenate([b.ravel() for _, b, _ in pairs])
    weight = np.concatenate([w.ravel() for _, _, w in pairs])
    potential = rod.ravel().astype(float)
    free = ~(rod | ground).ravel()
    place = np.cumsum(free) - 1
    rows = np.concatenate([place[one], place[two], place[one], place[two]])
    columns = np.concatenate([place[one], place[two], place[two], place[one]])
    values = np.concatenate([weight, weight, -weight, -weight])
    both = free[one] & free[two]
    used = np.concatenate([free[one], free[two], both, both])
    system = coo_matrix((values[used], (rows[used], columns[used]))).tocsc()
    drive = np.zeros(int(free.sum()))
    for a, b in ((one, two), (two, one)):
        driven = free[a] & rod.ravel()[b]
        np.add.at(drive, place[a[driven]], weight[driven])
    potential[free] = spsolve(system, drive)
    return float(epsilon_0 * (weight * (potential[one] - potential[two]) ** 2).sum())


def screw_curve(
    *, diameter_m: float, pipe_m: float, gap_m: float, screw_diameter_m: float, points: int = 9
) -> tuple[Floats, Floats]:
    """Intrusion of the screw and the capacitance it gives, from flush to almost touching. [m], [F]"""
    share = 1 - LEAST_FREE - (1 - LEAST_FREE) * (1 - np.linspace(0, 1, points)) ** 1.6
    depth = gap_m * share
    loads = [
        end_capacitance_f(
            diameter_m=diameter_m, pipe_m=pipe_m, gap_m=gap_m, screw_m=float(s), screw_diameter_m=screw_diameter_m
        )
        for s in depth
    ]
    return depth, np.array(loads)
