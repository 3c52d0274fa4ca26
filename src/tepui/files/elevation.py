"""Terrain files as one surface, and the profile cut out of it between two places.

Theory  A folder stands for the tiles in it. A profile is sampled along the geodesic at the data's own spacing.
Source  signals/elevation.py for how tiles join.
Holds   SRTM .hgt and GeoTIFF. A place that no tile covers is refused, unless the operator calls it sea.
"""

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import numpy.typing as npt

from tepui.chain.antenna.geodesic import Way, points_between
from tepui.chain.antenna.places import Place
from tepui.files.geotiff import Area, read_geotiff
from tepui.files.hgt import hgt_corner, read_hgt
from tepui.ground.errors import FormatError, InputError, RangeError
from tepui.signals.elevation import Elevation, ElevationTile, Floats, bridge_voids, names_of
from tepui.signals.terrain import Profile

HGT, TIFF = (".hgt",), (".tif", ".tiff")
MOST_POINTS, LEAST_POINTS = 20000, 11
BRIDGED = 10  # samples of a void that are bridged without being asked; ours
EDGE_DEG = 0.02


def terrain_files(paths: Sequence[Path]) -> list[Path]:
    """Every tile named, folders opened, in order.

    raises  InputError for a file of another kind, or a folder without tiles
    """
    found: list[Path] = []
    for path in paths:
        if path.is_dir():
            inside = sorted(one for one in path.iterdir() if one.suffix.lower() in (*HGT, *TIFF))
            if not inside:
                raise InputError(f"{path} holds no terrain tiles; they end in .hgt, .tif or .tiff.")
            found += inside
        elif not path.exists():
            raise InputError(f"{path} does not exist; name SRTM .hgt or GeoTIFF tiles, or a folder of them.")
        elif path.suffix.lower() not in (*HGT, *TIFF):
            raise FormatError(f"{path} is no terrain tile; they end in .hgt, .tif or .tiff.")
        else:
            found.append(path)
    return found


def open_area(paths: Sequence[Path], area: Area) -> Elevation:
    """The tiles that an area needs, as one surface.

    raises  InputError where none of them touches it
    """
    tiles: list[ElevationTile] = []
    for path in terrain_files(paths):
        tile = _tile(path, area)
        if tile is not None:
            tiles.append(tile)
    if not tiles:
        raise InputError(
            f"none of the terrain files covers {area.south:.2f} to {area.north:.2f} N, {area.west:.2f} to "
            f"{area.east:.2f} E; add the tiles of that area."
        )
    return Elevation(tiles=tuple(tiles), source=f"terrain {names_of(tiles)}")


def _tile(path: Path, area: Area) -> ElevationTile | None:
    try:
        if path.suffix.lower() in TIFF:
            return read_geotiff(path, area=area)
        lat, lon = hgt_corner(path)
        if lat > area.north or lat + 1 < area.south or lon > area.east or lon + 1 < area.west:
            return None
        return read_hgt(path, middle_deg=0.5 * (area.south + area.north))
    except OSError as problem:
        raise FormatError(f"{path} cannot be read ({problem.strerror or problem}).") from problem


def open_terrain(paths: Sequence[Path], *, start: Place, end: Place) -> Elevation:
    """The tiles that a path needs.

    raises  InputError
    """
    _, lat, lon = points_between(start, end, n=33)
    if float(np.ptp(lon)) > 180:
        raise RangeError("The path crosses the 180th meridian, which terrain files do not; give a --profile.")
    return open_area(
        paths,
        Area(
            south=float(lat.min()) - EDGE_DEG,
            north=float(lat.max()) + EDGE_DEG,
            west=float(lon.min()) - EDGE_DEG,
            east=float(lon.max()) + EDGE_DEG,
        ),
    )


def profile_from(
    terrain: Elevation,
    way: Way,
    *,
    kind: str | None,
    missing_is_sea: bool,
    fill_voids: bool,
    clutter_height_m: float | None,
) -> tuple[Profile, tuple[str, ...]]:
    """The profile along a way, at the data's own spacing, and what is to be said about it.

    kind    "surface" with tree tops and roofs, "bare" ground, None where the operator did not say
    raises  RangeError where a tile is missing, a void too long, or clutter would count twice
    """
    n = int(np.ceil(way.distance.value / terrain.spacing_m)) + 1
    distance_m, lat, lon = points_between(way.start, way.end, n=min(max(n, LEAST_POINTS), MOST_POINTS))
    height_m, covered = terrain.sampled(lat, lon)
    remarks = []
    if not covered.all():
        if not missing_is_sea:
            raise RangeError(_missing(distance_m, lat, lon, covered))
        height_m = np.where(covered, height_m, 0.0)
        remarks.append(f"{int((~covered).sum())} points that no tile covers are taken as sea.")
    height_m, bridged = bridge_voids(height_m, most=None if fill_voids else BRIDGED)
    if bridged:
        remarks.append(f"{bridged} void samples were bridged by a straight line.")
    if kind is None:
        remarks.append("Whether the terrain is surface or bare ground was not said, so no clutter is added to it.")
    if clutter_height_m is not None and kind != "bare":
        raise RangeError(
            "--clutter-height stands on bare ground; a surface model holds trees and houses already and they would "
            "count twice, so say --terrain-kind bare or leave it out."
        )
    clutter_m = None if clutter_height_m is None else np.full(len(distance_m), clutter_height_m)
    return Profile(distance_m=distance_m, height_m=height_m, clutter_m=clutter_m, source=terrain.source), tuple(remarks)


def _missing(distance_m: Floats, lat: Floats, lon: Floats, covered: npt.NDArray[np.bool_]) -> str:
    at = int(np.flatnonzero(~covered)[0])
    south, west = int(np.floor(lat[at])), int(np.floor(lon[at]))
    name = f"{'N' if south >= 0 else 'S'}{abs(south):02d}{'E' if west >= 0 else 'W'}{abs(west):03d}"
    return (
        f"No terrain tile covers the path from {distance_m[at] / 1e3:.1f} km on ({lat[at]:.3f}, {lon[at]:.3f}); add "
        f"the tile {name}, or say --missing-is-sea if it is open water."
    )
