"""The station file and the levels on pages: what is wrong is refused by the verb's sentence and changes nothing."""

import pytest
from starlette.testclient import TestClient

from tepui.cli.main import main
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


def counting(state):
    """The readings that count, as the verb takes them."""
    return [one.text for one in state.chain.log.readings() if one.counts]


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
    assert counting(state) == ["after driver = 9.7 dBm ± 0.5 dB"]
    (entry,) = state.chain.log.entries()
    assert (entry.revision.kind, entry.revision.body["key"]) == ("reading", "level_dbm")
    after = settled(state).document

    def width(document):
        (level,) = [f for f in document["findings"] if (f["about"], f["key"]) == ("point:after driver", "level_dbm")]
        return level["high"] - level["low"]

    assert width(after) < 0.5 * width(before)
    client.post("/levels/drop", data={"number": str(entry.number)})
    assert counting(state) == []
    assert "Put back" in client.get("/levels").text
    assert width(settled(state).document) == pytest.approx(width(before))
    client.post("/levels/drop", data={"number": str(entry.number), "back": "1"})
    assert counting(state) == ["after driver = 9.7 dBm ± 0.5 dB"]
    client.post("/levels/drop", data={"number": str(entry.number)})


def test_law_a_reading_on_an_instrument_keeps_what_was_shown_and_the_pads_that_were_in(bench):
    client, state = bench
    told = {
        "point": "after amplifier",
        "shown": "-3.9",
        "doubt": "0.2",
        "instrument": "head",
        "pads": "",
        "who": "Q1X",
    }
    assert client.post("/levels/reading", data=told).status_code == 303
    entry = state.chain.log.entries()[-1]
    body = entry.revision.body
    assert (body["key"], body["value"], body["pads_db"], body["instrument"]) == ("shown_dbm", -3.9, 40.0, "head")
    assert entry.revision.who == "Q1X"
    document = settled(state).document
    (row,) = document["tables"]["level_readings"]["rows"]
    assert row[:2] == ["after amplifier", "head"]
    assert row[2] == pytest.approx(36.1)  # -3.9 dBm behind 40 dB
    # The command line writes to the same log, and a later reading takes the place of the earlier one.
    words = [
        "log",
        "add",
        "reading",
        "after amplifier",
        "shown_dbm=-3.5 dBm",
        "--instrument",
        "head",
        "--pads",
        "40 dB",
    ]
    assert main([*words, "--log", str(state.chain.log.path)]) == 0
    assert counting(state) == ["after amplifier on head through 40 dB = -3.5 dBm"]
    (row,) = settled(state).document["tables"]["level_readings"]["rows"]
    assert row[2] == pytest.approx(36.5)
    for one in state.chain.log.readings():
        client.post("/levels/drop", data={"number": str(one.entry)})


def test_law_an_older_list_of_readings_is_taken_in_once_and_whole(bench):
    client, state = bench
    first, second = "after driver = 9.7 dBm ± 0.5 dB", "after driver on head through 20 dB = -10.3 dBm"
    lines = ["# first evening", f"{first}  # warm", second, "not a reading"]
    (state.folder / "readings.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")
    assert "2 readings and 2 notes of readings.txt were taken into the log" in client.get("/levels").text
    assert counting(state) == [first, second]
    assert (state.folder / "readings-taken-into-the-log.txt").read_text(encoding="utf-8").split("\n")[:4] == lines
    held = [entry.revision.body.get("note") or entry.revision.body.get("text") for entry in state.chain.log.entries()]
    assert [f"readings.txt: {line}" in held for line in lines] == [True] * 4
    # A crash between the log and the new name leaves the list; what is known is not entered again.
    (state.folder / "readings-taken-into-the-log.txt").rename(state.folder / "readings.txt")
    assert "0 readings and 0 notes" in client.get("/levels").text
    for one in state.chain.log.readings():
        client.post("/levels/drop", data={"number": str(one.entry)})


def test_message_of_a_log_that_is_damaged(bench):
    client, state = bench
    path = state.chain.log.path
    data = path.read_bytes()
    journal = path.with_name(path.name + "-wal")
    held = journal.read_bytes() if journal.exists() else None
    journal.unlink(missing_ok=True)
    path.write_bytes(b"nothing" + data[7:])
    page = client.get("/levels")
    assert page.status_code == 200
    assert "is damaged" in page.text
    assert "move tepui-log.sqlite elsewhere" in page.text
    told = {"point": "after driver", "shown": "9.7", "doubt": "", "instrument": ""}
    answer = client.post("/levels/reading", data=told)
    assert answer.status_code == 400
    assert "nothing was written" in answer.text
    assert 'value="9.7"' in answer.text  # nothing that was typed is lost
    path.write_bytes(data)
    if held is not None:
        journal.write_bytes(held)
    assert "is damaged" not in client.get("/levels").text


@pytest.mark.parametrize(("shown", "point"), [("nine", "after driver"), ("9.7", "after nothing")])
def test_message_of_a_reading_that_cannot_be_used(bench, shown, point):
    client, state = bench
    answer = client.post("/levels/reading", data={"point": point, "shown": shown, "doubt": "", "instrument": ""})
    assert answer.status_code == 400
    assert 'role="alert"' in answer.text
    assert counting(state) == []


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
