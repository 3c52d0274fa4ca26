"""Seeing the path: bulge of the Earth, first Fresnel zone, the obstacle, and the height that would clear it.

Theory  Above the straight line between the antennas, a point at d1 and d2 stands h + d1 d2/(2 ae) high; it matters as
        v = h sqrt(2 d/(lambda d1 d2)), and a single edge there loses J(v). The first Fresnel zone has the radius
        sqrt(lambda d1 d2/d); where 0.6 of it is free, the path loses what free space loses.
Source  [P.526] 4.1 for v and J(v); [P.530] for the 0.6, from memory.
Holds   One edge at a time: the view that teaches. The models in path_kernels.py join all of them.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.constants import speed_of_light

CLEAR_SHARE = 0.6
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class PathView:
    """The profile as the wave meets it.

    distance_m, ground_m  (n,) with clutter, above the sea
    bulge_m    (n,) how far the Earth rises above the chord
    line_m     (n,) straight line between the antennas
    fresnel_m  (n,) radius of the first Fresnel zone
    v          (n,) diffraction parameter; minus infinity at the ends
    worst      index of the point with the largest v
    """

    distance_m: Floats
    ground_m: Floats
    bulge_m: Floats
    line_m: Floats
    fresnel_m: Floats
    v: Floats
    worst: int

    @property
    def obstacle_m(self) -> float:
        """How far the worst point stands above the line; negative where below. [m]"""
        return float(self.ground_m[self.worst] + self.bulge_m[self.worst] - self.line_m[self.worst])

    @property
    def clearance_share(self) -> float:
        """Least room below the line over the radius of the first Fresnel zone. [1]"""
        inner = slice(1, -1)
        room = self.line_m[inner] - self.ground_m[inner] - self.bulge_m[inner]
        return float(np.min(room / self.fresnel_m[inner]))

    @property
    def edge_db(self) -> float:
        """J(v) of the worst point alone. [dB]"""
        return knife_edge_db(float(self.v[self.worst]))

    @property
    def visible(self) -> bool:
        """Whether the antennas see each other."""
        return self.obstacle_m < 0


def knife_edge_db(v: float) -> float:
    """J(v), loss of one edge. [dB]

    >>> round(knife_edge_db(0.0), 3)
    6.033
    """
    if v <= -0.78:
        return 0.0
    return 6.9 + 20 * math.log10(math.sqrt((v - 0.1) ** 2 + 1) + v - 0.1)


def path_view(
    *,
    distance_m: Floats,
    ground_m: Floats,
    tx_asl_m: float,
    rx_asl_m: float,
    frequency_hz: float,
    earth_radius_m: float,
) -> PathView:
    """Bulge, line, Fresnel radius and v along a profile of three points or more; antennas above the sea."""
    d = float(distance_m[-1])
    d1, d2 = distance_m, d - distance_m
    lam = speed_of_light / frequency_hz
    bulge = d1 * d2 / (2 * earth_radius_m)
    line = (tx_asl_m * d2 + rx_asl_m * d1) / d
    fresnel = np.sqrt(lam * d1 * d2 / d)
    v = np.full(len(d1), -np.inf)
    inner = slice(1, -1)
    v[inner] = (ground_m + bulge - line)[inner] * math.sqrt(2) / fresnel[inner]
    return PathView(
        distance_m=distance_m,
        ground_m=ground_m,
        bulge_m=bulge,
        line_m=line,
        fresnel_m=fresnel,
        v=v,
        worst=int(np.argmax(v)),
    )


def rise_to_clear_m(view: PathView, *, share: float = CLEAR_SHARE) -> float:
    """How much higher both antennas must stand until ``share`` of the first Fresnel zone is free; else 0. [m]"""
    inner = slice(1, -1)
    lacking = view.ground_m[inner] + view.bulge_m[inner] + share * view.fresnel_m[inner] - view.line_m[inner]
    return max(0.0, float(np.max(lacking)))


def rise_of_one_m(view: PathView, *, at_transmitter: bool, share: float = CLEAR_SHARE) -> float:
    """How much higher one antenna alone must stand for the same; 0 where it is free. [m]"""
    inner = slice(1, -1)
    lacking = view.ground_m[inner] + view.bulge_m[inner] + share * view.fresnel_m[inner] - view.line_m[inner]
    d = float(view.distance_m[-1])
    lever = (d - view.distance_m[inner]) / d if at_transmitter else view.distance_m[inner] / d
    return max(0.0, float(np.max(lacking / lever)))


def radio_horizon_m(height_m: float, *, earth_radius_m: float) -> float:
    """Distance of the horizon over a smooth Earth, sqrt(2 ae h). [m]"""
    return math.sqrt(2 * earth_radius_m * max(height_m, 0.0))
