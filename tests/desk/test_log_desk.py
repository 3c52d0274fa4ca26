"""``tepui log`` as it is typed: every action, exit codes, what is written and what is not."""

import hashlib
import io
import json
import os
import re
import shutil
import subprocess
import sys
import tempfile
import wave
import zipfile
from pathlib import Path

import numpy as np
import pytest

from tepui.cli.main import main
from tepui.files.kept import store_path
from tepui.files.recordings import open_recording
from tepui.files.sigmf import DATA, META
from tepui.logbook.store import Log

CAPTURES = Path(__file__).parent.parent / "data" / "captures"
ADI = (
    "<CALL:5>Q2DEF<QSO_DATE:8>20260131<TIME_ON:4>1523<FREQ:4>1286<RST_SENT:2>P4<APP_X_Y:2>hi<EOR>"
    "<CALL:5>Q3GHJ<QSO_DATE:8>20260201<TIME_ON:6>061500<EOR>"
)
PNG = b"\x89PNG\r\n\x1a\n" + bytes(50)


@pytest.fixture
def run(tmp_path, monkeypatch, capsys, read_json):
    """Runs ``tepui log WORDS`` in a folder of its own; the document, or the refusal."""
    monkeypatch.chdir(tmp_path)

    def call(*words, code=0):
        found = main(["log", *words, "--json"])
        said = capsys.readouterr()
        assert found == code, said.err
        if code:
            assert said.out == ""
            assert said.err.count("\n") == 1
            assert said.err.endswith(".\n")
            return said.err
        return read_json(said.out)

    return call


def says(document):
    return [row[-1] for row in document["tables"]["log_entries"]["rows"]]


def recording(folder, name="on-air", practice=False):
    samples = np.random.default_rng(1).integers(-900, 900, 4000).astype("<i2")
    (folder / (name + DATA)).write_bytes(samples.tobytes())
    about = {"core:datatype": "ci16_le", "core:sample_rate": 8e6, "core:version": "1.0.0", "tepui:practice": practice}
    captures = [{"core:sample_start": 0, "core:frequency": 1.286e9, "core:datetime": "2026-01-31T20:15:00Z"}]
    document = {"global": about | {"other:field": 7}, "captures": captures, "annotations": []}
    (folder / (name + META)).write_text(json.dumps(document))
    return folder / (name + META)


@pytest.fixture
def kept(run, tmp_path):
    """A log with an entry of every kind."""
    run("add", "note", "first ± note", "--who", "Q1ABC")
    run("add", "reading", "after amplifier", "power_dbm=36.7 dBm ± 0.5 dB", "--pads", "40 dB", "--instrument", "head")
    run("add", "recording", str(recording(tmp_path)))
    run("add", "contact", "q2def", "--frequency", "1286 MHz", "--sent", "P4", "--direction", "sent")
    (tmp_path / "a.png").write_bytes(PNG)
    run("add", "photograph", "a.png", "--caption", "the filter, lid off")
    (tmp_path / "station.toml").write_text('format = 1\n[station]\ncall = "Q1ABC"\nname = "Marl Bay"\n')
    run("add", "station", "station.toml")
    run("check", "mer_db=31.2 dB", "--month", "2026-01")
    (tmp_path / "a.adi").write_text(ADI)
    run("import", "a.adi")
    return tmp_path / "tepui-log.sqlite"


def test_law_every_kind_is_listed(run, kept):
    document = run("list")
    assert [row[1] for row in document["tables"]["log_entries"]["rows"]] == [
        *("note", "reading", "recording", "contact", "photograph", "station", "check", "contact", "contact"),
    ]
    assert says(document)[1] == "after amplifier: Power 36.7 (36.2 to 37.2) dBm"
    assert says(document)[3] == "Q2DEF, 1286 MHz, sent P4, one way, seen there only"
    assert says(run("list", "contact"))[1] == "Q2DEF, 1286 MHz, sent P4, both ways"


