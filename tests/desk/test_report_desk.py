"""``tepui report`` as it is typed: what stands on paper, that bytes repeat, what a friend does not get to know."""

import contextlib
import io
import json
import re
import zipfile
from pathlib import Path

import numpy as np
import pypdf
import pytest
import skrf
from PIL import Image

from tepui.cli.main import main
from tepui.report import pdf

DATA = Path(__file__).parent.parent / "data"
STATION = """\
# behind the mill, HI45kt
format = 1
[station]
call = "Q1ABC"
name = "Marl Bay"
locator = "HI45kt"   # and the hill
[channel]
centre = "1286 MHz"
width = "7 MHz"
fft = "8K"
[[stage]]
name = "modulator"
kind = "modulator"
level = "-11 dBm ± 1 dB"
[[stage]]
name = "amplifier"
kind = "amplifier"
[[far]]
call = "Q2DEF"
name = "Low Fen"
locator = "HI46ob"
"""
FINDING = {
    **{"kind": "result", "limit": None, "limit_sense": None, "limit_source": None, "margin": None, "remark": ""},
    **{"source": "the source [X] 1.2", "contributions": []},
}
SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="90" height="50"><desc>Level over drive at Marl Bay.</desc>'
    '<rect width="90" height="50" fill="#a93406"/></svg>'
)


def finding(about, key, value, unit, standing="measured", **more):
    ends = {"low": value, "high": value}
    if standing == "unknown" or isinstance(value, str | bool):
        ends = {"low": None, "high": None}
    elif standing == "measured":
        ends = {"low": value - 0.5, "high": value + 0.5}
    return {**FINDING, "about": about, "key": key, "value": value, "unit": unit, "standing": standing, **ends, **more}


def document(verb, findings, *, practice=False, utc="2026-01-31T20:15:00Z", files=(), tables=None):
    return {
        **{"tepui": "0.1.0", "schema": 1, "verb": verb, "station": "Marl Bay", "practice": practice, "utc": utc},
        "inputs": [{"path": "/home/somebody/on-air.sigmf-data", "bytes": 12, "sha256": "ab" * 32}],
        "findings": findings,
        "tables": tables or {},
        "files": list(files),
    }


LEVELS = document(
    "levels",
    [
        finding("point:after amplifier", "level_dbm", 36.3, "dBm", "computed", low=34.2, high=38.4),
        finding("stage:amplifier", "shoulder_worst_db", None, "dB", "unknown", remark="Read it with pads."),
        finding("station", "supply_short", True, "", "computed", kind="caution", remark="Fuse close to the source."),
    ],
)
DRIVE = document(
    "drive",
    [
        finding("set:s1", "drive_recommended_dbm", 10.8, "dBm", "computed"),
        finding("set:s1", "shoulder_worst_db", -31.0, "dB", limit=-32.0, limit_sense="at_most",
                limit_source="the operator's target", margin=-1.0),
    ],
    files=["drive.svg"],
    tables={"drive_readings": {"columns": [{"key": "setting_dbm", "unit": "dBm"}, {"key": "standing", "unit": ""}],
                               "rows": [[3.0, "=at_most"], [-9.25, "measured"]]}},
)  # fmt: skip
PATH = document("path", [finding("path:Q2DEF", "distance_m", 46260.0, "m")])


