"""``tepui spectrum --receiver`` through the receiver library, the capture process and the file format."""

import pytest
from generator_fixtures import generator, module_folder  # noqa: F401 - fixtures

from tepui.cli.main import main
from tepui.files.sigmf import open_sigmf

pytestmark = pytest.mark.usefixtures("generator")


# generator_module.cpp, signal "channel": flat from 96.672 to 103.328 MHz, 35 dB less beside it, no noise of its own.
def test_limit_a_sweep_through_a_driver(tmp_path, capsys, read_json):
    out = tmp_path / "sweep"
    receiver = "driver=generator,signal=channel,bits=12"  # whose rounding is 30 dB below the shoulders
    words = ["--receiver", receiver, "--front", "LNA", "--gain", "LNA=0 dB", "--behind", "IF", "--attenuator", "20 dB"]
    words += ["--centre", "100 MHz", "--width", "7 MHz", "--fft", "8K", "--for", "0.1 s", "--out", str(out), "--json"]
    assert main(["spectrum", *words]) == 0
    document = read_json(capsys.readouterr().out)
    assert document["practice"] is False
    recordings = [open_sigmf(path) for path in sorted(out.glob("*.sigmf-meta"))]
    assert len(recordings) == 8
    assert all(one.stretches[0].settings["attenuator_db"] == 20 for one in recordings)
    assert all("if_gain_db" in one.stretches[0].settings for one in recordings)
    found = {one["key"]: one for one in document["findings"]}
    assert found["shoulder_lower_db"]["standing"] == "unknown"  # one pad never tells
    for side in ("lower", "upper"):
        assert found[f"shoulder_{side}_shown_db"]["value"] == pytest.approx(-35, abs=0.7)
    assert found["occupied_width_99_hz"]["value"] == pytest.approx(0.99 * 6.656e6, rel=0.01)
