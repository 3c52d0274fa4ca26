"""The log on pages, without a browser: what is typed, handed in, changed, taken away and brought back."""

import hashlib
import io
import re
import shutil
import zipfile
from pathlib import Path

import pytest
from PIL import Image
from starlette.testclient import TestClient

from captures import FOLDER
from tepui.cli.main import main
from tepui.desk.watching import Watching
from tepui.desk.workshop import Workshop
from tepui.logbook.store import Log
from tepui.web.app import build_app
from tepui.web.chain import Chain
from tepui.web.live import ENTRY as WATCH
from tepui.web.log_files_pages import MOST_PHOTOGRAPH
from tepui.web.state import RESULTS, BenchState

HOST = "127.0.0.1:8157"
NAME = "a4_drive_7MHz_2K_64QAM23_GI8_1"
STATION = Path(__file__).parent.parent / "data" / "stations" / "slate_ridge.toml"
ADI = "<CALL:5>Q3GHJ<QSO_DATE:8>20260131<TIME_ON:4>1523<RST_SENT:2>P4<APP_X_Y:2>hi<EOR>"


def bench_of(folder, workshop):
    chain = Chain(folder, workshop)
    state = BenchState(folder=folder, workshop=workshop, watching=Watching(entry=WATCH), chain=chain, practice=False)
    app = build_app(state, hosts=[HOST], token=None)
    return TestClient(app, base_url=f"http://{HOST}", follow_redirects=False), state


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench")
    shutil.copy(STATION, folder / "station.toml")
    for path in Path(FOLDER).glob(f"{NAME}.sigmf-*"):
        shutil.copy(path, folder)
    workshop = Workshop(folder / RESULTS, entry="tepui.cli.main:main", processes=1)
    yield bench_of(folder, workshop)
    workshop.close()


def entered(answer):
    """The number of the entry that a form led to."""
    assert answer.status_code == 303, re.findall(r'role="alert">.*?</p>', answer.text, re.DOTALL)
    return int(answer.headers["location"].rsplit("/", 1)[1])


def last(state, number):
    with Log(state.chain.log.path) as log:
        return log.history(number)[-1]


def picture(size=(40, 30)):
    held = io.BytesIO()
    Image.new("RGB", size, (10, 90, 30)).save(held, format="PNG")
    return held.getvalue()


def test_law_what_is_typed_becomes_an_entry(bench):
    client, state = bench
    told = {
        "point": "after driver",
        "key": "mer_db",
        "value": "31.2 dB ± 0.3 dB",
        "instrument": "narrow",
        "who": "Q1TPU",
    }
    reading = last(state, entered(client.post("/log/add/reading", data={**told, "pads_db": "20 dB", "utc": ""})))
    assert (reading.body["value"], reading.body["low"], reading.body["pads_db"]) == (31.2, pytest.approx(30.9), 20.0)
    assert reading.who == "Q1TPU"
    note = last(state, entered(client.post("/log/add/note", data={"text": "dry joint\nfound", "who": ""})))
    assert note.body["text"] == "dry joint\nfound"
    check = {"mer_db": "31.2 dB", "supply_a": "6.7 A", "other": "reflected_dbm=12 dBm", "month": "2026-01"}
    number = entered(client.post("/log/add/check", data=check))
    assert [last(state, number + n).body["key"] for n in range(3)] == ["mer_db", "supply_a", "reflected_dbm"]
    again = last(state, entered(client.post("/log/add/check", data={"mer_db": "31.4 dB", "month": "2026-01"})))
    assert again.body["round"] == 2


def test_law_a_contact_says_which_way_and_what_they_read(bench):
    client, state = bench
    told = {"call": "q2def", "direction": "sent", "report_sent": "", "report_received": "P4", "frequency": "1286 MHz",
            "receive_level_dbm": "-88 dBm ± 2 dB", "margin_db": "6 dB", "locator": "HI46ob"}  # fmt: skip
    number = entered(client.post("/log/add/contact", data=told))
    contact = last(state, number)
    assert contact.body["call"] == "Q2DEF"
    assert (contact.body["direction"], contact.body["report_received"], contact.body["report_sent"]) == (
        "sent",
        "P4",
        None,
    )
    assert [
        (one.body["point"], one.body["key"], one.utc) for one in (last(state, number + 1), last(state, number + 2))
    ] == [
        ("at Q2DEF", "receive_level_dbm", contact.utc),
        ("at Q2DEF", "margin_db", contact.utc),
    ]
    assert "one way, seen there only" in client.get(f"/log/entry/{number}").text


