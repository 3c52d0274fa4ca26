"""``tepui spectrum --screen`` as an operator with no more than a display uses it."""

import contextlib
import io
import math
import re
import shlex
from pathlib import Path

import numpy as np
import pytest

from tepui.cli.main import main

DOCS = Path(__file__).parents[2] / "docs"


def ask(*words):
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        code = main(["spectrum", "--screen", *map(str, words)])
    return code, out.getvalue(), err.getvalue()


def findings(read_json, *words):
    code, out, err = ask(*words, "--json")
    assert (code, err) == (0, "")
    return {(one["about"], one["key"]): one for one in read_json(out)["findings"]}


def of_one(read_json, *words):
    return {key: one for (_, key), one in findings(read_json, *words).items()}


# Acceptance scenario S1: -38 dB shown with the modulator alone, which is noise; its figures and tolerances.
S1 = """setting_dbm,noise_db,worst_db,doubt_db
3,-38,-37.6,0.3
6,-38,-36.5,0.3
9,-38,-33.9,0.3
11,-38,-31.0,0.3
12,-38,-29.2,0.3
13,-38,-26.9,0.3
"""


def test_published_scenario_of_displayed_shoulders(read_json, tmp_path):
    table, series = tmp_path / "looks.csv", tmp_path / "series.csv"
    table.write_text(S1)
    found = findings(read_json, table, "--save", series)
    for setting, level, within in ((9, -36.0, 0.5), (11, -32.0, 0.4), (12, -29.8, 0.35), (13, -27.25, 0.35)):
        one = found[(f"screen:{setting:+d} dBm", "shoulder_worst_db")]
        assert one["value"] == pytest.approx(level, abs=within)
        assert one["low"] < level < one["high"]
    for setting, shown in ((3, -37.6), (6, -36.5)):
        one = found[(f"screen:{setting:+d} dBm", "shoulder_worst_db")]
        assert one["standing"] == "at_most"
        assert one["value"] == pytest.approx(shown + 0.4, abs=0.1)  # its own doubt and that of the top
    assert found[("screen:+3 dBm", "series_left_out")]["value"] == "+3 dBm, +6 dBm"
    heading, *rows = series.read_text().splitlines()
    assert heading == "setting_dbm,power_dbm,shoulder_lower_db,shoulder_upper_db,shoulder_worst_db,doubt_db"
    assert [row.split(",")[0] for row in rows] == ["9", "11", "12", "13"]


def test_law_the_series_is_what_drive_reads(read_json, tmp_path, capsys):
    table, series = tmp_path / "looks.csv", tmp_path / "series.csv"
    table.write_text(S1)
    assert ask(table, "--save", series)[0] == 0
    assert main(["drive", "--readings", str(series), "--width", "7 MHz", "--target", "-32 dB", "--json"]) == 0
    found = {one["key"]: one for one in read_json(capsys.readouterr().out)["findings"]}
    assert found["drive_crossing_dbm"]["value"] == pytest.approx(11.0, abs=0.2)  # S1: -32.0 dB at +11


# Channel power and line by the textbook sums; width of a 7 MHz channel's carriers 6816 spacings ([EN300744] 4.4).
def test_limit_power_and_line_by_hand(read_json):
    width = 6816 / (8192 * 7 / (8 * 7e6))  # over the useful part, N T with T = 7/(8 B)
    noise_hz = 30e3 * 1.0645
    words = ("--middle", "-40 dBm", "--rbw", "30 kHz", "--rbw-filter", "gaussian", "--width", "7 MHz")
    for detector, offset in (("power", 0.0), ("log", -2.507), ("linear", -1.049)):
        one = of_one(read_json, *words, "--detector", detector, "--attenuator", "30 dB", "--line", "-60 dBm",
                     "--beside", "-100 dBm")  # fmt: skip
        power = -40 - offset + 10 * math.log10(width / noise_hz)
        assert one["channel_power_dbm"]["value"] == pytest.approx(power + 30, abs=0.01)
        assert one["line_over_signal_dbc"]["value"] == pytest.approx(-60 - power, abs=0.01)
        assert one["detector_offset_db"]["value"] == pytest.approx(offset, abs=0.01)
    assert one["noise_bandwidth_hz"]["value"] == pytest.approx(noise_hz, rel=1e-3)


