"""``tepui spectrum`` with many narrow recordings: raw samples and a table of settings in, the document out."""

import csv
import json

import numpy as np
import pytest

from captures import recording_path
from nomenclature import nomenclature_tables
from tepui.cli.main import main

NAMES = ("fixed_gain", "hot_att6", "hot")
SETTINGS = ("attenuator_db", "frontend_gain_db", "if_gain_db")


def sweeps_folder():
    from pathlib import Path

    return Path(__file__).parents[1] / "data" / "sweeps"


def truth():
    return json.loads((sweeps_folder() / "a5_truth.json").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def evening(tmp_path_factory):
    """The cut sweeps as raw files beside a table of their settings, a table for each sweep too."""
    folder = tmp_path_factory.mktemp("evening")
    known = truth()
    columns = ("recording", "frequency_hz", "rate_hz", "type", *SETTINGS)
    rows = {name: [] for name in NAMES}
    with np.load(sweeps_folder() / "a5_cut.npz") as file:
        for name in NAMES:
            for number, step in enumerate(known["sweeps"][name]["steps"], start=2):
                path = folder / f"night_{name}_{number:02d}.raw"
                path.write_bytes(file[f"{name}_{number:02d}"].astype(np.uint8).tobytes())
                settings = [step[key] for key in SETTINGS]
                rows[name].append([path.name, step["tuned_hz"], known["sample_rate_hz"], "cu8", *settings])
    for table, names in (("all", NAMES), *((name, (name,)) for name in NAMES), ("pair", ("fixed_gain", "hot"))):
        with (folder / f"{table}.csv").open("w", newline="", encoding="utf-8") as handle:
            csv.writer(handle).writerows([columns, *(row for name in names for row in rows[name])])
    return folder


def run(capsys, *words):
    code = main(["spectrum", *map(str, words)])
    seen = capsys.readouterr()
    return code, seen.out, seen.err


def finding(document, key):
    return next(one for one in document["findings"] if one["key"] == key)


def rows_of(document, name):
    table = document["tables"][name]
    keys = [column["key"] for column in table["columns"]]
    return [dict(zip(keys, row, strict=True)) for row in table["rows"]]


# Truth of the sweeps (data/sweeps/README.md): the receiver's crystal is 20 ppm fast. What of an MER's errors the noise
# does not explain is distortion, as powers.
def test_published_guards_of_the_slices(evening, capsys, read_json, nomenclature):
    _, text, _ = run(capsys, "--settings", evening / "hot_att6.csv", "--centre", "1275 MHz", "--mer", "31 dB", "--json")
    document = read_json(text)
    assert {one["key"] for one in document["findings"]} <= set(nomenclature)
    clock, error, noise, ceiling = (
        finding(document, key) for key in ("sample_clock_ppm", "tuner_error_ppm", "snr_prefix_db", "mer_ceiling_db")
    )
    assert clock["low"] <= -20 <= clock["high"]
    assert error["value"] == pytest.approx(20, abs=0.01)
    left = 10**-3.1 - 10 ** -(noise["value"] / 10) * 10**0.0335  # data cells are 0.335 dB below the mean carrier
    assert ceiling["value"] == pytest.approx(-10 * np.log10(left), abs=0.02)
    assert ceiling["low"] < ceiling["value"] < ceiling["high"]
    assert "what is not noise" not in noise["remark"]
    assert "Blind to distortion" in noise["remark"]
    slices = rows_of(document, "slices")
    assert len(slices) >= 4
    assert all(abs(row["sample_clock_ppm"] + 20) < 3 for row in slices)


def test_law_one_slice_alone_tells_its_guards(evening, capsys, read_json):
    path = evening / "night_hot_att6_06.raw"
    words = ["--type", "cu8", "--rate", "2.4 MS/s", "--frequency", "1274.375 MHz", "--json"]
    document = read_json(run(capsys, path, *words)[1])
    assert [finding(document, key)["value"] for key in ("fft_size", "guard_fraction")] == [2048, "1/8"]
    assert finding(document, "shoulder_worst_db")["standing"] == "unknown"
    assert finding(document, "snr_prefix_db")["standing"] == "measured"
    told = read_json(run(capsys, path, *words, "--centre", "1275 MHz", "--width", "7 MHz")[1])
    assert finding(told, "tuner_error_ppm")["value"] == pytest.approx(20, abs=0.02)


@pytest.mark.parametrize(
    ("text", "sentence"), [("31", '--mer: "31" has no unit'), ("-31 dB", "--mer must lie between")]
)
def test_refusals_of_an_mer(evening, capsys, text, sentence):
    code, out, err = run(capsys, "--settings", evening / "hot.csv", "--mer", text)
    assert (code, out) == (2, "")
    assert sentence in err


# Truth of the sweeps (data/sweeps/README.md): shoulders at the transmitter, centre, crystal error.
def test_tool_three_settings_are_measured(evening, tmp_path, capsys, read_json, nomenclature):
    plots = tmp_path / "pictures"
    known = truth()
    code, text, _ = run(capsys, "--settings", evening / "all.csv", "--centre", "1275 MHz", "--plots", plots, "--json")
    assert code == 0
    document = read_json(text)
    assert {one["about"] for one in document["findings"]} == {"set:night"}
    assert {one["key"] for one in document["findings"]} <= set(nomenclature)
    assert set(document["tables"]) <= set(nomenclature_tables())
    for table in document["tables"].values():
        assert {column["key"] for column in table["columns"]} <= set(nomenclature)
    sent = known["sweeps"]["hot"]["transmitted_shoulder_db"]
    for side in ("lower", "upper"):
        found = finding(document, f"shoulder_{side}_db")
        assert found["standing"] == "measured"
        assert found["value"] == pytest.approx(sent[side], abs=1.0)
        assert found["low"] <= sent[side] <= found["high"] <= found["low"] + 4
    assert finding(document, "channel_width_hz")["value"] == pytest.approx(7e6)
    assert finding(document, "fft_size")["value"] == 2048
    assert finding(document, "guard_fraction")["value"] == "1/8"
    error = finding(document, "tuner_error_ppm")
    assert error["low"] <= known["sweeps"]["hot"]["crystal_ppm"] <= error["high"] <= error["low"] + 10
    regions = {(row["sweep"], row["region"]) for row in rows_of(document, "readings")}
    assert ("pad 0 dB, front end 34 dB", "receiver-made") in regions
    assert 200 < len(rows_of(document, "spectrum")) <= 2000
    assert len(rows_of(document, "recordings")) == 30
    assert len(document["inputs"]) == 31
    assert {path.name for path in plots.iterdir()} == {"stitched.svg", "stitched.png"}


@pytest.mark.parametrize("name", NAMES)
def test_law_one_sweep_alone_is_never_measured(evening, capsys, read_json, name):
    document = read_json(run(capsys, "--settings", evening / f"{name}.csv", "--json")[1])
    for side in ("lower", "upper", "worst"):
        found = finding(document, f"shoulder_{side}_db")
        assert found["standing"] == "unknown"
        assert "pad 10 dB larger" in found["remark"]
    assert finding(document, "tuner_error_hz")["standing"] == "unknown"
    assert finding(document, "shoulder_worst_shown_db")["standing"] == "measured"
    known = truth()["sweeps"][name]
    rows = rows_of(document, "spectrum")
    place = np.array([row["frequency_hz"] for row in rows])
    inside = 0
    for offset_hz, true_db in known["behind_front_end_db"]:
        row = rows[int(np.argmin(np.abs(place - offset_hz)))]
        inside += (row["level_low_db"] or -99) - 0.2 <= true_db <= row["level_high_db"] + 0.2
    assert inside >= 0.9 * len(known["behind_front_end_db"])


def test_tool_two_settings_leave_a_true_interval(evening, capsys, read_json):
    document = read_json(run(capsys, "--settings", evening / "pair.csv", "--json")[1])
    sent = truth()["sweeps"]["hot"]["transmitted_shoulder_db"]
    for side in ("lower", "upper"):
        found = finding(document, f"shoulder_{side}_db")
        assert found["low"] <= sent[side] <= found["high"]
        assert "interval" in found["remark"]
    assert finding(document, "pad_next_db")["value"] > 0


def test_law_a_set_beside_a_wide_recording(evening, capsys, read_json):
    wide = recording_path("a4_drive_7MHz_2K_64QAM23_GI8_6")
    table = evening / "hot_att6.csv"
    names = [f"{evening}/{row['recording']}" for row in csv.DictReader(table.open(encoding="utf-8"))]
    document = read_json(run(capsys, wide, *names, "--settings", table, "--json")[1])
    assert {one["about"] for one in document["findings"]} == {f"recording:{wide.stem}", "set:night_hot_att6"}
    assert {row["about"] for row in rows_of(document, "spectrum")} == {f"recording:{wide.stem}", "set:night_hot_att6"}


def test_message_no_recording(capsys):
    code, out, err = run(capsys)
    assert (code, out) == (2, "")
    assert "there is no recording: name one, a folder of them, or a table of settings with --settings" in err


def test_message_an_empty_folder(tmp_path, capsys):
    code, out, err = run(capsys, tmp_path)
    assert (code, out) == (2, "")
    assert "is a folder without a SigMF or WAV recording in it" in err