def test_law_edit_undo_withdraw_and_show(run, kept):
    assert "36.9 dBm" in says(run("edit", "2", "value=36.9 dBm", "note=again"))[0]
    assert "36.7 (36.2" in says(run("undo", "2"))[0]
    assert run("edit", "2", "--utc", "2026-02-01T00:00:00Z")["tables"]["log_entries"]["rows"][0][2][:10] == "2026-02-01"
    run("undo", "2")
    run("withdraw", "1")
    assert len(says(run("list"))) == 8
    assert len(says(run("list", "--all"))) == 9
    rows = run("show", "2")["tables"]["log_revisions"]["rows"]
    assert {(row[1], row[2]) for row in rows} == {(1, "add"), (2, "edit"), (3, "undo"), (4, "edit"), (5, "undo")}
    assert [row[-1] for row in rows if row[-2] == "pads_db"] == [40.0] * 5


def test_law_a_recording_is_kept_as_sigmf_under_its_hash(run, kept, tmp_path):
    digest = hashlib.sha256((tmp_path / ("on-air" + DATA)).read_bytes()).hexdigest()
    held = store_path(kept) / (digest + META)
    again, first = open_recording(held), open_recording(tmp_path / ("on-air" + META))
    assert np.array_equal(again.source.read(0, 2000), first.source.read(0, 2000))
    assert (again.centre_hz, again.sample_rate_hz, again.utc) == (1.286e9, 8e6, "2026-01-31T20:15:00Z")
    assert json.loads(held.read_text())["global"]["other:field"] == 7
    assert run("list", "recording")["tables"]["log_entries"]["rows"][0][2] == "2026-01-31T20:15:00Z"
    run("add", "recording", str(recording(tmp_path)))
    assert len(says(run("list", "recording"))) == 1


@pytest.mark.parametrize("width", [1, 2, 3, 4])
def test_law_a_wav_keeps_every_sample(run, tmp_path, width):
    codes = np.random.default_rng(2).integers(0, 256, 600 * width, dtype=np.uint8)
    with wave.open(str(tmp_path / "a.wav"), "wb") as file:
        file.setnchannels(2)
        file.setsampwidth(width)
        file.setframerate(2_400_000)
        file.writeframes(codes.tobytes())
    with (tmp_path / "a.wav").open("ab") as handle:
        handle.write(b"LIST\x04\x00\x00\x00abcd")
    run("add", "recording", "a.wav", "--frequency", "436 MHz")
    (held,) = (tmp_path / "tepui-log.files").glob("*" + META)
    kept, first = open_recording(held), open_recording(tmp_path / "a.wav")
    assert kept.n_samples == first.n_samples == 300
    assert np.array_equal(kept.source.read(0, 300), first.source.read(0, 300))
    assert kept.centre_hz == 436e6


def test_law_practice_is_marked(run, tmp_path):
    assert run("add", "recording", str(recording(tmp_path, practice=True)))["practice"] is True
    assert run("list")["practice"] is True


def test_law_an_archive_brings_all_of_it_to_another_log(run, kept, tmp_path):
    run("edit", "2", "value=36.9 dBm")
    run("withdraw", "1")
    run("export", "all.zip")
    run("export", "again.zip")
    assert (tmp_path / "all.zip").read_bytes() == (tmp_path / "again.zip").read_bytes()
    (tmp_path / "other").mkdir()
    other = tmp_path / "other" / "b.sqlite"
    run("import", "all.zip", "--log", str(other))
    with Log(kept) as first, Log(other) as second:
        assert [one for _, one in first.all_revisions()] == [one for _, one in second.all_revisions()]
    assert {path.name: path.read_bytes() for path in store_path(kept).iterdir()} == {
        path.name: path.read_bytes() for path in store_path(other).iterdir()
    }
    run("export", "third.zip", "--log", str(other))
    assert (tmp_path / "third.zip").read_bytes() == (tmp_path / "all.zip").read_bytes()
    run("import", "all.zip", "--log", str(other))
    assert len(says(run("list", "--all", "--log", str(other)))) == 9
    with zipfile.ZipFile(tmp_path / "all.zip") as archive:
        assert archive.testzip() is None
        names = set(archive.namelist())
    assert {"manifest.json", "log.jsonl"} < names
    assert sum(name.endswith((META, DATA)) for name in names) == 2


