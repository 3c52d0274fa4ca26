"""Terrain files: written by the test from public-domain SRTM heights and read back; and everything wrong with them."""

import numpy as np
import pytest

from tepui.chain.antenna.geodesic import way_between
from tepui.chain.antenna.places import Place
from tepui.files.elevation import open_terrain, profile_from, terrain_files
from tepui.files.hgt import read_hgt
from tepui.ground.errors import InputError
from tepui.signals.elevation import Elevation, ElevationTile, bridge_voids, geographic
from terrain_files import END, NORTH, START, STEP, WEST, srtm_cut, whole_degree, write_hgt, write_utm, write_wgs84

pytest.importorskip("rasterio")


def place(pair):
    return Place(latitude_deg=pair[0], longitude_deg=pair[1], text=f"{pair[0]}, {pair[1]}")


def cut(paths, start=START, end=END, **changes):
    start, end = place(start), place(end)
    terrain = open_terrain(paths, start=start, end=end)
    given = {"kind": "surface", "missing_is_sea": False, "fill_voids": False, "clutter_height_m": None, **changes}
    return profile_from(terrain, way_between(start, end), **given)


def test_law_hgt_gives_back_what_was_written(tmp_path):
    tile = read_hgt(write_hgt(tmp_path))
    known = np.isfinite(tile.height_m)
    assert np.array_equal(tile.height_m[known], whole_degree()[whole_degree() != -32768])
    rows, columns = np.array([10.0, 343.0]), np.array([0.0, 402.0])
    height, weight = tile.sampled(NORTH - rows * STEP, WEST + columns * STEP)
    assert height == pytest.approx([srtm_cut()[10, 0], srtm_cut()[343, 402]])
    assert (weight == 1).all()
    assert tile.spacing_m == pytest.approx(92.66 * np.cos(np.radians(36.5)), rel=1e-3)


def test_law_one_arc_second_is_told_by_size(tmp_path):
    fine = np.zeros((3601, 3601), np.int16)
    fine[0, 0] = 250
    tile = read_hgt(write_hgt(tmp_path, tile=fine, name="S01E010.hgt"))
    assert tile.sampled(np.array([0.0]), np.array([10.0]))[0] == 250
    assert tile.spacing_m == pytest.approx(30.9, abs=0.05)


# The same ground in three files and two coordinate systems: one profile, within a metre as asked.
def test_law_hgt_wgs84_and_utm_give_one_profile(tmp_path):
    from_hgt, _ = cut([write_hgt(tmp_path)])
    from_wgs84, _ = cut([write_wgs84(tmp_path)])
    assert from_wgs84.distance_m == pytest.approx(from_hgt.distance_m)
    assert from_wgs84.height_m == pytest.approx(from_hgt.height_m, abs=1e-3)
    near = {"start": (36.72, -84.40), "end": (36.675, -84.335)}
    from_hgt, _ = cut([tmp_path / "N36W085.hgt"], **near)
    from_utm, _ = cut([write_utm(tmp_path)], **near)
    resampled = np.interp(from_hgt.distance_m, from_utm.distance_m, from_utm.height_m)
    assert np.abs(resampled - from_hgt.height_m).max() < 1.0


# rasterio's own sampling of the nearest pixel: at pixel centres both must agree.
def test_tool_rasterio_reads_the_same_heights(tmp_path):
    import rasterio

    path = write_wgs84(tmp_path)
    terrain = open_terrain([path], start=place(START), end=place(END))
    rng = np.random.default_rng(3)
    rows, columns = rng.integers(30, 300, 50), rng.integers(50, 350, 50)
    lat, lon = NORTH - rows * STEP, WEST + columns * STEP
    with rasterio.open(path) as data:
        theirs = [value[0] for value in data.sample(zip(lon, lat, strict=True))]
    assert terrain.sampled(lat, lon)[0] == pytest.approx(theirs, abs=1e-3)


def test_law_tiles_without_overlap_join_as_one_grid(tmp_path):
    whole, _ = cut([write_wgs84(tmp_path)])
    heights = srtm_cut()
    left, right = heights[:, :200], heights[:, 200:]
    import rasterio
    from rasterio.transform import from_origin

    for name, part, west in (("left.tif", left, WEST), ("right.tif", right, WEST + 200 * STEP)):
        with rasterio.open(
            tmp_path / name, "w", driver="GTiff", height=part.shape[0], width=part.shape[1], count=1, dtype="int16",
            crs="EPSG:4326", transform=from_origin(west - STEP / 2, NORTH + STEP / 2, STEP, STEP),
        ) as data:  # fmt: skip
            data.write(part, 1)
    joined, _ = cut([tmp_path / "left.tif", tmp_path / "right.tif"])
    assert joined.height_m == pytest.approx(whole.height_m, abs=1e-3)


