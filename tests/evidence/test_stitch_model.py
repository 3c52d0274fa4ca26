import dataclasses

import numpy as np
import pytest
from sweep_signals import drawn

from tepui.evidence.stitch import stitch
from tepui.evidence.stitch_set import (
    gain_ahead_db,
    missing_recordings,
    nominal_gain_db,
    sweeps,
    terminated_floor,
)
from tepui.evidence.stitch_shoulders import stitched_shoulders
from tepui.evidence.stitch_sweeps import stitch_sweeps
from tepui.ground.doubt import estimate
from tepui.ground.errors import RangeError

CENTRE, WIDTH = 1275e6, 6656250.0
TUNED = CENTRE + 1.25e6 * (np.arange(12) - 5.5)


def channel(hz, *, off_hz=0.0, slope_db_mhz=0.0, shoulder_db=-33.0):
    """In steps^2 at 0 dB of gain: 300 in the channel, shoulders that fall 1.4 dB a MHz, a slope over all."""
    offset = hz - CENTRE - off_hz
    outside = np.maximum(np.abs(offset) - WIDTH / 2, 0.0)
    level = np.where(outside > 0, shoulder_db - 1.4 * outside / 1e6, 0.0)
    return 300 * 10 ** ((level + slope_db_mhz * offset / 1e6) / 10)


def droop(x):
    """A filter a little tilted, 3 dB down at 1.1 MHz."""
    return 0.15 * x / 1e6 - 3 * (np.abs(x) / 1.1e6) ** 6


def gains(tuned_hz):
    """Nominal and true gain: more where the channel is out of sight."""
    far = abs(tuned_hz - CENTRE) / 1e6
    return (0.0, 0.0) if far < 4 else (12.0, 11.4) if far < 5 else (24.0, 24.7)


def sweep(*, truth_of=channel, seed=1, pad=0.0, tuned=TUNED, extra_db=None, **kwargs):
    found = []
    for number, tuned_hz in enumerate(tuned):
        nominal, true = gains(tuned_hz)
        found.append(
            drawn(
                truth_of,
                tuned_hz=tuned_hz,
                gain_db=true - pad + (extra_db or {}).get(number, 0.0),
                droop_db=droop,
                seed=100 * seed + number,
                settings={"attenuator_db": pad, "frontend_gain_db": 20.0, "if_gain_db": nominal},
                name=f"{number + 1}",
                **kwargs,
            )
        )
    return found


def stitched(spectra, **kwargs):
    return stitch(spectra, centre_hz=CENTRE, occupied_width_hz=WIDTH, **kwargs)


# Everything that was put in comes back: levels, gains within their doubt, the filter, the floor.
def test_law_the_model_comes_back():
    found = stitched(sweep(), find_tuning_error=False)
    expected = 10 * np.log10(channel(found.frequency_hz + CENTRE) / 300)
    known = (found.source >= 0) & (np.abs(found.frequency_hz) < 6.8e6)
    clear = known & (np.abs(np.abs(found.frequency_hz) - WIDTH / 2) > 30e3)
    level_db = 10 * np.log10(np.convolve(found.level, np.full(21, 1 / 21), "same"))
    assert np.abs(level_db - expected)[clear].max() < 0.6
    assert np.mean((level_db - expected)[clear]) == pytest.approx(0, abs=0.1)
    true = {0.0: 0.0, 12.0: 11.4, 24.0: 24.7}
    for setting, gain in found.gain_db.items():
        relative = true[dict(setting)["if_gain_db"]] - 24.7
        assert abs(gain.value - relative) < 3 * max(gain.std, 0.02)
        assert gain.std < 0.8  # where they meet, the shoulder is half the floor
    middle = np.abs(found.droop.offset_hz) < 0.9e6
    assert np.abs(found.droop.gain_db - droop(found.droop.offset_hz))[middle].max() < 0.15
    assert abs(found.floor_lsb2.value - 0.35) < 3 * found.floor_lsb2.std < 0.15
    # The points drawn here are independent, those of a Hann window are not: 1 / sqrt(1.94) of what is allowed.
    assert found.misfit == pytest.approx(0.72, abs=0.1)
    assert found.changes == ()


# 0.3 dB a MHz of the signal's own, the receiver flat but for its filter: equal settings tell them apart.
def test_law_a_slope_of_the_signal_is_not_taken_for_the_receivers():
    found = stitched(sweep(truth_of=lambda hz: channel(hz, slope_db_mhz=0.3)), find_tuning_error=False)
    inside = (np.abs(found.frequency_hz) < 3.2e6) & (found.source >= 0)
    fit = np.polyfit(found.frequency_hz[inside] / 1e6, 10 * np.log10(found.level[inside]), 1)
    assert fit[0] == pytest.approx(0.3, abs=0.03)


