"""The levels carried on to the far station: free space as the bound, a smooth Earth beside it, and what is missing."""

import pytest

from tepui.chain.propagation.models import PathCase, path_loss
from tepui.jobs.levels_chain import chain_of
from tepui.jobs.levels_far import far_findings, far_levels, far_table
from tepui.signals.terrain import Profile
from tepui.station.read import read_station

# Scenario S2 of the project: 46.26 km, free space 118.5 dB, e.i.r.p. 42.4 dBm, 13 dBi, 2.1 dB, 3.0 dB; there the
# surroundings are told and a ridge stands in the way, here neither.
STATION = """
format = 1
[station]
call = "Q2DEF"
locator = "HI45kt"
[channel]
centre = "436 MHz"
width = "2 MHz"
fft = "2K"
[[stage]]
name = "modulator"
kind = "modulator"
level = "33.0 dBm ± 1 dB"
[[stage]]
name = "feeder"
kind = "feeder"
loss = "1.6 dB ± 0.2 dB"
[[stage]]
name = "antenna"
kind = "antenna"
gain = "11 dBi ± 1 dB"
[[far]]
call = "Q3GHJ"
locator = "HI46ob"
antenna_gain = "13 dBi ± 1 dB"
feeder_loss = "2.1 dB"
noise_figure = "3.0 dB"
"""


def chain(*changes):
    text = STATION
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    return chain_of(read_station(text, file="s.toml"))


def test_published_free_space_to_the_far_station():
    (one,) = far_levels(chain())
    assert one.distance.value == pytest.approx(46.26e3, rel=2e-3)
    assert one.loss.value == pytest.approx(118.5, abs=0.1)
    assert one.terminals.value == pytest.approx(42.4 - 118.5 + 13, abs=0.1)
    assert one.receiver.value == pytest.approx(one.terminals.value - 2.1)
    # -174 dBm/Hz in 1.9025 MHz is -111.18 dBm (basic_radio_checks: -111.182); feeder and receiver make 5.1 dB.
    assert one.noise_dbm == pytest.approx(-111.18 + 5.1, abs=0.05)
    assert one.cn.value == pytest.approx(one.terminals.value - one.noise_dbm)
    # Root of squares of 1, 0.2, 1 and 1 dB and of the locators' boxes.
    assert 2 * one.terminals.std == pytest.approx((3.04 + (2 * one.loss.std) ** 2) ** 0.5, abs=0.01)


def test_limit_findings_are_bounds_and_the_table_what_a_smooth_earth_leaves():
    whole = chain()
    found = {one.key: one for one in far_findings(whole)}
    (one,) = far_levels(whole)
    assert {one.standing for one in found.values()} == {"at_most", "at_least"}
    assert found["receive_level_dbm"].value == pytest.approx(one.terminals.high)
    assert found["cn_db"].value == pytest.approx(one.cn.high)
    (row,) = far_table(whole).rows
    keys = [key for key, _ in far_table(whole).columns]
    shown = dict(zip(keys, row, strict=True))
    smooth = Profile(distance_m=[0.0, one.distance.value], height_m=[0.0, 0.0], source="smooth")
    case = PathCase(profile=smooth, model="p526", frequency_hz=436e6, tx_height_m=10, rx_height_m=10)
    assert shown["smooth_loss_db"] == pytest.approx(path_loss(case).loss_db, abs=0.05)
    assert shown["smooth_cn_db"] == pytest.approx(one.cn.value - (shown["smooth_loss_db"] - one.loss.value))


@pytest.mark.parametrize(("change", "key", "said"), [
    (('noise_figure = "3.0 dB"\n', ""), "cn_db", "write noise_figure in [[far]]"),
    (('antenna_gain = "13 dBi ± 1 dB"\n', ""), "receive_level_dbm", "write antenna_gain in [[far]]"),
    (('locator = "HI46ob"\n', ""), "receive_level_dbm", "write locator in [station] and [[far]]"),
    (('"HI46ob"', '"HI45kt"'), "receive_level_dbm", "are the same place"),
    (('gain = "11 dBi ± 1 dB"\n', ""), "receive_level_dbm", "do not reach an antenna with a gain"),
])  # fmt: skip
def test_limit_what_is_missing_is_named(change, key, said):
    found = {one.key: one for one in far_findings(chain(change))}
    assert found[key].standing == "unknown"
    assert said in found[key].remark
