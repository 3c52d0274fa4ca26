"""Places on a flat map and back: the transverse Mercator grid of a 6 degree zone.

Theory  Krueger's series in the third flattening: the ellipsoid to its conformal sphere, the sphere to the plane, and a
        few harmonics that make the scale along the central meridian constant.
Source  C. F. F. Karney, Transverse Mercator with an accuracy of a few nanometers, J. Geodesy 85 (2011), eqs 7 to 12 and
        35, 36 (fourth order); [NGA.SIG.0012] for zones, scale 0.9996 and false origins.
Holds   Within 1000 km of the central meridian to a millimetre; latitudes 80 S to 84 N. Arrays in, arrays out.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_between

Floats = npt.NDArray[np.float64]
RADIUS_M, FLATTENING, SCALE = 6378137.0, 1 / 298.257223563, 0.9996
FALSE_EAST_M, FALSE_NORTH_SOUTH_M = 500e3, 10000e3
N = FLATTENING / (2 - FLATTENING)
ECCENTRICITY = math.sqrt(FLATTENING * (2 - FLATTENING))
RECTIFYING_M = RADIUS_M / (1 + N) * (1 + N**2 / 4 + N**4 / 64)
ALPHA = (
    N / 2 - 2 * N**2 / 3 + 5 * N**3 / 16 + 41 * N**4 / 180,
    13 * N**2 / 48 - 3 * N**3 / 5 + 557 * N**4 / 1440,
    61 * N**3 / 240 - 103 * N**4 / 140,
    49561 * N**4 / 161280,
)
BETA = (
    N / 2 - 2 * N**2 / 3 + 37 * N**3 / 96 - N**4 / 360,
    N**2 / 48 + N**3 / 15 - 437 * N**4 / 1440,
    17 * N**3 / 480 - 37 * N**4 / 840,
    4397 * N**4 / 161280,
)


@dataclass(frozen=True, kw_only=True)
class Zone:
    """One zone of the grid, 1 to 60, north or south of the equator."""

    number: int
    south: bool

    @property
    def meridian_deg(self) -> float:
        """Central meridian. [deg]"""
        return 6.0 * self.number - 183.0

    @property
    def epsg(self) -> int:
        """Code of the coordinate system on WGS84."""
        return (32700 if self.south else 32600) + self.number


def zone_of(*, latitude_deg: float, longitude_deg: float) -> Zone:
    """The zone of a place.

    raises  RangeError beyond 80 degrees south and 84 north
    """
    require_between("latitude of a map", latitude_deg, -80, 84, unit="deg", source="the UTM grid")
    return Zone(number=int((longitude_deg + 180) // 6) % 60 + 1, south=latitude_deg < 0)


def to_grid(zone: Zone, latitude_deg: Floats, longitude_deg: Floats) -> tuple[Floats, Floats]:
    """East and north. [m]"""
    phi = np.radians(latitude_deg)
    turn = np.radians((np.asarray(longitude_deg) - zone.meridian_deg + 180) % 360 - 180)
    tau = np.tan(phi)
    sigma = np.sinh(ECCENTRICITY * np.arctanh(ECCENTRICITY * tau / np.hypot(1, tau)))
    conformal = tau * np.hypot(1, sigma) - sigma * np.hypot(1, tau)
    xi = np.arctan2(conformal, np.cos(turn))
    eta = np.arcsinh(np.sin(turn) / np.hypot(conformal, np.cos(turn)))
    x, y = eta.copy(), xi.copy()
    for number, factor in enumerate(ALPHA, 1):
        y += factor * np.sin(2 * number * xi) * np.cosh(2 * number * eta)
        x += factor * np.cos(2 * number * xi) * np.sinh(2 * number * eta)
    north = SCALE * RECTIFYING_M * y + (FALSE_NORTH_SOUTH_M if zone.south else 0.0)
    return SCALE * RECTIFYING_M * x + FALSE_EAST_M, north


def from_grid(zone: Zone, east_m: Floats, north_m: Floats) -> tuple[Floats, Floats]:
    """Latitude and longitude. [deg]"""
    y = (np.asarray(north_m) - (FALSE_NORTH_SOUTH_M if zone.south else 0.0)) / (SCALE * RECTIFYING_M)
    x = (np.asarray(east_m) - FALSE_EAST_M) / (SCALE * RECTIFYING_M)
    xi, eta = y.copy(), x.copy()
    for number, factor in enumerate(BETA, 1):
        xi = xi - factor * np.sin(2 * number * y) * np.cosh(2 * number * x)
        eta = eta - factor * np.cos(2 * number * y) * np.sinh(2 * number * x)
    conformal = np.sin(xi) / np.hypot(np.sinh(eta), np.cos(xi))
    tau = conformal / (1 - ECCENTRICITY**2)
    for _ in range(3):
        sigma = np.sinh(ECCENTRICITY * np.arctanh(ECCENTRICITY * tau / np.hypot(1, tau)))
        found = tau * np.hypot(1, sigma) - sigma * np.hypot(1, tau)
        slope = (1 + (1 - ECCENTRICITY**2) * tau**2) / (1 - ECCENTRICITY**2)
        tau = tau + (conformal - found) / np.hypot(1, found) * slope / np.hypot(1, tau)
    turn = np.arctan2(np.sinh(eta), np.cos(xi))
    return np.degrees(np.arctan(tau)), (np.degrees(turn) + zone.meridian_deg + 180) % 360 - 180


def scale_at(east_m: float) -> float:
    """Length on the grid over length on the ground, near a place. [1]"""
    away = (east_m - FALSE_EAST_M) / (SCALE * RADIUS_M)
    return SCALE * math.cosh(away)
