"""``tepui drive``: filters by Touchstone, the confirming simulation, peaks, bands, and tables as people write them."""

import csv
import json
import math
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
import skrf

from tepui.cli.main import main
from tepui.practice.air import loop_waveform, memory_polynomial, send_loop
from tepui.signals.dvbt.mode import Mode

DRIVE = Path(__file__).parents[1] / "data" / "drive"
ONE = ["drive", "--readings", str(DRIVE / "s1.csv"), "--width", "7 MHz", "--baseline", "-38 dB", "--target", "-32 dB"]
FIVE = ["drive", "--readings", str(DRIVE / "s5.csv"), "--width", "8 MHz", "--target", "-30 dB"]


def run(words, capsys, read_json):
    assert main([*words, "--json"]) == 0
    document = read_json(capsys.readouterr().out)
    return {(one["about"], one["key"]): one for one in document["findings"]}, document["tables"]


def rows_of(table):
    keys = [column["key"] for column in table["columns"]]
    return [dict(zip(keys, row, strict=True)) for row in table["rows"]]


def refused(words, capsys):
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.count("\n") == 1
    return err


def table(folder, text, *more):
    path = folder / "table.csv"
    path.write_text(text, encoding="utf-8")
    return ["drive", "--readings", str(path), "--target", "-32 dB", *more]


@pytest.fixture
def touchstone(tmp_path):
    """The filter of worked case 5 as an analyser would save it, around 1286 MHz."""
    rows = list(csv.reader((DRIVE / "s5_filter.csv").read_text(encoding="utf-8").splitlines()))
    offset_mhz, loss_db = np.array([[float(cell) for cell in row] for row in rows[1:]]).T
    frequency = np.linspace(offset_mhz[0], offset_mhz[-1], 401)
    s = np.zeros((401, 2, 2), complex)
    s[:, 1, 0] = s[:, 0, 1] = 10 ** (-np.interp(frequency, offset_mhz, loss_db) / 20) * np.exp(1j * frequency)
    network = skrf.Network(f=1286e6 + frequency * 1e6, s=s, z0=50, f_unit="hz")
    network.write_touchstone(str(tmp_path / "filter"))
    return tmp_path / "filter.s2p"


# The same filter, as a table and by scikit-rf's writer: worked case 5 either way.
def test_tool_a_filter_from_a_touchstone_file(touchstone, capsys, read_json):
    findings, _ = run([*FIVE, "--filter", str(touchstone), "--centre", "1286 MHz"], capsys, read_json)
    assert findings["set:s5", "asymmetry_cause"]["value"] == "filter tilt"
    assert findings["set:s5", "filter_centre_offset_hz"]["value"] == pytest.approx(-3.2e6, abs=0.05e6)
    for side in ("lower", "upper"):
        before = findings["set:s5 at +0 dBm", f"shoulder_{side}_before_filter_db"]
        assert before["value"] == pytest.approx(-27.4, abs=0.1)
    assert findings["set:s5", "drive_change_db"]["value"] == pytest.approx(-1.3, abs=0.1)


def test_refusals_of_filters(touchstone, tmp_path, capsys):
    assert "give the channel's centre with --centre" in refused([*FIVE, "--filter", str(touchstone)], capsys)
    words = [*FIVE, "--filter", str(touchstone), "--centre", "436 MHz"]
    assert "436 MHz, lies outside" in refused(words, capsys)
    words = [*FIVE, "--filter", str(touchstone), "--centre", "1291.5 MHz"]
    assert "of the channel's centre; 4.30" in refused(words, capsys)
    torn = tmp_path / "torn.s2p"
    torn.write_text(touchstone.read_text(encoding="utf-8")[:-40], encoding="utf-8")
    assert "cut off" in refused([*FIVE, "--filter", str(torn), "--centre", "1286 MHz"], capsys)
    gain = tmp_path / "gain.s2p"
    gain.write_text(
        "# MHz S DB R 50\n" + "".join(f"{f} -20 0 20 0 -40 0 -20 0\n" for f in (1270, 1286, 1300)), encoding="utf-8"
    )
    assert "amplifies at every frequency" in refused([*FIVE, "--filter", str(gain), "--centre", "1286 MHz"], capsys)
    one = tmp_path / "one.s1p"
    one.write_text("# MHz S DB R 50\n1270 -20 0\n1286 -20 0\n1300 -20 0\n", encoding="utf-8")
    assert "two-port (.s2p) is wanted" in refused([*FIVE, "--filter", str(one), "--centre", "1286 MHz"], capsys)


