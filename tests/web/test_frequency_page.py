"""The frequency sheet without a browser: what it shows is what the verb says, and a plan is written as two values."""

import json
import re
import tomllib

import pytest
from starlette.testclient import TestClient

from tepui.cli.main import main
from tepui.desk.plan_look import look_at, reach_of
from tepui.desk.watching import Watching
from tepui.desk.workshop import Workshop
from tepui.station.example import example_text
from tepui.web.app import build_app
from tepui.web.chain import Chain
from tepui.web.live import ENTRY as WATCH
from tepui.web.plan_drawing import close_drawing, letters_of
from tepui.web.state import RESULTS, BenchState
from tepui.web.station_file import mark_of

HOST = "127.0.0.1:8157"
# [EN300744] 4.4: 6817 carriers of an 8K signal stand 1/896 us x 8/7 apart in 7 MHz, 6.656 MHz from first to last.
WIDTH_HZ = 6816 * 7e6 * 8 / 7 / 8192


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench")
    workshop = Workshop(folder / RESULTS, entry="tepui.cli.main:main", processes=1)
    chain = Chain(folder, workshop)
    state = BenchState(folder=folder, workshop=workshop, watching=Watching(entry=WATCH), chain=chain, practice=False)
    client = TestClient(build_app(state, hosts=[HOST], token=None), base_url=f"http://{HOST}", follow_redirects=False)
    assert "no station file yet" in client.get("/frequencies").text
    yield client, chain
    workshop.close()


@pytest.fixture
def station(bench):
    bench[1].station.write_text(example_text(), encoding="utf-8")
    return bench


def test_law_a_look_says_what_the_verb_says(station, capsys):
    _, chain = station
    look = look_at(chain.station, if_hz=740e6, side="low")
    words = [str(chain.station) if word == chain.station.name else word for word in look.words]
    assert main([*words, "--json"]) == 0
    assert json.loads(json.dumps(look.document["findings"])) == json.loads(capsys.readouterr().out)["findings"]


@pytest.mark.parametrize(("if_mhz", "side"), [(740, "low"), (640, "low"), (860, "high")])
def test_law_products_stand_where_arithmetic_puts_them(station, if_mhz, side):
    look = look_at(station[1].station, if_hz=if_mhz * 1e6, side=side)
    oscillator = 1286 - if_mhz if side == "low" else 1286 + if_mhz
    assert look.lo_hz == pytest.approx(oscillator * 1e6)
    assert look.width_hz == pytest.approx(WIDTH_HZ)
    for one in look.products:
        parts = re.findall(r"(?:^|([+-]) )(\d*) ?(LO|IF)", one["text"])
        amount = {"LO": 0, "IF": 0}
        for sign, times, name in parts:
            amount[name] += (-1 if sign == "-" else 1) * int(times or 1)
        place = abs(amount["LO"] * oscillator + amount["IF"] * if_mhz)
        assert one["centre_hz"] == pytest.approx(place * 1e6), one["text"]
        assert one["high_hz"] - one["low_hz"] == pytest.approx(abs(amount["IF"]) * WIDTH_HZ), one["text"]


def test_law_the_shape_of_a_product_holds_its_power(station):
    look = look_at(station[1].station, if_hz=740e6, side="low")
    for one in look.products:
        if not one["shape"]:
            continue
        step = (one["shape"][1][0] - one["shape"][0][0]) / look.width_hz
        power = sum(10 ** ((level - one["level_db"]) / 10) for _, level in one["shape"]) * step
        assert power == pytest.approx(1, abs=0.07), one["text"]


def test_law_every_plan_lies_in_a_stretch_of_its_verdict(station):
    reach = reach_of(station[1].station)
    assert reach.total == 2 * 691  # 170 to 860 MHz in steps of 1 MHz, on both sides
    for side, runs in reach.runs.items():
        assert [one[1] for one in runs[:-1]] == [one[0] for one in runs[1:]], side  # no gap, no overlap
    for row in reach.listed:
        look = look_at(station[1].station, if_hz=row["if_hz"], side=row["side"])
        (verdict,) = [f["value"] for f in look.document["findings"] if f["key"] == "plan_verdict"]
        assert verdict == row["verdict"]
    assert [row["rank"] for row in reach.listed] == sorted(row["rank"] for row in reach.listed)


def test_law_the_sheet_shows_the_plan_of_the_file(station):
    client, _ = station
    page = client.get("/frequencies")
    assert page.status_code == 200
    assert page.text.count("809 MHz") >= 2
    assert page.text.count("477 MHz") >= 2
    other = client.get("/frequencies", params={"if": "740 MHz", "side": "high"}).text
    assert "2026 MHz" in other


def test_law_either_handle_leads_to_the_same_plan(station):
    client, _ = station
    by_signal = client.get("/frequencies/plan", params={"if": "740000000 Hz", "side": "low"}).text
    by_oscillator = client.get("/frequencies/plan", params={"lo": "546 MHz", "side": "low"}).text
    assert by_signal == by_oscillator
    assert 'data-lo="546000000"' in by_signal


def test_law_a_product_in_the_channel_is_drawn_and_lettered(station):
    look = look_at(station[1].station, if_hz=643e6, side="low")  # 2 IF = 1286 MHz, the channel itself
    assert "2 IF" in letters_of(look)
    assert "2 IF at 1286 MHz" in close_drawing(look)
    assert [f["value"] for f in look.document["findings"] if f["key"] == "plan_verdict"] == ["rejected"]


def test_law_a_plan_is_written_as_two_values(station):
    client, chain = station
    client.get("/frequencies")
    answer = client.post("/frequencies", data={"if": "740 MHz", "side": "high", "mark": mark_of(example_text())})
    assert answer.status_code == 303
    told = tomllib.loads(chain.text())
    assert told["stage"][1]["frequency"] == "2026 MHz"
    assert told["channel"]["side"] == "high"
    before, after = example_text().splitlines(), chain.text().splitlines()
    assert sum(one != other for one, other in zip(before, after, strict=True)) == 2
    assert "stands in station.toml now" in client.get(answer.headers["location"]).text


def test_law_a_plan_does_not_overwrite_what_another_wrote(station):
    client, chain = station
    chain.station.write_text(example_text() + "# another editor\n", encoding="utf-8")
    answer = client.post("/frequencies", data={"if": "740 MHz", "side": "low", "mark": mark_of(example_text())})
    assert "changed on the disk" in answer.text
    assert chain.text() == example_text() + "# another editor\n"


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ({"if": "740 apples"}, "740 apples"),
        ({"if": "740 MHz", "side": "left"}, "low"),
        ({"if": "1286 MHz"}, "No plan is left"),
        ({"among": "7 MHz 9"}, "7 MHz 9"),
    ],
)
def test_message_of_a_plan_that_cannot_be(station, asked, says):
    page = station[0].get("/frequencies", params=asked)
    assert page.status_code in (200, 400)
    assert says in page.text
    assert "Traceback" not in page.text


def test_message_of_a_station_without_a_mixer(station):
    client, chain = station
    text = re.sub(r'\[\[stage\]\]\nname = "mixer".*?\n\n', "", chain.text(), flags=re.DOTALL)
    chain.station.write_text(text, encoding="utf-8")
    assert "has no mixer" in client.get("/frequencies").text
