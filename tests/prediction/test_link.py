"""Links: noise cascades, preamplifiers, pads that mislead, modes, and a receiver beside its transmitter."""

import math
from fractions import Fraction

import pytest

from tepui.ground.doubt import Estimate
from tepui.ground.errors import RangeError
from tepui.prediction.beside import Beside
from tepui.prediction.link import (
    PILOTS_DB,
    Radiated,
    Receiving,
    link_budget,
    margin_with_errors_db,
    mer_from_cn_db,
    pad_margin_db,
    preamplifier_stages,
    wind_down,
)
from tepui.prediction.mode_margins import best_mode, channel_for_path, mode_margins, required_cn_db
from tepui.prediction.noise import (
    ReceiveStage,
    cascade_factor,
    external_from_place_db,
    noise_power_dbm,
    passive,
    system_noise_db,
)
from tepui.signals.dvbt.mode import Mode

MODE = Mode(width_hz=8e6, n_fft=8192, guard=Fraction(1, 32), constellation="QPSK", code_rate=Fraction(1, 2))
RECEIVER = ReceiveStage(name="receiver", gain_db=0.0, noise_figure_db=7.0)
AMPLIFIER = ReceiveStage(name="preamplifier", gain_db=20.0, noise_figure_db=1.0)


def exactly(value):
    return Estimate(value=value, std=0.0)


# A textbook's receiver front end, recalled: 10 dB/2 dB, -1 dB, mixer -3 dB/4 dB give F 1.80, 2.55 dB.
def test_published_cascade():
    stages = (
        ReceiveStage(name="amplifier", gain_db=10, noise_figure_db=2),
        passive("filter", 1),
        ReceiveStage(name="mixer", gain_db=-3, noise_figure_db=4),
    )
    assert cascade_factor(stages) == pytest.approx(1.801, abs=5e-4)


# k T0 B at 290 K: -105.161 dBm in 7.61 MHz, -111.182 dBm in 1.9025 MHz.
@pytest.mark.parametrize(("width_hz", "printed_dbm"), [(7.61e6, -105.161), (1.9025e6, -111.182)])
def test_published_thermal_noise(width_hz, printed_dbm):
    assert noise_power_dbm(system_db=0.0, width_hz=width_hz) == pytest.approx(printed_dbm, abs=1e-3)


# P.372: Fam = c - d log f; residential at 145 MHz is 72.5 - 27.7 log 145.
def test_published_external_noise():
    assert external_from_place_db("residential", frequency_hz=145e6) == pytest.approx(12.63, abs=0.01)
    with pytest.raises(RangeError, match="tabulated to 250 MHz"):
        external_from_place_db("rural", frequency_hz=436e6)


def receiving(place):
    stages = preamplifier_stages(feeder_loss_db=5.0, receiver=RECEIVER, preamplifier=AMPLIFIER, place=place)
    return Receiving(gain_dbi=13.0, external_noise_db=-3.0, stages=stages)


def test_law_a_preamplifier_helps_most_at_the_mast_head():
    noise = [receiving(place).system_db for place in ("mast", "receiver", "none")]
    assert noise == sorted(noise)
    assert noise[1] - noise[0] > 3


def budget(place="mast", **changes):
    given = {"width_hz": MODE.occupied_width_hz, "transmitter_mer_db": None, **changes}
    radiated = Radiated(power=exactly(33.0), feeder=exactly(1.6), gain=exactly(11.0))
    return link_budget(radiated=radiated, loss=Estimate(value=145.0, std=6.0, contributions={"model": 6.0}),
                       receiving=receiving(place), **given)  # fmt: skip


def test_limit_terms_of_a_link_add_up():
    found = budget()
    assert found.eirp.value == pytest.approx(42.4)
    assert found.level.value == pytest.approx(42.4 - 145 + 13)
    assert found.cn.value == pytest.approx(found.level.value - found.noise_dbm)
    assert found.cn.std == pytest.approx(6.0)
    assert found.mer.value == pytest.approx(found.cn.value - PILOTS_DB)