def test_law_an_untold_detector_widens_powers_and_leaves_shoulders(read_json):
    words = ("--top", "-35 dBm", "--noise", "-72 dBm", "--shoulder", "-66 dBm", "--rbw", "30 kHz", "--width", "7 MHz")
    told = [of_one(read_json, *words, "--detector", one) for one in ("power", "linear", "log")]
    untold = of_one(read_json, *words)
    levels = [one["shoulder_worst_db"]["value"] for one in [*told, untold]]
    assert max(levels) - min(levels) < 1e-9
    powers = [one["channel_power_dbm"]["value"] for one in told]
    assert untold["channel_power_dbm"]["low"] < min(powers) < max(powers) < untold["channel_power_dbm"]["high"]
    assert all(one["channel_power_dbm"]["low"] > -20 for one in told)
    assert untold["receiver_not_parted"]["kind"] == "caution"


def test_law_a_peak_detector_says_what_it_can(read_json):
    words = ("--top", "-30 dBm", "--rbw", "30 kHz", "--width", "7 MHz", "--detector", "peak", "--line", "-35 dBm",
             "--beside", "-60 dBm")  # fmt: skip
    blind = of_one(read_json, *words)
    assert blind["channel_power_dbm"]["standing"] == blind["line_over_signal_dbc"]["standing"] == "unknown"
    low, high = map(float, re.search(r"between (\S+) and (\S+) dBm", blind["channel_power_dbm"]["remark"]).groups())
    seen = of_one(read_json, *words, "--sweep-time", "0.5 s", "--points", "601")
    assert low < seen["channel_power_dbm"]["value"] < high
    assert 5 < seen["detector_offset_db"]["value"] < 10
    held = of_one(read_json, *words, "--sweep-time", "0.5 s", "--points", "601", "--held", "20")
    assert held["detector_offset_db"]["value"] > seen["detector_offset_db"]["value"] + 0.5
    assert seen["line_over_signal_dbc"]["standing"] == "measured"


def test_law_the_two_conventions_stand_by_the_band_apart(read_json):
    words = ("--shoulder-lower", "-33 dB", "--shoulder-upper", "-35 dB", "--rbw", "10 kHz", "--width", "8 MHz")
    one = of_one(read_json, *words, "--total-power")
    # 10 lg(4 kHz / 7.607 MHz) = -32.8 dB [X], and 0.475 dB that pilots of 8K lift the highest value over the mean.
    apart = one["shoulder_lower_total_4khz_db"]["value"] - one["shoulder_lower_db"]["value"]
    assert apart == pytest.approx(-32.8 + 0.475, abs=0.03)
    assert "masks of that kind only" in one["shoulder_lower_total_4khz_db"]["remark"]
    assert one["shoulder_worst_db"]["value"] == one["shoulder_lower_db"]["value"]
    assert "shoulder_lower_total_4khz_db" not in of_one(read_json, *words)


def test_law_a_group_of_looks_states_its_line_and_the_other_convention(read_json, tmp_path):
    table = tmp_path / "pads.csv"
    table.write_text("name,pad_db,top_dbm,lower_dbm,line_dbm,beside_dbm\n"
                     "a,20,-30,-64,-50,-66\na,30,-40,-75,-63,-77\na,40,-50,-85,-73.1,-87\n")  # fmt: skip
    words = (table, "--width", "7 MHz", "--rbw", "30 kHz", "--detector", "power", "--total-power")
    found = findings(read_json, *words)
    line = found["screen:a", "line_over_signal_dbc"]
    assert len(re.findall(r"dB through \d+ dB", line["remark"])) == 3
    assert "what changes with the pad is the display's own" in line["remark"]
    total, over = found["screen:a", "shoulder_lower_total_4khz_db"], found["screen:a", "shoulder_lower_db"]
    assert (
        over["value"] - total["value"] == pytest.approx(over["high"] - total["high"]) == pytest.approx(31.74, abs=0.03)
    )