@pytest.mark.parametrize(
    ("kind", "given", "says"),
    [
        ("reading", {"point": "after driver", "key": "mer_db", "value": "31 apples"}, "31 apples"),
        ("reading", {"point": "", "key": "mer_db", "value": "31 dB"}, "needs its point"),
        ("reading", {"point": "after driver", "key": "MER", "value": "31 dB"}, "must be KEY=VALUE"),
        ("contact", {"call": "Q2DEF", "report_sent": "P9"}, "P0 to P5"),
        ("contact", {"call": ""}, "needs its call"),
        ("contact", {"call": "Q2DEF", "locator": "ZZ99"}, "a locator"),
        ("check", {}, "nothing was filled in"),
        ("check", {"mer_db": "31 dB", "month": "January"}, "YYYY-MM"),
        ("note", {"text": "  "}, "needs its text"),
        ("note", {"text": "a", "utc": "yesterday"}, "ISO 8601"),
    ],
)
def test_message_of_what_cannot_be_entered_and_nothing_typed_is_lost(bench, kind, given, says):
    client, state = bench
    before = len(state.chain.log.entries())
    answer = client.post(f"/log/add/{kind}", data={**given, "who": "somebody here"})
    assert answer.status_code == 400
    assert says in answer.text
    assert 'value="somebody here"' in answer.text
    assert len(state.chain.log.entries()) == before


def test_law_an_edit_is_a_revision_and_undo_walks_back(bench):
    client, state = bench
    told = {"point": "after mixer", "key": "level_dbm", "value": "-17.5 dBm ± 0.5 dB"}
    number = entered(client.post("/log/add/reading", data=told))
    before = last(state, number)
    fields = {"point": "after mixer", "value": "-17.5 dBm ± 0.5 dB", "instrument": "", "pads_db": "", "note": "warm"}
    assert (
        entered(client.post(f"/log/entry/{number}/edit", data={**fields, "utc": before.utc, "who": "Q1TPU"})) == number
    )
    edited = last(state, number)
    assert (edited.number, edited.body["note"], edited.body["low"]) == (2, "warm", before.body["low"])
    page = client.get(f"/log/entry/{number}").text
    assert "Revision 2: edit" in page
    assert "Revision 1: add" in page
    answer = client.post(f"/log/entry/{number}/edit", data={**fields, "utc": before.utc})
    assert answer.status_code == 400
    assert "nothing was changed" in answer.text
    client.post(f"/log/entry/{number}/undo", data={})
    assert last(state, number).body == before.body
    client.post(f"/log/entry/{number}/withdraw", data={})
    assert last(state, number).withdrawn
    assert f"/log/entry/{number}" not in client.get("/log").text
    assert f"/log/entry/{number}" in client.get("/log?withdrawn=1").text
    client.post(f"/log/entry/{number}/undo", data={})
    assert not last(state, number).withdrawn


def test_law_the_list_is_filtered(bench):
    client, _ = bench
    entered(client.post("/log/add/note", data={"text": "a new relay", "utc": "2020-05-06T07:00:00Z"}))
    assert "a new relay" in client.get("/log?q=relay+new").text
    assert "a new relay" not in client.get("/log?q=relay&kind=contact").text
    assert "a new relay" in client.get("/log?until=2020-05-06").text
    assert "a new relay" not in client.get("/log?since=2021-01-01").text
    assert client.get("/log?page=99999&q=%22%3E%3Cscript%3E").status_code == 200
    assert "<script>" not in client.get("/log?q=%22%3E%3Cscript%3E").text


def test_law_a_photograph_is_kept_under_its_hash_and_bounded(bench):
    client, state = bench
    data = picture()
    files = {"photograph": ("../../box?.png", data, "image/png")}
    number = entered(
        client.post("/log/photograph", files=files, data={"caption": "the filter, lid off", "who": "Q1TPU"})
    )
    digest = hashlib.sha256(data).hexdigest()
    assert (state.folder / "tepui-log.files" / f"{digest}.png").read_bytes() == data
    page = client.get(f"/log/entry/{number}").text
    assert 'alt="the filter, lid off"' in page
    shown = client.get(f"/log/entry/{number}/file/{digest}")
    assert shown.content == data
    assert shown.headers["content-type"] == "image/png"
    assert client.get(f"/log/entry/{number}/file/{'0' * 64}").status_code == 404
    before = sorted(path.name for path in state.folder.rglob("*"))
    for content, caption, says in ((b"MZ\x90\x00" * 20, "a tool", "is no JPEG"), (data, "", "Say in words")):
        answer = client.post("/log/photograph", files={"photograph": ("a.png", content)}, data={"caption": caption})
        assert answer.status_code == 400
        assert says in answer.text
    answer = client.post("/log/photograph", content=b"", headers={"content-length": str(MOST_PHOTOGRAPH * 2)})
    assert "at most 20 MiB" in answer.text
    assert sorted(path.name for path in state.folder.rglob("*")) == before