@pytest.fixture
def place(tmp_path, monkeypatch):
    """A folder with a station file, documents, a picture, and a log of some entries."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "station.toml").write_text(STATION, encoding="utf-8")
    for name, one in (("levels", LEVELS), ("drive", DRIVE), ("path", PATH)):
        (tmp_path / f"{name}.json").write_text(json.dumps(one))
    (tmp_path / "drive.svg").write_text(SVG)
    camera = Image.new("RGB", (40, 30), (10, 20, 30))
    told = camera.getexif()
    told[0x010E] = "HI45kt by the mill"  # image description
    camera.save(tmp_path / "box.jpg", exif=told)
    for words in (
        ["reading", "after amplifier", "power_dbm=36.7 dBm ± 0.5 dB", "--instrument", "head", "--pads", "40 dB"],
        ["contact", "Q2DEF", "--locator", "HI46ob", "--received", "P5", "--own-locator", "HI45kt"],
        ["photograph", "box.jpg", "--caption", "The filter at Marl Bay, lid off"],
        ["findings", "levels.json"],
        ["findings", "drive.json"],
        ["findings", "path.json"],
        ["station", "station.toml"],
    ):
        assert main(["log", "add", *words, "--utc", "2026-02-01T10:00:00Z"]) == 0
    return tmp_path


def text_of(data):
    pages = pypdf.PdfReader(io.BytesIO(data)).pages
    return re.sub(r"\s+", " ", " ".join(page.extract_text() for page in pages))


def report(*words, code=0):
    assert main(["report", "--log", "tepui-log.sqlite", *words]) == code


def alts(data):
    """Every alternative text in the tree of tags."""
    found, todo = [], [pypdf.PdfReader(io.BytesIO(data)).root_object["/StructTreeRoot"]]
    while todo:
        node = todo.pop()
        node = node.get_object() if hasattr(node, "get_object") else node
        if isinstance(node, pypdf.generic.ArrayObject):
            todo += list(node)
        elif isinstance(node, pypdf.generic.DictionaryObject):
            found += [str(node["/Alt"])] if "/Alt" in node else []
            todo += [node["/K"]] if "/K" in node else []
    return found


def test_law_the_report_holds_every_part(place):
    report("--out", "a.pdf")
    data = (place / "a.pdf").read_bytes()
    text = text_of(data)
    for title in (
        *("Settings card", "Block diagram with levels", "Frequency plan", "Levels, predicted and measured", "Filter"),
        *("Spectra and shoulders", "Drive", "Reception", "Path", "Exposure, supply and heat", "Cautions"),
        *("Open questions", "Every number, with its source", "Provenance", "Contacts", "Photographs"),
    ):
        assert title in text
    assert "The station Q1ABC Marl Bay as built" in text
    assert "36.3 ± 2.1 dBm" in text  # predicted at the amplifier, and read below
    assert "36.7 ± 0.5 dBm" in text
    assert "Limit at most \N{MINUS SIGN}32 dB (the operator's target): missed by 1.00 dB." in text
    assert "Read it with pads." in text
    assert "Fuse close to the source." in text
    assert "the source [X] 1.2" in text
    assert "ab" * 32 in text.replace(" ", "")
    assert "Nothing of this is in the record; 'tepui spectrum' brings it." in text
    assert "PRACTICE" not in text
    assert not re.search(r"\b(safe|legal|unsafe|illegal)\b", text)


# [ISO216] A4 is 210 mm by 297 mm; a point is 1/72 inch.
def test_published_paper_is_a4_and_every_picture_speaks(place):
    report("--out", "a.pdf", "--card", "c.pdf")
    for name, pages in (("a.pdf", None), ("c.pdf", 1)):
        data = (place / name).read_bytes()
        read = pypdf.PdfReader(io.BytesIO(data))
        assert {(round(float(page.mediabox.width) / 72 * 25.4), round(float(page.mediabox.height) / 72 * 25.4))
                for page in read.pages} == {(210, 297)}  # fmt: skip
        assert pages is None or len(read.pages) == pages
        assert read.root_object["/MarkInfo"]["/Marked"]
        assert read.root_object["/Lang"] == "en"
    assert sorted(alts((place / "a.pdf").read_bytes())) == [
        "Level over drive at Marl Bay.",
        "The filter at Marl Bay, lid off",
    ]


@pytest.mark.parametrize("stages", [20, 45])
def test_law_a_long_chain_still_has_one_card(place, stages):
    more = "".join(f'[[stage]]\nname = "stage {n}"\nkind = "amplifier"\nlevel = "1 dBm"\n' for n in range(stages))
    (place / "long.toml").write_text(STATION + more, encoding="utf-8")
    report("--station", "long.toml", "--card", "c.pdf")
    assert len(pypdf.PdfReader(place / "c.pdf").pages) == 1


def test_law_a_picture_without_words_is_refused_by_the_setter(place, monkeypatch):
    template = place / "report.typ"
    for name in ("parts.typ", "card.typ"):
        (place / name).write_text((pdf.TEMPLATES / name).read_text())
    template.write_text((pdf.TEMPLATES / "report.typ").read_text().replace(", alt: picture.alt", ""))
    monkeypatch.setattr(pdf, "TEMPLATES", place)
    report("--out", "a.pdf", code=3)
    assert not (place / "a.pdf").exists()


def test_law_the_same_record_gives_the_same_bytes(place, tmp_path_factory, monkeypatch):
    report("--out", "a.pdf", "--card", "a-card.pdf", "--package", "a.zip", "--tables", "a")
    other = tmp_path_factory.mktemp("elsewhere")
    monkeypatch.setenv("TMPDIR", str(other))
    monkeypatch.setenv("TZ", "Pacific/Auckland")
    report("--out", "b.pdf", "--card", "b-card.pdf", "--package", "b.zip", "--tables", "b")
    for first, second in (("a.pdf", "b.pdf"), ("a-card.pdf", "b-card.pdf"), ("a.zip", "b.zip")):
        assert (place / first).read_bytes() == (place / second).read_bytes()
    assert {path.name: path.read_bytes() for path in (place / "a").iterdir()} == {
        path.name: path.read_bytes() for path in (place / "b").iterdir()
    }
    assert main(["log", "add", "reading", "after amplifier", "power_dbm=36.8 dBm"]) == 0
    report("--out", "b.pdf")
    assert (place / "a.pdf").read_bytes() != (place / "b.pdf").read_bytes()


HOME = ("HI45kt", "HI46ob", "Marl Bay", "Low Fen", "46260", "46.26", "/home/somebody", "mill")


def every_text(data):
    """All that can be read from a package: names, texts, PDFs as text, pictures as bytes."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        for name in archive.namelist():
            held = archive.read(name)
            yield name, name
            yield name, text_of(held) + " ".join(alts(held)) if name.endswith(".pdf") else held.decode("latin-1")