def test_law_the_simulation_confirms_the_closed_form(capsys, read_json):
    findings, _ = run([*ONE, "--confirm"], capsys, read_json)
    difference = findings["set:s1", "closed_form_difference_db"]
    assert abs(difference["value"]) < 0.2
    assert "they agree" in difference["remark"]
    crossing = findings["set:s1", "drive_crossing_dbm"]["value"]
    assert f"At {crossing:.2f} dBm" in difference["remark"]
    assert findings["set:s1", "mer_simulated_db"]["value"] == pytest.approx(
        findings["set:s1", "mer_ceiling_db"]["value"], abs=0.5
    )
    findings, _ = run(ONE, capsys, read_json)
    assert ("set:s1", "closed_form_difference_db") not in findings


# Memory: the sides part by 0.7 dB a dB; the simulation is then made with that, unasked, and MER gains by it.
def test_law_memory_is_simulated_unasked(tmp_path, capsys, read_json):
    text = "setting_dbm,shoulder_lower_db,shoulder_upper_db\n0,-36,-36\n1,-34.4,-33.7\n2,-32.8,-31.4\n3,-31.2,-29.1\n"
    findings, _ = run(table(tmp_path, text), capsys, read_json)
    crossing = findings["set:table", "drive_crossing_dbm"]["value"]
    lower, upper = (findings["set:table", f"shoulder_{side}_simulated_db"]["value"] for side in ("lower", "upper"))
    assert upper - lower == pytest.approx(0.7 * crossing, abs=0.2)
    assert findings["set:table", "mer_simulated_db"]["value"] > findings["set:table", "mer_ceiling_db"]["value"] + 0.3


# An amplifier that takes 2 dB off the peaks shows them so: 9.64 dB in, Rayleigh; the readings' own peaks are lower.
def test_law_peaks_before_and_behind(capsys, read_json):
    findings, tables = run(ONE, capsys, read_json)
    before, after = (findings["set:s1", f"crest_{place}_db"] for place in ("before", "after"))
    assert before["value"] == pytest.approx(9.64, abs=0.01)
    assert 7 < after["value"] < before["value"]
    rows = rows_of(tables["crest_ccdf"])
    for key, crest in (("probability_before", before), ("probability_after", after)):
        known = [(row["level_over_mean_db"], row[key]) for row in rows if row[key] is not None]
        level, probability = np.array(known).T
        assert np.interp(4.0, -np.log10(probability), level) == pytest.approx(crest["value"], abs=0.1)
    assert rows[0]["probability_before"] == pytest.approx(math.exp(-1))


def test_law_every_curve_has_its_band_and_the_higher_side_is_the_worst(tmp_path, capsys, read_json):
    text = (
        "setting_dbm,power_dbm,shoulder_lower_db,shoulder_upper_db,supply_a\n"
        "0,40,-36,-36.5,5\n1,41,-34,-33.9,5.4\n2,41.9,-32,-31.5,5.8\n3,42.8,-30,-29.1,6.3\n"
    )
    _, tables = run(table(tmp_path, text, "--supply", "13.8 V"), capsys, read_json)
    rows = rows_of(tables["drive_curve"])
    assert [row["setting_dbm"] for row in rows] == pytest.approx(np.arange(-2, 5.01, 0.1))
    for row in rows:
        worst = max(row["shoulder_lower_db"], row["shoulder_upper_db"])
        assert worst == pytest.approx(row["shoulder_worst_db"], abs=1e-9)
        for key in ("side_std_db", "power_std_db", "mer_ceiling_std_db", "compression_std_db"):
            assert row[key] > 0
        assert row["extrapolated"] == (not -1e-9 <= row["setting_dbm"] <= 3 + 1e-9)
        assert (row["dissipation_w"] is None) == row["extrapolated"]
    at = next(row for row in rows if row["setting_dbm"] == 1)
    assert at["dissipation_w"] == pytest.approx(13.8 * 5.4 - 10**1.1, abs=0.5)
    assert at["dissipation_std_w"] == pytest.approx(10**1.1 * math.log(10) / 10 * at["power_std_db"], rel=0.05)
    price = rows_of(tables["price_of_next"])
    assert price[1]["setting_dbm"] == pytest.approx(price[0]["setting_dbm"] + 1)
    assert price[1]["shoulder_worst_db"] - price[0]["shoulder_worst_db"] == pytest.approx(2.2, abs=0.4)


