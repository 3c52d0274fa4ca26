"""The station sheet without a browser: a field is written alone, refused in its place, undone; no change is lost."""

import re
import subprocess
import sys
import tomllib

import pytest
from starlette.testclient import TestClient

from tepui.desk.watching import Watching
from tepui.desk.workshop import Workshop
from tepui.station.example import example_text
from tepui.web.app import build_app
from tepui.web.chain import Chain
from tepui.web.live import ENTRY as WATCH
from tepui.web.state import RESULTS, BenchState
from tepui.web.station_file import difference, mark_of

HOST = "127.0.0.1:8157"
DATA = {"accept": "application/json"}


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench")
    workshop = Workshop(folder / RESULTS, entry="tepui.cli.main:main", processes=1)
    chain = Chain(folder, workshop)
    state = BenchState(folder=folder, workshop=workshop, watching=Watching(entry=WATCH), chain=chain, practice=False)
    client = TestClient(build_app(state, hosts=[HOST], token=None), base_url=f"http://{HOST}", follow_redirects=False)
    yield client, chain
    workshop.close()


@pytest.fixture
def station(bench):
    """The example on the disk, and its mark once a page was drawn from it."""
    client, chain = bench
    chain.station.write_text(example_text(), encoding="utf-8")
    client.get("/station")
    return client, chain, mark_of(example_text())


def sent(client, part, mark, **fields):
    body = {"mark": mark, **{key.replace("__", "."): text for key, text in fields.items()}}
    return client.post(f"/station/{part}", data=body, headers=DATA).json()


def stage(chain, number):
    return tomllib.loads(chain.text())["stage"][number - 1]


def test_law_every_part_has_its_sheet_and_every_key_a_label(station):
    client, _, _ = station
    listed = re.findall(r'href="(/station/[a-z0-9-]+)"', client.get("/station").text)
    assert len(listed) >= 15
    for path in listed:
        page = client.get(path)
        assert page.status_code == 200
        names = re.findall(r'name="v\.(\w+)"', page.text.partition("One more")[0])
        labels = re.findall(r'<label for="f-(\w+)"', page.text)
        assert sorted(names) == sorted(labels)


def test_law_a_field_is_written_alone(station):
    client, chain, mark = station
    told = sent(client, "stage-5", mark, v__gain="27 dB ± 1 dB", o__gain="guess", r__gain="")
    assert told["written"]
    assert stage(chain, 5)["gain"] == {"value": "27 dB ± 1 dB", "origin": "guess"}
    before, after = example_text().splitlines(), chain.text().splitlines()
    assert sum(one != other for one, other in zip(before, after, strict=True)) == 1
    assert told["mark"] == mark_of(chain.text())
    assert told["steps"][0] >= 1


def test_message_of_a_field_that_cannot_be_used(station):
    client, chain, mark = station
    told = sent(client, "stage-5", mark, v__gain="27", o__gain="", r__gain="")
    assert not told["written"]
    assert "no unit" in told["wrong"]["gain"]
    told = sent(client, "stage-5", mark, v__name="")
    assert "name is needed" in told["wrong"]["name"]
    told = sent(client, "stage-5", mark, v__max_input="-30 dBm")
    assert "is the most it bears" in told["wrong"]["max_input"]  # what only the whole file can tell
    assert chain.text() == example_text()


def test_law_a_whole_form_changes_what_differs_or_nothing(station):
    client, chain, mark = station
    page = client.post("/station/channel", data={"mark": mark, "v.centre": "1288 MHz", "v.width": "7 apples"})
    assert page.status_code == 400
    assert "7 apples" in page.text
    assert "1288 MHz" in page.text  # nothing that was typed is lost
    assert chain.text() == example_text()
    done = client.post("/station/channel", data={"mark": mark, "v.centre": "1288 MHz", "v.width": "6 MHz"})
    assert (done.status_code, done.headers["location"]) == (303, "/station/channel")
    channel = tomllib.loads(chain.text())["channel"]
    assert (channel["centre"], channel["width"]) == ("1288 MHz", "6 MHz")


def test_law_a_field_does_not_overwrite_what_another_wrote(station):
    client, chain, mark = station
    elsewhere = example_text().replace('name = "Slate Ridge"', 'name = "Slate Edge"', 1)
    chain.station.write_text(elsewhere, encoding="utf-8")
    told = sent(client, "stage-5", mark, v__gain="27 dB", o__gain="", r__gain="")
    assert "changed on the disk" in told["sentence"]
    assert chain.text() == elsewhere
    shown = client.get("/station/difference", params={"mark": mark}).text
    assert "Slate Edge" in shown
    assert "Slate Ridge" in shown
    assert client.get("/station/difference", params={"mark": mark_of(elsewhere)}).status_code == 204


