"""Decibels against values any handbook prints."""

import pytest

from tepui.ground.decibels import amplitude_from_db, db_from_ratio, dbm_from_watts, ratio_from_db, watts_from_dbm


# [IEC60027-3]: a power ratio of 10 is 10 dB, of 2 is 3.0103 dB; a field ratio of 2 is 6.0206 dB.
def test_published_ratios():
    assert db_from_ratio(10.0) == pytest.approx(10.0, abs=1e-12)
    assert db_from_ratio(2.0) == pytest.approx(3.0103, abs=5e-5)
    assert amplitude_from_db(6.0206) == pytest.approx(2.0, abs=1e-5)


# By definition of the dBm: 1 mW is 0 dBm, 1 W is 30 dBm, 10 W is 40 dBm.
@pytest.mark.parametrize(("power_w", "level_dbm"), [(1e-3, 0.0), (1.0, 30.0), (10.0, 40.0)])
def test_published_levels(power_w, level_dbm):
    assert dbm_from_watts(power_w) == pytest.approx(level_dbm, abs=1e-12)
    assert watts_from_dbm(level_dbm) == pytest.approx(power_w, rel=1e-12)


@pytest.mark.parametrize("level_db", [-120.0, -3.0, 0.0, 57.5])
def test_law_there_and_back(level_db):
    assert db_from_ratio(ratio_from_db(level_db)) == pytest.approx(level_db, abs=1e-12)
    assert amplitude_from_db(level_db) ** 2 == pytest.approx(ratio_from_db(level_db), rel=1e-12)
