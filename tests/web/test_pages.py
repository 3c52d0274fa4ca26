"""The pages without a browser: every one answers, hostile names lead nowhere, what is handed in is whole or refused."""

import os
import shutil
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from captures import FOLDER
from tepui.desk.watching import Watching
from tepui.desk.workshop import Workshop
from tepui.web.app import build_app
from tepui.web.chain import Chain
from tepui.web.forms import FORMS
from tepui.web.live import ENTRY as WATCH
from tepui.web.state import RESULTS, BenchState

HOST = "127.0.0.1:8157"
NAME = "a4_drive_7MHz_2K_64QAM23_GI8_1"


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench")
    for path in Path(FOLDER).glob(f"{NAME}.sigmf-*"):
        shutil.copy(path, folder)
    (folder.parent / "outside.wav").write_bytes(b"RIFF")
    workshop = Workshop(folder / RESULTS, entry="tepui.cli.main:main", processes=1, within=folder)
    state = BenchState(
        folder=folder, workshop=workshop, watching=Watching(entry=WATCH), chain=Chain(folder, workshop), practice=False
    )
    client = TestClient(build_app(state, hosts=[HOST], token=None), base_url=f"http://{HOST}", follow_redirects=False)
    yield client, state
    workshop.close()


SHEETS = (
    "/",
    "/recordings",
    "/results",
    "/legend",
    "/stage/amplifier",
    "/stage/source",
    *(f"/do/{verb}" for verb in FORMS),
)


@pytest.mark.parametrize("path", SHEETS)
def test_law_every_sheet_answers(bench, path):
    answer = bench[0].get(path)
    assert answer.status_code == 200
    assert "<h1>" in answer.text


@pytest.mark.parametrize(
    "path", ["/nothing", "/stage/nothing", "/do/demo", "/result/99", "/static/../app.py", "/static/%2e%2e/app.py"]
)
def test_message_of_what_is_not_there(bench, path):
    assert bench[0].get(path).status_code == 404


def test_law_a_recording_becomes_a_result(bench):
    client, state = bench
    begun = client.post("/do/spectrum", data={"file": f"{NAME}.sigmf-meta"})
    assert begun.status_code == 303
    place = begun.headers["location"]
    work = state.workshop.wait(int(place.rsplit("/", 1)[1]), timeout_s=120)
    assert work.state == "done", work.sentence
    page = client.get(place).text
    (worst,) = [f for f in work.document["findings"] if f["key"] == "shoulder_worst_db"]
    shown = f"{abs(worst['value']):.2f}"[:4]
    assert f"\N{MINUS SIGN}{shown}" in page
    assert "<svg" in page
    assert "#a93406" not in page.lower()  # the pencil follows day and night
    document = client.get(f"{place}/document.json")
    assert document.json()["verb"] == "spectrum"
    told = client.get(f"{place}/state").json()
    assert told["ended"]
    assert NAME in client.get("/results").text


def test_message_of_an_option_that_cannot_be_used(bench):
    client, state = bench
    begun = client.post("/do/spectrum", data={"file": f"{NAME}.sigmf-meta", "centre": "12 apples"})
    work = state.workshop.wait(int(begun.headers["location"].rsplit("/", 1)[1]), timeout_s=120)
    assert work.state == "refused"
    page = client.get(begun.headers["location"]).text
    assert "12 apples" in page
    assert "Traceback" not in page


@pytest.mark.parametrize("name", ["../outside.wav", "/etc/hostname", "..\\outside.wav", "no-such.wav", "a\0b", ""])
def test_law_no_name_leads_out_of_the_folder(bench, name):
    answer = bench[0].post("/do/receive", data={"file": name})
    assert answer.status_code == 400
    assert "not a file of this bench" in answer.text or "Choose a recording" in answer.text


# What is handed in may itself name files: a table its recordings, a station file its curve. They lead nowhere either.
@pytest.mark.parametrize("name", ["../outside.wav", "/etc/hostname", "link.wav"])
def test_law_no_name_within_a_file_leads_out_of_the_folder(bench, name):
    client, state = bench
    if os.name != "nt" and not (state.folder / "link.wav").is_symlink():
        (state.folder / "link.wav").symlink_to(state.folder.parent / "outside.wav")
    table = f"setting_dbm,recording\n-3,{name}\n"
    client.post("/recordings", files=[("recording", ("named.csv", table.encode(), "text/csv"))])
    begun = client.post("/do/drive", data={"file": "named.csv", "target": "-32 dB"})
    work = state.workshop.wait(int(begun.headers["location"].rsplit("/", 1)[1]), timeout_s=120)
    (state.folder / "named.csv").unlink()
    assert work.state == "refused"
    assert f"names {name}, which lies outside the folder of this bench" in work.sentence


def test_law_text_in_a_form_stays_text(bench):
    answer = bench[0].get("/do/spectrum", params={"centre": '"><script>alert(1)</script>'})
    assert "<script>alert" not in answer.text


def handed(*names):
    return [("recording", (name, b"abc", "application/octet-stream")) for name in names]


def test_law_what_is_handed_in_lies_in_the_folder_under_a_plain_name(bench):
    client, state = bench
    assert client.post("/recordings", files=handed("../../up?.wav")).status_code == 303
    assert (state.folder / "up-.wav").read_bytes() == b"abc"
    (state.folder / "up-.wav").unlink()


@pytest.mark.parametrize(
    ("names", "says"),
    [
        (("tool.exe",), "no recording or table"),
        (("x.sigmf-meta",), "half a SigMF recording"),
        ((f"{NAME}.sigmf-meta", f"{NAME}.sigmf-data"), "is there already"),
        (("...",), "no recording or table"),
    ],
)
def test_message_of_what_is_not_taken(bench, names, says):
    client, state = bench
    before = sorted(path.name for path in state.folder.iterdir())
    answer = client.post("/recordings", files=handed(*names))
    assert answer.status_code == 400
    assert says in answer.text
    assert sorted(path.name for path in state.folder.iterdir()) == before


def test_law_a_name_that_is_a_device_elsewhere_is_none_here(bench):
    client, state = bench
    assert client.post("/recordings", files=handed("CON.wav")).status_code == 303
    assert (state.folder / "file-CON.wav").read_bytes() == b"abc"
    (state.folder / "file-CON.wav").unlink()


# What looks like an option is no option: the value before it is missing then, and nothing is written.
@pytest.mark.parametrize("text", ["--out={}", "--out", "--picture={} x", "--out {}"])
def test_law_no_field_smuggles_an_option_in(bench, text):
    client, state = bench
    smuggled = state.folder.parent / "smuggled.ts"
    begun = client.post("/do/receive", data={"file": f"{NAME}.sigmf-meta", "type": text.format(smuggled)})
    work = state.workshop.wait(int(begun.headers["location"].rsplit("/", 1)[1]), timeout_s=120)
    assert work.state == "refused"
    assert not smuggled.exists()


def test_message_of_too_much_handed_in(bench):
    answer = bench[0].post("/recordings", content=b"", headers={"content-length": str(1 << 40)})
    assert answer.status_code == 413
    assert "at once" in answer.text
