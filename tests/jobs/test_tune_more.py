import re

import numpy as np
import pytest

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.resonators import CoupledFilter, coupled_response, coupled_scattering, tuned
from tepui.chain.filters.sequence import lossless_delay_s, step_delays_s
from tepui.ground.errors import RangeError
from tepui.jobs.tune import MeasuredTrace, TuneQuestion, tune_filter
from tepui.jobs.tune_live import AS_ADVISED, LiveTuning, advice_lines, follow
from tepui.signals.oneport import OnePort

GOAL = FilterGoal(centre_hz=1296e6, width_hz=30e6, poles=3, ripple_db=0.1)
F = np.linspace(1236e6, 1356e6, 201)


def filter_of(shifts_hz, **parts):
    ideal = tuned(GOAL, unloaded_q=1100.0)
    made = {"resonator_hz": ideal.resonator_hz + np.array(shifts_hz), "couplings": ideal.couplings,
            "q_first": ideal.q_first, "q_last": ideal.q_last, "unloaded_q": 1100.0}  # fmt: skip
    return CoupledFilter(**{**made, **parts})


def whole(name, shifts_hz):
    return MeasuredTrace(name=name, port=coupled_response(filter_of(shifts_hz), F))


def step_trace(step, shifts_hz, *, q_first=None):
    """Reflection with the first ``step`` rods working, through 0.4 m of cable."""
    made = filter_of(
        [0.0] * 3, resonator_hz=GOAL.centre_hz + np.array(shifts_hz, dtype=float), couplings=GOAL.couplings[: step - 1],
        q_first=q_first or GOAL.external_q, q_last=1e12,
    )  # fmt: skip
    gamma = coupled_scattering(made, F)[:, 0, 0] * np.exp(-4j * np.pi * F * 2e-9)
    rng = np.random.default_rng(step)
    noise = 2e-3 * (rng.standard_normal(len(F)) + 1j * rng.standard_normal(len(F)))
    return MeasuredTrace(name="step", port=OnePort(frequency_hz=F, gamma=gamma + noise, z0_ohm=50.0))


def said(outcome):
    return {(finding.about, finding.key): finding for finding in outcome.findings}


# J. Ness 1998, from memory (reference table kq_values): 32.8, 36.5 and 65.7 ns for n = 3, 0.1 dB, 20 MHz, lossless.
def test_published_delays_of_the_sequence():
    goal = FilterGoal(centre_hz=1262e6, width_hz=20e6, poles=3, ripple_db=0.1)
    assert [lossless_delay_s(goal, step) * 1e9 for step in (1, 2, 3)] == pytest.approx([32.8, 36.5, 65.7], abs=0.05)
    assert step_delays_s(goal, unloaded_q=1e7) * 1e9 == pytest.approx([32.8, 36.5, 65.7], abs=0.1)


@pytest.mark.parametrize("step", [1, 2, 3])
def test_law_each_step_is_accepted_where_it_is_right_and_told_where_it_is_not(step):
    question = TuneQuestion(goal=GOAL, step=step)
    right = said(tune_filter([step_trace(step, [0.0] * step)], question))
    delay = right["recording:step", "reflected_delay_s"]
    assert delay.value == pytest.approx(step_delays_s(GOAL, unloaded_q=1100)[step - 1], rel=0.03)
    assert "accepted" in right[f"stage:rod {step}", "advice"].value
    wrong = said(tune_filter([step_trace(step, [0.0] * (step - 1) + [-2e6])], question))
    line = wrong[f"stage:rod {step}", "advice"].value
    assert re.search(rf"rod {step} is (1\.99|2\.0).* MHz low: screw out a little, and sweep again", line)


def test_law_a_step_that_no_screw_mends_is_told_so():
    outcome = tune_filter([step_trace(1, [0.0], q_first=1.3 * GOAL.external_q)], TuneQuestion(goal=GOAL, step=1))
    assert "tap 1 too low: move it up" in said(outcome)["stage:rod 1", "advice"].value


def test_law_live_traces_learn_each_screw_once_and_keep_it():
    state = LiveTuning(question=TuneQuestion(goal=GOAL))
    state, first = follow(state, whole("one", [-3e6, -4e6, 2e6]))
    assert "a little" in dict(advice_lines(first))["stage:rod 2"]
    state, second = follow(state, whole("two", [-3e6, -2e6, 2e6]), turned={0: -0.25})
    assert state.rates_hz[2] == pytest.approx(-8e6, rel=0.01)
    assert state.advised[2] == pytest.approx(-0.25, rel=0.02)
    assert "a quarter of a turn" in dict(advice_lines(second))["stage:rod 2"]
    state, third = follow(state, whole("three", [-3e6, 0.0, 2e6]), turned=AS_ADVISED)
    assert state.rates_hz[2] == pytest.approx(-8e6, rel=0.02)
    assert "leave it" in dict(advice_lines(third))["stage:rod 2"]
    _, fourth = follow(state, whole("four", [-1e6, 1e6, 2e6]))
    assert "screw in about an eighth" in dict(advice_lines(fourth))["stage:rod 2"]


@pytest.mark.parametrize(("shift_hz", "line"), [(0.0, "leave the screws"), (6e6, "high: turn all screws in")])
def test_law_markers_read_by_hand_tell_the_way(shift_hz, line):
    places = GOAL.centre_hz + np.array([-45e6, -15e6, 0.0, 15e6, 45e6])
    loss = -20 * np.log10(np.abs(coupled_scattering(filter_of([shift_hz] * 3), places)[:, 1, 0]))
    read = dict(zip(places.tolist(), np.round(loss, 1).tolist(), strict=True))
    outcome = tune_filter([], TuneQuestion(goal=GOAL, method="markers", read_db=read, unloaded_q=1100.0))
    assert line in said(outcome)["stage:filter", "advice"].value
    with pytest.raises(RangeError, match="markers say too little"):
        tune_filter([], TuneQuestion(goal=GOAL, method="markers", read_db={1296e6: 1.0}))


# LO 950 MHz below a wanted 1296 MHz leaves an image of 604 MHz.
@pytest.mark.parametrize(("lo_hz", "stands"), [(950e6, "wanted"), (1296e6 + 46e6, "wanted"), (1340e6, "none")])
def test_law_the_side_the_pass_band_stands_on(lo_hz, stands):
    wanted = 1296e6 if stands == "wanted" else 1200e6
    question = TuneQuestion(goal=None, poles=3, places_hz={"wanted": wanted, "LO": lo_hz})
    found = said(tune_filter([whole("curve", [0, 0, 0])], question))
    assert found["recording:curve", "passband_on"].value == stands
    assert ("recording:curve", "wrong_side") in found if stands == "none" else True


def test_law_the_image_is_called_the_image():
    question = TuneQuestion(goal=None, poles=3, places_hz={"wanted": 1226e6, "LO": 1261e6})
    found = said(tune_filter([whole("curve", [0, 0, 0])], question))
    assert found["recording:curve", "passband_on"].value == "image"
    assert found["recording:curve", "wrong_side"].kind == "caution"
