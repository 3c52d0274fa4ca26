"""The diode ring against an independent computation of the same circuit, and against its own symmetries."""

import numpy as np
import pytest

from tepui.chain.conversion.mixer import MixerDrive, product_levels
from tepui.chain.conversion.ring import RingMixer, ring_products_dbm
from tepui.ground.errors import ChoiceError, RangeError
from tepui.tables.load import load_table

IDEAL = RingMixer(diode_spread=0.0, balun_error=0.0)
REACH = 9
DRIVE = {
    "lo_dbm": 7, "loss_db": 6, "loss_doubt_db": 1, "lo_isolation_db": 35, "lo_isolation_doubt_db": 10,
    "if_isolation_db": 25, "if_isolation_doubt_db": 10, "harmonic_db": -40,
}  # fmt: skip


def over_wanted(products, m, n):
    return products[m, REACH + n] - products[1, REACH + 1]


# Table mixer_spurs_typical, "ideal ring": an independent quasi-static solution (Is 5 nA, n 1.08, 50 ohm), loss 4.33 dB.
# Products of third order in a weak signal are 70 dB down and differ by how finely the phases are sampled.
@pytest.mark.parametrize("signal_dbm", [-10, 0])
def test_published_products_of_the_ideal_ring(signal_dbm):
    products = ring_products_dbm(IDEAL, lo_dbm=7.0, signal_dbm=float(signal_dbm))
    for row in load_table("mixer_spurs_typical"):
        if row["mixer"] == "double-balanced ideal ring" and int(row["signal_dbm"]) == signal_dbm:
            n, m = int(row["m_signal"]), int(row["n_lo"])
            tolerance = 0.1 if n == 1 or signal_dbm == 0 else 1.5
            assert over_wanted(products, m, n) == pytest.approx(float(row["level_dbc_vs_1x1"]), abs=tolerance)


def test_published_conversion_loss_and_compression():
    loss = [s - ring_products_dbm(IDEAL, lo_dbm=7.0, signal_dbm=s)[1, REACH + 1] for s in (-10.0, 2.5, 3.5)]
    assert loss[0] == pytest.approx(4.33, abs=0.01)
    # table mixer_ofdm_drive's note: the model compresses 1 dB near +3 dBm, the measured ring near +1 dBm
    assert loss[1] - loss[0] < 1.0 < loss[2] - loss[0]


def test_law_balance_leaves_odd_products_only():
    products = ring_products_dbm(IDEAL, lo_dbm=7.0, signal_dbm=-10.0)
    for m in range(6):
        for n in range(1, 6):
            if m % 2 == 0 or n % 2 == 0:
                assert over_wanted(products, m, n) < -150


def test_law_sum_and_difference_are_equally_strong():
    products = ring_products_dbm(RingMixer(), lo_dbm=7.0, signal_dbm=-10.0)
    for m, n in ((1, 1), (1, 3), (2, 1), (3, 2)):
        assert products[m, REACH + n] == pytest.approx(products[m, REACH - n], abs=1e-6)


def test_law_a_weak_third_order_product_falls_two_decibels_more():
    weak, weaker = (ring_products_dbm(IDEAL, lo_dbm=7.0, signal_dbm=s) for s in (-2.0, -3.0))
    falls = (over_wanted(weak, 1, 3) - over_wanted(weaker, 1, 3)) / 1.0
    assert falls > 1.5


# B. Henderson 1983 (from memory): dP - 41 for 2x1, -10 for 1x3; 10 lg n! for a Gaussian signal on top.
def test_published_henderson_levels_move_with_the_drive():
    drives = [MixerDrive(signal_dbm=s, **DRIVE) for s in (-10.0, -15.0)]
    near, far = (product_levels(drive).level_db for drive in drives)
    assert near[3, 1] == pytest.approx(-10)
    assert near[1, 2] == pytest.approx(-17 - 41 + 10 * np.log10(2))
    assert near[1, 2] - far[1, 2] == pytest.approx(5)
    assert near[1, 3] - far[1, 3] == pytest.approx(10)


# The 13 cm scenario: 7 dBm less 28 dB is -21 dBm, -15 dBm less 8 dB is -23 dBm: the LO stands 2 dB above the wanted.
def test_published_scenario_line_of_the_oscillator():
    given = {**DRIVE, "loss_db": 8, "lo_isolation_db": 28}
    drive = MixerDrive(signal_dbm=-15, **given)
    assert drive.wanted_dbm == -23
    assert drive.lo_line_db == 2
    levels = product_levels(drive)
    assert levels.level_db[1, 0] == pytest.approx(2)
    assert levels.level_db[1, 1] == 0


def test_law_the_operators_own_table_comes_first():
    drive = MixerDrive(signal_dbm=-10, **DRIVE)
    levels = product_levels(drive, model="own table", own={(2, 1): (-44.0, None), (1, 0): (-3.0, 2.0)})
    assert levels.level_db[2, 1] == -44.0
    assert (levels.level_db[1, 0], levels.doubt_db[1, 0]) == (-3.0, 2.0)
    assert levels.doubt_db[2, 1] == 5.0


def test_an_unknown_mixer_names_those_there_are():
    with pytest.raises(ChoiceError, match=r"mixer must be typical, .* not gilbert"):
        product_levels(MixerDrive(signal_dbm=-10, **DRIVE), model="gilbert")


def test_a_drive_out_of_range_is_refused():
    with pytest.raises(RangeError, match=r"signal into the mixer must lie between -60 and 20 dBm"):
        MixerDrive(signal_dbm=40, **DRIVE)
