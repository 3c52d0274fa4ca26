"""``tepui spectrum`` from the command line: documents, pictures, and refusals that leave nothing behind."""

from pathlib import Path

import numpy as np
import pytest

from captures import recording_path
from nomenclature import nomenclature_tables
from tepui.cli.main import main

DRIVE = "a4_drive_7MHz_2K_64QAM23_GI8_6"


def run(capsys, *words: str) -> tuple[int, str, str]:
    code = main(["spectrum", *words])
    seen = capsys.readouterr()
    return code, seen.out, seen.err


def test_law_document_and_pictures(tmp_path, capsys, read_json, nomenclature):
    plots = tmp_path / "pictures"
    code, text, _ = run(capsys, str(recording_path(DRIVE)), "--plots", str(plots), "--json")
    assert code == 0
    document = read_json(text)
    assert document["verb"] == "spectrum"
    assert document["practice"] is False
    assert {finding["about"] for finding in document["findings"]} == {f"recording:{DRIVE}"}
    assert {finding["key"] for finding in document["findings"]} <= set(nomenclature)
    assert set(document["tables"]) == {"lines", "spectrum"} <= set(nomenclature_tables())
    assert 500 < len(document["tables"]["spectrum"]["rows"]) <= 2000
    assert len(text) < 200_000
    assert len(document["inputs"]) == 2
    assert {path.name for path in plots.iterdir()} == {"spectrum.svg", "spectrum.png", "ccdf.svg", "ccdf.png"}
    assert {Path(name).name for name in document["files"]} == {path.name for path in plots.iterdir()}


def test_law_the_terminal_shows_what_was_found(capsys):
    code, text, err = run(capsys, str(recording_path(DRIVE)))
    assert (code, err) == (0, "")
    for words in ("Shoulder worst", "Shoulder worst shown", "99 % occupied width", "Crest at 0.01 %", "Mask margin"):
        assert words in text
    assert "Level total" not in text  # the long table is for machines
    assert max(map(len, text.splitlines())) <= 80


def test_law_what_practice_made_is_marked(tmp_path, capsys, read_json):
    meta = recording_path(DRIVE).read_text(encoding="utf-8")
    made = tmp_path / "made.sigmf-meta"
    marked = meta.replace('"core:frequency"', '"tepui:practice": true, "core:frequency"', 1)
    made.write_text(marked, encoding="utf-8")
    made.with_suffix(".sigmf-data").write_bytes(recording_path(DRIVE).with_suffix(".sigmf-data").read_bytes())
    plots = tmp_path / "pictures"
    _, text, _ = run(capsys, str(made), "--json", "--plots", str(plots))
    assert read_json(text)["practice"] is True
    assert "practice" in (plots / "spectrum.svg").read_text(encoding="utf-8")
    assert run(capsys, str(made))[1].startswith("PRACTICE")


def test_law_raw_samples_several_and_the_mask(tmp_path, capsys, read_json):
    data = recording_path(DRIVE).with_suffix(".sigmf-data")
    raw = tmp_path / "samples.raw"
    raw.write_bytes(data.read_bytes())
    other = tmp_path / "later" / "samples.raw"
    other.parent.mkdir()
    other.write_bytes(data.read_bytes()[4:])
    words = ["--type", "ci16", "--rate", "16 MS/s", "--frequency", "1275 MHz", "--width", "7 MHz"]
    code, text, _ = run(capsys, str(raw), str(other), str(raw), *words, "--json")
    assert code == 0
    findings = read_json(text)["findings"]
    assert {finding["about"] for finding in findings} == {"recording:samples", "recording:samples-2"}
    strict = [str(raw), *words, "--mask", "EN300744_critical", "--strict"]
    assert run(capsys, *strict)[0] == 1  # -26 dB shoulders are far above it, and the floor is not what shows
    assert run(capsys, *strict[:-1])[0] == 0


@pytest.mark.parametrize(
    ("name", "content", "sentence"),
    [
        ("picture.png", b"\x89PNG\r\n\x1a\n" + bytes(2000), "is a PNG picture, not a recording"),
        ("empty.raw", b"", "empty"),
        ("plain.raw", bytes(range(256)) * 16, "--type"),
    ],
)
def test_message_what_cannot_be_measured(tmp_path, capsys, name, content, sentence):
    path, plots = tmp_path / name, tmp_path / "pictures"
    path.write_bytes(content)
    code, text, err = run(capsys, str(path), "--plots", str(plots), "--json")
    assert (code, text) == (2, "")
    assert sentence in err
    assert err.count("\n") == 1
    assert not plots.exists()


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--mask", "nonsense"], "There is no mask nonsense for a channel of 7 MHz"),
        (["--centre", "1275 MHz"], "--width"),
        (["--centre", "1300 MHz", "--width", "7 MHz"], "does not lie wholly within"),
        (["--width", "90 MHz"], "too low for the channel told"),
        (["--centre", "here"], "--centre"),
    ],
)
def test_message_options_that_do_not_fit(tmp_path, capsys, words, sentence):
    plots = tmp_path / "pictures"
    code, text, err = run(capsys, str(recording_path(DRIVE)), *words, "--plots", str(plots))
    assert (code, text) == (2, "")
    assert sentence in err
    assert err.count("\n") == 1
    assert not plots.exists()


def test_law_no_signal_leaves_with_zero(tmp_path, capsys, read_json):
    noise = np.random.default_rng(1).integers(0, 256, 400_000, dtype=np.uint8)
    path = tmp_path / "noise.raw"
    noise.tofile(path)
    code, text, _ = run(capsys, str(path), "--type", "cu8", "--rate", "2.4 MS/s", "--json")
    assert code == 0
    assert {finding["standing"] for finding in read_json(text)["findings"]} == {"unknown"}