# The stated doubt of both shoulders holds: 24 sweeps, both sides; 95 % of 48 is 45.6, fewer than 42 has odds of 2 %.
def test_law_the_doubt_of_the_level_holds():
    hits = 0
    for seed in range(24):
        found = stitched(sweep(seed=seed + 2), find_tuning_error=False)
        for sign in (-1, 1):
            near = (np.abs(sign * found.frequency_hz - WIDTH / 2 - 500e3) < 200e3) & (found.source >= 0)
            expected = channel(found.frequency_hz[near] + CENTRE).mean() / 300
            own = np.sqrt(np.sum(found.std[near] ** 2) * 1.0) / near.sum()
            std = np.hypot(found.common_std[near].mean(), own)
            hits += abs(found.level[near].mean() - expected) < 2 * std
    assert hits >= 42


def test_law_total_power_and_four_kilohertz():
    found = stitched(sweep(), find_tuning_error=False)
    assert found.total == pytest.approx(WIDTH, rel=0.01)  # shoulders hold half a per mille
    middle = np.abs(found.frequency_hz) < 3e6
    four_khz_db = 10 * np.log10(found.of_total_power()[middle].mean())
    assert four_khz_db == pytest.approx(10 * np.log10(4e3 / WIDTH), abs=0.1)


def test_law_tuner_off_by_25_khz_is_found():
    found = stitched(sweep(truth_of=lambda hz: channel(hz, off_hz=-25e3)))
    assert found.tuning_error is not None
    assert found.tuning_error.value == pytest.approx(25e3, abs=1.5e3)
    assert 10 * np.log10(found.level[np.abs(found.frequency_hz + 3.30e6) < 8e3].min()) > -1


# Each point says whose it is: at a recording's own middle nobody else sees as well.
def test_law_source_of_each_point():
    found = stitched(sweep(), find_tuning_error=False)
    at = np.argmin(np.abs(found.frequency_hz - (TUNED[7] + 60e3 - CENTRE)))
    assert found.names[found.source[at]] == "8"
    assert found.source[np.argmin(np.abs(found.frequency_hz - (TUNED[7] - CENTRE)))] in (-1, 6, 8)


# Recording 7, of the same setting as its neighbours, 0.8 dB hotter than it should be.
def test_law_a_change_between_recordings_is_told():
    found = stitched(sweep(extra_db={6: 0.8}), find_tuning_error=False)
    pairs = {(change.first, change.second) for change in found.changes}
    assert pairs == {("6", "7"), ("7", "8")}
    by_pair = {change.first: change.difference_db for change in found.changes}
    assert by_pair["6"] > 0.2
    assert by_pair["7"] < -0.2


# The transmitter rises by 1 dB half way, where settings are the same: the fit shares that among the recordings' gains.
def test_law_a_step_of_the_drive_half_way_is_told():
    found = stitched(sweep(extra_db=dict.fromkeys(range(6, 12), 1.0)), find_tuning_error=False)
    by_pair = {(change.first, change.second): change.difference_db for change in found.changes}
    assert by_pair["6", "7"] > 0.6
    assert stitched(sweep(), find_tuning_error=False).changes == ()


def test_law_sweeps_are_parted_by_what_lies_ahead():
    both = [*sweep(), *sweep(pad=6.0, seed=3)]
    groups = sweeps(both)
    assert [len(group) for group in groups] == [12, 12]
    assert [gain_ahead_db(group[0].settings) for group in groups] == [20.0, 14.0]
    found = stitch_sweeps(groups, centre_hz=CENTRE, occupied_width_hz=WIDTH, find_tuning_error=False)
    assert all(abs(one.floor_lsb2.value - 0.35) < 3 * one.floor_lsb2.std for one in found)
    with pytest.raises(RangeError, match=r"different pads, front-end gains or drive.*stitch each by itself"):
        stitched(both)


def test_limit_gain_that_is_not_told_apart_does_not_count():
    assert gain_ahead_db({"gain_db": 30.0}) is None
    assert gain_ahead_db({"gain_db": 30.0, "attenuator_db": 6.0}) == -6.0
    assert gain_ahead_db({"if_gain_db": 30.0, "frontend_gain_db": 20.0}) == 20.0
    assert nominal_gain_db(dataclasses.replace(sweep()[0], settings={"gain_db": 30.0, "attenuator_db": 6.0})) == 24.0
    assert nominal_gain_db(dataclasses.replace(sweep()[0], settings={})) is None


