"""The ground under a map: heights, what stands on them, land and sea, on a square of pixels.

Theory  A map is a square on the transverse Mercator grid, the ground sampled at each pixel. Coastal land is land up to
        100 m above the sea and at most 50 km from it; the rest is inland.
Source  [P.1812-8] 3.2 for the zones (100 m, 50 km), from memory; own design for the grid.
Holds   To 150 km, pixels of 30 to 250 m. Straight lines on the grid stand for geodesics: metres at 100 km.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
import numpy.typing as npt

from tepui.chain.antenna.grid import Zone, from_grid, scale_at, to_grid, zone_of
from tepui.chain.antenna.places import Place
from tepui.ground.checks import require_between
from tepui.ground.errors import RangeError
from tepui.signals.elevation import Elevation
from tepui.signals.terrain import ZONES

MOST_PIXELS = 16_000_000
SAMPLED_AT_ONCE = 256
COAST_M, COAST_KM = 100.0, 50.0
HIGHEST_CLUTTER_M = 120.0
SEA, COAST, INLAND = (ZONES.index(name) for name in ("sea", "coast", "inland"))
NONE_CLUTTER, NONE_LAND = np.zeros((1, 1), np.float32), np.zeros((1, 1), np.uint8)
Singles = npt.NDArray[np.float32]
Codes = npt.NDArray[np.uint8]
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class MapGrid:
    """The ground under a map.

    west_m, north_m  outer corner of the first pixel on the grid of ``zone``
    height_m         (rows, columns) float32, rows from the north, no gaps
    scale            length on the grid over length on the ground
    clutter_m        heights on the ground, the same shape, or (1, 1) where none is told
    land             SEA, COAST or INLAND, the same shape, or (1, 1) where all is inland
    sea              whether a pixel is known as open water: no tile covers it, and the operator calls that sea
    """

    zone: Zone
    west_m: float
    north_m: float
    pixel_m: float
    height_m: Singles
    scale: float
    clutter_m: Singles = field(default_factory=lambda: NONE_CLUTTER)
    land: Codes = field(default_factory=lambda: NONE_LAND)
    sea: npt.NDArray[np.bool_] | None = None

    @property
    def bare(self) -> bool:
        """Whether the map is all land with nothing told to stand on it."""
        return self.clutter_m.shape == self.land.shape == (1, 1)

    def places(self, rows: slice = slice(None)) -> tuple[Floats, Floats]:
        """Latitude and longitude of the pixels of some rows. [deg]"""
        n_rows, n_columns = self.height_m.shape
        north = self.north_m - (np.arange(n_rows)[rows] + 0.5) * self.pixel_m
        east = self.west_m + (np.arange(n_columns) + 0.5) * self.pixel_m
        grid_east, grid_north = np.meshgrid(east, north)
        return from_grid(self.zone, grid_east, grid_north)

    def pixel_of(self, place: Place) -> tuple[float, float]:
        """Row and column of a place, fractions of a pixel allowed."""
        east, north = to_grid(self.zone, np.array([place.latitude_deg]), np.array([place.longitude_deg]))
        return (
            float((self.north_m - north[0]) / self.pixel_m - 0.5),
            float((east[0] - self.west_m) / self.pixel_m - 0.5),
        )


def bare_grid(centre: Place, *, reach_m: float, pixel_m: float) -> MapGrid:
    """A square around a place, at sea level everywhere.

    raises  RangeError for pixels or reaches that no map has
    """
    require_between("pixel", pixel_m, 30, 250, unit="m", source="this program's limit")
    require_between("reach", reach_m / 1e3, 0.5, 150, unit="km", source="this program's limit")
    half = math.ceil(reach_m / pixel_m)
    side = 2 * half + 1
    if side * side > MOST_PIXELS:
        least = math.sqrt(4 * reach_m**2 / MOST_PIXELS)
        raise RangeError(
            f"A map of {side} x {side} pixels is more than {MOST_PIXELS / 1e6:g} million; take pixels of "
            f"{math.ceil(least)} m or more, or a shorter reach."
        )
    zone = zone_of(latitude_deg=centre.latitude_deg, longitude_deg=centre.longitude_deg)
    east, north = to_grid(zone, np.array([centre.latitude_deg]), np.array([centre.longitude_deg]))
    return MapGrid(
        zone=zone,
        west_m=float(east[0]) - (half + 0.5) * pixel_m,
        north_m=float(north[0]) + (half + 0.5) * pixel_m,
        pixel_m=pixel_m,
        height_m=np.zeros((side, side), np.float32),
        scale=scale_at(float(east[0])),
    )


def with_terrain(grid: MapGrid, terrain: Elevation, *, missing_is_sea: bool) -> tuple[MapGrid, int, int]:
    """The grid with heights sampled; returns how many pixels were void and how many no tile covers.

    Voids take the height of the nearest known pixel in their row.
    raises  RangeError where ground is missing and the operator does not call it sea
    """
    rows, columns = grid.height_m.shape
    height = np.zeros((rows, columns), np.float32)
    sea = np.zeros((rows, columns), bool)
    voids = missing = 0
    for first in range(0, rows, SAMPLED_AT_ONCE):
        part = slice(first, min(first + SAMPLED_AT_ONCE, rows))
        lat, lon = grid.places(part)
        found, covered = terrain.sampled(lat, lon)
        missing += int((~covered).sum())
        voids += int((covered & ~np.isfinite(found)).sum())
        height[part] = np.where(covered, found, 0.0)
        sea[part] = ~covered
    if missing and not missing_is_sea:
        raise RangeError(
            f"No terrain tile covers {100 * missing / (rows * columns):.1f} % of the map; add the tiles around it, "
            "shorten --reach, or say --missing-is-sea."
        )
    _fill(height)
    return replace(grid, height_m=height, sea=sea), voids, missing


def _fill(height: Singles) -> None:
    for row in np.flatnonzero(~np.isfinite(height).all(axis=1)):
        line = height[row]
        known = np.flatnonzero(np.isfinite(line))
        if known.size:
            line[:] = np.interp(np.arange(line.size), known, line[known])
        else:
            line[:] = height[row - 1] if row else 0.0


def with_clutter(grid: MapGrid, clutter: Elevation | float) -> MapGrid:
    """The grid with trees and houses: heights of a raster, or one height on all land.

    raises  RangeError for heights that nothing of the kind has
    """
    if isinstance(clutter, Elevation):
        found = sampled_rows(grid, lambda lat, lon: clutter.sampled(lat, lon)[0])
        height = np.nan_to_num(found, nan=0.0).astype(np.float32)
    else:
        height = np.full(grid.height_m.shape, clutter, np.float32)
        if grid.land.shape == grid.height_m.shape:
            height[grid.land == SEA] = 0.0
        elif grid.sea is not None:
            height[grid.sea] = 0.0
    low, high = float(height.min()), float(height.max())
    if low < 0 or high > HIGHEST_CLUTTER_M:
        raise RangeError(
            f"Clutter of {low:g} to {high:g} m is none; heights above ground run from 0 to {HIGHEST_CLUTTER_M:g} m."
        )
    return replace(grid, clutter_m=height)


def with_zones_of_terrain(grid: MapGrid) -> MapGrid:
    """The grid with land, coast and sea judged from its heights: sea is what no tile covers, or exactly 0 m high."""
    from scipy.ndimage import distance_transform_edt

    sea = grid.height_m == 0.0
    if grid.sea is not None:
        sea |= grid.sea
    land = np.full(sea.shape, INLAND, np.uint8)
    if sea.any():
        away_km = distance_transform_edt(~sea) * (grid.pixel_m / grid.scale / 1e3)
        land[(away_km <= COAST_KM) & (grid.height_m <= COAST_M)] = COAST
    land[sea] = SEA
    return replace(grid, land=land)


CODES = {1: SEA, 3: COAST, 4: INLAND}


def with_zones_of_codes(grid: MapGrid, codes: Elevation) -> MapGrid:
    """The grid with zones from a raster of codes: 1 sea, 3 coastal land, 4 inland.

    raises  RangeError for another code, or where the raster leaves part of the map out
    """
    found = sampled_rows(grid, codes.nearest)
    unknown = ~np.isin(found, tuple(CODES))
    if unknown.any():
        worst = found[unknown][0]
        words = "leaves part of the map out" if not np.isfinite(worst) else f"holds the code {worst:g}"
        raise RangeError(
            f"The raster of zones {words}; it must hold 1 (sea), 3 (coastal land) or 4 (inland) everywhere."
        )
    land = np.zeros(found.shape, np.uint8)
    for code, here in CODES.items():
        land[found == code] = here
    return replace(grid, land=land)


def sampled_rows(grid: MapGrid, sample: Callable[[Floats, Floats], Floats]) -> Floats:
    """Something sampled at every pixel, some rows at once."""
    rows = grid.height_m.shape[0]
    parts = []
    for first in range(0, rows, SAMPLED_AT_ONCE):
        lat, lon = grid.places(slice(first, min(first + SAMPLED_AT_ONCE, rows)))
        parts.append(sample(lat, lon))
    return np.concatenate(parts)
