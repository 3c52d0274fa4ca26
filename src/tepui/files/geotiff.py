"""Elevation from GeoTIFF, in any coordinate system, through rasterio; and maps written as GeoTIFF.

Theory  The file says its coordinate system and where its first pixel lies; samples stand in the middle of pixels. Only
        the window that an area needs is read.
Source  [GeoTIFF] OGC 19-008r4; rasterio (GDAL, PROJ) reads and writes it.
Holds   Band 1, metres. rasterio is an optional part of the installation and is loaded only here.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.ground.errors import FormatError, InputError, UnfinishedError
from tepui.signals.elevation import ElevationTile, Floats, degree_spacing_m

WGS84 = "EPSG:4326"
MARGIN = 3  # samples read beyond the area asked
LOWEST_M, HIGHEST_M = -12000.0, 9000.0


@dataclass(frozen=True, kw_only=True)
class Area:
    """A box of latitude and longitude. [deg]"""

    south: float
    north: float
    west: float
    east: float


def _rasterio() -> Any:
    try:
        import rasterio
        import rasterio.errors
        import rasterio.warp
        import rasterio.windows
    except ImportError as problem:
        raise InputError(
            "GeoTIFF needs the library rasterio, which is not installed; run 'pip install tepui[terrain]', or use SRTM "
            ".hgt tiles."
        ) from problem
    return rasterio


def read_geotiff(path: Path, *, area: Area) -> ElevationTile | None:
    """The part of a file that an area needs; None where they do not touch.

    raises  FormatError where it is no elevation or cannot be read whole
    """
    rasterio = _rasterio()
    try:
        with rasterio.open(path) as data:
            if data.crs is None:
                raise FormatError(f"{path} does not say its coordinate system; set it with the tool that made it.")
            if data.transform.is_identity or data.transform.b or data.transform.d:
                raise FormatError(f"{path} has no north-up transform, so its samples have no place; export it again.")
            window = _window(rasterio, data, area)
            if window is None:
                return None
            grid = data.read(1, window=window, masked=True).astype(np.float32)
            shift = data.window_transform(window)
            crs = data.crs
            unit = crs.linear_units_factor[1] if crs.is_projected else 0.0
    except rasterio.errors.RasterioError as problem:
        words = " ".join(str(problem).split()).rstrip(".")
        raise FormatError(f"{path} cannot be read as GeoTIFF ({words}); fetch it again.") from problem
    height_m = np.ma.filled(grid, np.float32(np.nan))
    known = height_m[np.isfinite(height_m)]
    if known.size and not (known.min() >= LOWEST_M and known.max() <= HIGHEST_M):
        raise FormatError(
            f"{path} holds values from {known.min():g} to {known.max():g}, which are no heights in metres; is a "
            "no-data value missing from it?"
        )
    middle = 0.5 * (area.south + area.north)
    if crs.is_projected:
        spacing = unit * min(abs(shift.a), abs(shift.e))
    else:
        spacing = degree_spacing_m(latitude_deg=middle, lat_step_deg=abs(shift.e), lon_step_deg=abs(shift.a))
    return ElevationTile(name=path.name, height_m=height_m, locate=_locate(rasterio, crs, shift), spacing_m=spacing)


def _window(rasterio: Any, data: Any, area: Area) -> Any:
    left, bottom, right, top = rasterio.warp.transform_bounds(
        WGS84, data.crs, area.west, area.south, area.east, area.north, densify_pts=21
    )
    raw = rasterio.windows.from_bounds(left, bottom, right, top, transform=data.transform)
    col, row = int(np.floor(raw.col_off)) - MARGIN, int(np.floor(raw.row_off)) - MARGIN
    far_col, far_row = int(np.ceil(raw.col_off + raw.width)) + MARGIN, int(np.ceil(raw.row_off + raw.height)) + MARGIN
    col, row, far_col, far_row = max(col, 0), max(row, 0), min(far_col, data.width), min(far_row, data.height)
    if far_col - col < 2 or far_row - row < 2:
        return None
    return rasterio.windows.Window(col, row, far_col - col, far_row - row)


def _locate(rasterio: Any, crs: Any, shift: Any) -> Any:
    """Places to rows and columns: through the file's own coordinate system, samples in the middle of pixels."""

    def locate(latitude_deg: Floats, longitude_deg: Floats) -> tuple[Floats, Floats]:
        shape = latitude_deg.shape
        if crs.is_geographic:
            x, y = longitude_deg, latitude_deg
            x = shift.c + (x - shift.c + 180.0) % 360.0 - 180.0 if abs(shift.c) > 170 else x
        else:
            east, north = rasterio.warp.transform(WGS84, crs, longitude_deg.ravel(), latitude_deg.ravel())
            x, y = np.reshape(east, shape), np.reshape(north, shape)
        return (y - shift.f) / shift.e - 0.5, (x - shift.c) / shift.a - 0.5

    return locate


