"""``tepui receive`` from the command line: documents, files, and refusals that leave nothing behind."""

import json
from pathlib import Path

import numpy as np
import pytest

from captures import ECHO, missing_and_wrong, recording_path, true_packets
from nomenclature import nomenclature_tables
from tepui.cli.main import main

SHORT = "a7_8MHz_2K_16QAM12_GI4_10MSps"


def run(capsys, *words: str) -> tuple[int, str, str]:
    code = main(["receive", *words])
    seen = capsys.readouterr()
    return code, seen.out, seen.err


def test_law_document_stream_and_pictures(tmp_path, capsys, read_json, nomenclature):
    out, plots = tmp_path / "out.ts", tmp_path / "pictures"
    words = [str(recording_path(ECHO)), "--out", str(out), "--plots", str(plots), "--json"]
    words += ["--picture", str(tmp_path / "picture.png")]
    code, text, _ = run(capsys, *words)
    assert code == 0
    document = read_json(text)
    assert document["verb"] == "receive"
    assert document["practice"] is False
    assert {finding["key"] for finding in document["findings"]} <= set(nomenclature)
    for finding in document["findings"]:
        assert finding["unit"] == nomenclature[finding["key"]], finding["key"]
        assert finding["about"] == f"recording:{ECHO}"
    assert set(document["tables"]) <= set(nomenclature_tables())
    for table in document["tables"].values():
        for column in table["columns"]:
            assert column["unit"] == nomenclature[column["key"]], column
    packets = np.fromfile(out, np.uint8).reshape(-1, 188)
    assert missing_and_wrong(packets, true_packets(ECHO))[2] == 0
    assert len(document["inputs"]) == 2
    assert all(Path(name).is_file() for name in document["files"])
    assert not (tmp_path / "picture.png").exists()  # a general decoder finds no whole picture in a tenth of a second
    assert {path.name for path in plots.glob("*.svg")} == {
        "constellation.svg", "impulse_response.svg", "mer_by_carrier.svg", "mer_by_symbol.svg",
    }  # fmt: skip


def test_law_pictures_are_the_same_bytes_again(tmp_path, capsys):
    for place in ("one", "two"):
        run(capsys, str(recording_path(SHORT)), "--plots", str(tmp_path / place))
    for path in (tmp_path / "one").iterdir():
        assert path.read_bytes() == (tmp_path / "two" / path.name).read_bytes(), path.name


def test_law_several_recordings_in_one_document(tmp_path, capsys, read_json):
    out = tmp_path / "both.ts"
    path = str(recording_path(SHORT))
    code, text, _ = run(capsys, path, path, "--json", "--out", str(out))
    assert code == 0
    abouts = {finding["about"] for finding in read_json(text)["findings"]}
    assert abouts == {f"recording:{SHORT}", f"recording:{SHORT}-2"}
    assert out.stat().st_size == 2 * 188 * json.loads(text)["findings"][0]["value"] or out.stat().st_size > 0


def test_law_the_terminal_shows_what_was_found(capsys):
    code, text, err = run(capsys, str(recording_path(SHORT)))
    assert code == 0
    assert err == ""
    for words in ("DVB-T found", "16QAM", "1/4", "Service name", "Q1TPU Tableland TV", "Echoes", "Locks"):
        assert words in text
    assert max(map(len, text.splitlines())) <= 80


def test_law_raw_samples_with_options(tmp_path, capsys, read_json):
    data = Path(str(recording_path(SHORT)).replace("-meta", "-data"))
    raw = tmp_path / "samples.raw"
    raw.write_bytes(data.read_bytes() + b"\x01")  # one byte too many: used as far as it goes, with a remark
    words = [str(raw), "--type", "ci16", "--rate", "10 MS/s", "--frequency", "1275 MHz", "--width", "8 MHz", "--json"]
    code, text, _ = run(capsys, *words)
    assert code == 0
    first = read_json(text)["findings"][0]
    assert first["value"] is True
    assert "1 byte" in first["remark"]


@pytest.mark.parametrize(
    ("name", "content", "sentence"),
    [
        ("picture.png", b"\x89PNG\r\n\x1a\n" + bytes(2000), "is a PNG picture, not a recording"),
        ("empty.raw", b"", "empty"),
        ("plain.raw", bytes(range(256)) * 16, "--type"),
    ],
)
def test_message_what_cannot_be_received(tmp_path, capsys, name, content, sentence):
    path, out = tmp_path / name, tmp_path / "out.ts"
    path.write_bytes(content)
    code, text, err = run(capsys, str(path), "--out", str(out), "--json")
    assert code == 2
    assert text == ""
    assert sentence in err
    assert err.count("\n") == 1
    assert "Traceback" not in err
    assert not out.exists()


def test_message_a_folder_and_a_missing_file(tmp_path, capsys):
    assert run(capsys, str(tmp_path))[0] == 2
    assert run(capsys, str(tmp_path / "none.sigmf-meta"))[0] == 2
    code, text, err = run(capsys, str(recording_path(SHORT)), "--out", str(recording_path(SHORT)))
    assert (code, text) == (2, "")
    assert "tepui: " in err


def test_law_no_signal_leaves_with_zero(tmp_path, capsys, read_json):
    noise = np.random.default_rng(1).integers(0, 256, 400_000, dtype=np.uint8)
    path = tmp_path / "noise.raw"
    noise.tofile(path)
    code, text, _ = run(capsys, str(path), "--type", "cu8", "--rate", "2.4 MS/s", "--json")
    assert code == 0
    document = read_json(text)
    assert [(finding["key"], finding["value"]) for finding in document["findings"]] == [("dvbt_found", False)]
