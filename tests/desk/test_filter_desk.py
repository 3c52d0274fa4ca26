import json
import re

import numpy as np
import pytest
import skrf

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.resonators import CoupledFilter, coupled_scattering, tuned
from tepui.cli.main import main

QUICK = ["filter", "--centre", "1296 MHz", "--width", "30 MHz", "--poles", "3", "--ripple", "0.1 dB", "--structure",
         "interdigital", "--rod", "8 mm", "--gap", "25 mm", "--unloaded-q", "1200"]  # fmt: skip
GOAL = ["--centre", "1296 MHz", "--width", "30 MHz", "--poles", "3", "--ripple", "0.1 dB"]


def document(words, capsys, read_json, code=0):
    assert main([*words, "--json"]) == code
    return read_json(capsys.readouterr().out)


def by_key(read, about=None):
    return {f["key"]: f for f in read["findings"] if about in (None, f["about"])}


def columns(read, table):
    named = read["tables"][table]
    return {c["key"]: [row[n] for row in named["rows"]] for n, c in enumerate(named["columns"])}


def known(read, nomenclature):
    for finding in read["findings"]:
        assert nomenclature[finding["key"]] == finding["unit"], finding["key"]
    for table in read["tables"].values():
        for column in table["columns"]:
            assert nomenclature[column["key"]] == column["unit"], column["key"]


def test_law_the_quick_question_gives_the_design(capsys, read_json, nomenclature):
    read = document([*QUICK, "--channel", "7 MHz", "--power", "10 W"], capsys, read_json)
    known(read, nomenclature)
    found, rods = by_key(read, "stage:filter"), columns(read, "rods")
    assert {"box_length_m", "insertion_loss_db", "centre_hz", "width_3db_hz", "impedance_ohm"} <= set(found)
    assert rods["length_m"] == [rods["length_m"][0]] * 3
    assert rods["to_next_m"][2] is None
    assert rods["to_wall_m"][1] is None
    assert rods["tap_m"][1] is None
    assert found["box_length_m"]["value"] > rods["length_m"][0] + max(rods["screw_m"])
    assert {"g", "k_to_next", "q_external"} <= set(columns(read, "prototype"))
    trace = columns(read, "trace")
    best = np.argmax(trace["s21_db"])
    assert abs(trace["frequency_hz"][best] - 1296e6) < 20e6
    assert found["centre_hz"]["low"] < 1296e6 < found["centre_hz"]["high"]


# Scenario "choose a frequency plan" of the project's acceptance cases: 1 % of each figure.
def test_published_figures_of_the_planning_scenario(capsys, read_json):
    words = ["filter", "--centre", "2346 MHz", "--width", "40 MHz", "--poles", "3", "--ripple", "0.1 dB", "--rod",
             "8 mm", "--gap", "25 mm", "--unloaded-q", "1200", "--reject", "1488 MHz: 62 dB"]  # fmt: skip
    read = document(words, capsys, read_json)
    found = by_key(read)
    assert found["external_q"]["value"] == pytest.approx(60.5, rel=0.01)
    assert columns(read, "prototype")["k_to_next"][0] == pytest.approx(0.0157, rel=0.01)
    assert found["insertion_loss_db"]["value"] == pytest.approx(0.68, rel=0.02)
    assert found["spacing_textbook_m"]["value"] == pytest.approx(37.4e-3, rel=0.01)
    assert found["impedance_ohm"]["value"] == pytest.approx(82.8, rel=0.01)
    assert found["tap_textbook_m"]["value"] == pytest.approx(1.8e-3, rel=0.01)
    assert found["quarter_wave_m"]["value"] == pytest.approx(31.9e-3, rel=0.01)
    assert found["tap_too_low"]["kind"] == "caution"
    assert "wider filter" in found["tap_too_low"]["remark"]
    assert "Z0" in found["tap_too_low"]["remark"]
    rejected = found["rejection_db"]
    assert rejected["standing"] == "at_least"
    assert rejected["value"] == 60
    assert rejected["margin"] == -2
    assert "100 dB" in rejected["remark"]
    assert "60 to 70 dB until it is measured" in rejected["remark"]
    assert main([*words, "--strict"]) == 1


