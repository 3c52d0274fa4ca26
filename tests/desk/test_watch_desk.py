"""``tepui watch`` and ``tepui receivers`` from the command line, through the capture process."""

import numpy as np
import pytest

import tepui.practice.live as practice
from tepui.cli.main import main


def run(capsys, *words):
    code = main(list(words))
    seen = capsys.readouterr()
    return code, seen.out, seen.err


def test_law_a_watch_that_ends_by_itself_prints_one_document(capsys, read_json):
    code, text, err = run(capsys, "watch", "--receiver", "practice", "--for", "5 s", "--json")
    assert (code, err) == (0, "")
    document = read_json(text)
    assert document["practice"] is True
    found = {one["key"]: one for one in document["findings"]}
    assert found["shoulder_lower_db"]["standing"] == "unknown"
    assert found["shoulder_lower_received_db"]["standing"] == "measured"
    assert -38 < found["shoulder_lower_received_db"]["value"] < -30
    assert len(document["tables"]["last_minute"]["rows"]) >= 1


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ([], "--receiver"),
        (["--receiver", "practice", "--json"], "--json needs --for"),
        (["--receiver", "practice"], "there is no terminal to draw on"),
        (["--receiver", "practice", "--for", "5 s", "--pad", "1 dB"], "--pad must lie between 3 and 30 dB"),
        (["--receiver", "practice", "--for", "5 s", "--fft", "8K"], "--fft and --guard go together"),
        (["--receiver", "practice", "--for", "5 s", "--usable", "3 MHz"], "more than the 2.4 MS/s"),
        (["--receiver", "practice", "--for", "5 s", "--usable", "0.3 MHz"], "too narrow for a shoulder"),
        (["--receiver", "driver=x", "--for", "5 s"], "the channel must be told"),
        (["--receiver", "driver=x", "--for", "5 s", "--test-pad"], "--test-pad needs a step attenuator"),
    ],
)
def test_limit_refusals_of_a_watch(capsys, words, sentence):
    code, out, err = run(capsys, "watch", *words)
    assert (code, out, err.count("\n")) == (2, "", 1)
    assert sentence in err


# What the simulation puts in: image |0.006 + 0.004 j|, line at zero, 8 bits.
def test_limit_a_check_finds_what_the_simulation_puts_in(capsys, read_json):
    words = ["receivers", "--receiver", "practice", "--check", "--frequency", "1282.5 MHz", "--json"]
    code, text, _ = run(capsys, *words)
    assert code == 0
    found = {one["key"]: one for one in read_json(text)["findings"]}
    image = found["image_level_db"]
    assert image["low"] <= 20 * np.log10(abs(practice.IMAGE)) <= image["high"]
    assert found["dc_level_db"]["value"] == pytest.approx(practice.DC_DBFS, abs=0.2)
    assert found["converter_bits"]["value"] == practice.BITS
    assert found["usable_width_hz"]["standing"] == "unknown"


# The filter falls by 1 dB where (x / 0.45)^8 = 10^0.1 - 1, at 0.380 of the rate: 1.82 MHz, less the skirt's doubt.
def test_limit_noise_shows_the_usable_width(capsys, read_json):
    gains = ["--gain", "FRONT=30 dB", "--gain", "IF=40 dB", "--gain", "PAD=-30 dB"]
    words = ["receivers", "--receiver", "practice", "--check", "--terminated", "--frequency", "1278 MHz", *gains]
    code, text, _ = run(capsys, *words)
    assert code == 0
    assert 'kind = "receiver"' in text
    _, text, _ = run(capsys, *words, "--json")
    found = {one["key"]: one for one in read_json(text)["findings"]}
    assert found["usable_width_hz"]["value"] == pytest.approx(1.82e6, rel=0.08)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [(["--check"], "--check needs --receiver"), (["--receiver", "practice", "--terminated"], "belong to --check")],
)
def test_limit_refusals_of_receivers(capsys, words, sentence):
    code, out, err = run(capsys, "receivers", *words)
    assert (code, out) == (2, "")
    assert sentence in err