def rewritten(path, change):
    """The archive with its members passed through ``change``, a function of name -> (name, bytes) pairs."""
    with zipfile.ZipFile(path) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w") as archive:
        for told, data in change(members):
            archive.writestr(told, data)
    return held.getvalue()


def _with_manifest(members, **entry):
    """The members, and the manifest made to list one more."""
    manifest = json.loads(members["manifest.json"])
    manifest["members"].append(entry)
    return [("manifest.json", json.dumps(manifest)), *((n, d) for n, d in members.items() if n != "manifest.json")]


def _listed(members, name, data):
    digest = hashlib.sha256(data).hexdigest()
    return [*_with_manifest(members, name=name, bytes=len(data), sha256=digest), (name, data)]


def _consistent(members):
    """A line changed, and the manifest made to agree with it."""
    lines = members["log.jsonl"].replace(b"36.7", b"36.8")
    manifest = json.loads(members["manifest.json"])
    for one in manifest["members"]:
        if one["name"] == "log.jsonl":
            one["sha256"] = hashlib.sha256(lines).hexdigest()
    rest = [(n, d) for n, d in members.items() if n not in ("manifest.json", "log.jsonl")]
    return [("manifest.json", json.dumps(manifest)), ("log.jsonl", lines), *rest]


def _link(members):
    told = zipfile.ZipInfo("files/" + "0" * 64)
    told.external_attr = 0o120777 << 16
    target = b"/etc/hostname"
    listed = _with_manifest(members, name=told.filename, bytes=len(target), sha256=hashlib.sha256(target).hexdigest())
    return [*listed, (told, target)]


def _replaced(members, old, new):
    return [(name, data.replace(old, new)) for name, data in members.items()]


UNNAMED = "files/" + hashlib.sha256(b"x").hexdigest()
TRICKS = {
    "a letter of a line": (
        lambda m: [(n, d.replace(b"36.7", b"36.8")) for n, d in m.items()],
        "does not have the sha256|not as long",
    ),
    "a line and the manifest": (_consistent, "does not have the checksum"),
    "samples": (lambda m: [(n, d[::-1] if n.endswith(DATA) else d) for n, d in m.items()], "does not have the sha256"),
    "a member missing": (lambda m: [(n, d) for n, d in m.items() if not n.endswith(META)], "does not hold what"),
    "a member more": (lambda m: [*m.items(), ("files/" + "0" * 64, b"x")], "does not hold what"),
    "a member more, listed": (
        lambda m: _listed(m, "files/" + hashlib.sha256(b"x").hexdigest(), b"x"),
        "which no entry names",
    ),
    "no manifest": (lambda m: [(n, d) for n, d in m.items() if n != "manifest.json"], "without a manifest.json"),
    "another format": (
        lambda m: [(n, d.replace(b'archive": 1', b'archive": 2')) for n, d in m.items()],
        "archive format 2",
    ),
    "the way up": (lambda m: _listed(m, "../../outside.txt", b"x"), "a name no archive"),
    "the way up from inside": (lambda m: _listed(m, "files/../../outside.txt", b"x"), "a name no archive"),
    "from the root": (lambda m: _listed(m, "/tmp/outside.txt", b"x"), "a name no archive"),
    "another drive": (lambda m: _listed(m, "C:\\outside.txt", b"x"), "a name no archive"),
    "backslashes": (lambda m: _listed(m, "files\\..\\..\\outside.txt", b"x"), "a name no archive"),
    "a null": (lambda m: _listed(m, "files/" + "0" * 64 + "\0.txt", b"x"), "a name no archive"),
    "a link": (_link, "as a link"),
}