def test_law_the_least_order_that_meets_what_is_asked_is_taken(capsys, read_json):
    words = ["filter", "--centre", "1296 MHz", "--width", "20 MHz", "--rod", "8 mm", "--gap", "25 mm", "--metal",
             "copper", "--reject", "1242 MHz: 30 dB"]  # fmt: skip
    read = document(words, capsys, read_json)
    candidates = columns(read, "candidates")
    meeting = [n for n, meets in zip(candidates["poles"], candidates["meets"], strict=True) if meets]
    assert by_key(read)["poles"]["value"] == min(meeting)
    assert by_key(read)["unloaded_q"]["standing"] == "computed"


def test_law_other_structures_answer_too(capsys, read_json, nomenclature):
    words = [word if word != "interdigital" else "combline" for word in QUICK]
    read = document(words, capsys, read_json)
    known(read, nomenclature)
    assert by_key(read)["width_3db_hz"]["value"] == pytest.approx(41.7e6, rel=0.05)
    lumped = ["filter", "--centre", "428 MHz", "--width", "12 MHz", "--poles", "3", "--ripple", "0.1 dB", "--structure",
              "lumped"]  # fmt: skip
    read = document(lumped, capsys, read_json)
    known(read, nomenclature)
    assert by_key(read)["centre_hz"]["value"] == pytest.approx(428e6, rel=0.005)
    assert len(columns(read, "parts")["part"]) == 7


def test_law_the_drawing_is_of_true_size(tmp_path, capsys):
    assert main([*QUICK, "--plots", str(tmp_path / "out")]) == 0
    capsys.readouterr()
    text = (tmp_path / "out" / "filter-drawing.svg").read_text(encoding="utf-8")
    size = re.search(r'height="([\d.]+)pt" .*?viewBox="0 0 ([\d.]+) ([\d.]+)"', text)
    assert float(size[1]) == float(size[3])
    assert "50 mm when printed at 100 %" in text
    assert (tmp_path / "out" / "filter-drawing.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["filter", "--centre", "1296 MHz", "--width", "30 MHz"], "needs the metal to hand"),
        ([*QUICK[:4], "30", *QUICK[5:]], "--width: .* has no unit"),
        ([*QUICK, "--unloaded-q", "-5"], "--unloaded-q must be a bare number above zero"),
        ([*QUICK, "--poles", "12"], "--poles must be a whole number from 1 to 9"),
        ([*QUICK, "--structure", "helical"], "structure must be interdigital, combline or lumped"),
        ([*QUICK, "--metal", "tin"], "metal must be silver, copper, aluminium or brass"),
        (["tune"], "give a trace, or a goal"),
        (["tune", "none.s2p", *GOAL], "cannot be opened"),
        (["tune", "--centre", "1 GHz"], "needs both --centre and --width"),
        (["tune", *GOAL, "--turned", "two"], "--turned must be a screw and its turns"),
    ],
)
def test_what_cannot_be_used_is_one_sentence(words, sentence, capsys):
    if "tin" in words:
        words = [word for word in words if word not in ("--unloaded-q", "1200")]
    assert main(words) == 2
    shown = capsys.readouterr()
    assert shown.out == ""
    assert re.search(sentence, shown.err)
    assert shown.err.count("\n") == 1


def saved(folder, name, shifts_hz, *, couple=1.0, load=1.0):
    goal = FilterGoal(centre_hz=1296e6, width_hz=30e6, poles=3, ripple_db=0.1)
    ideal = tuned(goal)
    made = CoupledFilter(
        resonator_hz=ideal.resonator_hz + np.array(shifts_hz), couplings=ideal.couplings * [couple, 1.0],
        q_first=ideal.q_first, q_last=ideal.q_last * load, unloaded_q=1100.0,
    )  # fmt: skip
    f = np.linspace(1236e6, 1356e6, 201)
    rng = np.random.default_rng(1)
    s = coupled_scattering(made, f) * np.exp(-2j * np.pi * f * 1e-9)[:, None, None]
    s = s + 2e-3 * (rng.standard_normal(s.shape) + 1j * rng.standard_normal(s.shape))
    skrf.Network(frequency=skrf.Frequency.from_f(f, unit="hz"), s=s, z0=50).write_touchstone(name, dir=folder)
    return str(folder / f"{name}.s2p")