@dataclass(frozen=True, kw_only=True, eq=False)
class Bands:
    """Bands of a north-up raster with square pixels, by their names; west and north are its outer corner."""

    bands: dict[str, npt.NDArray[np.float32]]
    tags: dict[str, str]
    epsg: int
    west: float
    north: float
    pixel: float


def read_bands(path: Path) -> Bands:
    """Every band of a raster that ``write_geotiff`` wrote.

    raises  FormatError where it cannot be read, or is another kind of raster
    """
    rasterio = _rasterio()
    try:
        with rasterio.open(path) as data:
            names = [name or f"band {number}" for number, name in enumerate(data.descriptions, 1)]
            code, shift = data.crs.to_epsg() if data.crs is not None else None, data.transform
            if code is None or shift.b or shift.d or abs(shift.a + shift.e) > 1e-9 * shift.a:
                raise FormatError(f"{path} is no map of this program: its pixels are not square and north-up.")
            bands = {name: data.read(number) for number, name in enumerate(names, 1)}
            tags = {str(key): str(value) for key, value in data.tags().items()}
    except rasterio.errors.RasterioError as problem:
        words = " ".join(str(problem).split()).rstrip(".")
        raise FormatError(f"{path} cannot be read as GeoTIFF ({words}); make the map again.") from problem
    return Bands(bands=bands, tags=tags, epsg=code, west=shift.c, north=shift.f, pixel=shift.a)


def write_geotiff(
    path: Path,
    bands: Mapping[str, npt.NDArray[np.float32]],
    *,
    epsg: int,
    west: float,
    north: float,
    pixel: float,
    tags: Mapping[str, str],
) -> None:
    """Bands of one shape, rows from the north, as 32-bit floats with NaN for nothing; whole or not at all.

    west, north  outer corner of the first pixel, in the units of the coordinate system
    raises       UnfinishedError where the disk refuses
    """
    rasterio = _rasterio()
    from rasterio.io import MemoryFile
    from rasterio.transform import from_origin

    from tepui.files.atomic import written_whole

    first = next(iter(bands.values()))
    profile = {
        "driver": "GTiff",
        "dtype": "float32",
        "count": len(bands),
        "height": first.shape[0],
        "width": first.shape[1],
        "crs": f"EPSG:{epsg}",
        "transform": from_origin(west, north, pixel, pixel),
        "nodata": float("nan"),
        "compress": "deflate",
        "predictor": 3,
        "tiled": True,
    }
    try:
        with MemoryFile() as memory:
            with memory.open(**profile) as data:
                for number, (name, band) in enumerate(bands.items(), 1):
                    data.write(band, number)
                    data.set_band_description(number, name)
                data.update_tags(**tags)
            with written_whole(path) as handle:
                handle.write(memory.read())
    except rasterio.errors.RasterioError as problem:
        raise UnfinishedError(f"{path} could not be made ({problem}).") from problem
