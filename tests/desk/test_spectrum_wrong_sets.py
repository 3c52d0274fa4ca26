"""``tepui spectrum`` with sets in which something is wrong: told in a sentence, and nothing counted that is not so."""

import csv
import json
from pathlib import Path

import numpy as np
import pytest

from tepui.cli.main import main
from tepui.desk.spectrum_inputs import expanded, opened
from tepui.files.sigmf import write_sigmf
from tepui.ground.errors import FormatError
from tepui.jobs.set_grouping import contradiction, grouped
from tepui.signals.recording import recording_from_samples

SWEEPS = Path(__file__).parents[1] / "data" / "sweeps"
COLUMNS = ("recording", "frequency_hz", "rate_hz", "type", "attenuator_db", "frontend_gain_db", "if_gain_db", "agc")


@pytest.fixture(scope="module")
def evening(tmp_path_factory):
    """One cut sweep as raw files; returns its folder and the rows of its table."""
    folder = tmp_path_factory.mktemp("wrong")
    steps = json.loads((SWEEPS / "a5_truth.json").read_text(encoding="utf-8"))["sweeps"]["hot_att6"]["steps"]
    rows = []
    with np.load(SWEEPS / "a5_cut.npz") as file:
        for number, step in enumerate(steps, start=2):
            path = folder / f"night_{number:02d}.raw"
            path.write_bytes(file[f"hot_att6_{number:02d}"].astype(np.uint8).tobytes())
            settings = [step[key] for key in COLUMNS[4:7]]
            rows.append([path.name, step["tuned_hz"], 2.4e6, "cu8", *settings, ""])
    return folder, rows


def measured(folder, rows, capsys, read_json, *words):
    table = folder / "table.csv"
    with table.open("w", newline="", encoding="utf-8") as handle:
        csv.writer(handle).writerows([COLUMNS, *rows])
    assert main(["spectrum", "--settings", str(table), *words, "--json"]) == 0
    return {one["key"]: one for one in read_json(capsys.readouterr().out)["findings"]}


# The label of recording 5 is 11 dB too high, and recording 7 says that automatic gain was on (truth: README.md there).
def test_law_a_wrong_gain_label_is_told(evening, capsys, read_json, nomenclature):
    folder, rows = evening
    wrong = [list(row) for row in rows]
    wrong[3][6] += 11
    wrong[5][7] = "true"
    found = measured(folder, wrong, capsys, read_json, "--centre", "1275 MHz", "--width", "7 MHz")
    assert set(found) <= set(nomenclature)
    caution = found["gain_step_off_db"]
    assert caution["value"] == pytest.approx(-11, abs=1.2)
    assert wrong[3][0].removesuffix(".raw") in caution["remark"]
    assert found["automatic_gain"]["value"] is True
    assert "night_07" in found["automatic_gain"]["remark"]
    assert "channel_seen_hz" not in found
    sides = [found[f"shoulder_{side}_db"]["remark"] for side in ("lower", "upper")]
    levels = [float(remark.split()[0]) for remark in sides]
    assert float(found["shoulder_worst_db"]["remark"].split()[0]) == max(levels)


# The signal is 7 MHz wide: 6.656 MHz of carriers ([EN300744] 4.4).
def test_published_a_wrong_width_is_told(evening, capsys, read_json):
    found = measured(*evening, capsys, read_json, "--centre", "1275 MHz", "--width", "8 MHz")
    assert found["channel_seen_hz"]["value"] == pytest.approx(6.656e6, abs=30e3)
    assert "Correct --width" in found["channel_seen_hz"]["remark"]
    assert "gain_step_off_db" not in found


def test_limit_noise_alone_is_no_signal(tmp_path, evening, capsys, read_json):
    rng = np.random.default_rng(3)
    _, rows = evening
    for row in rows:
        codes = np.clip(np.round(rng.normal(127.5, 3, 40000)), 0, 255).astype(np.uint8)
        (tmp_path / row[0]).write_bytes(codes.tobytes())
    found = measured(tmp_path, rows, capsys, read_json, "--centre", "1275 MHz", "--width", "7 MHz")
    assert found["shoulder_worst_db"]["standing"] == "unknown"
    assert "Nothing stands out of the noise" in found["shoulder_worst_db"]["remark"]


def slice_of(name, tuned_hz, rate_hz=2.4e6):
    samples = np.random.default_rng(1).normal(size=(4096, 2)) @ [0.1, 0.1j]
    return recording_from_samples(name, samples, sample_rate_hz=rate_hz, frequency_hz=tuned_hz)


def test_law_two_bands_are_two_sets():
    near = [slice_of(f"near_{n}", 1275e6 + n * 1.25e6) for n in range(-3, 4)]
    far = [slice_of(f"far_{n}", 437e6 + n * 1.25e6) for n in range(-3, 4)]
    sets = grouped([*near, *far], width_hz=7e6).sets
    assert sorted(tuple(one.name for one in members) for _, members in sets) == [
        tuple(one.name for one in far),
        tuple(one.name for one in near),
    ]


# Two tunings of a narrow receiver stand at both ends of one channel of 8 MHz.
def test_law_the_quick_two_stay_one_set():
    pair = [slice_of(name, 1275e6 + sign * 4.3e6) for name, sign in (("a", -1), ("b", 1))]
    assert len(grouped(pair, width_hz=8e6).sets) == 1


def test_limit_one_of_another_rate_is_named():
    sweep = [slice_of(f"s_{n}", 1275e6 + n * 1.25e6) for n in range(-3, 4)]
    stray = slice_of("stray", 1275e6, 2.048e6)
    sentence = contradiction(grouped([*sweep, stray], width_hz=7e6))
    assert sentence is not None
    assert "stray says 2.048 MS/s and the 7 recordings of s around it 2.4 MS/s" in sentence
    assert contradiction(grouped([*sweep, slice_of("wide", 1275e6, 16e6)], width_hz=7e6)) is None


def pair(folder, name, seed=1):
    folder.mkdir(exist_ok=True)
    samples = np.random.default_rng(seed).normal(size=(4096, 2)) @ [0.1, 0.1j]
    write_sigmf(folder / name, [samples], sample_rate_hz=2.4e6, sample_type="cu8", frequency_hz=1e9, settings={})
    return folder / f"{name}.sigmf-meta"


def test_law_a_recording_counts_once(tmp_path):
    first, other = pair(tmp_path / "one", "a"), pair(tmp_path / "one", "b", seed=2)
    copy = pair(tmp_path / "two", "a")
    named = [tmp_path / "one", first.with_suffix(".sigmf-data"), tmp_path / "two", other]
    recordings, files = opened(named, settings=None, sample_type=None, rate_hz=None, frequency_hz=None)
    assert [one.name for one in recordings] == ["a", "b"]
    assert "counts once" in recordings[0].remarks[-1]
    assert copy in files


def test_limit_samples_without_metadata_are_not_passed_over(tmp_path):
    pair(tmp_path / "one", "a")
    pair(tmp_path / "one", "b").unlink()
    with pytest.raises(FormatError, match=r"b\.sigmf-data has no b\.sigmf-meta beside it"):
        expanded([tmp_path / "one"])
    assert len(expanded([tmp_path / "one"], named={(tmp_path / "one" / "b").absolute()})) == 1