def test_law_the_last_two_traces_teach_the_screw(tmp_path, capsys, read_json, nomenclature):
    first = saved(tmp_path, "first", [-3e6, -5e6, 2e6], couple=1.1, load=1.3)
    second = saved(tmp_path, "second", [-3e6, -3e6, 2e6], couple=1.1, load=1.3)
    read = document(
        ["tune", first, second, "--turned", "2: -0.25", *GOAL, "--at", "image: 1240 MHz"], capsys, read_json
    )
    known(read, nomenclature)
    rods = columns(read, "resonators")
    assert rods["resonator_error_hz"] == pytest.approx([-3e6, -3e6, 2e6], abs=5e4)
    assert rods["screw_way"] == ["out", "out", "in"]
    assert rods["screw_turns"][1] == pytest.approx(3 / 8, rel=0.05)
    assert re.match(r"rod 2 is [23]\.\d+ ± 0\.\d+ MHz low: screw out about a third of a turn", rods["advice"][1])
    assert (
        "No tuning screw mends that: move the rods apart" in by_key(read, "stage:rods 1 and 2")["coupling_k"]["remark"]
    )
    assert "No tuning screw" not in by_key(read, "stage:rods 2 and 3")["coupling_k"]["remark"]
    assert "move this tap up" in by_key(read, "stage:port 2")["external_q"]["remark"]
    assert columns(read, "places")["loss_db"][0] == pytest.approx(30, abs=3)
    delays = columns(read, "sequence")
    assert len(delays["delay_s"]) == 3


def test_law_without_a_goal_the_number_of_resonators_is_found(tmp_path, capsys, read_json):
    read = document(["tune", saved(tmp_path, "alone", [0, 1e6, 0])], capsys, read_json)
    assert len(columns(read, "resonators")["rod"]) == 3


def test_law_a_scalar_trace_leaves_single_rods_unknown(tmp_path, capsys, read_json, nomenclature):
    goal = FilterGoal(centre_hz=1296e6, width_hz=30e6, poles=3, ripple_db=0.1)
    f = np.linspace(1236e6, 1356e6, 121)
    loss = -20 * np.log10(np.abs(coupled_scattering(tuned(goal, unloaded_q=1000), f)[:, 1, 0]))
    path = tmp_path / "scalar.csv"
    path.write_text("\n".join(f"{a / 1e6},{b:.2f}" for a, b in zip(f, loss, strict=True)), encoding="utf-8")
    read = document(["tune", str(path), *GOAL], capsys, read_json)
    known(read, nomenclature)
    assert by_key(read, "stage:rod 2")["resonator_hz"]["standing"] == "unknown"
    assert "mirror image" in by_key(read, "stage:rod 2")["resonator_hz"]["remark"]
    assert by_key(read)["width_3db_hz"]["value"] == pytest.approx(goal.width_3db_hz, rel=0.03)


def test_law_a_single_port_and_a_cut_off_file(tmp_path, capsys, read_json):
    whole = skrf.Network(saved(tmp_path, "two", [-3e6, 0, 2e6]))
    whole.s11.write_touchstone("one", dir=tmp_path)
    read = document(["tune", str(tmp_path / "one.s1p"), *GOAL], capsys, read_json)
    assert columns(read, "resonators")["resonator_error_hz"] == pytest.approx([-3e6, 0, 2e6], abs=3e5)
    broken = tmp_path / "broken.s2p"
    broken.write_text(json.dumps({}) + "\n", encoding="utf-8")
    assert main(["tune", str(broken), *GOAL]) == 2
    assert capsys.readouterr().err.count("\n") == 1
