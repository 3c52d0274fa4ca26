"""Distance and bearings between two places, and points on the way.

Theory  The shortest way on the WGS84 ellipsoid. A locator's box is open by its size over sqrt(12) in each axis; what
        of it lies along the path changes the distance, what lies across it the bearing.
Source  C. F. F. Karney, Algorithms for geodesics, J. Geodesy 87 (2013), through geographiclib; [GUM] 5.1 and
        4.3.7 (rectangular distribution).
Holds   Any two different places. True bearings; magnetic ones only where the operator gives the declination.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.chain.antenna.places import Place
from tepui.ground.doubt import Estimate, estimate
from tepui.ground.errors import RangeError

LEAST_M = 1.0
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class Way:
    """From one place to another.

    distance     along the ellipsoid [m]
    bearing_out  true bearing from the first to the second [deg], bearing_back the other way
    """

    start: Place
    end: Place
    distance: Estimate
    bearing_out: Estimate
    bearing_back: Estimate


def _ellipsoid() -> Any:
    from geographiclib.geodesic import Geodesic

    return Geodesic.WGS84


def way_between(start: Place, end: Place) -> Way:
    """The geodesic from ``start`` to ``end``.

    raises  RangeError where both are the same place
    """
    line = _ellipsoid().Inverse(start.latitude_deg, start.longitude_deg, end.latitude_deg, end.longitude_deg)
    distance_m = float(line["s12"])
    if distance_m < LEAST_M:
        raise RangeError(
            f'"{start.text}" and "{end.text}" are the same place; a path needs two, so give finer locators or '
            "coordinates."
        )
    along = [_box_std_m(place, bearing) for place, bearing in ((start, line["azi1"]), (end, line["azi2"]))]
    across = [_box_std_m(place, bearing + 90) for place, bearing in ((start, line["azi1"]), (end, line["azi2"]))]
    turn_deg = [math.degrees(math.atan2(one, distance_m)) for one in across]
    back = (float(line["azi2"]) + 180) % 360
    return Way(
        start=start,
        end=end,
        distance=estimate(distance_m, start_box=along[0], end_box=along[1]),
        bearing_out=estimate(float(line["azi1"]) % 360, start_box=turn_deg[0], end_box=turn_deg[1]),
        bearing_back=estimate(back, start_box=turn_deg[0], end_box=turn_deg[1]),
    )


def _box_std_m(place: Place, bearing_deg: float) -> float:
    """Standard uncertainty of a place in one direction, from its locator's box. [m]"""
    north_m = math.radians(place.box_lat_deg) * 6371e3
    east_m = math.radians(place.box_lon_deg) * 6371e3 * math.cos(math.radians(place.latitude_deg))
    angle = math.radians(bearing_deg)
    return math.hypot(north_m * math.cos(angle), east_m * math.sin(angle)) / math.sqrt(12)


def points_between(start: Place, end: Place, *, n: int) -> tuple[Floats, Floats, Floats]:
    """Evenly spaced points on the geodesic, the ends included: distance_m, latitude_deg, longitude_deg, each (n,)."""
    ellipsoid = _ellipsoid()
    line = ellipsoid.InverseLine(start.latitude_deg, start.longitude_deg, end.latitude_deg, end.longitude_deg)
    distance_m = np.linspace(0.0, line.s13, n)
    places = [line.Position(float(s)) for s in distance_m]
    return distance_m, np.array([p["lat2"] for p in places]), np.array([p["lon2"] for p in places])


def place_at(start: Place, *, bearing_deg: float, distance_m: float) -> Place:
    """Where one arrives from ``start`` in a direction after a distance."""
    end = _ellipsoid().Direct(start.latitude_deg, start.longitude_deg, bearing_deg, distance_m)
    return Place(latitude_deg=float(end["lat2"]), longitude_deg=float(end["lon2"]), text=f"{distance_m:g} m away")


def magnetic_bearing_deg(true_deg: float, *, declination_deg: float) -> float:
    """What a compass shows where the declination is east-positive. [deg]"""
    return (true_deg - declination_deg) % 360