@pytest.mark.parametrize("trick", TRICKS)
@pytest.mark.filterwarnings("ignore:Duplicate name")
def test_law_tampering_and_paths_that_lead_out_are_refused(run, kept, tmp_path, trick):
    run("export", "all.zip")
    (tmp_path / "bad.zip").write_bytes(rewritten(tmp_path / "all.zip", TRICKS[trick][0]))
    (tmp_path / "other").mkdir()
    before = set(tmp_path.rglob("*"))
    sentence = run("import", "bad.zip", "--log", "other/b.sqlite", code=2)
    assert re.search(TRICKS[trick][1], sentence)
    assert set(tmp_path.rglob("*")) == before


def test_law_a_member_twice_is_refused(run, kept, tmp_path):
    run("export", "all.zip")
    with pytest.warns(UserWarning, match="Duplicate"), zipfile.ZipFile(tmp_path / "all.zip", "a") as archive:
        archive.writestr("log.jsonl", b"")
    assert "does not hold what" in run("import", "all.zip", "--log", "b.sqlite", code=2)


def test_limit_a_bomb_is_not_unpacked(run, tmp_path):
    held = io.BytesIO()
    with zipfile.ZipFile(held, "w", zipfile.ZIP_DEFLATED) as archive:
        lines = b"0" * (64 << 20)
        digest = hashlib.sha256(b"").hexdigest()
        member = {"name": "log.jsonl", "bytes": 10, "sha256": digest}
        archive.writestr("manifest.json", json.dumps({"tepui_archive": 1, "members": [member]}))
        archive.writestr("log.jsonl", lines)
    (tmp_path / "bomb.zip").write_bytes(held.getvalue())
    assert "is not as long as" in run("import", "bomb.zip", code=2)


def test_law_contacts_go_out_and_come_in_word_for_word(run, kept, tmp_path):
    run("export", "out.adi")
    text = (tmp_path / "out.adi").read_text()
    assert "<APP_X_Y:2>hi" in text
    assert "<APP_TEPUI_DIRECTION:4>sent" in text
    run("import", "out.adi")
    assert len(says(run("list", "contact"))) == 3
    run("import", "out.adi", "--log", "b.sqlite")
    run("export", "b.adi", "--log", "b.sqlite")
    assert (tmp_path / "b.adi").read_text().split("<EOH>")[1] == text.split("<EOH>")[1]


def test_law_the_same_words_twice_are_two_contacts_however_often_the_file_comes(run, tmp_path):
    (tmp_path / "a.adi").write_text(ADI + ADI)
    for _ in range(2):
        run("import", "a.adi")
        assert len(says(run("list"))) == 4


def test_law_a_damaged_log_comes_back_from_its_copy(run, kept, tmp_path):
    before = says(run("list"))
    for name in ("-wal", "-shm"):
        kept.with_name(kept.name + name).unlink(missing_ok=True)
    kept.write_bytes(b"\xff" * 4096 + kept.read_bytes()[4096:])
    sentence = run("list", code=2)
    assert "tepui log import tepui-log.copy.jsonl --log tepui-log.sqlite" in sentence
    shutil.move(kept, tmp_path / "damaged.sqlite")
    run("import", "tepui-log.copy.jsonl", "--log", "tepui-log.sqlite")
    assert says(run("list")) == before