# What a front end makes, written down anew: S + B g + C g^2 with a cross term of either sign.
@pytest.mark.parametrize("sign", [-0.8, 0.0, 0.8])
def test_law_looks_through_pads_part_the_display_from_the_transmitter(read_json, tmp_path, sign):
    sent, made = 10**-3.4, 10**-3.0
    rows = ["name,pad_db,lower_db,doubt_db"]
    for pad in (10, 20, 30):
        gain = 10 ** (-(pad - 10) / 10)
        shown = sent + 2 * sign * math.sqrt(sent * made) * gain + made * gain**2
        rows.append(f"amplifier,{pad},{10 * math.log10(shown):.3f},0.2")
    table = tmp_path / "pads.csv"
    table.write_text("\n".join(rows))
    one = findings(read_json, table)[("screen:amplifier", "shoulder_lower_db")]
    assert one["low"] < -34.0 < one["high"]
    assert one["high"] - one["low"] < 3
    table.write_text("\n".join(rows[:3]))
    two = findings(read_json, table)[("screen:amplifier", "shoulder_lower_db")]
    assert two["low"] < -34.0 < two["high"]


PAGE = (DOCS / "spectrum.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("words", re.findall(r"(?m)^tepui spectrum --screen (.*)$", PAGE))
def test_law_the_commands_of_the_page_run(read_json, tmp_path, monkeypatch, words):
    monkeypatch.chdir(tmp_path)
    Path("looks.csv").write_text(re.search(r"(?s)```\n(name,setting_dbm.*?)```", PAGE).group(1))
    assert findings(read_json, *shlex.split(words))


SHOULDER = ("--shoulder", "-33 dB")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        ((), "no level is told; give the top of the trace, and a shoulder, a line or both"),
        (("--top", "-35 dBm", "--middle", "-36 dBm"), "the height of the trace is told twice"),
        (("--shoulder", "-66 dBm"), "levels in dBm need the trace's top in dBm as well"),
        (("--shoulder", "33 dB"), "a level below is written with a minus"),
        (("--shoulder", "-33"), "has no unit"),
        (("--shoulder", "-33 dB, -34 dB"), "2 were given"),
        (("--shoulder", "-33 dB ± 0 dB"), "a doubt of zero, which no reading has"),
        (("--line", "-20 dB"), "comparing them needs the RBW and the channel's width"),
        ((*SHOULDER, "--rbw", "3 MHz", "--width", "7 MHz"), "a quarter of the signal's width, 1.66 MHz"),
        ((*SHOULDER, "--rbw", "100 Hz", "--width", "7 MHz"), "one carrier spacing, 0.977 kHz"),
        ((*SHOULDER, "--rbw", "3 kHz", "--width", "7 MHz"), "the trace's top is a pilot and not the signal"),
        (("--line", "-40 dB", "--beside", "-30 dB"), "must stand above what is beside it"),
        ((*SHOULDER, "--rbw", "0 Hz"), "--rbw must be a number above zero in Hz"),
        ((*SHOULDER, "--rbw", "30 kHz", "--vbw", "30 kHz"), "its highest point is chance"),
        ((*SHOULDER, "--sweep-time", "1 s", "--points", "601"), "give the RBW too"),
        ((*SHOULDER, "--rbw", "30 kHz", "--sweep-time", "1 s"), "sweep time and points of the trace go together"),
        ((*SHOULDER, "--held", "3"), "belong to the peak detector"),
        ((*SHOULDER, "--rbw-filter", "gaussian"), "says nothing without its width"),
        ((*SHOULDER, "--noise", "-30 dB"), "read both with nothing changed but the signal"),
        ((*SHOULDER, "--total-power"), "needs the channel's width"),
        ((*SHOULDER, "--shoulder-lower", "-33 dB"), "--shoulder is the worse of the two sides"),
        ((*SHOULDER, "--mask", "x"), "--mask has no place beside --screen"),
        ((*SHOULDER, "--for", "1 s"), "--for has no place beside --screen"),
        ((*SHOULDER, "--save", "x.csv"), "it needs --screen FILE.csv"),
        ((*SHOULDER, "--attenuator", "-3 dB"), "a loss is positive"),
        ((*SHOULDER, "--doubt", "0 dB"), "must be a number above zero"),
        ((*SHOULDER, "--width", "9 MHz"), "channel width must lie between 0.3 and 8 MHz"),
        (("nothing.csv",), "cannot be opened"),
        (("nothing.csv", "--top", "-3 dBm"), "has the levels in its rows"),
    ],
)
def test_message_what_cannot_be_reckoned(words, sentence):
    code, out, err = ask(*words)
    assert (code, out) == (2, "")
    assert sentence in err
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("", "holds no looks"),
        ("top_dbm\n", "holds no looks"),
        ("tob_dbm,worst_dbm\n-35,-66\n", 'line 1: "tob_dbm" is no column of a table of looks'),
        ("top_dbm,worst_dbm\n-35,many\n", "line 2: worst_dbm must be a bare number"),
        ("top_dbm,top_db,worst_dbm\n-35,0,-66\n", "line 2: top is told in dBm and in dB"),
        ("worst_db,points\n-33,1.5\n", "line 2: points must be a whole number"),
        ("worst_db,rbw_hz\n-33,-3\n", "line 2: rbw_hz must be above zero"),
        ("worst_db,pad_db\n-33,-10\n", "pad_db is a loss and positive"),
        ("lower_300_db,lower_db\n-33,-34\n", "2 of the three are there"),
        ("name,worst_db\na,-33\na,-34\n", "a: this name has 2 looks"),
        ("name,pad_db,setting_dbm,worst_db\na,10,1,-33\na,20,2,-34\n", "a: looks of one name are one signal"),
        ("name,worst_db,noise_db\na,-33,-50\nb,-33,-30\n", "b: the noise, -30 dB, stands above"),
        ("worst_db,detector\n-33,rms\n", "detector must be power, log, linear or peak"),
        ("worst_db,filter,rbw_hz\n-33,square,3e4\n", "the resolution filter must be gaussian"),
    ],
)
def test_message_a_table_that_cannot_be_used(tmp_path, text, sentence):
    table = tmp_path / "looks.csv"
    table.write_text(text)
    code, out, err = ask(table)
    assert (code, out) == (2, "")
    assert sentence in err
    assert "looks.csv" in err


