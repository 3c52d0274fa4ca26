"""The receiver library missing, or of another kind: one sentence with the cure, and practice goes on."""

import sys
import tomllib

import pytest

from tepui.cli.main import main
from tepui.instruments.library import PLACE, LibraryMissingError, load_library


def test_law_describing_practice_loads_no_library_here(capsys, read_json):
    assert main(["receivers", "--receiver", "practice", "--json"]) == 0
    document = read_json(capsys.readouterr().out)
    assert document["practice"] is True
    entry = next(one["value"] for one in document["findings"] if one["key"] == "instrument_entry")
    assert tomllib.loads(entry)["instrument"][0]["bits"] == 8
    assert "tepui.instruments.soapy" not in sys.modules  # the capture process alone would load it


def test_limit_the_library_is_missing(monkeypatch):
    monkeypatch.setenv(PLACE, "/no/such/library.so")
    with pytest.raises(LibraryMissingError, match=r"was not found at /no/such/library.so.*install"):
        load_library()


# The C library is a library, but not this one.
@pytest.mark.skipif(sys.platform != "linux", reason="names the C library as Linux does")
def test_limit_another_library_is_refused(monkeypatch):
    monkeypatch.setenv(PLACE, "libc.so.6")
    with pytest.raises(LibraryMissingError, match=r"is not SoapySDR 0.8"):
        load_library()


def test_limit_without_the_library_practice_is_still_listed(monkeypatch, capsys, read_json):
    monkeypatch.setenv(PLACE, "/no/such/library.so")
    assert main(["receivers", "--json"]) == 0
    seen = capsys.readouterr()
    assert [row[0] for row in read_json(seen.out)["tables"]["receivers"]["rows"]] == ["practice"]
    assert seen.err.count("\n") == 1
    assert "install" in seen.err


def test_limit_without_the_library_another_receiver_is_refused(monkeypatch, capsys, tmp_path):
    monkeypatch.setenv(PLACE, "/no/such/library.so")
    words = ["record", "--receiver", "generator", "--frequency", "100 MHz", "--out", str(tmp_path / "x")]
    assert main(words) == 2
    seen = capsys.readouterr()
    assert seen.out == ""
    assert "SoapySDR was not found" in seen.err
    assert list(tmp_path.iterdir()) == []
