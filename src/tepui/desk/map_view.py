"""A map that was made, looked at: its tiles, the figures under a point, its transmitters and listed stations.

Theory  The GeoTIFF of a map is the map; a look reads the part it needs. Zoom levels halve the pixels; the deepest level
        shows each pixel once.
Source  files/geotiff.py for the file, report/map_tiles.py for how it looks.
Holds   Maps that this program wrote. The newest few stay open in memory.
"""

import json
import math
from dataclasses import dataclass
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.chain.antenna.grid import Zone, from_grid, to_grid
from tepui.chain.antenna.places import Place, locator_of
from tepui.files.geotiff import read_bands
from tepui.ground.errors import InputError
from tepui.report.map_tiles import TILE, Layer, layers_for, tile_png

RASTER, LINES = "coverage.tif", "coverage.geojson"
KEPT = 3
Singles = npt.NDArray[np.float32]


@dataclass(frozen=True, kw_only=True, eq=False)
class MapView:
    """A map open for looking."""

    bands: dict[str, Singles]
    tags: dict[str, str]
    epsg: int
    west_m: float
    north_m: float
    pixel_m: float
    marks: tuple[dict[str, Any], ...]

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        rows, columns = next(iter(self.bands.values())).shape
        return rows, columns

    @property
    def deepest(self) -> int:
        """Zoom level at which a pixel of the map is one of the tile's."""
        return max(0, math.ceil(math.log2(max(self.shape) / TILE)))

    @cached_property
    def layers(self) -> dict[str, Layer]:
        """What can be shown."""
        modes = tuple(part.partition(" ")[2] for part in self.tags.get("modes", "").split("; "))
        return layers_for(margin_db=float(self.tags.get("margin_db", 6.0)), modes=modes)

    @property
    def _zone(self) -> Zone:
        return Zone(number=self.epsg % 100, south=self.epsg // 100 == 327)

    def tile(self, layer: str, zoom: int, x: int, y: int, *, theme: str) -> bytes | None:
        """A tile as PNG; None for one that the map does not have."""
        if layer not in self.layers or not 0 <= zoom <= self.deepest or theme not in ("day", "night"):
            return None
        step = 1 << (self.deepest - zoom)
        rows, columns = self.shape
        if not (0 <= y * TILE * step < rows and 0 <= x * TILE * step < columns):
            return None
        row = (y * TILE - 1 + np.arange(TILE + 2)) * step
        column = (x * TILE - 1 + np.arange(TILE + 2)) * step
        inside = (row[:, None] >= 0) & (row[:, None] < rows) & (column >= 0) & (column < columns)
        at = np.ix_(np.clip(row, 0, rows - 1), np.clip(column, 0, columns - 1))
        values = np.where(inside, self.bands[self.layers[layer].band][at], np.nan).astype(np.float32)
        height = np.where(inside, self.bands["height_m"][at], np.nan).astype(np.float32)
        return tile_png(values, height, self.layers[layer], pixel_m=self.pixel_m * step, theme=theme)

    def at(self, row: float, column: float) -> dict[str, Any] | None:
        """Figures under a point of the map; None beside it."""
        rows, columns = self.shape
        r, c = math.floor(row), math.floor(column)
        if not (0 <= r < rows and 0 <= c < columns):
            return None
        east, north = self.west_m + column * self.pixel_m, self.north_m - row * self.pixel_m
        lat, lon = from_grid(self._zone, np.array([east]), np.array([north]))
        place = Place(latitude_deg=float(lat[0]), longitude_deg=float(lon[0]), text="")
        found: dict[str, Any] = {
            "latitude": round(place.latitude_deg, 5),
            "longitude": round(place.longitude_deg, 5),
            "locator": locator_of(place, characters=8),
        }
        for name in ("height_m", "level_dbm", "cn_db", "margin_db", "gain_needed_dbi"):
            value = float(self.bands[name][r, c])
            found[name] = round(value, 1) if math.isfinite(value) else None
        number = float(self.bands["mode_index"][r, c])
        found["mode"] = None if not math.isfinite(number) else self._mode(int(number))
        return found

    def _mode(self, number: int) -> str:
        modes = [part.partition(" ")[2] for part in self.tags.get("modes", "").split("; ")]
        return "none keeps the margin" if number < 0 else modes[number]


def open_map(folder: Path) -> MapView:
    """The map in a folder.

    raises  InputError where there is none that can be read
    """
    path = folder / RASTER
    try:
        changed = path.stat().st_mtime_ns
    except OSError as problem:
        raise InputError("this map's file is not there any more; make the map again.") from problem
    return _opened(path, changed)


@lru_cache(maxsize=KEPT)
def _opened(path: Path, changed: int) -> MapView:  # noqa: ARG001 - a file that changed is another one
    raster = read_bands(path)
    zone = Zone(number=raster.epsg % 100, south=raster.epsg // 100 == 327)
    marks = []
    for feature in _features(path.with_name(LINES)):
        if feature["geometry"]["type"] != "Point":
            continue
        lon, lat = feature["geometry"]["coordinates"]
        east, north = to_grid(zone, np.array([lat]), np.array([lon]))
        told = feature["properties"]
        marks.append({
            "row": (raster.north - float(north[0])) / raster.pixel,
            "column": (float(east[0]) - raster.west) / raster.pixel,
            "name": str(told.get("name", "")),
            "kind": str(told.get("kind", "")),
        })  # fmt: skip
    return MapView(
        bands=raster.bands,
        tags=raster.tags,
        epsg=raster.epsg,
        west_m=raster.west,
        north_m=raster.north,
        pixel_m=raster.pixel,
        marks=tuple(marks),
    )


def _features(path: Path) -> list[dict[str, Any]]:
    try:
        return list(json.loads(path.read_text(encoding="utf-8"))["features"])
    except (OSError, ValueError, KeyError, TypeError):
        return []  # a map without its lines is a map still
