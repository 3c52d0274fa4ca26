"""Terrain for tests: the public-domain SRTM cut that matplotlib ships, written in every format tepui reads."""

from functools import cache
from pathlib import Path

import matplotlib as mpl
import numpy as np

# SRTM 3 arc seconds, 344 x 403, Tennessee and Kentucky; public domain, said in the pull request that added it. The
# keys ymin and ymax of the file are swapped; row 0 is north. First cell centre 36.7325 N, 84.413333 W.
NORTH, WEST, STEP = 36.7325, -84.41333333333333, 1 / 1200
START, END = (36.70, -84.38), (36.47, -84.11)


@cache
def srtm_cut():
    """Heights in metres, rows from the north, (344, 403) int16."""
    folder = Path(mpl.get_data_path()) / "sample_data"
    with np.load(folder / "jacksboro_fault_dem.npz") as data:
        return data["elevation"].astype(np.int16)


@cache
def whole_degree():
    """The cut laid into its whole SRTM tile N36W085, 1201 x 1201, void around it."""
    tile = np.full((1201, 1201), -32768, np.int16)
    row, column = round((37 - NORTH) / STEP), round((WEST + 85) / STEP)
    cut = srtm_cut()
    tile[row : row + cut.shape[0], column : column + cut.shape[1]] = cut
    return tile


def write_hgt(folder, *, tile=None, name="N36W085.hgt"):
    """An SRTM tile as the format has it: big-endian, north row first."""
    path = folder / name
    (whole_degree() if tile is None else tile).astype(">i2").tofile(path)
    return path


def write_wgs84(folder, *, name="wgs84.tif", heights=None):
    """The cut as GeoTIFF in latitude and longitude."""
    import rasterio
    from rasterio.transform import from_origin

    grid = srtm_cut() if heights is None else heights
    path = folder / name
    with rasterio.open(
        path, "w", driver="GTiff", height=grid.shape[0], width=grid.shape[1], count=1, dtype=str(grid.dtype),
        crs="EPSG:4326", nodata=-32768, transform=from_origin(WEST - STEP / 2, NORTH + STEP / 2, STEP, STEP),
    ) as data:  # fmt: skip
        data.write(grid, 1)
    return path


def write_utm(folder, *, pixel_m=10.0, rows=80, columns=110):
    """The north-west of the cut in UTM zone 16: places by PROJ, heights between samples by scipy, both bilinear."""
    import rasterio
    from rasterio.transform import from_origin
    from rasterio.warp import transform, transform_bounds
    from scipy.ndimage import map_coordinates

    west, south, east, north = transform_bounds(
        "EPSG:4326", "EPSG:32616", WEST, NORTH - (rows - 1) * STEP, WEST + (columns - 1) * STEP, NORTH
    )
    x = np.arange(west, east, pixel_m) + pixel_m / 2
    y = np.arange(north, south, -pixel_m) - pixel_m / 2
    grid_x, grid_y = np.meshgrid(x, y)
    lon, lat = transform("EPSG:32616", "EPSG:4326", grid_x.ravel(), grid_y.ravel())
    at = np.array([(NORTH - np.array(lat)) / STEP, (np.array(lon) - WEST) / STEP])
    heights = map_coordinates(srtm_cut().astype(np.float64), at, order=1, cval=-9999.0)
    path = folder / "utm.tif"
    with rasterio.open(
        path, "w", driver="GTiff", height=y.size, width=x.size, count=1, dtype="float32", crs="EPSG:32616",
        nodata=-9999.0, transform=from_origin(west, north, pixel_m, pixel_m),
    ) as data:  # fmt: skip
        data.write(heights.reshape(grid_x.shape).astype(np.float32), 1)
    return path