def test_law_a_copy_with_a_damaged_line_gives_the_others(run, kept, tmp_path):
    copy = tmp_path / "tepui-log.copy.jsonl"
    lines = copy.read_bytes().splitlines(keepends=True)
    copy.write_bytes(b"".join([lines[0], lines[1].replace(b"36.7", b"36.8"), *lines[2:]]))
    shutil.move(kept, tmp_path / "damaged.sqlite")
    run("import", "tepui-log.copy.jsonl")
    assert len(says(run("list"))) == 8


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["add", "reading", "after amplifier", "power_dbm=36.7"], "has no unit"),
        (["add", "reading", "after amplifier", "36.7 dBm"], "must be KEY=VALUE"),
        (["add", "reading", " ", "power_dbm=36.7 dBm"], "needs its point"),
        (["add", "contact", "Q2DEF", "--sent", "P9"], "must be P0 to P5, not 'P9'"),
        (["add", "contact", "Q2DEF", "--utc", "yesterday"], "--utc must be ISO 8601"),
        (["add", "note", "x", "--utc", "2026-01-31T20:15:00+02:00"], "--utc must be ISO 8601"),
        (["add", "recording", "none.wav"], "none.wav"),
        (["add", "photograph", "a.adi", "--caption", "x"], "is no JPEG, PNG or WebP"),
        (["add", "findings", "a.adi"], "is not valid JSON"),
        (["add", "station", "a.adi"], "is not TOML"),
        (["edit", "2", "colour=red"], "has no field 'colour'"),
        (["edit", "2", "value=36 W"], "not W"),
        (["edit", "2", "key=mer_db"], "withdraw the entry and add it anew"),
        (["edit", "2"], "nothing to change was given"),
        (["show", "2", "--utc=2026-01-31T20:15:00Z"], "is not known here"),
        (["edit", "99", "note=x"], "there is no entry 99"),
        (["export", "all.txt"], "must end in .zip"),
        (["export", "none/all.zip"], "does not exist"),
        (["export", "tepui-log.sqlite"], "is an input and would be overwritten"),
        (["import", "none.zip"], "is no file"),
        (["import", "a.png"], "must end in .zip"),
        (["trend", "snr_db"], "was never checked"),
        (["check", "mer_db=31 dB", "--month", "2026-13"], "--month must be YYYY-MM"),
        (["list", "poems"], "invalid choice"),
        (["sing"], "invalid choice"),
        ([], "required"),
    ],
)
def test_limit_bad_words_are_one_sentence_and_write_nothing(run, kept, words, sentence):
    with Log(kept) as log:
        before = log.all_revisions()
    assert sentence in run(*words, code=2)
    with Log(kept) as log:
        assert log.all_revisions() == before


def test_limit_reading_begins_no_log(run, tmp_path):
    assert "'tepui log add' begins one" in run("list", code=2)
    assert list(tmp_path.iterdir()) == []


def test_law_checks_and_their_trend(run):
    for value in ("31.2", "31.0", "31.4"):
        run("check", f"mer_db={value} dB", "--month", "2026-01")
    run("check", "mer_db=29.0 dB", "--month", "2026-05")
    document = run("trend")
    moved = {(one["about"], one["key"]): one for one in document["findings"]}
    assert moved["set:mer_db", "change_beyond_repeatability"]["value"] is True
    assert document["tables"]["trend"]["rows"][0][:5] == ["2026-01", "mer_db", pytest.approx(31.2), "dB", 3]


FULL_DISK = """
import io, resource, signal, sys
from tepui.cli.main import main
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[1]), int(sys.argv[1])))
sys.exit(main(sys.argv[2:]))
"""


