"""The cut sweeps against their truth files (provenance: data/sweeps/README.md)."""

from functools import cache

import numpy as np
import pytest
from sweep_signals import spectra_of, truth

from tepui.evidence.instrument import PadReading, transmitted_level
from tepui.evidence.stitch_set import gain_ahead_db, sweeps
from tepui.evidence.stitch_shoulders import stitched_shoulders
from tepui.evidence.stitch_sweeps import stitch_sweeps

NAMES = ("fixed_gain", "hot_att6", "hot")
SIDES = ("lower", "upper")


@cache
def stitched():
    known = truth()
    groups = sweeps(spectra_of(*NAMES))
    found = stitch_sweeps(groups, centre_hz=known["channel_centre_hz"], occupied_width_hz=known["occupied_width_hz"])
    return {
        name: (gain_ahead_db(group[0].settings), one) for name, group, one in zip(NAMES, groups, found, strict=True)
    }


@cache
def shoulders(name):
    return stitched_shoulders(stitched()[name][1], carrier_spacing_hz=truth()["carrier_spacing_hz"])


def own_std_db(name, side):
    """Doubt of one sweep's shoulder that the others do not share: only that shows in their differences. [dB]"""
    found = shoulders(name)
    return float(np.sqrt(max(getattr(found, side).std ** 2 - found.common_db**2, 0.05**2)))


def readings(side, names):
    return [
        PadReading(
            name=name,
            gain_db=stitched()[name][0],
            shown_db=getattr(shoulders(name), side).value,
            std_db=own_std_db(name, side),
        )
        for name in names
    ]


@pytest.mark.parametrize("name", NAMES)
def test_tool_shoulders_behind_the_front_end(name):
    for side in SIDES:
        found, true = getattr(shoulders(name), side), truth()["sweeps"][name]["behind_front_end_shoulder_db"][side]
        assert found.value == pytest.approx(true, abs=0.7)
        assert abs(found.value - true) < 2.5 * found.std  # six readings of one cut: 95 % of each would miss too often


@pytest.mark.parametrize("name", ["hot_att6", "hot"])
def test_tool_levels_behind_the_front_end(name):
    found = stitched()[name][1]
    for offset_hz, true_db in truth()["sweeps"][name]["behind_front_end_db"]:
        if abs(abs(offset_hz) - 3.33e6) < 200e3:
            continue  # on the skirt, within the resolution of the truth
        near = np.abs(found.frequency_hz - offset_hz) < 50e3
        assert 10 * np.log10(found.level[near].mean()) == pytest.approx(true_db, abs=0.7)


@pytest.mark.parametrize("name", NAMES)
def test_tool_gains_filter_and_tuner(name):
    known, (_, found) = truth()["sweeps"][name], stitched()[name]
    true = {step["if_gain_db"]: step["if_gain_db"] + step["if_gain_error_db"] for step in known["steps"]}
    first = dict(next(iter(found.gain_db)))["if_gain_db"]
    for setting, gain in found.gain_db.items():
        off = gain.value - (true[dict(setting)["if_gain_db"]] - true[first])
        assert abs(off) < max(2.5 * gain.std, 0.05)
    offsets, levels = np.array(known["if_filter_db"]).T
    middle = np.abs(offsets) < 0.85e6
    shape = np.interp(offsets[middle], found.droop.offset_hz, found.droop.gain_db)
    assert np.abs(shape - levels[middle]).max() < 0.25
    expected = known["crystal_ppm"] * 1e-6 * truth()["channel_centre_hz"]
    assert abs(found.tuning_error.value - expected) < 2 * found.tuning_error.std
    assert found.changes == ()


# Whole recordings: both sides within 0.2 dB of truth, interval 1.2 dB wide. The cut has a quarter of the samples.
@pytest.mark.parametrize("side", SIDES)
def test_tool_three_settings_solve_it(side):
    found = transmitted_level(readings(side, NAMES), gain_std_db=0.25)
    true = truth()["sweeps"]["hot"]["transmitted_shoulder_db"][side]
    assert found.kind == "solved"
    assert found.value_db == pytest.approx(true, abs=1.0)
    assert found.low_db <= true <= found.high_db <= found.low_db + 4
    regions = {one.reading.name: one.region for one in found.judged}
    assert regions == {"fixed_gain": "true", "hot_att6": "true", "hot": "receiver-made"}


@pytest.mark.parametrize("pair", [("fixed_gain", "hot"), ("hot_att6", "hot")])
@pytest.mark.parametrize("side", SIDES)
def test_tool_two_settings_that_differ_leave_a_true_interval(side, pair):
    found = transmitted_level(readings(side, pair), gain_std_db=0.25)
    assert (found.kind, found.value_db) == ("interval", None)
    assert found.low_db <= truth()["sweeps"]["hot"]["transmitted_shoulder_db"][side] <= found.high_db


@pytest.mark.parametrize("name", NAMES)
def test_law_one_sweep_alone_is_no_measurement(name):
    found = transmitted_level(readings("lower", [name]), gain_std_db=0.25)
    assert (found.kind, found.value_db, found.low_db, found.high_db) == ("unknown", None, None, None)
    assert found.next_pad_db is not None