# A floor known from elsewhere narrows the doubt where the floor is as strong as the shoulder.
def test_law_a_known_floor_narrows_the_doubt():
    def weak(hz):
        return channel(hz, shoulder_db=-38.0)

    spectra = [dataclasses.replace(one, settings={"if_gain_db": 0.0}) for one in sweep(truth_of=weak)]
    flat = [drawn(weak, tuned_hz=one.tuned_hz, gain_db=0, droop_db=droop, seed=i) for i, one in enumerate(spectra)]
    spectra = [dataclasses.replace(one, settings={"if_gain_db": 0.0}) for one in flat]
    alone = stitched(spectra, find_tuning_error=False)
    helped = stitched(spectra, find_tuning_error=False, shared_floor=estimate(0.35, known=0.002))
    near = np.abs(np.abs(alone.frequency_hz) - WIDTH / 2 - 500e3) < 200e3
    assert helped.common_std[near].mean() < 0.7 * alone.common_std[near].mean()


def test_law_a_terminated_input_tells_the_floor():
    silent = [
        dataclasses.replace(
            drawn(np.zeros_like, tuned_hz=1.275e9, gain_db=0, droop_db=droop, floor_lsb2=floor, seed=9),
            settings={"terminated": True},
        )
        for floor in (0.35, 0.5)
    ]
    found = terminated_floor([*sweep(), *silent])
    assert abs(found.value - 0.35) < 2 * found.std < 0.02
    assert terminated_floor(sweep()) is None
    assert [len(group) for group in sweeps([*sweep(), *silent])] == [12]


def test_message_a_gap_names_the_missing_recording():
    spectra = [one for one in sweep() if one.name not in {"6", "7"}]
    (missing,) = missing_recordings(spectra, low_hz=CENTRE - WIDTH / 2, high_hz=CENTRE + WIDTH / 2)
    assert (missing.below, missing.above, missing.reason) == ("5", "8", "gap")
    assert missing.tune_hz == pytest.approx(CENTRE, abs=20e3)
    with pytest.raises(RangeError, match=r"nobody saw part of the channel beside 5 and 8.*tuned to 1275\.000 MHz"):
        stitched(spectra)


def test_message_gains_that_nothing_ties():
    # Two recordings that just touch, of different settings: no cell in common.
    low, high = (
        drawn(
            channel,
            tuned_hz=hz,
            gain_db=0,
            droop_db=droop,
            usable_share=0.8,
            settings={"if_gain_db": setting},
            name=name,
        )
        for hz, setting, name in ((1e9, 10.0, "low"), (1e9 + 1.9e6, 20.0, "high"))
    )
    (missing,) = missing_recordings([low, high], low_hz=1e9, high_hz=1e9 + 1.9e6)
    assert (missing.below, missing.above, missing.reason) == ("low", "high", "gain")
    assert missing.tune_hz == pytest.approx(1e9 + 0.95e6)
    assert missing_recordings([], low_hz=1e9, high_hz=2e9)[0].reason == "gap"


def test_law_shoulders_of_a_known_shape():
    found = stitched(sweep(), find_tuning_error=False)
    read = stitched_shoulders(found, carrier_spacing_hz=3906.25)
    # The line at 500 kHz: -33 - 0.7 dB under a flat channel; the highest of 170 cells adds what the doubt names.
    for side in (read.lower, read.upper):
        assert abs(side.value + 33.7) < 2 * side.std < 1.5
        assert "gains_and_floor" in side.contributions


# A transmitter with memory: one side far below the other, near the floor. Its scatter is its own and no line.
def test_law_each_side_scatters_by_itself():
    def uneven(hz, **kwargs):
        return np.where(hz < CENTRE, channel(hz, shoulder_db=-52.0, **kwargs), channel(hz, shoulder_db=-28.0, **kwargs))

    for seed in (1, 2, 3):
        read = stitched_shoulders(
            stitched(sweep(truth_of=uneven, seed=seed), find_tuning_error=False), carrier_spacing_hz=3906.25
        )
        assert not read.shape.lower.stands_out
        assert abs(read.lower.value + 52.7) < 2 * read.lower.std
        assert abs(read.upper.value + 28.7) < 2 * read.upper.std