def test_law_a_friend_gets_everything_but_the_place(place, read_json, capsys):
    report("--package", "friend.zip")
    told = dict(every_text((place / "friend.zip").read_bytes()))
    assert {"station.toml", "report.pdf", "settings-card.pdf", "manifest.json", "tables/findings.csv"} <= set(told)
    words = [word for word in HOME if word != "mill"]  # a word of a comment: nobody can know that it tells the place
    assert [(name, word) for name, text in told.items() for word in words if word in text] == []
    assert "Q1ABC" in told["station.toml"]
    assert 'level = "-11 dBm ± 1 dB"' in told["station.toml"].encode("latin-1").decode("utf-8")
    assert "10.8 dBm" in told["report.pdf"]
    report("--package", "all.zip", "--with-home")
    told = dict(every_text((place / "all.zip").read_bytes()))
    assert told["station.toml"].encode("latin-1").decode("utf-8") == STATION
    assert "Marl Bay" in told["report.pdf"]


def test_law_a_camera_tells_nothing(place):
    report("--package", "friend.zip")
    with zipfile.ZipFile(place / "friend.zip") as archive:
        (name,) = [name for name in archive.namelist() if name.startswith("photographs/")]
        with Image.open(io.BytesIO(archive.read(name))) as picture:
            assert dict(picture.getexif()) == {}
            assert picture.size == (40, 30)


def test_limit_a_position_that_cannot_be_cut_out_is_refused(place, capsys):
    (place / "odd.toml").write_text('format = 1\nstation = { call = "Q1ABC", locator = "HI45kt" }\n')
    report("--station", "odd.toml", "--package", "friend.zip", code=2)
    assert "in a way that cannot be cut out" in capsys.readouterr().err
    assert not (place / "friend.zip").exists()


def test_law_tables_are_written_as_they_are(place):
    report("--tables", "tables")
    names = {path.name for path in (place / "tables").iterdir()}
    assert {"findings.csv", "log-reading.csv", "log-contact.csv", "tables.json"} <= names
    (readings,) = [name for name in names if name.endswith("drive_readings.csv")]
    lines = (place / "tables" / readings).read_text().splitlines()
    assert lines == ["setting_dbm [dBm],standing", "3.0,'=at_most", "-9.25,measured"]  # no cell becomes a formula
    held = json.loads((place / "tables" / "tables.json").read_text())["tables"]
    assert held[readings.removesuffix(".csv")]["rows"] == [[3.0, "=at_most"], [-9.25, "measured"]]


