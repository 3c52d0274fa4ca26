"""``tepui coverage`` with a station file, repeaters, clutter and sea; killed in the middle; on two machines' worth."""

import json
import signal
import subprocess
import sys
import time

import numpy as np
import pytest

from tepui.cli.main import main
from tepui.files.geotiff import write_geotiff
from terrain_files import write_wgs84

rasterio = pytest.importorskip("rasterio")
BASE = [
    *("coverage", "--site", "36.59, -84.25", "--frequency", "1270 MHz", "--tx-height", "20 m", "--eirp", "50 dBm"),
    *("--width", "6 MHz", "--rx-gain", "13 dBi", "--rx-noise", "4 dB", "--reach", "5 km", "--pixel", "90 m"),
]
STATION = """\
format = 1
[station]
call = "Q2ABC"
coordinates = "36.59, -84.25"
antenna_height = "20 m"
[channel]
centre = "1270 MHz"
width = "6 MHz"
[[stage]]
name = "modulator"
kind = "modulator"
level = "39 dBm"
[[stage]]
name = "antenna"
kind = "antenna"
gain = "11 dBi"
[[far]]
call = "Q3GHJ"
coordinates = "36.60, -84.22"
antenna_gain = "15 dBi"
feeder_loss = "2 dB"
noise_figure = "3 dB"
"""


def ask(capsys, read_json, *given):
    assert main([*map(str, given), "--json"]) == 0
    document = read_json(capsys.readouterr().out)
    return document, {finding["key"]: finding for finding in document["findings"]}


# 39 dBm and 11 dBi are the 50 dBm of the typed map; 15 dBi less 2 dB are 13 dBi; 3 dB behind 2 dB, seen at the
# feeder's end: 10 log(1 + (10^0.5 - 1)) - 2 = 3 dB.
def test_law_a_station_file_asks_what_the_options_ask(capsys, read_json, tmp_path):
    (tmp_path / "s.toml").write_text(STATION, encoding="utf-8")
    document, found = ask(capsys, read_json, "coverage", tmp_path / "s.toml", "--reach", "5 km")
    typed, _ = ask(capsys, read_json, *BASE, "--rx-noise", "3 dB")
    assert document["station"] == "Q2ABC"
    assert document["tables"]["reach_by_gain"] == typed["tables"]["reach_by_gain"]
    assert document["tables"]["station_reports"]["rows"][0][0] == "Q3GHJ"
    assert "Antenna and receiver of Q3GHJ are taken for everybody" in found["map_pixels"]["remark"]
    rows = document["tables"]["reach_by_gain"]["rows"]
    shares = [row[1] for row in rows]
    assert shares == sorted(shares)
    kept = next(row for row in rows if row[0] == pytest.approx(13.0))
    assert kept[1] == pytest.approx(found["covered_share"]["value"])


def test_law_repeaters_each_with_its_own_figures(capsys, read_json, tmp_path):
    listed = tmp_path / "tx.csv"
    listed.write_text(
        "name,place,height_m,eirp_dbm,azimuth_deg,beam_width_deg,fed_by,kind,feed_gain_dbi,feed_noise_db,feed_height_m\n"
        'A,"36.59, -84.25",20,20,,,,,,,\nB,"36.60, -84.22",20,30,90,60,A,transposer,13,4,20\n'
        'C,"36.57, -84.22",20,30,,,A,regenerative,-40,60,20\n',
        encoding="utf-8",
    )
    given = [word for word in BASE if word not in ("--site", "36.59, -84.25")]
    document, found = ask(capsys, read_json, *given, "--transmitters", listed)
    rows = document["tables"]["repeater_inputs"]["rows"]
    # 20 dBm less 103.8 dB of free space over 2.9 km, 13 dBi
    assert rows[0][3] == pytest.approx(20 - 103.8 + 13, abs=0.3)
    assert found["silent_repeaters"]["value"] == "C"
    _, both = ask(capsys, read_json, *given, "--transmitters", listed, "--combine", "together")
    assert both["covered_share"]["value"] > 0
    listed.write_text("name,place,height_m,eirp_dbm,fed_by\nA,HI45,20,20,B\n", encoding="utf-8")
    assert main([*given, "--transmitters", str(listed)]) == 2
    assert "line 2: a repeater tells fed_by, kind" in capsys.readouterr().err


def test_law_clutter_costs_and_sea_is_told(capsys, read_json, tmp_path):
    terrain = write_wgs84(tmp_path)
    on_bare = [*BASE, "--terrain", terrain, "--terrain-kind", "bare", "--model", "p1812", "--reach", "3 km"]
    _, bare = ask(capsys, read_json, *on_bare)
    _, covered = ask(capsys, read_json, *on_bare, "--clutter-height", "15 m", "--zones", "terrain")
    assert covered["median_level_dbm"]["value"] < bare["median_level_dbm"]["value"]
    assert "0.0 % of the square is sea" in covered["map_pixels"]["remark"]
    codes = tmp_path / "zones.tif"
    write_geotiff(codes, {"zone": np.full((60, 60), 7, np.float32)}, epsg=4326, west=-84.4, north=36.7, pixel=0.005,
                  tags={})  # fmt: skip
    assert main([*map(str, on_bare), "--zones", str(codes)]) == 2
    assert "holds the code 7" in capsys.readouterr().err
    assert main([*BASE, "--terrain", str(terrain), "--clutter-height", "15 m"]) == 2
    assert "count twice" in capsys.readouterr().err
    assert main([*map(str, on_bare), "--clutter-height", "15 m", "--radial", "--model", "p526"]) == 2
    assert "Radials know bare land only" in capsys.readouterr().err


ENTRY = "from tepui.cli.main import main; import sys; sys.exit(main(sys.argv[1:]))"


# kill -9 in the middle: what is finished stays whole and is not worked out again; the map is that of an unbroken run.
@pytest.mark.skipif(not hasattr(signal, "SIGKILL"), reason="this system has no kill -9")
def test_law_a_killed_run_goes_on_from_its_finished_tiles(capsys, read_json, tmp_path):
    given = [*BASE, "--reach", "20 km", "--model", "p1812", "--time", "5 %", "--workers", "1"]
    out = tmp_path / "killed"
    process = subprocess.Popen([sys.executable, "-c", ENTRY, *given, "--out", str(out)], stdout=subprocess.DEVNULL,
                               stderr=subprocess.DEVNULL)  # fmt: skip
    try:
        end = time.monotonic() + 120
        while len(list(out.glob("parts/*.npy"))) < 2 and process.poll() is None and time.monotonic() < end:
            time.sleep(0.01)
    finally:
        process.kill()
        process.wait()
    kept = {path.name: path.stat().st_mtime_ns for path in out.glob("parts/*.npy")}
    assert kept
    assert not (out / "coverage.tif").exists()
    again, _ = ask(capsys, read_json, *given, "--out", out)
    whole, _ = ask(capsys, read_json, *given)
    assert len(list(out.glob("parts/*.npy"))) > len(kept)
    assert {name: (out / "parts" / name).stat().st_mtime_ns for name in kept} == kept
    assert again["findings"] == whole["findings"]
    assert json.dumps(again["tables"]) == json.dumps(whole["tables"])


def test_tool_a_cluster_given_by_its_address_makes_the_same_map(capsys, read_json, tmp_path):
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None) as cluster:
        spread, _ = ask(capsys, read_json, *BASE, "--cluster", cluster.scheduler_address, "--out", tmp_path / "m")
    here, _ = ask(capsys, read_json, *BASE)
    assert spread["findings"] == here["findings"]