def test_law_steps_go_back_and_forth(station):
    client, chain, mark = station
    texts = [chain.text()]
    for level in ("-10 dBm", "-9 dBm", "-8 dBm"):
        mark = sent(client, "stage-1", mark, v__level=level, o__level="", r__level="")["mark"]
        texts.append(chain.text())
    for back in (texts[2], texts[1], texts[0]):
        assert client.post("/station/undo", data={"mark": mark_of(chain.text())}).status_code == 303
        assert chain.text() == back
    client.post("/station/redo", data={"mark": mark_of(chain.text())})
    assert chain.text() == texts[1]


def test_law_a_step_back_does_not_lose_a_change_from_outside(station):
    client, chain, mark = station
    sent(client, "stage-1", mark, v__level="-10 dBm", o__level="", r__level="")
    elsewhere = chain.text() + "# another editor\n"
    chain.station.write_text(elsewhere, encoding="utf-8")
    answer = client.post("/station/undo", data={"mark": mark_of(elsewhere), "part": "stage-1"})
    assert answer.status_code == 400
    assert "changed outside" in answer.text
    assert chain.text() == elsewhere


def test_law_every_file_that_was_replaced_is_kept(station):
    client, chain, mark = station
    texts = [chain.text()]
    for level in ("-10 dBm", "-9 dBm", "-8 dBm"):
        mark = sent(client, "stage-1", mark, v__level=level, o__level="", r__level="")["mark"]
        texts.append(chain.text())
    kept = [chain.file.earlier_text(name) for name in chain.file.earlier(most=1000)]
    assert all(text in kept for text in texts[:-1])
    page = client.get("/station", params={"from": chain.file.earlier()[0]})
    assert page.status_code == 200
    assert "-9 dBm" in page.text
    assert client.get("/station", params={"from": "../station.toml"}).status_code == 400


def test_law_stages_are_put_in_moved_and_taken_out(station):
    client, chain, mark = station
    new = {"mark": mark, "table": "stage", "after": "1", "part": "stage-2", "v.name": "pad 1", "v.kind": "pad"}
    assert client.post("/station/add", data={**new, "goal": "stage-3"}).headers["location"] == "/station/stage-3"
    assert stage(chain, 3)["name"] == "pad 1"
    move = {"mark": mark_of(chain.text()), "part": "stage-3", "to": "earlier"}
    client.post("/station/move", data=move)
    assert stage(chain, 2)["name"] == "pad 1"
    client.post("/station/remove", data={"mark": mark_of(chain.text()), "part": "stage-2"})
    assert chain.text() == example_text()
    refused = client.post("/station/add", data={**new, "mark": mark_of(chain.text()), "v.name": "mixer"})
    assert refused.status_code == 400
    assert "name of another stage" in refused.text


def test_law_a_file_with_something_wrong_can_be_mended_field_by_field(station):
    client, chain, _ = station
    broken = example_text().replace('width = "7 MHz"', 'width = "7 mHz"').replace('"12 A"', '"12 a"')
    chain.station.write_text(broken, encoding="utf-8")
    page = client.get("/station/channel").text
    assert page.count("7 mHz") >= 2  # in its field and in the file
    told = sent(client, "channel", mark_of(broken), v__width="7 MHz", o__width="", r__width="")
    assert told["written"]
    assert "12 a" in told["trouble"]
    told = sent(client, "supply", told["mark"], v__current_max="12 A", o__current_max="", r__current_max="")
    assert (told["trouble"], chain.text()) == ("", example_text())


@pytest.mark.parametrize("text", ["this is no TOML", "\x00", "[stage]\nname = 1\n"])
def test_law_a_file_beyond_fields_stays_in_the_editor(bench, text):
    client, chain = bench
    chain.station.write_text(text, encoding="utf-8")
    page = client.get("/station")
    assert page.status_code == 200
    assert "Check and write the file" in page.text
    assert client.get("/stage/mixer").status_code == 200


def test_law_a_file_that_is_not_utf8_is_left_alone(bench):
    client, chain = bench
    chain.station.write_bytes(b'format = 1\n[station]\ncall = "Q1\xffTPU"\n')
    before = chain.station.read_bytes()
    assert client.get("/station").status_code == 200
    answer = client.post("/station", data={"text": example_text(), "mark": mark_of(chain.text())})
    assert answer.status_code == 400
    assert "UTF-8" in answer.text
    assert chain.station.read_bytes() == before


@pytest.mark.parametrize("path", ["/station/nothing", "/station/stage", "/station/..%2fapp"])
def test_message_of_a_part_that_is_not_there(station, path):
    assert station[0].get(path).status_code == 404 or path == "/station/stage"


def test_tool_the_difference_is_what_difflib_says():
    lines = difference("a\nb\nc\n", "a\nx\nc\n")
    assert [(one.sign, one.text) for one in lines] == [("", "a"), ("-", "b"), ("+", "x"), ("", "c")]


def test_law_the_bench_starts_without_the_slow_libraries():
    slow = ("scipy", "numba", "matplotlib", "skrf")
    code = f"import sys, tepui.web.serve; print([name for name in {slow} if name in sys.modules])"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert said.strip() == "[]"
