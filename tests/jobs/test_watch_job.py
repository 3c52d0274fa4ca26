"""The edge watch without a screen: what it tells of the practice station is what the station sends."""

from dataclasses import replace

import numpy as np
import pytest

import tepui.practice.live as practice
from live_receivers import Direct, behind_front_end_db, sent_db
from tepui.jobs.watch import EdgeWatch
from tepui.jobs.watch_findings import watch_outcome
from tepui.jobs.watch_plan import WatchPlan
from tepui.jobs.watch_state import (
    FIT_PAD,
    IDLE,
    RECEIVER,
    TAKE_OFF,
    TERMINATE,
    TRANSMITTER,
    WITH_PAD,
    ReceiverState,
)
from tepui.signals.live import ReceiverStoppedError

PLAN = WatchPlan(centre_hz=1286e6, width_hz=7e6, reach_hz=0.9e6, dc_half_width_hz=50e3)


def watched(receiver, plan=PLAN, looks=3):
    watch = EdgeWatch(receiver, plan)
    for _ in range(looks):
        snapshot = watch.step()
    return watch, snapshot


def keys(watch):
    return {one.key: one for one in watch_outcome(watch).findings}


@pytest.fixture(scope="module")
def gentle():
    """A watch of a receiver that adds nothing, and the truth."""
    receiver = Direct()
    watch, snapshot = watched(receiver)
    return watch, snapshot, behind_front_end_db(receiver)


# The truth is the wide signal behind the simulated front end, without noise, before any converter. Reading what is
# highest in a trace depends on its averaging; 0.5 dB allows for that.
def test_limit_shoulders_mode_and_centre_of_the_practice_station(gentle):
    _, snapshot, true = gentle
    for side, truth in zip((snapshot.moment.lower, snapshot.moment.upper), true, strict=True):
        assert side.received is not None
        assert side.received.low <= truth <= side.received.high
        assert side.received.value == pytest.approx(truth, abs=0.5)
        assert side.shown.value > side.received.value  # the floor
    assert snapshot.channel.endswith("8K 1/16")
    assert snapshot.practice
    assert snapshot.centre_hz - 1286e6 == pytest.approx(-9e-6 * 1286e6, abs=6e3)  # CRYSTAL_PPM of the simulation


# Rounding to 8 bits leaves a sixth of a step squared over the sampled band (Bennett); noise of the input is far below.
def test_limit_floor_is_the_converters(gentle):
    watch, snapshot, _ = gentle
    inband_db = watch.found.inband_db[0] - 10 * np.log10(watch.occupied_hz)
    rounding_db = 10 * np.log10(1 / 127**2 / 6 / 2.4e6)
    assert snapshot.state.floor_db == pytest.approx(rounding_db - inband_db, abs=0.6)
    assert snapshot.state.floor_method == "guard interval less tail"
    assert not snapshot.state.is_clipping


def test_law_before_a_pad_test_the_transmitted_level_is_unknown(gentle):
    found = keys(gentle[0])
    assert found["shoulder_lower_db"].standing == found["shoulder_upper_origin"].standing == "unknown"
    assert "pad test" in found["shoulder_lower_db"].remark
    assert found["shoulder_lower_received_db"].standing == "measured"


def test_limit_a_pad_test_by_hand_acquits_a_gentle_receiver():
    receiver = Direct()
    watch, _ = watched(receiver, replace(PLAN, behind_element="IF", pad_db=6.0))
    watch.ask_pad_test()
    assert watch.task == FIT_PAD
    receiver.set_gain("PAD", -6.0)  # the operator's hand
    watch.ask_pad_test()
    assert watch.task == WITH_PAD
    for _ in range(4):
        watch.step()
    assert watch.task == TAKE_OFF
    assert {one.origin for one in watch.verdicts.values()} == {TRANSMITTER}
    receiver.set_gain("PAD", 0.0)
    watch.ask_pad_test()
    assert (watch.task, receiver.gains_db["IF"]) == (IDLE, 34.0)
    for _ in range(2):
        watch.step()
    true = sent_db(receiver)
    found = keys(watch)
    for side, truth in zip(("lower", "upper"), true, strict=True):
        sent = found[f"shoulder_{side}_db"]
        assert sent.standing == "measured"
        assert sent.low <= truth <= sent.high
        assert found[f"shoulder_{side}_origin"].value == "transmitter"
    receiver.set_gain("IF", 31.0)  # at another level it is another question
    for _ in range(2):
        snapshot = watch.step()
    assert snapshot.verdicts == {}
    assert keys(watch)["shoulder_lower_db"].standing == "unknown"


