"""Heights over an area: tiles of samples, several of them as one surface.

Theory  Within a tile heights are bilinear between samples. Within one sample beyond its edge a tile fades out linearly,
        so that two neighbours that do not repeat each other's edge join as if they were one grid.
Source  [SRTM] for sample registration: rows from the north, samples on the lines. Fading: own design.
Holds   Voids are NaN. Where no tile reaches, or all that reach are void, the height is NaN and ``covered`` tells which.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.ground.errors import RangeError

Floats = npt.NDArray[np.float64]
LEAST_SHARE = 1e-6
HALF = 1e-6  # of a sample: what lies on the seam of two tiles belongs to the first
Locate = Callable[[Floats, Floats], tuple[Floats, Floats]]


@dataclass(frozen=True, kw_only=True, eq=False)
class ElevationTile:
    """A grid of heights.

    height_m   (rows, columns) float32; NaN where void
    locate     latitude and longitude in degrees -> row and column of the grid, in samples, fractions allowed
    spacing_m  distance of neighbouring samples, the smaller of the two axes
    """

    name: str
    height_m: npt.NDArray[np.float32]
    locate: Locate
    spacing_m: float

    def __post_init__(self) -> None:
        if self.height_m.ndim != 2 or min(self.height_m.shape) < 2:
            raise RangeError(f"{self.name} must hold two rows and columns or more, not {self.height_m.shape}.")
        if not (math.isfinite(self.spacing_m) and self.spacing_m > 0):
            raise RangeError(f"{self.name} must have a spacing above zero, not {self.spacing_m:g} m.")

    def sampled(self, latitude_deg: Floats, longitude_deg: Floats) -> tuple[Floats, Floats]:
        """Heights and weights at places: weight 1 inside, falling to 0 one sample beyond the edge."""
        row, column = self.locate(latitude_deg, longitude_deg)
        rows, columns = self.height_m.shape
        weight = _inside(row, rows) * _inside(column, columns)
        return _bilinear(self.height_m, row, column), weight


def _inside(place: Floats, n: int) -> Floats:
    return np.clip(1.0 - np.maximum(-place, place - (n - 1)), 0.0, 1.0)


def _bilinear(grid: npt.NDArray[np.float32], row: Floats, column: Floats) -> Floats:
    rows, columns = grid.shape
    row, column = np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1)
    top = np.minimum(row.astype(np.int64), rows - 2)
    left = np.minimum(column.astype(np.int64), columns - 2)
    down, right = row - top, column - left
    total, weight = np.zeros(row.shape), np.zeros(row.shape)
    for dr, dc, share in (
        (0, 0, (1 - down) * (1 - right)),
        (0, 1, (1 - down) * right),
        (1, 0, down * (1 - right)),
        (1, 1, down * right),
    ):
        # A void that carries next to no weight must not spoil its neighbours.
        counted = share > LEAST_SHARE
        total += np.where(counted, share * grid[top + dr, left + dc], 0.0)
        weight += np.where(counted, share, 0.0)
    return total / weight


@dataclass(frozen=True, kw_only=True, eq=False)
class Elevation:
    """Several tiles as one surface."""

    tiles: tuple[ElevationTile, ...]
    source: str

    def __post_init__(self) -> None:
        if not self.tiles:
            raise RangeError("Terrain must hold a tile or more.")

    @property
    def spacing_m(self) -> float:
        """The finest spacing of the tiles. [m]"""
        return min(tile.spacing_m for tile in self.tiles)

    def sampled(self, latitude_deg: Floats, longitude_deg: Floats) -> tuple[Floats, npt.NDArray[np.bool_]]:
        """Heights at places, NaN where void or not covered; and whether any tile covers them."""
        total, weights = np.zeros(latitude_deg.shape), np.zeros(latitude_deg.shape)
        covered = np.zeros(latitude_deg.shape, bool)
        for tile in self.tiles:
            height, weight = tile.sampled(latitude_deg, longitude_deg)
            covered |= weight > 0
            weight = np.where(np.isfinite(height), weight, 0.0)
            total += np.where(weight > 0, weight * height, 0.0)
            weights += weight
        with np.errstate(invalid="ignore", divide="ignore"):
            return np.where(weights > 0, total / weights, np.nan), covered

    def nearest(self, latitude_deg: Floats, longitude_deg: Floats) -> Floats:
        """The sample nearest to each place, of the first tile that holds it; NaN where none does: for codes."""
        found = np.full(latitude_deg.shape, np.nan)
        for tile in self.tiles:
            row, column = tile.locate(latitude_deg, longitude_deg)
            rows, columns = tile.height_m.shape
            inside = (row > -0.5 - HALF) & (row < rows - 0.5 + HALF)
            inside &= (column > -0.5 - HALF) & (column < columns - 0.5 + HALF) & np.isnan(found)
            at_row = np.clip(np.rint(row[inside]).astype(np.int64), 0, rows - 1)
            at_column = np.clip(np.rint(column[inside]).astype(np.int64), 0, columns - 1)
            found[inside] = tile.height_m[at_row, at_column]
        return found


def bridge_voids(height_m: Floats, *, most: int | None) -> tuple[Floats, int]:
    """Fill runs of NaN by a straight line between their neighbours, ends by the nearest; returns how many were filled.

    most    longest run that may be bridged; None for any
    raises  RangeError where a run is longer, or where nothing is known
    """
    void = ~np.isfinite(height_m)
    if not void.any():
        return height_m, 0
    if void.all():
        raise RangeError("The terrain holds no height along this path, only voids.")
    edges = np.flatnonzero(np.diff(np.concatenate([[0], void.view(np.int8), [0]])))
    longest = int((edges[1::2] - edges[::2]).max())
    if most is not None and longest > most:
        raise RangeError(
            f"The terrain has a void of {longest} samples in this path, more than the {most} that are bridged; fill "
            "the tile, or say --fill-voids."
        )
    at = np.arange(len(height_m))
    return np.interp(at, at[~void], height_m[~void]), int(void.sum())


def geographic(*, north_deg: float, west_deg: float, lat_step_deg: float, lon_step_deg: float) -> Locate:
    """Rows and columns of a grid in latitude and longitude whose first sample lies at the north-west."""

    def locate(latitude_deg: Floats, longitude_deg: Floats) -> tuple[Floats, Floats]:
        east = (longitude_deg - west_deg + 180.0) % 360.0 - 180.0
        return (north_deg - latitude_deg) / lat_step_deg, east / lon_step_deg

    return locate


def degree_spacing_m(*, latitude_deg: float, lat_step_deg: float, lon_step_deg: float) -> float:
    """The smaller distance of neighbouring samples on a sphere of 6371 km. [m]"""
    metre = math.radians(1.0) * 6371e3
    return min(lat_step_deg, lon_step_deg * max(math.cos(math.radians(latitude_deg)), 1e-6)) * metre


def names_of(tiles: Sequence[ElevationTile]) -> str:
    """The tiles' names, three at most in full."""
    names = [tile.name for tile in tiles]
    return ", ".join(names) if len(names) <= 3 else f"{', '.join(names[:3])} and {len(names) - 3} more"
