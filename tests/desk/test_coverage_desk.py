"""``tepui coverage`` from the command line: files that other programs can read, and bad input."""

import json

import numpy as np
import pytest

from tepui.cli.main import main
from terrain_files import write_wgs84

rasterio = pytest.importorskip("rasterio")
BASE = [
    *("coverage", "--site", "36.59, -84.25", "--frequency", "1270 MHz", "--tx-height", "20 m", "--eirp", "50 dBm"),
    *("--width", "6 MHz", "--rx-gain", "13 dBi", "--rx-noise", "4 dB", "--reach", "5 km", "--pixel", "90 m"),
]


def ask(capsys, read_json, *given):
    assert main([*BASE, *given, "--json"]) == 0
    document = read_json(capsys.readouterr().out)
    return document, {finding["key"]: finding for finding in document["findings"]}


def test_law_the_files_say_what_the_findings_say(capsys, read_json, tmp_path):
    terrain, out = write_wgs84(tmp_path), tmp_path / "map"
    document, found = ask(capsys, read_json, "--terrain", str(terrain), "--out", str(out))
    assert {path.rsplit(".", 1)[1] for path in document["files"]} == {"tif", "geojson", "png", "svg"}
    with rasterio.open(out / "coverage.tif") as data:
        assert data.crs.to_epsg() == 32616
        bands = dict(zip(data.descriptions, data.read(), strict=True))
        (east,), (north,) = rasterio.warp.transform("EPSG:4326", data.crs, [-84.25], [36.59])
        row, column = data.index(east, north)
    middle = bands["loss_db"].shape[0] // 2
    assert (row, column) == (middle, middle)
    assert np.isnan(bands["level_dbm"][middle, middle])
    margin = bands["margin_db"][np.isfinite(bands["margin_db"])]
    assert found["map_pixels"]["value"] == margin.size
    assert found["covered_share"]["value"] == pytest.approx(np.mean(margin >= 6))
    level = bands["level_dbm"]
    assert np.nanmax(np.abs(level - (50 - bands["loss_db"] + 13))) < 1e-3
    assert found["median_level_dbm"]["value"] == pytest.approx(np.nanmedian(level), abs=1e-3)
    histogram = document["tables"]["level_histogram"]["rows"]
    assert sum(row[2] for row in histogram) == pytest.approx(1.0)
    lines = json.loads((out / "coverage.geojson").read_text(encoding="utf-8"))
    points = np.concatenate(lines["features"][0]["geometry"]["coordinates"])
    assert (np.abs(points[:, 0] + 84.25) < 0.1).all()
    assert (np.abs(points[:, 1] - 36.59) < 0.1).all()


def test_law_a_second_run_takes_the_finished_parts(capsys, read_json, tmp_path, monkeypatch):
    out = tmp_path / "map"
    first, _ = ask(capsys, read_json, "--out", str(out), "--radial")
    monkeypatch.setattr("tepui.desk.coverage.run_map_task", lambda task: pytest.fail("worked out again"))
    second, _ = ask(capsys, read_json, "--out", str(out), "--radial")
    assert first["findings"] == second["findings"]


def test_law_a_second_transmitter_never_covers_less(capsys, read_json):
    _, one = ask(capsys, read_json)
    _, two = ask(capsys, read_json, "--site", "36.60, -84.22")
    assert two["covered_share"]["value"] >= one["covered_share"]["value"]
    assert "smooth Earth is assumed" in one["map_pixels"]["remark"]


def test_law_listed_stations_get_what_the_map_holds(capsys, read_json, tmp_path):
    listed = tmp_path / "stations.csv"
    listed.write_text("call,place,gain_dbi\nQ3GHJ,36.60 -84.22,16\nQ9XYZ,40.0 -84.22,10\n", encoding="utf-8")
    document, _ = ask(capsys, read_json, "--stations", str(listed))
    near, far = document["tables"]["station_reports"]["rows"]
    assert near[0] == "Q3GHJ"
    assert near[1] == pytest.approx(2.9e3, abs=100)
    # free space over that smooth way: 32.4 + 20 log 1270 + 20 log 2.9; 16 dBi
    assert near[3] == pytest.approx(50 - 103.8 + 16, abs=0.3)
    assert far[5] == "outside the map"
    listed.write_text("call,place,gain_dbi\nQ3GHJ,ZZ99,16\n", encoding="utf-8")
    assert main([*BASE, "--stations", str(listed)]) == 2
    assert "row 2" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("given", "sentence"),
    [
        (["--reach", "400 km"], "reach must lie between 0.5 and 150 km"),
        (["--site", "ZZ99"], "character 1 must be A to R"),
        (["--radial", "--model", "p1812"], "worked out by p526 only"),
        (["--terrain", "nowhere"], "does not exist"),
        (["--frequency", "10 GHz", "--model", "p1812"], "between 0.03 and 6 GHz"),
        (["--tx-height", "0 m"], "must be a number above zero in m"),
        (["--clutter-loss", "-3 dB"], "must be at least 0 dB"),
        (["--beam-width", "40 deg", "--tx-pattern", "x.csv"], "not both"),
        (["--zones", "terrain"], "judges sea and coast from heights"),
        (["--site", "40.0, -80.0"], "stands outside the map"),
        (["--cluster", "tcp://127.0.0.1:1", "--workers", "2"], "the cluster has its own"),
    ],
)
def test_bad_input_is_one_sentence(capsys, given, sentence, tmp_path):
    assert main([*BASE, *given, "--out", str(tmp_path / "map")]) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert sentence in shown.err
    assert not (tmp_path / "map").exists() or not list((tmp_path / "map").glob("*.tif"))


def test_a_terrain_file_that_leaves_ground_out_is_refused(capsys, tmp_path):
    assert main([*BASE, "--reach", "40 km", "--terrain", str(write_wgs84(tmp_path))]) == 2
    assert "No terrain tile covers" in capsys.readouterr().err
