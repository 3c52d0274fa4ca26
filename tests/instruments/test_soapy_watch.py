"""An edge watch and a recording over the whole path from a driver module, against what the module sends."""

import numpy as np
import pytest
from generator_fixtures import generator, module_folder  # noqa: F401 - fixtures

from tepui.cli.main import main
from tepui.files.sigmf import open_sigmf

pytestmark = pytest.mark.usefixtures("generator")
CHANNEL = "driver=generator,signal=channel,bits=12"


# The module sends carriers of one level within 3.328 MHz of 100 MHz and carriers 35 dB lower outside (SHOULDER).
def test_limit_a_watch_reads_the_shoulders_sent(capsys, read_json):
    words = ["--receiver", CHANNEL, "--centre", "100 MHz", "--width", "7 MHz", "--for", "3 s", "--json"]
    assert main(["watch", *words]) == 0
    document = read_json(capsys.readouterr().out)
    assert document["practice"] is False
    found = {one["key"]: one for one in document["findings"]}
    for side in ("lower", "upper"):
        shown = found[f"shoulder_{side}_shown_db"]
        assert shown["low"] <= -35 <= shown["high"]
        assert shown["value"] == pytest.approx(-35, abs=0.3)
        assert found[f"shoulder_{side}_received_db"]["standing"] == "at_most"  # these carriers have no guard interval
    assert found["centre_frequency_hz"]["low"] <= 100e6 <= found["centre_frequency_hz"]["high"]


def test_limit_a_list_is_recorded_and_the_tone_is_where_it_is(tmp_path, capsys, read_json):
    table = tmp_path / "list.csv"
    table.write_text("frequency_hz,frontend_gain_db,duration_s\n100e6,0,0.05\n100.5e6,6,0.05\n", encoding="utf-8")
    words = ["--receiver", "driver=generator", "--rate", "1 MS/s", "--front", "LNA", "--list", str(table)]
    assert main(["record", *words, "--out", str(tmp_path / "set"), "--json"]) == 0
    document = read_json(capsys.readouterr().out)
    assert document["practice"] is False
    metas = [name for name in document["files"] if name.endswith("meta")]
    for name, gain_db in zip(metas, (0, 6), strict=True):
        recording = open_sigmf(tmp_path / "set" / name.rsplit("/", 1)[-1])
        samples = recording.read(0, 1 << 20)
        peak = np.fft.fftfreq(len(samples), 1e-6)[int(np.argmax(np.abs(np.fft.fft(samples))))]
        assert recording.centre_hz + peak == pytest.approx(100.25e6, abs=50)  # TONE_HZ
        assert np.sqrt(np.mean(np.abs(samples) ** 2)) == pytest.approx(0.25 * 10 ** (gain_db / 20), rel=0.01)
        assert recording.stretches[0].settings == {"frontend_gain_db": gain_db, "terminated": False}


# The module itself stops giving samples after 150 000, as an unplugged receiver does.
@pytest.mark.parametrize("how", ["fails=1", "fails=0"])
def test_limit_a_driver_that_stops_leaves_a_shorter_recording(tmp_path, capsys, how):
    receiver = f"driver=generator,stop_after=150000,{how}"
    words = ["--receiver", receiver, "--rate", "1 MS/s", "--frequency", "100 MHz", "--for", "5 s"]
    assert main(["record", *words, "--out", str(tmp_path / "cut")]) == 3
    seen = capsys.readouterr()
    assert seen.out == ""
    assert "cut holds the 0.1" in seen.err
    recording = open_sigmf(tmp_path / "cut.sigmf-meta")
    assert 50_000 < recording.n_samples < 160_000
    assert (tmp_path / "cut.sigmf-data").stat().st_size == 2 * recording.n_samples