def test_law_a_result_is_kept_with_its_inputs_version_pictures_and_recording(bench):
    client, state = bench
    begun = client.post("/do/spectrum", data={"file": f"{NAME}.sigmf-meta"})
    number = int(begun.headers["location"].rsplit("/", 1)[1])
    assert state.workshop.wait(number, timeout_s=120).state == "done"
    assert "Keep it in the log" in client.get(f"/result/{number}").text
    entry = entered(client.post("/log/keep", data={"work": str(number), "recordings": "1"}))
    kept = last(state, entry)
    assert (kept.kind, kept.body["verb"]) == ("findings", "spectrum")
    assert "spectrum.svg" in {one.name for one in kept.files}
    digest = hashlib.sha256((state.folder / f"{NAME}.sigmf-data").read_bytes()).hexdigest()
    with Log(state.chain.log.path) as log:
        (recording,) = log.entries("recording")
    assert recording.revision.body["data"] == digest
    page = client.get(f"/log/entry/{entry}").text
    assert digest in page
    assert f"/log/entry/{recording.number}" in page  # the input is the recording of that entry
    assert kept.body["program"] in page
    assert entered(client.post("/log/keep", data={"work": str(number)})) == entry  # not twice
    assert client.post("/log/keep", data={"work": "99"}).status_code == 400
    file = next(one for one in recording.revision.files if one.role == "metadata")
    assert client.get(f"/log/entry/{recording.number}/file/{file.sha256}").status_code == 200
    assert entered(client.post("/log/recording", data={"file": f"{NAME}.sigmf-meta"})) == recording.number
    assert client.post("/log/recording", data={"file": "../outside.wav"}).status_code == 400


def test_law_the_station_file_is_kept_with_what_it_names(bench):
    client, state = bench
    text = state.chain.text()
    number = entered(client.post("/log/station", data={}))
    assert last(state, number).body["toml"] == text
    assert entered(client.post("/log/station", data={})) == number


