"""What ``tepui bench`` is told: a station file, a folder, or nothing; the serving itself stands aside."""

import pytest

from tepui.cli.main import main
from tepui.web import serve as serving


@pytest.fixture
def told(monkeypatch):
    calls = []

    def serve(folder, **words):
        calls.append((folder, words["station"], words["practice"]))
        return 0

    monkeypatch.setattr(serving, "serve", serve)
    return calls


def test_limit_a_station_file_is_taken_with_the_folder_it_lies_in(told, tmp_path):
    (tmp_path / "hill.toml").write_text("format = 1\n")
    assert main(["bench", str(tmp_path / "hill.toml"), "--no-open"]) == 0
    assert told == [(tmp_path.resolve(), "hill.toml", False)]


def test_limit_a_folder_is_taken_with_its_usual_station_file(told, tmp_path):
    assert main(["bench", str(tmp_path), "--no-open"]) == 0
    assert told == [(tmp_path.resolve(), "station.toml", False)]


@pytest.mark.parametrize(
    ("name", "sentence"), [("nothing-there", "neither a station file nor a folder"), ("take.wav", "no station file")]
)
def test_limit_what_is_neither_is_refused_in_a_sentence(told, tmp_path, capsys, name, sentence):
    (tmp_path / "take.wav").write_bytes(b"RIFF")
    assert main(["bench", str(tmp_path / name), "--no-open"]) == 2
    assert sentence in capsys.readouterr().err
    assert told == []