def test_law_a_shoulder_that_falls_with_drive_is_no_series(tmp_path, capsys, read_json):
    findings, tables = run(
        table(tmp_path, "setting_dbm,shoulder_worst_db\n1,-32\n2,-33\n3,-34\n4,-35\n"), capsys, read_json
    )
    assert findings["set:table", "shoulder_falling"]["kind"] == "caution"
    crossing = findings["set:table", "drive_crossing_dbm"]
    assert crossing["standing"] == "unknown"
    assert "attenuation or back-off with a minus" in crossing["remark"]
    assert findings["set:table at +1 dBm", "shoulder_worst_db"]["standing"] == "measured"
    assert "drive_curve" not in tables


def test_law_one_setting_read_thrice_is_no_curve(tmp_path, capsys, read_json):
    findings, _ = run(table(tmp_path, "setting_dbm,shoulder_worst_db\n1,-36\n1,-34\n1.1,-35\n"), capsys, read_json)
    crossing = findings["set:table", "drive_crossing_dbm"]
    assert crossing["standing"] == "unknown"
    assert "between 1 and 1.1 dBm" in crossing["remark"]
    names = [about for about, key in findings if key == "shoulder_worst_db"]
    assert names == ["set:table at +1 dBm", "set:table at +1 dBm (2)", "set:table at +1.1 dBm"]


def test_law_a_table_of_a_spreadsheet_abroad(tmp_path, capsys, read_json):
    plain, _ = run(
        table(tmp_path, "setting_dbm,shoulder_worst_db\n1.5,-36.2\n2.5,-34.1\n3.5,-32.0\n"), capsys, read_json
    )
    text = "\ufeffsetting_dbm;shoulder_worst_db\r\n1,5;−36,2\r\n2,5;-34,1\r\n3,5;-32,0\r\n"
    abroad, _ = run(table(tmp_path, text), capsys, read_json)
    assert plain == abroad


@pytest.mark.parametrize("target", ["-20 dB", "-31 dB", "-32.5 dB", "-33.5 dB", "-34.5 dB", "-36 dB", "-50 dB"])
@pytest.mark.parametrize("rows", ["1,-36\n2,-33.5\n", "0,-35\n4,-31\n", "1,-35.9\n1.6,-34\n2,-34.2\n2.2,-33\n"])
def test_law_what_is_recommended_is_never_above_what_is_stated_of_the_crossing(
    tmp_path, rows, target, capsys, read_json
):
    words = table(tmp_path, f"setting_dbm,shoulder_worst_db\n{rows}")
    words[words.index("-32 dB")] = target
    findings, _ = run(words, capsys, read_json)
    crossing, recommended = (findings["set:table", f"drive_{what}_dbm"] for what in ("crossing", "recommended"))
    if recommended["value"] is not None:
        assert recommended["value"] <= crossing["value"] + 1e-9


# Recordings of a practice amplifier with memory: its sides part, the worse side decides, and the crossing is where the
# very same amplifier, sent for eight times as long, crosses.
def test_law_a_series_of_recordings_of_an_amplifier_with_memory(tmp_path, capsys, read_json):
    from tepui.evidence.shoulders import shoulders
    from tepui.files.sigmf import write_sigmf
    from tepui.signals.spectrum import spectrum_of_recording

    mode = Mode(width_hz=7e6, n_fft=2048, guard=Fraction(1, 8), constellation="QPSK", code_rate=Fraction(2, 3))

    def amplifier(x):
        return memory_polynomial(
            x, coefficients=[[1, -0.10 + 0.04j, 0.012], [0.05, -0.06 - 0.02j, 0], [0, 0.03j, 0]], delay_samples=2
        )

    drives = (-10.0, -8.5, -7.0, -5.5)
    short, long = (loop_waveform(mode, n_symbols=n, seed=n) for n in (76, 304))
    true, paths = [], []
    for number, drive in enumerate(drives):
        truth = send_loop(long, amplifier=amplifier, drive_w=10 ** (drive / 10), centre_hz=1e9).recording("truth")
        spectrum = spectrum_of_recording(truth, resolution_bandwidth_hz=mode.carrier_spacing_hz / 2)
        both = shoulders(
            spectrum,
            centre_offset_hz=0.0,
            occupied_width_hz=mode.occupied_width_hz,
            carrier_spacing_hz=mode.carrier_spacing_hz,
            floor=None,
        )
        true.append(max(both.lower.shown.value, both.upper.shown.value))
        sent = send_loop(short, amplifier=amplifier, drive_w=10 ** (drive / 10), centre_hz=1e9)
        lines = np.fft.fft(sent.samples)
        half = len(lines) // 4
        samples = np.fft.ifft(np.concatenate([lines[:half], lines[-half:]])) / 2 * 0.3
        stem = tmp_path / f"memory_{number}"
        write_sigmf(
            stem, [samples.astype(np.complex64)], sample_rate_hz=sent.rate_hz / 2, frequency_hz=1e9,
            settings={"setting_dbm": drive}, practice=True,
        )  # fmt: skip
        paths.append(str(stem) + ".sigmf-meta")
    words = ["drive", *paths, "--target", "-33 dB"]
    findings, tables = run(words, capsys, read_json)
    crossing = findings["set:drive", "drive_crossing_dbm"]
    assert crossing["value"] == pytest.approx(np.interp(-33, true, drives), abs=0.2)
    for number, level in enumerate(true):
        assert findings[f"recording:memory_{number}", "shoulder_worst_db"]["value"] == pytest.approx(level, abs=0.35)
    assert findings["set:drive", "asymmetry_cause"]["value"] != "none"
    assert findings["set:drive", "asymmetry_db"]["value"] > 2
    rows = rows_of(tables["drive_curve"])
    assert all(row["shoulder_upper_db"] > row["shoulder_lower_db"] for row in rows)


