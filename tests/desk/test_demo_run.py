"""The demo, whole: what the practice station put in comes out of its recording, and nothing foreign is touched."""

import json
import os

import numpy as np
import pytest

from tepui.chain.programme.packets import survey
from tepui.desk import demo
from tepui.ground.errors import InputError


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    """A demo of 0.3 s with --json, run where the default folder is made: (folder, stdout)."""
    here = tmp_path_factory.mktemp("bench")
    patch = pytest.MonkeyPatch()
    patch.chdir(here)
    patch.setattr(demo, "DURATION_S", 0.3)
    said: list[str] = []
    patch.setattr(demo.sys.stdout, "write", said.append)
    try:
        code = demo.run_demo(folder=None, as_json=True)
    finally:
        patch.undo()
    assert code == 0
    return here / demo.DEFAULT_FOLDER, "".join(said)


def _value(document, key):
    return next(finding["value"] for finding in document["findings"] if finding["key"] == key)


def test_law_what_was_put_in_is_what_is_found(shown):
    folder, text = shown
    document, put_in = json.loads(text), json.loads((folder / demo.OURS).read_text(encoding="utf-8"))
    assert _value(document, "dvbt_found") is True
    found = [_value(document, key) for key in ("fft_size", "guard_fraction", "constellation", "code_rate", "cell_id")]
    assert found == [8192, "1/16", "QPSK", "3/4", put_in["cell_id"]]
    assert _value(document, "channel_width_hz") == pytest.approx(7e6)
    assert _value(document, "frequency_offset_hz") == pytest.approx(put_in["frequency_offset_hz"], abs=1.0)
    assert _value(document, "sample_clock_ppm") == pytest.approx(put_in["sample_clock_ppm"], abs=0.05)
    assert _value(document, "service_name") == "Marl Bay TV"
    assert _value(document, "packets_uncorrectable") == 0


# Echoes and noise as put in; beyond them the amplifier costs some tenths, and deep carriers weigh more.
def test_law_the_mer_is_that_of_the_noise_the_echoes_and_the_amplifier(shown):
    folder, text = shown
    put_in = json.loads((folder / demo.OURS).read_text(encoding="utf-8"))
    frequency_hz = np.linspace(-3.328e6, 3.328e6, 6817)
    station = demo.MARL_BAY
    response = 1 + sum(
        10 ** (echo.level_db / 20) * np.exp(1j * (echo.phase_rad - 2 * np.pi * frequency_hz * echo.delay_s))
        for echo in station.path.echoes
    )
    spread = np.mean(np.abs(response) ** 2) * np.mean(1 / np.abs(response) ** 2)
    thermal = spread / 10 ** ((put_in["carrier_to_noise_db"] - 0.334) / 10)  # pilots take 0.334 dB from the data
    amplifier = 10 ** (-34.1 / 10)  # p = 3 at 8 dB of back-off: tests/data/practice/rapp_ofdm.csv
    expected_db = -10 * np.log10(thermal + amplifier)
    assert _value(json.loads(text), "mer_without_lines_db") == pytest.approx(expected_db, abs=0.3)


def test_law_the_echoes_are_those_of_the_path(shown):
    document = json.loads(shown[1])
    table = document["tables"]["echoes"]
    columns = [column["key"] for column in table["columns"]]
    rows = [dict(zip(columns, row, strict=True)) for row in table["rows"]]
    assert [row["delay_s"] for row in rows] == pytest.approx([0.0, 1.7e-6, 9.3e-6], abs=0.05e-6)
    assert [row["level_db"] for row in rows] == pytest.approx([0.0, -11.0, -18.0], abs=0.5)


def test_law_the_received_stream_is_an_unbroken_run_of_the_sent_one(shown):
    folder = shown[0]
    sent = np.fromfile(folder / "marl-bay-sent.ts", np.uint8).reshape(-1, 188)
    received = np.fromfile(folder / "marl-bay-received.ts", np.uint8).reshape(-1, 188)
    places = [at for at in range(len(sent) - len(received) + 1) if np.array_equal(sent[at], received[0])]
    assert any(np.array_equal(sent[at : at + len(received)], received) for at in places)
    assert len(received) > 0.9 * 0.3 * 7_684_256 / 1504
    assert survey(received).continuity_errors == {}


def test_law_practice_is_marked_everywhere(shown):
    folder, text = shown
    document = json.loads(text)
    assert document["practice"] is True
    assert document["verb"] == "demo"
    assert document["station"] == "Marl Bay"
    assert json.loads((folder / "marl-bay.sigmf-meta").read_text(encoding="utf-8"))["global"]["tepui:practice"] is True
    assert json.loads((folder / demo.OURS).read_text(encoding="utf-8"))["practice"] is True
    assert "practice" in folder.name


def test_law_every_named_file_is_there_and_none_is_half_written(shown, monkeypatch):
    folder, text = shown
    monkeypatch.chdir(folder.parent)
    files = json.loads(text)["files"]
    assert all(os.path.getsize(name) > 0 for name in files)
    assert {"constellation.png", "impulse_response.png"} <= {os.path.basename(name) for name in files}
    assert not list(folder.rglob("*.part"))
    assert (folder / "findings.json").read_text(encoding="utf-8") == text


@pytest.mark.parametrize("marker", [None, "{}", "no json", '{"practice": true, "station": "Elsewhere"}'])
def test_limit_a_folder_with_foreign_files_is_left_alone(tmp_path, marker):
    (tmp_path / "holiday.ts").write_bytes(b"mine")
    if marker is not None:
        (tmp_path / demo.OURS).write_text(marker, encoding="utf-8")
    with pytest.raises(InputError, match="holds files that no demo made; name another place with --folder"):
        demo.run_demo(folder=tmp_path, as_json=False)
    assert (tmp_path / "holiday.ts").read_bytes() == b"mine"
    assert len(list(tmp_path.iterdir())) == (1 if marker is None else 2)


def test_limit_a_file_in_the_place_of_the_folder_is_refused(tmp_path):
    (tmp_path / "taken").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="is a file and a folder is needed here"):
        demo.run_demo(folder=tmp_path / "taken", as_json=False)


def test_law_the_folder_of_an_earlier_demo_may_be_used_again(shown):
    demo._require_ours(shown[0])