def test_law_profile_has_the_datas_own_spacing(tmp_path):
    profile, remarks = cut([write_hgt(tmp_path)])
    assert np.diff(profile.distance_m).max() <= 92.66 * np.cos(np.radians(36.5)) + 0.01
    assert profile.length_m == pytest.approx(way_between(place(START), place(END)).distance.value)
    assert remarks == ()


def test_law_small_voids_are_bridged_and_large_ones_refused(tmp_path):
    holed = srtm_cut().copy()
    holed[150:155, :] = -32768
    profile, remarks = cut([write_wgs84(tmp_path, heights=holed)])
    assert np.isfinite(profile.height_m).all()
    assert "void samples were bridged" in remarks[0]
    holed[120:190, :] = -32768
    path = write_wgs84(tmp_path, heights=holed)
    with pytest.raises(InputError, match=r"void of .* samples in this path, more than the 10 that are bridged"):
        cut([path])
    assert cut([path], fill_voids=True)[1]


@pytest.mark.parametrize(
    ("spoil", "sentence"),
    [
        (lambda path: path.write_bytes(path.read_bytes()[:-100]), "is cut short: an SRTM tile has"),
        (lambda path: path.write_bytes(path.read_bytes() + b"x" * 30_000_000), "is too long"),
        (lambda path: whole_degree().astype("<i2").tofile(path), "bytes are in the wrong order"),
        (lambda path: np.full((1201, 1201), 7, "<i2").tofile(path), "bytes are in the wrong order"),
    ],
)
def test_spoilt_tiles_are_refused(tmp_path, spoil, sentence):
    path = write_hgt(tmp_path)
    spoil(path)
    with pytest.raises(InputError, match=sentence):
        cut([path])


def test_a_tile_named_otherwise_is_refused(tmp_path):
    with pytest.raises(InputError, match="is not named like an SRTM tile"):
        cut([write_hgt(tmp_path, name="tennessee.hgt")])


def test_a_missing_tile_in_the_middle_is_refused_with_its_name(tmp_path):
    write_hgt(tmp_path, tile=np.full((1201, 1201), 100, np.int16), name="N36W085.hgt")
    write_hgt(tmp_path, tile=np.full((1201, 1201), 100, np.int16), name="N36W083.hgt")
    ends = {"start": (36.5, -84.5), "end": (36.5, -82.5)}
    with pytest.raises(InputError, match=r"No terrain tile covers the path from .* km on .* add the tile N36W084"):
        cut([tmp_path], **ends)
    profile, remarks = cut([tmp_path], missing_is_sea=True, **ends)
    assert profile.height_m.min() == 0.0
    assert "taken as sea" in remarks[0]


def test_what_is_no_terrain_is_refused(tmp_path):
    (tmp_path / "a.tif").write_bytes(b"not a picture at all")
    with pytest.raises(InputError, match="cannot be read as GeoTIFF"):
        cut([tmp_path / "a.tif"])
    whole = write_wgs84(tmp_path).read_bytes()
    (tmp_path / "short.tif").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InputError, match="cannot be read as GeoTIFF"):
        cut([tmp_path / "short.tif"])
    (tmp_path / "empty").mkdir()
    with pytest.raises(InputError, match="holds no terrain tiles"):
        terrain_files([tmp_path / "empty"])
    with pytest.raises(InputError, match="none of the terrain files covers"):
        cut([write_wgs84(tmp_path)], start=(10, 10), end=(10.2, 10.1))


def test_clutter_on_a_surface_model_is_refused(tmp_path):
    path = write_hgt(tmp_path)
    with pytest.raises(InputError, match="would count twice"):
        cut([path], clutter_height_m=15.0)
    profile, _ = cut([path], kind="bare", clutter_height_m=15.0)
    assert (profile.clutter_m == 15).all()


def test_limit_bilinear_between_four_samples():
    tile = ElevationTile(
        name="made",
        height_m=np.array([[0, 10], [20, 30]], np.float32),
        locate=geographic(north_deg=1.0, west_deg=0.0, lat_step_deg=1.0, lon_step_deg=1.0),
        spacing_m=1.0,
    )
    surface = Elevation(tiles=(tile,), source="made")
    height, covered = surface.sampled(np.array([0.5, 0.75, 3.0]), np.array([0.5, 0.25, 0.0]))
    assert height[:2] == pytest.approx([15.0, 7.5])
    assert not covered[2]
    assert np.isnan(height[2])


def test_limit_voids_along_a_row():
    filled, count = bridge_voids(np.array([np.nan, 1.0, np.nan, np.nan, 4.0]), most=2)
    assert filled == pytest.approx([1, 1, 2, 3, 4])
    assert count == 3