# Powers of rows that have no shoulder count for the curve of the output: 30 dBm + 1 dB a dB, to 0.1 dB.
def test_law_rows_without_a_shoulder_give_what_they_have(tmp_path, capsys, read_json):
    text = (
        "setting_dbm,power_dbm,shoulder_worst_db,mer_db\n"
        "-4,26,,40\n-2,28,,38\n0,30,-36,\n1,31,-34,\n2,32,-32,\n3,,-30,\n"
    )
    findings, tables = run(table(tmp_path, text), capsys, read_json)
    assert findings["set:table", "drive_crossing_dbm"]["value"] == pytest.approx(2.0, abs=0.1)
    rows = rows_of(tables["drive_readings"])
    assert [row["standing"] for row in rows] == ["unknown"] * 2 + ["measured"] * 4
    assert rows[0]["power_dbm"] == 26
    assert rows[0]["mer_db"] == 40
    _, bare = run(table(tmp_path, text.replace("-4,26,,40\n-2,28,,38\n", "")), capsys, read_json)
    doubts = [
        rows_of(one["drive_curve"])[0]["power_std_db"] for one in (tables, bare)
    ]  # 2 dB below the lowest shoulder
    assert doubts[0] < 0.7 * doubts[1]


def test_law_what_else_moved_is_told(tmp_path, capsys, read_json):
    text = (
        "setting_dbm,shoulder_lower_db,shoulder_upper_db,receiver_gain_db,case_c\n"
        "0,-36,-36.5,20,30\n1,-34,-34.4,20,41\n2,-32,,16,52\n"
    )
    findings, tables = run(table(tmp_path, text), capsys, read_json)
    assert findings["set:table", "receiver_gain_moved_db"]["value"] == 4
    assert findings["set:table", "case_moved_k"]["value"] == 22
    assert "at 2 dBm" in findings["set:table", "one_side_only"]["remark"]
    assert rows_of(tables["drive_readings"])[2]["case_degc"] == 52
    still = text.replace(",16,52", ",20,31").replace(",20,41", ",20,30").replace("-32,,", "-32,-32.4,")
    findings, _ = run(table(tmp_path, still), capsys, read_json)
    for key in ("receiver_gain_moved_db", "case_moved_k", "one_side_only"):
        assert ("set:table", key) not in findings


def test_refusal_of_a_table_without_any_shoulder(tmp_path, capsys):
    sentence = refused(table(tmp_path, "setting_dbm,mer_db\n0,30\n1,29\n"), capsys)
    assert "no row has a shoulder or a recording" in sentence


def test_law_pictures_of_readings(tmp_path, capsys, read_json):
    assert main([*ONE, "--plots", str(tmp_path / "pictures"), "--json"]) == 0
    files = json.loads(capsys.readouterr().out)["files"]
    assert sorted(Path(name).name for name in files) == ["drive.png", "drive.svg", "drive_peaks.png", "drive_peaks.svg"]
    text = (tmp_path / "pictures" / "drive_peaks.svg").read_text(encoding="utf-8")
    assert "Peaks through the amplifier" in text