# A limit on the size of a file answers as a full disk does, in the midst of the writing.
@pytest.mark.skipif(os.name == "nt", reason="needs a limit on the size of files")
@pytest.mark.parametrize("what", ["recording", "photograph", "findings", "archive"])
def test_law_a_full_disk_refuses_files_whole_and_leaves_no_halves(run, kept, tmp_path, what):
    run("export", "all.zip")
    before = says(run("list", "--all"))
    (tmp_path / "b.png").write_bytes(PNG + bytes(400_000))
    samples = np.random.default_rng(9).integers(-900, 900, 400_000).astype("<i2")
    (tmp_path / ("long" + DATA)).write_bytes(samples.tobytes())
    about = {"core:datatype": "ci16_le", "core:sample_rate": 8e6, "core:version": "1.0.0"}
    document = {"global": about, "captures": [{"core:sample_start": 0}], "annotations": []}
    (tmp_path / ("long" + META)).write_text(json.dumps(document))
    words = {
        "recording": ["log", "add", "recording", "long" + META],
        "photograph": ["log", "add", "photograph", "b.png", "--caption", "the box"],
        "findings": ["log", "add", "findings", "doc.json"],
        "archive": ["log", "import", "big.zip"],
    }[what]
    if what == "findings":
        plain = {"tepui": "0", "schema": 1, "verb": "receive", "station": None, "practice": False, "inputs": []}
        plain |= {"utc": "2026-01-31T20:15:00Z", "findings": [], "tables": {}, "files": ["a.png", "b.png"]}
        (tmp_path / "doc.json").write_text(json.dumps(plain))
    if what == "archive":
        run("add", "photograph", "b.png", "--caption", "the box", "--log", "big.sqlite")
        run("export", "big.zip", "--log", "big.sqlite")
    store = store_path(kept)
    held = {path.name: path.read_bytes() for path in store.iterdir()}
    done = subprocess.run(
        [sys.executable, "-c", FULL_DISK, "300000", *words], capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 3
    assert done.stdout == ""
    assert re.fullmatch(r"tepui: .* could not be written \(File too large\); make room or .*\.\n", done.stderr)
    assert {path.name: path.read_bytes() for path in store.iterdir()} == held
    assert says(run("list", "--all")) == before


READ_ONLY = """
import contextlib, io, os, sys, tempfile
from tepui.cli.main import main
words, log = sys.argv[1:-1], sys.argv[-1]
with tempfile.TemporaryDirectory() as elsewhere, contextlib.redirect_stdout(io.StringIO()):  # loads what is needed
    assert main(["log", "add", "note", "first", "--log", elsewhere + "/a.sqlite"]) == 0
    assert main([*words, "--log", elsewhere + "/a.sqlite"]) == 0
if os.getuid() == 0:  # root may write anywhere
    os.setegid(65534)
    os.seteuid(65534)
sys.exit(main([*words, "--log", log]))
"""


@pytest.mark.skipif(os.name == "nt", reason="needs rights on folders")
@pytest.mark.parametrize("what", ["note", "archive", "recording", "list"])
def test_law_a_folder_that_cannot_be_written_refuses_in_a_sentence(run, kept, tmp_path, what):
    run("export", "all.zip")
    words = {
        "note": ["log", "add", "note", "x"],
        "archive": ["log", "import", str(tmp_path / "all.zip")],
        "recording": ["log", "add", "recording", str(tmp_path / ("on-air" + META))],
        "list": ["log", "list"],
    }[what]
    with tempfile.TemporaryDirectory() as name:  # a folder that others may enter
        folder = Path(name)
        shutil.copy(kept, folder)
        shutil.copy(kept.with_name("tepui-log.copy.jsonl"), folder)
        for path in (tmp_path / "all.zip", *tmp_path.glob("on-air*")):
            shutil.copy(path, folder)
        words = [word.replace(str(tmp_path), str(folder)) for word in words]
        for path in folder.iterdir():
            path.chmod(0o444)
        folder.chmod(0o555)
        call = [sys.executable, "-c", READ_ONLY, *words, str(folder / kept.name)]
        done = subprocess.run(call, capture_output=True, text=True, check=False, timeout=120)
        folder.chmod(0o755)
        assert "tepui-log.files" not in [path.name for path in folder.iterdir()]
    if what == "list":
        assert done.returncode == 0
        return
    assert done.returncode == 2
    assert done.stdout == ""
    assert "cannot be written here" in done.stderr
    assert done.stderr.count("\n") == 1
