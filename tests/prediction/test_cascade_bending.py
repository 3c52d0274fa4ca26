"""Levels, noise and distortion of a cascade against textbook examples, published rules and direct laws."""

import csv
import math
import tomllib
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tepui.chain.amplifiers.models import rapp
from tepui.chain.amplifiers.tabulated import measured_curve
from tepui.ground.errors import RangeError
from tepui.prediction.bending import (
    Bend,
    backoff_for_shoulder,
    bend_at,
    compression_below_db,
    rapp_bend,
    ring_bend,
    smoothness_for,
)
from tepui.prediction.cascade import Link, cascade, cascade_oip3_dbm, friis_noise_db, joined_db
from tepui.prediction.detectors import crest_db, detector, receiver_share_db
from tepui.prediction.draws import drawn_levels
from tepui.prediction.quality import joined_mer, qualities
from tepui.prediction.readings import model_of
from tepui.signals.detected import LINEAR_DB, LOG_DB
from tepui.signals.dvbt.mode import Mode

PLAN = Path(__file__).parents[1] / "data" / "plan"
ROWS = list(csv.DictReader((PLAN / "friis_example.csv").read_text(encoding="utf-8").splitlines()))
SHEET = tomllib.loads((PLAN / "level_sheet.toml").read_text(encoding="utf-8"))
MODE = Mode(width_hz=8e6, n_fft=8192, guard=Fraction(1, 32), constellation="QPSK", code_rate=Fraction(2, 3))
SIMULATED = list(csv.DictReader((PLAN.parent / "drive/pa_ofdm_simulated.csv").read_text(encoding="utf-8").splitlines()))


def numbers(example, key):
    return [float(row[key]) for row in ROWS if row["example"] == example]


def sheet_links():
    kinds = {"modulator": "modulator", "mixer": "mixer", "filter": "filter"}
    return [
        Link(name=name, kind=kinds.get(name, "amplifier"), gain_db=gain, std_db=doubt / 2, worst_db=doubt)
        for name, gain, doubt in zip(SHEET["stage"], SHEET["gain"], SHEET["doubt"], strict=True)
    ]


# Textbook receiver front end, recalled: F 1.80, NF 2.55 dB printed.
def test_published_noise_of_a_cascade():
    total = friis_noise_db(numbers("receiver front end NF", "gain_db"), numbers("receiver front end NF", "nf_db"))
    assert total == pytest.approx(2.55, abs=0.006)
    assert 10 ** (total / 10) == pytest.approx(1.80, abs=0.005)


# Textbook cascade, recalled: exact 6.485 dBm; public discussion: 24.361 dBm.
@pytest.mark.parametrize(("example", "expected"), [("cascade OIP3", 6.485), ("cascade OIP3 forum", 24.361)])
def test_published_intercept_of_a_cascade(example, expected):
    gains = numbers(example, "gain_db")
    oip3 = [None if math.isinf(one) else one for one in numbers(example, "oip3_dbm")]
    assert cascade_oip3_dbm(gains, oip3) == pytest.approx(expected, abs=0.002)


def test_published_levels_drawn_beforehand():
    nodes = cascade(sheet_links(), occupied_hz=6.66e6)
    assert [node.level.value for node in nodes] == pytest.approx(SHEET["before"], abs=0.05)
    assert [2 * node.level.std for node in nodes] == pytest.approx(SHEET["before_doubt"], abs=0.06)


# kT at 290 K in 7.61 MHz: -105.161 dBm (own arithmetic with the 2019 value of k, and any handbook's -174 dBm/Hz).
def test_published_floor_and_law_of_a_passive_stage():
    quiet = Link(name="pad", kind="pad", gain_db=-10, std_db=0, worst_db=0, noise_db=10)
    source = Link(name="modulator", kind="modulator", gain_db=0, std_db=0, worst_db=0, noise_db=0)
    first, second = cascade([source, quiet], occupied_hz=7.61e6)
    assert first.noise_dbm == pytest.approx(-105.161, abs=0.001)
    assert second.noise_dbm == pytest.approx(-105.161, abs=0.001)