def test_limit_a_pad_behind_the_preamplifier_shows_more_than_there_is():
    asked, found = receiving("mast"), budget()
    true = found.cn.value - 8.1
    shown = pad_margin_db(cn_db=found.cn.value, required_cn_db=8.1, receiving=asked, after=1)
    assert shown > true + 5
    # at that pad C/N is what is required: noise worked out again from the stages
    stages = (asked.stages[0], passive("pad", shown), *asked.stages[1:])
    there = system_noise_db(external_db=asked.external_noise_db, stages=stages)
    assert found.cn.value - (there - asked.system_db) == pytest.approx(8.1, abs=1e-3)


def test_law_winding_down_fails_at_the_margin():
    rows = wind_down(budget(), required_cn_db=8.1, transmitter_mer_db=None, steps=range(30))
    margin = budget().cn.value - 8.1
    assert [row.margin_db > 0 for row in rows] == [step < margin for step in range(30)]


def test_limit_equal_errors_of_path_and_transmitter_cost_3_db():
    assert mer_from_cn_db(20 + PILOTS_DB, transmitter_mer_db=20.0) == pytest.approx(20 - 10 * math.log10(2))
    assert margin_with_errors_db(20.0, required_cn_db=15.0, transmitter_mer_db=10.0) == -math.inf


# EN 300 744 annex A, table A.1: QPSK 3/4 Ricean 6.8 dB in the older editions and 7.2 in V1.6.1, from memory.
@pytest.mark.parametrize(("edition", "printed_db"), [("V1.1.2 to V1.5.1", 6.8), ("V1.6.1", 7.2)])
def test_published_required_cn(edition, printed_db):
    found = required_cn_db(constellation="QPSK", code_rate=Fraction(3, 4), channel="ricean", edition=edition)
    assert found == printed_db


def test_law_the_best_mode_keeps_the_margin_and_none_above_it_does():
    margins = mode_margins(like=MODE, cn_db=18.0, channel="ricean", edition="V1.6.1", implementation_loss_db=2.0)
    chosen = best_mode(margins, margin_db=3.0)
    assert chosen.margin_db >= 3.0
    faster = [one for one in margins if one.net_bit_rate_bps > chosen.net_bit_rate_bps]
    assert faster
    assert all(one.margin_db < 3.0 for one in faster)
    assert best_mode(margins, margin_db=40.0) is None


@pytest.mark.parametrize(
    ("path", "channel"),
    [
        ({"visible": True, "clearance_share": 1.0, "scattered": False, "rx_gain_dbi": 13.0}, "gaussian"),
        ({"visible": True, "clearance_share": 0.2, "scattered": False, "rx_gain_dbi": 13.0}, "ricean"),
        ({"visible": False, "clearance_share": -1.0, "scattered": False, "rx_gain_dbi": 13.0}, "ricean"),
        ({"visible": True, "clearance_share": 1.0, "scattered": False, "rx_gain_dbi": 2.0}, "rayleigh"),
        ({"visible": False, "clearance_share": -1.0, "scattered": True, "rx_gain_dbi": 20.0}, "rayleigh"),
    ],
)
def test_law_the_channel_follows_the_path_with_a_reason(path, channel):
    found, reason = channel_for_path(**path)
    assert found == channel
    assert reason


# By hand: 40 dBm - 150 dBc/Hz + 63 dB - 40 dB = -87 dBm against -108 dBm of its own noise, 6 dB below it: 27 dB.
def test_limit_filters_on_both_sides_of_a_repeater():
    site = Beside(power_dbm=40, tx_noise_dbc_hz=-150, isolation_db=40, receive_width_hz=2e6, noise_figure_db=3,
                  blocking_dbm=-30)  # fmt: skip
    assert site.arriving_noise_dbm == pytest.approx(-86.99, abs=0.01)
    assert site.transmitter_filter_db == pytest.approx(-86.99 + 107.96 + 6, abs=0.02)
    assert site.receiver_filter_db == pytest.approx(30.0)
