"""The sheets of path, modes, map and care without a browser: they answer, refuse, and keep what is the operator's."""

import json

import pytest
from starlette.testclient import TestClient

from path_station import STATION
from tepui.desk.watching import Watching
from tepui.desk.workshop import Workshop
from tepui.web.app import build_app
from tepui.web.chain import Chain
from tepui.web.live import ENTRY as WATCH
from tepui.web.path_drawing import base_m, profile_drawing
from tepui.web.rulers import nice_steps
from tepui.web.state import RESULTS, BenchState

HOST = "127.0.0.1:8158"


@pytest.fixture
def bench(tmp_path):
    workshop = Workshop(tmp_path / RESULTS, entry="stub_entry:main", processes=1)
    state = BenchState(
        folder=tmp_path, workshop=workshop, watching=Watching(entry=WATCH), chain=Chain(tmp_path, workshop),
        practice=False,
    )  # fmt: skip
    client = TestClient(build_app(state, hosts=[HOST], token=None), base_url=f"http://{HOST}", follow_redirects=False)
    yield client, tmp_path
    workshop.close()


@pytest.mark.parametrize("path", ["/path", "/mode", "/map", "/care"])
def test_law_a_bench_without_a_station_leads_to_it(bench, path):
    answer = bench[0].get(path)
    assert answer.status_code == 200
    assert "/station" in answer.text
    assert "no station file yet" in answer.text or "No map has been made" in answer.text


@pytest.mark.parametrize("path", ["/path?to=%3Cq1%3E", "/path?to=Q9&rain=%22%3E%3Cq1%3E", "/care?country=%3Cq1%3E"])
def test_law_what_an_address_brings_is_shown_as_text(bench, path):
    client, folder = bench
    (folder / "station.toml").write_text(STATION, encoding="utf-8")
    answer = client.get(path)
    assert answer.status_code == 200
    assert "<q1>" not in answer.text
    assert "&lt;q1&gt;" in answer.text


@pytest.mark.parametrize(
    "path", ["/map/1/at?row=1&column=1", "/map/99/tile/margin/0/0/0.png", "/map/1/at?row=nan&column=x"]
)
def test_message_of_maps_that_are_not_there(bench, path):
    assert bench[0].get(path).status_code == 404


def test_law_a_map_without_a_station_is_refused_with_a_sentence(bench):
    answer = bench[0].post("/map", data={"reach": "20 km"})
    assert answer.status_code == 400
    assert "A map needs the station file" in answer.text


def test_law_a_tick_is_written_whole_and_taken_back(bench):
    client, folder = bench
    asked = {"item": "own beam", "words": "Nobody", "set": "yes", "query": "country=DE"}
    answer = client.post("/care/tick", data=asked)
    assert answer.headers["location"] == "/care?country=DE"
    (tick,) = json.loads((folder / "care-ticks.json").read_text(encoding="utf-8"))["ticks"]
    assert (tick["item"], tick["words"], tick["utc"][-1]) == ("own beam", "Nobody", "Z")
    client.post("/care/tick", data={**asked, "set": "no"})
    assert json.loads((folder / "care-ticks.json").read_text(encoding="utf-8"))["ticks"] == []
    (folder / "care-ticks.json").write_text("half", encoding="utf-8")
    assert "is no list of ticks" in client.post("/care/tick", data=asked).text
    assert (folder / "care-ticks.json").read_text(encoding="utf-8") == "half"


def test_limit_rulers_and_the_base_of_a_drawing():
    assert nice_steps(0, 100, 5) == [0, 20, 40, 60, 80, 100]
    assert nice_steps(-7, 7, 4) == [-5, 0, 5]
    assert base_m(20.0, 400.0) == 0.0
    assert base_m(-3.0, 400.0) == -3.0
    assert base_m(300.0, 700.0) == pytest.approx(252.0)


def test_law_a_profile_is_drawn_and_said():
    rows = [[1e3 * n, 50 + 60 * (n == 5), 0.06 * n * (10 - n), 70, 3.0 * (n * (10 - n)) ** 0.5] for n in range(11)]
    columns = [{"key": key, "unit": "m"} for key in ("distance_m", "ground_m", "earth_bulge_m", "line_m", "fresnel_m")]

    def finding(key, value):
        return {"about": "path:Q", "key": key, "value": value}

    document = {
        "tables": {"path_profile": {"columns": columns, "rows": rows}},
        "findings": [finding("path_visible", False), finding("obstacle_distance_m", 5e3),
                     finding("obstacle_height_m", 41.5), finding("fresnel_clearance", -2.8),
                     finding("clear_rise_m", 50.4)],
    }  # fmt: skip
    drawn = str(profile_drawing(document, about="path:Q"))
    assert "Profile of 10.0 km; the ground is in the way; clearance −2.80 of the first Fresnel zone" in drawn
    assert "both masts 50 m higher clear 0.6 of it" in drawn
    assert "42 m above the ray" in drawn