@given(gain=st.floats(-60, 60), noise=st.floats(0, 20))
def test_law_a_lossless_stage_without_gain_changes_nothing(gain, noise):
    source = Link(name="modulator", kind="modulator", gain_db=0, std_db=0.5, worst_db=1, noise_db=0)
    amp = Link(name="a", kind="amplifier", gain_db=gain, std_db=1, worst_db=2, noise_db=noise)
    nothing = Link(name="n", kind="pad", gain_db=0, std_db=0, worst_db=0, noise_db=0, passive=True)
    plain = cascade([source, amp], occupied_hz=6e6)[-1]
    with_it = cascade([source, nothing, amp, nothing], occupied_hz=6e6)[-1]
    assert (with_it.level.value, with_it.level.std, with_it.worst_db) == (
        plain.level.value,
        plain.level.std,
        plain.worst_db,
    )
    assert with_it.noise_dbm == pytest.approx(plain.noise_dbm)


@given(levels=st.lists(st.floats(-70, -20), min_size=1, max_size=6))
def test_law_decibels_and_linear_routes_agree(levels):
    powers, voltages = joined_db(levels)
    assert 10 ** (powers / 10) == pytest.approx(sum(10 ** (one / 10) for one in levels))
    assert 10 ** (voltages / 20) == pytest.approx(sum(10 ** (one / 20) for one in levels))
    assert voltages >= powers - 1e-9


@given(gains=st.lists(st.floats(-10, 30), min_size=1, max_size=5))
def test_law_level_of_a_chain_is_the_product_of_its_ratios(gains):
    links = [Link(name=str(n), kind="amplifier", gain_db=one, std_db=0, worst_db=0) for n, one in enumerate(gains)]
    watts = math.prod(10 ** (one / 10) for one in gains)
    assert 10 ** (cascade(links, occupied_hz=6e6)[-1].level.value / 10) == pytest.approx(watts)


# Own simulation of 8K with Rapp, scatter 0.2 dB; its shoulder is against the mean in band, ours against the highest,
# 0.44 dB more in 8K (boosted pilots through ten spacings).
@pytest.mark.parametrize("row", [row for row in SIMULATED if row["model"] == "rapp" and row["p"] in ("2.0", "3.0")])
def test_tool_rapp_against_simulation(row):
    backoff, p = float(row["ibo_db_rel_saturation"]), float(row["p"])
    if float(row["shoulder_db_300_700khz"]) > 50:
        return
    bend = Bend(model="rapp", reference_dbm=0.0, std_db=0.0, forms=(p,), why="")
    bent = bend_at(bend, input_dbm=0, output_dbm=-backoff, std_db=0, mode=MODE)
    assert -bent.shoulder_db[1] - 0.44 == pytest.approx(float(row["shoulder_db_300_700khz"]), abs=0.35)
    assert bent.mer_db[1] + 0.25 == pytest.approx(float(row["mer_db"]), abs=0.5)
    assert backoff + bent.compression_db == pytest.approx(float(row["obo_db_rel_saturation"]), abs=0.06)


# Cubic theory: shoulder -2(OIP3 - P) at the edge, 0.6 dB less 300 to 700 kHz out; MER 2(OIP3 - P) - 1.25 dB.
@pytest.mark.parametrize("below", [20, 24, 28])
def test_published_cubic_rule(below):
    bend = Bend(model="cubic", reference_dbm=50.0, std_db=0.0, why="")
    bent = bend_at(bend, input_dbm=0, output_dbm=50 - below, std_db=0, mode=MODE)
    assert bent.shoulder_db[1] + 0.44 == pytest.approx(-2 * below - 0.6, abs=0.4)
    assert bent.mer_db[1] == pytest.approx(2 * below - 1.25, abs=0.6)
    assert bent.shoulder_slope == pytest.approx(2.0, abs=0.06)
    assert not bent.extrapolated
    assert bend_at(bend, input_dbm=0, output_dbm=40, std_db=0, mode=MODE).extrapolated