def test_message_levels_without_a_screen(capsys):
    assert main(["spectrum", "x.wav", "--top", "-35 dBm"]) == 2
    assert "--top goes with levels read off a display: add --screen" in capsys.readouterr().err


def test_law_words_for_people_name_what_was_done():
    code, out, _ = ask("--top", "-35 dBm", "--noise", "-72 dBm", "--shoulder", "-66 dBm", "--rbw", "30 kHz",
                       "--width", "7 MHz")  # fmt: skip
    plain = re.sub(r"\s+", " ", out)
    assert code == 0
    assert "Taken off as power: noise 1.26 dB" in plain
    assert "the detector was not told" in plain
    assert "Put 10 dB more ahead of it" in plain


def test_law_random_levels_never_end_in_a_traceback():
    rng = np.random.default_rng(11)
    for _ in range(150):
        words = []
        for name in ("top", "middle", "noise", "shoulder", "shoulder-lower", "baseline", "line", "beside"):
            if rng.random() < 0.5:
                words += [f"--{name}", f"{rng.uniform(-90, 5):.1f} {rng.choice(['dBm', 'dB'])}"]
        if rng.random() < 0.7:
            words += ["--rbw", f"{10 ** rng.uniform(2, 6.5):.0f} Hz", "--width", "7 MHz"]
        if rng.random() < 0.7:
            words += ["--detector", str(rng.choice(["power", "log", "linear", "peak"]))]
        code, _, err = ask(*words)
        assert code in (0, 2), (words, err)
