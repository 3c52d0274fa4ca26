"""``tepui mode`` as an operator uses it."""

import contextlib
import io
from fractions import Fraction
from pathlib import Path

import pytest

from tepui.cli.main import main
from tepui.tables.load import load_table

STATIONS = Path(__file__).parent.parent / "data" / "stations"


def ask(*words):
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(["mode", *map(str, words)])
    return code, out.getvalue(), err.getvalue()


def document(read_json, *words):
    code, out, err = ask(*words, "--json")
    assert (code, err) == (0, "")
    found = read_json(out)
    return found, {one["key"]: one for one in found["findings"]}


def table(found, name):
    one = found["tables"][name]
    keys = [column["key"] for column in one["columns"]]
    return [dict(zip(keys, row, strict=True)) for row in one["rows"]]


# [EN300744] annexes, table dvbt_bitrates_7mhz: the exact fraction stands beside the rounded number.
def test_published_rates_of_every_mode(read_json):
    found, _ = document(read_json, "--width", "7 MHz")
    printed = {
        (row["constellation"].replace("-", ""), row["code_rate"], row["guard_interval"]): row
        for row in load_table("dvbt_bitrates_7mhz")
    }
    rows = table(found, "modes")
    assert len(rows) == 180
    for row in rows:
        one = printed[row["constellation"], row["code_rate"], row["guard_fraction"]]
        assert row["net_bit_rate_exact"] == one["net_bitrate_bps_exact_fraction"]
        assert row["net_bit_rate_bps"] == pytest.approx(float(one["net_bitrate_bps"]), abs=6e-4)


# Scenarios: 12.064 Mbit/s (13 cm, 16QAM 1/2 1/32), 6.786 and 6.19 Mbit/s (23 cm, 6 MHz), 7.037 (23 cm, 7 MHz).
@pytest.mark.parametrize(
    ("name", "rate", "video"), [("s3", 12.064e6, None), ("s6", 6.786e6, 6.19e6), ("s1", 7.037e6, None)]
)
def test_published_scenario_rates(read_json, name, rate, video):
    found, said = document(read_json, STATIONS / f"{name}.toml")
    assert said["net_bit_rate_bps"]["value"] == pytest.approx(rate, abs=500)
    assert found["station"]
    if video is not None:
        assert said["video_rate_max_bps"]["value"] == pytest.approx(video, abs=5e3)
        assert said["video_rate_max_bps"]["standing"] == "at_most"


# [EN300744] 4.4, table dvbt_ofdm: 8K at 8 MHz.
def test_published_guards_and_carriers(read_json):
    _, said = document(read_json, "--width", "8 MHz", "--fft", "8K", "--guard", "1/4")
    assert said["guard_s"]["value"] == pytest.approx(224e-6)
    assert said["guard_path_m"]["value"] == pytest.approx(67153.5, abs=0.1)
    assert said["carriers"]["value"] == 6817
    assert said["carrier_spacing_hz"]["value"] == pytest.approx(1116.071429)
    assert "V1.6.1" in said["required_cn_db"]["source"]


def test_published_scenario_on_70_cm(read_json):
    _, said = document(read_json, "--width", "2 MHz", "--cn", "15.6 dB", "--guard", "1/32", "--centre", "436 MHz")
    assert said["mode_recommended"]["value"] == "2 MHz 2K QPSK 3/4 guard 1/32"
    assert said["net_bit_rate_bps"]["value"] == pytest.approx(2.262e6, abs=500)
    assert said["outside_standard"]["kind"] == "caution"
    assert "km/h at 436 MHz" in said["doppler_max_hz"]["remark"]


@pytest.mark.parametrize("width", ["0.3 MHz", "1.7 MHz", "4.999 MHz"])
def test_widths_by_scaled_clock_are_marked(read_json, width):
    found, said = document(read_json, "--width", width)
    assert "outside the standard" in said["outside_standard"]["remark"]
    assert not any(row["inside_standard"] for row in table(found, "modes"))
    rate = Fraction(table(found, "modes")[0]["net_bit_rate_exact"])
    assert rate == Fraction(423, 544) * Fraction(width.split()[0]) * 10**6 * Fraction(1, 2) * 2 / Fraction(33, 32)


def test_the_card_says_what_to_type(read_json):
    found, said = document(read_json, STATIONS / "s3.toml")
    card = {row["setting"]: row["enter"] for row in table(found, "settings_card")}
    assert (card["FFT size"], card["guard interval"], card["constellation"], card["code rate"]) == (
        "8K", "1/32", "16QAM", "1/2")  # fmt: skip
    assert str(Fraction(table(found, "modes")[0]["net_bit_rate_exact"]).denominator) in card["transport stream rate"]
    assert said["net_bit_rate_bps"]["remark"].startswith("Exactly ")


def test_the_choices_hold_the_recommended_one(read_json):
    found, _ = document(read_json, "--width", "8 MHz")
    rows = table(found, "mode_choices")
    assert sum(row["recommended"] for row in rows) == 1
    assert all(row["pareto"] or row["recommended"] for row in rows)


def test_a_wish_that_cannot_be_met_is_unknown_and_says_why(read_json):
    _, said = document(read_json, "--width", "8 MHz", "--echo", "400 km")
    assert said["mode_recommended"]["standing"] == "unknown"
    assert said["mode_recommended"]["remark"] == "No mode of this width meets the longest echo."


@pytest.mark.parametrize(("words", "sentence"), [
    ((), "--width is needed, or a station file"),
    (("--width", "9 MHz"), "channel width must lie between 0.3 and 8 MHz"),
    (("--width", "7"), '--width: "7" has no unit'),
    (("--width", "7 MHz", "--speed", "100 km/h"), "--speed needs --centre"),
    (("--width", "7 MHz", "--centre", "1286 MHz", "--speed", "100"), "is no speed"),
    (("--width", "7 MHz", "--headroom", "120 %"), "--headroom must lie between 0 and 100 %"),
    (("--width", "7 MHz", "--fft", "16K"), "--fft"),
])  # fmt: skip
def test_one_sentence_for_what_cannot_be_used(words, sentence):
    code, out, err = ask(*words)
    assert (code, out) == (2, "")
    assert sentence in err
    assert len(err.strip().splitlines()) == 1