# P1dB lies 2.2 dB (p = 2) and 1.0 dB (p = 3) below saturation.
def test_published_distance_of_p1db_from_saturation():
    assert compression_below_db(2.0) == pytest.approx(2.2, abs=0.05)
    assert compression_below_db(3.0) == pytest.approx(1.0, abs=0.05)
    assert smoothness_for(compression_below_db(2.4)) == pytest.approx(2.4, abs=1e-6)
    assert rapp_bend(p1db_dbm=(45, 0.5), saturated_dbm=(46, 0.5)).forms[0] == pytest.approx(3.0, abs=0.05)


# A shoulder of 32 dB needs 8.3 dB of output back-off with p = 2, so 6.1 dB below P1dB.
def test_published_backoff_for_a_shoulder():
    assert backoff_for_shoulder(-32.5) == pytest.approx(8.3 - 2.16, abs=0.15)


# Table of the ring: 21 dB at 0 dBm, 53 dB at -8; a measured ring (1 dB at +1 dBm) takes 2 dB less drive.
def test_published_ring_is_hopeless_at_0_dbm():
    model = ring_bend(lo_dbm=7, input_p1db_dbm=(3.0, 0.0))
    assert bend_at(model, input_dbm=0, output_dbm=0, std_db=0, mode=MODE).shoulder_db[1] == pytest.approx(-21.3)
    assert bend_at(model, input_dbm=-8, output_dbm=0, std_db=0, mode=MODE).shoulder_db[1] == pytest.approx(-53.5)
    real = ring_bend(lo_dbm=7, input_p1db_dbm=None)
    assert bend_at(real, input_dbm=-2, output_dbm=0, std_db=0, mode=MODE).shoulder_db[1] == pytest.approx(-21.3)
    strong = ring_bend(lo_dbm=17, input_p1db_dbm=None)
    assert bend_at(strong, input_dbm=8, output_dbm=0, std_db=0, mode=MODE).shoulder_db[1] == pytest.approx(-21.3)


LEVEL = np.arange(-20, 30, 1.0)
OUT = 20 * np.log10(
    np.abs(rapp((10 ** (LEVEL / 20)).astype(complex), gain_ratio=1.0, saturated_w=10.0**1.5, smoothness=2.0))
)
CURVE = measured_curve([[a, b] for a, b in zip(LEVEL, OUT, strict=True)])


@given(drive=st.floats(-25, 5))
def test_law_a_table_of_an_amplifier_bends_as_the_amplifier_does(drive):
    table = Bend(model="measured curve", reference_dbm=0, std_db=0, at_input=True, curve=CURVE, why="")
    form = Bend(model="rapp", reference_dbm=15, std_db=0, forms=(2.0,), why="")
    one = bend_at(table, input_dbm=drive, output_dbm=drive, std_db=0, mode=MODE)
    other = bend_at(form, input_dbm=drive, output_dbm=drive, std_db=0, mode=MODE)
    if other.shoulder_db[1] > -60:
        assert one.shoulder_db[1] == pytest.approx(other.shoulder_db[1], abs=0.25)
        assert one.mer_db[1] == pytest.approx(other.mer_db[1], abs=0.25)


def test_limit_a_drive_curve_needs_three_points_and_one_form():
    with pytest.raises(RangeError, match="three points or more, not 2"):
        measured_curve([[0, 10], [1, 11]])
    with pytest.raises(RangeError, match="phase in all of its rows or in none"):
        measured_curve([[0, 10], [1, 11, 3], [2, 12]])


# Two equal stages: 3 dB worse as powers, 6 dB as voltages; one decibel more of the worse buys its slope's worth.
def test_limit_two_equal_stages():
    bend = Bend(model="cubic", reference_dbm=40.0, std_db=0.0, why="")
    links = [
        Link(name="modulator", kind="modulator", gain_db=15, std_db=0, worst_db=0, noise_db=0),
        Link(name="a", kind="amplifier", gain_db=0, std_db=0, worst_db=0, bend=bend, noise_db=0),
        Link(name="b", kind="amplifier", gain_db=0, std_db=0, worst_db=0, bend=bend, noise_db=0),
    ]
    nodes = cascade(links, occupied_hz=6e6)
    one, two = qualities(links, nodes, [node.level for node in nodes], mode=MODE)[1:]
    assert two.shoulder_powers_db[1] - one.shoulder_powers_db[1] == pytest.approx(3.01, abs=0.01)
    assert two.shoulder_voltages_db[1] - one.shoulder_powers_db[1] == pytest.approx(6.02, abs=0.01)
    assert two.next_db == pytest.approx(3.01 - 10 * math.log10(1 + 10 ** (-two.bent.shoulder_slope / 10)), abs=0.02)