def test_law_practice_is_stamped_on_every_page(place):
    (place / "p.json").write_text(json.dumps({**DRIVE, "practice": True}))
    assert main(["report", "p.json", "--out", "p.pdf"]) == 0
    for page in pypdf.PdfReader(place / "p.pdf").pages:
        assert "PRACTICE, nothing measured" in page.extract_text()


def test_law_a_later_document_takes_the_place_of_an_earlier_one(place, read_json, capsys):
    later = {**DRIVE, "utc": "2026-03-01T10:00:00Z", "findings": [{**DRIVE["findings"][0]}, {**DRIVE["findings"][1]}]}
    later["findings"][0] |= {"value": 9.7, "low": 9.7, "high": 9.7}
    (place / "later.json").write_text(json.dumps(later))
    capsys.readouterr()
    report("later.json", "--out", "a.pdf", "--json")
    document = read_json(capsys.readouterr().out)
    assert document["files"] == ["a.pdf"]
    assert [one["path"] for one in document["inputs"]] == ["later.json"]
    text = text_of((place / "a.pdf").read_bytes())
    assert "9.7 dBm" in text
    assert "10.8 dBm" not in text


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ([], "nothing to write was named"),
        (["--out", "a.txt"], "ends in .pdf"),
        (["--package", "a.pdf"], "ends in .zip"),
        (["--out", "a.pdf", "--card", "a.pdf"], "the same name"),
        (["--out", "a.pdf", "--with-home"], "give --package"),
        (["--out", "a.pdf"], "there is nothing to report"),
        (["none.json", "--out", "a.pdf"], "none.json is no file"),
        (["station.toml", "--out", "a.pdf"], "is not valid JSON"),
        (["--station", "drive.json", "--out", "a.pdf"], "is not TOML"),
        (["--log", "none.sqlite", "--out", "a.pdf"], "there is no log"),
        (["drive.json", "--out", "none/a.pdf"], "does not exist"),
    ],
)
def test_limit_bad_words_are_one_sentence_and_write_nothing(place, capsys, words, sentence):
    before = set(place.rglob("*"))
    capsys.readouterr()
    assert main(["report", *words]) == 2
    said = capsys.readouterr()
    assert said.out == ""
    assert sentence in said.err
    assert said.err.count("\n") == 1
    assert set(place.rglob("*")) == before


def test_limit_a_kept_picture_that_was_changed_is_told(place, capsys):
    (picture,) = (place / "tepui-log.files").glob("*.svg")
    picture.write_text(SVG.replace("90", "91"))
    report("--out", "a.pdf", code=2)
    assert "is not the file that was logged" in capsys.readouterr().err


def test_limit_a_picture_that_is_none_is_told(place, capsys):
    (place / "drive.svg").write_text("<svg")
    capsys.readouterr()
    assert main(["report", "drive.json", "--out", "b.pdf"]) == 2
    said = capsys.readouterr().err
    assert "drive.svg" in said
    assert said.count("\n") == 1
    assert not (place / "b.pdf").exists()


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """A log of a station that is built: its file with the trace it names, readings, checks, far reports, a filter."""
    folder = tmp_path_factory.mktemp("built")
    text = (DATA / "stations" / "slate_ridge.toml").read_text(encoding="utf-8")
    start, end = text.index('name = "filter"'), text.index('[[stage]]\nname = "driver"')
    text = text[:start] + 'name = "filter"\nkind = "filter"\nresponse = "filter.s2p"\n\n' + text[end:]
    (folder / "station.toml").write_text(text, encoding="utf-8")
    rows = [
        f"{mhz} -1.0 10 {-1.6 - (mhz - 1286) ** 2 / 400:.3f} -40 {-1.6:.3f} -40 -1.0 12" for mhz in range(1200, 1372, 4)
    ]
    (folder / "filter.s2p").write_text("! swept at HI45kt\n# MHz S DB R 50\n" + "\n".join(rows) + " ! by the mill\n")
    log = ["--log", str(folder / "log.sqlite")]
    stamp = ["--utc", "2026-02-01T10:00:00Z", *log]
    filter_words = ["--centre", "1286 MHz", "--width", "20 MHz", "--poles", "3", "--ripple", "0.1 dB"]
    held = io.StringIO()
    with contextlib.redirect_stdout(held):
        assert (
            main(["filter", *filter_words, "--rod", "8 mm", "--gap", "25 mm", "--plots", str(folder / "p"), "--json"])
            == 0
        )
    plain = {**json.loads(held.getvalue()), "utc": "2026-01-15T10:00:00Z"}
    (folder / "filter.json").write_text(json.dumps(plain))
    path = document(
        "path",
        [finding("path:Q2DEF", "receive_level_dbm", -94.0, "dBm", "computed", low=-100.0, high=-88.0)],
        utc="2026-01-01T10:00:00Z",
    )
    (folder / "path.json").write_text(json.dumps(path))
    head = ["--instrument", "head", "--pads", "40 dB"]
    for words in (
        ["log", "add", "station", str(folder / "station.toml"), *stamp],
        ["log", "add", "findings", str(folder / "filter.json"), *log],
        ["log", "add", "findings", str(folder / "path.json"), *log],
        ["log", "add", "reading", "after amplifier", "shown_dbm=-3.4 dBm ± 0.2 dB", *head, *stamp],
        ["log", "check", "mer_db=31 dB", "--month", "2026-01", *stamp],
        ["log", "check", "mer_db=31.2 dB", "--month", "2026-01", *stamp],
        ["log", "check", "mer_db=27 dB", "--month", "2026-02", *stamp],
        ["log", "add", "contact", "Q2DEF", "--received", "P3", "--far-level", "-97 dBm ± 2 dB", *stamp],
    ):  # fmt: skip
        assert main(words) == 0
    return folder