def test_law_the_archive_and_the_contacts_go_out_and_come_back(bench, tmp_path_factory):
    client, state = bench
    archive = client.get("/log/export.zip")
    assert archive.status_code == 200
    with zipfile.ZipFile(io.BytesIO(archive.content)) as held:
        assert {"manifest.json", "log.jsonl"} <= set(held.namelist())
    contacts = client.get("/log/export.adi")
    assert "<CALL:5>Q2DEF" in contacts.text
    assert client.get("/log/export.exe").status_code == 404
    assert not [path for path in state.folder.iterdir() if path.name.startswith(".tepui-")]
    other = tmp_path_factory.mktemp("other")
    workshop = Workshop(other / RESULTS, entry="tepui.cli.main:main", processes=1)
    elsewhere, there = bench_of(other, workshop)
    try:
        answer = elsewhere.post("/log/import", files={"archive": ("all.zip", archive.content)}, data={"who": ""})
        assert answer.status_code == 200
        assert "of all.zip were new" in answer.text
        with Log(state.chain.log.path) as first, Log(there.chain.log.path) as second:
            assert [one for _, one in first.all_revisions()] == [one for _, one in second.all_revisions()]
        answer = elsewhere.post("/log/import", files={"archive": ("a.adi", ADI.encode())})
        assert "1 of 1 contacts of a.adi were new" in answer.text
        before = len(there.chain.log.entries())
        broken = bytearray(archive.content)
        broken[len(broken) // 2] ^= 0xFF
        for name, content, says in (
            ("all.zip", bytes(broken), "all.zip"),
            ("all.zip", b"no zip", "cannot be read as a zip archive"),
            ("a.adx", b"<ADX/>", "must end in .zip"),
            ("../../a.adi", b"<CALL:9", "a.adi"),
        ):
            answer = elsewhere.post("/log/import", files={"archive": (name, content)})
            assert answer.status_code == 400
            assert says in answer.text
            assert str(other) not in answer.text  # no word on where things lie
        assert len(there.chain.log.entries()) == before
        assert not [path for path in other.iterdir() if path.name.startswith(".tepui-")]
    finally:
        workshop.close()


def test_law_the_trend_and_the_evening_show_then_and_now(bench):
    client, state = bench
    for month, value in (("2025-11", "30.0 dB"), ("2025-11", "30.2 dB"), ("2025-12", "25.0 dB")):
        entered(client.post("/log/add/check", data={"mer_db": value, "month": month}))
    trend = state.chain.trend.now()
    assert state.workshop.wait(trend.work.number, timeout_s=120).state == "done"
    page = client.get("/log/trend").text
    assert "More than chance explains" in page
    assert "<svg" in page
    assert "Level departure" in page  # the far level has no prediction yet
    evening = client.get("/tonight").text
    assert "30.1 dB" in evening
    assert "2025-11" in evening


def test_law_an_evening_is_ticked_and_entered(bench):
    client, state = bench
    assert client.post("/tonight/tick", data={"point": "lock"}).status_code == 303
    client.post("/tonight/tick", data={"point": "beam"})
    client.post("/tonight/tick", data={"point": "beam"})  # and taken back
    assert client.post("/tonight/tick", data={"point": "nonsense"}).status_code == 400
    page = client.get("/tonight").text
    assert page.count('aria-pressed="true"') == 1
    told = {"call": "Q2DEF", "report_sent": "P4", "report_received": "P5", "mer_db": "18 dB", "direction": "both",
            "note": "calm", "who": "Q1TPU"}  # fmt: skip
    answer = client.post("/tonight/enter", data=told)
    number = int(answer.headers["location"].rsplit("=", 1)[1])
    note, contact, reading = (last(state, number + n) for n in range(3))
    assert re.fullmatch(
        r"On the air with Q2DEF\. Ticked: lock \d\d:\d\d UTC\. Not ticked: shoulders, lines, ident, exposure, beam, "
        r"talk-back\. calm", note.body["text"]
    )  # fmt: skip
    assert (contact.body["report_sent"], contact.body["own_call"], contact.body["locator"]) == ("P4", "Q1TPU", "HI46ob")
    assert contact.body["frequency_hz"] == 1286e6
    assert (reading.body["point"], reading.body["value"], reading.utc) == ("at Q2DEF", 18.0, contact.utc)
    assert f"entry {number} of the log" in client.get(answer.headers["location"]).text
    answer = client.post("/tonight/enter", data={**told, "mer_db": "18 apples"})
    assert answer.status_code == 400
    assert "18 apples" in answer.text


def test_law_what_the_path_predicts_is_shown_and_held_against_reports(bench):
    client, state = bench
    words = [
        "path",
        "--name",
        "Q2DEF",
        "--from",
        "HI45kt",
        "--to",
        "HI46ob",
        "--frequency",
        "1286 MHz",
        "--tx-height",
        "20 m",
    ]
    words += [
        "--rx-height",
        "10 m",
        "--tx-power",
        "37 dBm",
        "--tx-gain",
        "18 dBi",
        "--rx-gain",
        "13 dBi",
        "--width",
        "7 MHz",
    ]
    work = state.workshop.submit([*words, "--rx-noise-figure", "3 dB"], title="path", pictures=False)
    done = state.workshop.wait(work.number, timeout_s=120)
    assert done.state == "done", done.sentence
    (level,) = [f for f in done.document["findings"] if f["key"] == "receive_level_dbm"]
    page = client.get("/tonight").text
    assert "At Q2DEF" in page
    assert f"\N{MINUS SIGN}{abs(level['value']):.0f}" in page
    entered(client.post("/log/keep", data={"work": str(work.number)}))
    trend = state.chain.trend.now()
    document = state.workshop.wait(trend.work.number, timeout_s=120).document
    (departure,) = [f for f in document["findings"] if f["key"] == "level_departure_db"]
    assert departure["value"] == pytest.approx(-88 - level["value"])


def test_law_the_command_line_and_the_page_see_one_log(bench):
    client, state = bench
    assert main(["log", "add", "note", "from the shell", "--log", str(state.chain.log.path)]) == 0
    assert "from the shell" in client.get("/log").text
    for path in ("/log/entry/999999", "/log/add/photograph", "/log/add/nothing", "/log/entry/1/file/x"):
        assert client.get(path).status_code == 404