def two_cubics(*, reference_std_db=0.0, level_std_db=0.0):
    bend = Bend(model="cubic", reference_dbm=40.0, std_db=reference_std_db, why="")
    links = [
        Link(name="modulator", kind="modulator", gain_db=15, std_db=level_std_db, worst_db=0, noise_db=0),
        Link(name="a", kind="amplifier", gain_db=0, std_db=0, worst_db=0, bend=bend, noise_db=0),
        Link(name="b", kind="amplifier", gain_db=0, std_db=0, worst_db=0, bend=bend, noise_db=0),
    ]
    nodes = cascade(links, occupied_hz=6e6)
    drawn = drawn_levels(model_of(links, {}), [])
    return qualities(links, nodes, [node.level for node in nodes], mode=MODE, drawn=drawn)[-1]


# By hand, two equal stages of 2 dB/dB: what both have in common moves their sum as it moves each, 1.96 x 2 x 0.1 dB;
# what each has alone is halved in the sum and joins as a root of squares, 1.96 x sqrt(2) x 0.1 dB.
def test_limit_intervals_of_sums_know_what_stages_have_in_common():
    shared, alone = two_cubics(level_std_db=0.1), two_cubics(reference_std_db=0.1)
    for quality, half in ((shared, 1.96 * 2 * 0.1), (alone, 1.96 * math.sqrt(2) * 0.1)):
        low, value, high = quality.shoulder_powers_db
        assert (high - low) / 2 == pytest.approx(half, rel=0.06)
        assert (high + low) / 2 == pytest.approx(value, abs=0.03)
        low, value, high = quality.mer_powers_db
        assert (high - low) / 2 == pytest.approx(half, rel=0.06)


# By hand: two equal MERs of ± 0.2 dB leave 3.01 dB less, and each moves the sum by half: ± 0.2 / sqrt(2) dB.
def test_limit_two_equal_errors_together():
    low, value, high = joined_mer([("a", (29.8, 30.0, 30.2)), ("b", (29.8, 30.0, 30.2))])
    assert value == pytest.approx(30 - 3.01, abs=0.01)
    assert (high - low) / 2 == pytest.approx(0.2 / math.sqrt(2), rel=0.06)


# Exponential density of the power: E[ln w] = -gamma, E[sqrt w] = sqrt(pi)/2; quantiles of exp(-w).
def test_tool_detectors_on_a_gaussian_signal():
    rng = np.random.default_rng(5)
    power = np.abs(rng.normal(size=400_000) + 1j * rng.normal(size=400_000)) ** 2 / 2
    assert pytest.approx(np.mean(10 * np.log10(power)), abs=0.03) == LOG_DB
    assert pytest.approx(20 * np.log10(np.mean(np.sqrt(power))), abs=0.02) == LINEAR_DB
    assert pytest.approx(-2.51, abs=0.005) == LOG_DB
    assert pytest.approx(-1.05, abs=0.005) == LINEAR_DB
    assert crest_db(1e-3) == pytest.approx(8.39, abs=0.005)
    assert crest_db(1e-4) == pytest.approx(9.64, abs=0.005)
    assert detector("thermal head").offset_db == 0


def test_limit_a_probe_follows_its_law_and_a_narrow_receiver_its_width():
    assert detector("diode probe", input_dbm=-30).offset_db == 0
    assert detector("diode probe", law="linear").offset_db == LINEAR_DB
    unsure = detector("diode probe", input_dbm=10)
    assert unsure.offset_db - 1.8 * unsure.std_db < LINEAR_DB + 0.1
    assert receiver_share_db(usable_hz=1.8e6, occupied_hz=7.2e6) == pytest.approx(-6.02, abs=0.01)
    assert receiver_share_db(usable_hz=9e6, occupied_hz=7.2e6) == 0