# With 15 dB ahead of it the simulated stage bends: its shoulders stand above those sent. Pads settle what was sent.
def test_limit_an_overdriven_receiver_is_found_out_and_the_truth_with_pads():
    receiver = Direct(FRONT=15.0, IF=18.0)
    watch, before = watched(receiver, replace(PLAN, pad_element="PAD", behind_element="IF"))
    true = sent_db(receiver)
    assert before.moment.lower.received.value > true[0] + 2
    watch.ask_pad_test()
    for _ in range(4):
        watch.step()
    assert {one.origin for one in watch.verdicts.values()} == {RECEIVER}
    for side, truth in zip(("lower", "upper"), true, strict=True):
        assert watch.verdicts[side].low_db <= truth <= watch.verdicts[side].high_db
    assert watch.pad_db == 10  # it stays in
    watch.ask_pad_test()
    for _ in range(4):
        watch.step()
    assert {one.origin for one in watch.verdicts.values()} == {TRANSMITTER}
    for side, truth in zip(("lower", "upper"), true, strict=True):
        verdict = watch.verdicts[side]
        assert verdict.low_db <= truth <= verdict.high_db
        assert verdict.high_db - verdict.low_db < 4


# A usable width of 1 MHz; then 0.8 MHz, for which the signal is seen in a third tuning.
@pytest.mark.parametrize(("reach_hz", "tunings"), [(0.5e6, 2), (0.4e6, 3)])
def test_limit_narrower_receivers(reach_hz, tunings):
    receiver = Direct()
    watch, snapshot = watched(receiver, replace(PLAN, reach_hz=reach_hz), looks=tunings + 1)
    assert len(watch.tunings) == tunings
    true = behind_front_end_db(receiver)
    for side, truth in zip((snapshot.moment.lower, snapshot.moment.upper), true, strict=True):
        assert side.best.low <= truth <= side.best.high


# Noise is far below a step there: the converter rests on one code, and rounding alone is the floor once a signal comes.
def test_limit_the_floor_of_a_terminated_input(monkeypatch):
    receiver = Direct()
    watch, _ = watched(receiver)
    guarded_db = watch.state.floor_db
    watch.ask_floor()
    assert watch.task == TERMINATE
    watch.ask_floor()
    with monkeypatch.context() as off:
        off.setattr(practice, "COUPLED_DBM", -200.0)
        receiver.forget()
        for _ in range(2):
            watch.step()
    assert watch.task == IDLE
    receiver.forget()
    for _ in range(2):
        watch.step()
    assert watch.state.floor_method == "terminated input"
    assert watch.state.floor_db == pytest.approx(guarded_db, abs=0.6)


def test_limit_no_signal_is_said_and_nothing_measured():
    watch, snapshot = watched(Direct(), replace(PLAN, centre_hz=1281e6, width_hz=1e6))
    assert snapshot.moment is None
    assert "No edge of a signal is seen" in snapshot.problem
    found = keys(watch)
    assert found["shoulder_lower_db"].standing == found["shoulder_upper_received_db"].standing == "unknown"


def test_law_the_minute_is_a_minute():
    now = iter(np.arange(0, 2000, 6.0))
    watch = EdgeWatch(Direct(), replace(PLAN, look_s=0.05), clock=lambda: float(next(now)))
    for _ in range(9):
        watch.step()
    times = [one.time_s for one in watch.minute]
    assert max(times) - min(times) <= 60
    assert 3 <= len(times) < 8


def test_law_the_receiver_that_stops_is_heard_of():
    watch = EdgeWatch(Direct(stops_after=600_000), PLAN)
    watch.step()
    with pytest.raises(ReceiverStoppedError):
        watch.step()


# By hand: 12 dB below a full-scale carrier is wanted; clipping asks for a pad whatever the level.
@pytest.mark.parametrize(
    ("level_db", "clipped", "floor_db", "advice"),
    [
        (-12.0, 0.0, -45.0, ""),
        (-5.0, 0.0, -45.0, "fit a pad, or 7 dB less gain"),
        (-13.0, 0.001, -45.0, "fit a pad, or 3 dB less gain"),
        (-30.0, 0.0, -30.0, "18 dB more gain, or less pad"),
        (-15.0, 0.0, None, "3 dB more gain, or less pad"),
    ],
)
def test_limit_advice(level_db, clipped, floor_db, advice):
    state = ReceiverState(
        level_db=level_db, clipped_share=clipped, used_bits=7.0, floor_db=floor_db, floor_method="", lost=0
    )
    assert state.advice(-35.0) == advice