def test_law_the_station_and_its_log_are_enough_for_the_whole_report(built, monkeypatch):
    monkeypatch.chdir(built)
    assert main(["report", "--log", "log.sqlite", "--out", "a.pdf", "--package", "a.zip"]) == 0
    data = (built / "a.pdf").read_bytes()
    text = text_of(data)
    for words in (
        *("levels, worked out for this report", "Predicted now", "36.6 ± 0.2 dBm", "head, 40 dB", "carry on"),
        *("Measured trace", "43 points from 1200 to 1368 MHz; filter.s2p", "More than chance explains"),
        *("Q2DEF: level departure", "\N{MINUS SIGN}3", "Cut list", "Rods"),
    ):
        assert words in text, words
    spoken = alts(data)
    for words in ("Measured trace filter.s2p of filter", "Checks of the month", "1 readings of far stations", "1:1"):
        assert [one for one in spoken if words in one], words
    # The same record gives the same bytes, whatever the place and the time of day.
    monkeypatch.setenv("TZ", "Pacific/Auckland")
    assert main(["report", "--log", "log.sqlite", "--out", "b.pdf", "--package", "b.zip"]) == 0
    assert (built / "b.pdf").read_bytes() == data
    assert (built / "b.zip").read_bytes() == (built / "a.zip").read_bytes()


def test_tool_a_friend_gets_the_drawing_and_the_trace_without_the_place(built, monkeypatch):
    """scikit-rf reads the packed trace as it reads the measured one."""
    monkeypatch.chdir(built)
    assert main(["report", "--log", "log.sqlite", "--package", "friend.zip"]) == 0
    told = dict(every_text((built / "friend.zip").read_bytes()))
    assert [
        (name, word) for name, text in told.items() for word in ("HI45kt", "Slate Ridge", "mill") if word in text
    ] == []
    (drawing,) = [name for name in told if name.endswith("filter-drawing.svg")]
    assert drawing.startswith("drawings/")
    with zipfile.ZipFile(built / "friend.zip") as archive:
        (built / "packed.s2p").write_bytes(archive.read("traces/filter.s2p"))
    packed, first = (skrf.Network(str(built / name)) for name in ("packed.s2p", "filter.s2p"))
    assert np.array_equal(packed.s, first.s)
    assert np.array_equal(packed.f, first.f)


def test_message_of_a_reading_that_the_plan_does_not_reach(place, capsys):
    (place / "whole.toml").write_text(
        STATION.replace('fft = "8K"', 'fft = "8K"\nguard = "1/32"\nconstellation = "QPSK"\ncode_rate = "2/3"')
    )
    capsys.readouterr()
    assert main(["levels", "whole.toml", "--reading", "after amplifier = 36 dBm"]) == 2
    assert "because amplifier states no gain; give amplifier its gain" in capsys.readouterr().err
