"""``tepui spectrum --receiver``: the tuning list recorded, kept and measured in one command."""

import pytest

from live_receivers import Direct, sent_db
from tepui.cli.main import main
from tepui.files.sigmf import open_sigmf
from tepui.practice.live import CRYSTAL_PPM


def run(capsys, *words):
    code = main(["spectrum", "--receiver", "practice", *map(str, words)])
    seen = capsys.readouterr()
    return code, seen.out, seen.err


# What the practice station sends is read by the standard procedure from its own samples, without noise.
def test_law_two_tunings_at_three_pads_are_recorded_kept_and_measured(tmp_path, capsys, read_json):
    out = tmp_path / "evening"
    code, text, _ = run(capsys, "--quick", "--for", "0.06 s", "--out", out, "--json")
    assert code == 0
    document = read_json(text)
    assert document["practice"] is True
    metas = sorted(out.glob("*.sigmf-meta"))
    assert [str(path) for path in metas] == sorted(one for one in document["files"] if one.endswith("-meta"))
    settings = [open_sigmf(path).stretches[0].settings for path in metas]
    assert [one["attenuator_db"] for one in settings] == [20, 20, 10, 10, 0, 0]
    assert {one["frontend_gain_db"] for one in settings} == {10}
    levels = document["tables"]["recordings"]
    assert len(levels["rows"]) == 6
    found = {one["key"]: one for one in document["findings"]}
    for side, true in zip(("lower", "upper"), sent_db(Direct()), strict=True):
        one = found[f"shoulder_{side}_db"]
        assert one["standing"] == "measured"
        assert one["value"] == pytest.approx(true, abs=1.0)
        assert one["low"] <= true <= one["high"]
    assert found["tuner_error_ppm"]["value"] == pytest.approx(CRYSTAL_PPM, abs=0.05)  # though only the edges are seen


def test_message_a_receiver_that_lacks_something(tmp_path, capsys):
    for words, sentence in (
        ([], "--receiver needs --out DIR"),
        (["--out", tmp_path], "exists already, and a set is recorded into a new folder"),
        (["--out", tmp_path / "a", "one.wav"], "--receiver records anew, so one.wav has no place beside it"),
        (["--out", tmp_path / "a", "--pads", "10 dB, 10 dB"], "--pads names pads of 0 dB and more, each once"),
        (["--out", tmp_path / "a", "--list", "x.csv", "--pads", "10 dB"], "--list names tunings and pads itself"),
    ):
        code, text, err = run(capsys, *words)
        assert (code, text) == (2, "")
        assert sentence in err
    assert main(["spectrum", "one.wav", "--out", str(tmp_path / "a")]) == 2
    assert "--out goes with a receiver that runs" in capsys.readouterr().err
    assert main(["spectrum", "--receiver", "generator", "--out", str(tmp_path / "a")]) == 2
    assert "the channel must be told: --tunings STATION" in capsys.readouterr().err
    assert not (tmp_path / "a").exists()
