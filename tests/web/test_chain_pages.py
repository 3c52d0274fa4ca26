"""The station file and the levels on pages: what is wrong is refused by the verb's sentence and changes nothing."""

import pytest
from starlette.testclient import TestClient

from tepui.desk.watching import Watching
from tepui.desk.workshop import Workshop
from tepui.web.app import build_app
from tepui.web.chain import Chain
from tepui.web.live import ENTRY as WATCH
from tepui.web.state import RESULTS, BenchState
from tepui.web.station_file import mark_of

HOST = "127.0.0.1:8157"
PATIENT_S = 120.0


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench")
    workshop = Workshop(folder / RESULTS, entry="tepui.cli.main:main", processes=1)
    chain = Chain(folder, workshop)
    state = BenchState(folder=folder, workshop=workshop, watching=Watching(entry=WATCH), chain=chain, practice=False)
    client = TestClient(build_app(state, hosts=[HOST], token=None), base_url=f"http://{HOST}", follow_redirects=False)
    assert "no station file yet" in client.get("/levels").text
    assert client.post("/station/new").status_code == 303
    yield client, state
    workshop.close()


def settled(state):
    """The levels once they are worked out."""
    levels = state.chain.levels()
    if levels.work is not None:
        state.workshop.wait(levels.work.number, timeout_s=PATIENT_S)
    return state.chain.levels()


def test_law_the_strip_and_the_sheet_show_the_chain(bench):
    client, state = bench
    levels = settled(state)
    assert levels.work is None
    page = client.get("/levels").text
    assert "after amplifier" in page
    (level,) = [
        f for f in levels.document["findings"] if (f["about"], f["key"]) == ("point:after modulator", "level_dbm")
    ]
    assert f"\N{MINUS SIGN}{abs(level['value']):.1f}" in page
    assert "Q1TPU" in client.get("/").text


def test_law_a_reading_narrows_the_levels_and_can_be_taken_out(bench):
    client, state = bench
    before = settled(state).document
    answer = client.post(
        "/levels/reading", data={"point": "after driver", "shown": "9.7", "doubt": "0.5", "instrument": ""}
    )
    assert answer.status_code == 303
    assert state.chain.reading_lines() == ["after driver = 9.7 dBm ± 0.5 dB"]
    after = settled(state).document

    def width(document):
        (level,) = [f for f in document["findings"] if (f["about"], f["key"]) == ("point:after driver", "level_dbm")]
        return level["high"] - level["low"]

    assert width(after) < 0.5 * width(before)
    client.post("/levels/drop", data={"number": "0"})
    assert state.chain.reading_lines() == []
    assert width(settled(state).document) == pytest.approx(width(before))


@pytest.mark.parametrize(("shown", "point"), [("nine", "after driver"), ("9.7", "after nothing")])
def test_message_of_a_reading_that_cannot_be_used(bench, shown, point):
    client, state = bench
    answer = client.post("/levels/reading", data={"point": point, "shown": shown, "doubt": "", "instrument": ""})
    assert answer.status_code == 400
    assert 'role="alert"' in answer.text
    assert state.chain.reading_lines() == []


def test_message_of_a_station_file_with_a_wrong_unit(bench):
    client, state = bench
    text = state.chain.text()
    wrong = text.replace('width = "7 MHz"', 'width = "7 mHz"', 1)
    answer = client.post("/station", data={"text": wrong, "mark": mark_of(text)})
    assert answer.status_code == 400
    assert "station.toml, line" in answer.text
    assert "7 mHz" in answer.text  # nothing that was typed is lost
    assert state.chain.text() == text


def test_law_a_file_changed_on_the_disk_meanwhile_is_not_overwritten(bench):
    client, state = bench
    text = state.chain.text()
    elsewhere = text + "# written by another editor\n"
    state.chain.station.write_text(elsewhere, encoding="utf-8")
    answer = client.post("/station", data={"text": text + "# mine\n", "mark": mark_of(text)})
    assert answer.status_code == 400
    assert "changed on the disk" in answer.text
    assert "# mine" in answer.text
    assert "# written by another editor" in answer.text
    assert state.chain.text() == elsewhere


def test_law_a_good_edit_is_written_and_the_file_before_is_kept(bench):
    client, state = bench
    text = state.chain.text()
    edited = text.replace('name = "Slate Ridge"', 'name = "Slate Edge"', 1)
    answer = client.post("/station", data={"text": edited, "mark": mark_of(text)})
    assert answer.status_code == 303
    assert state.chain.text() == edited
    assert text in [path.read_text(encoding="utf-8") for path in (state.folder / "station-before").glob("*.toml")]
    settled(state)
    assert "Slate Edge" in client.get("/levels").text
