"""Several transmitters over one map: powers, echoes and repeaters solved by hand."""

import math

import numpy as np
import pytest

from tepui.chain.antenna.places import Place
from tepui.ground.errors import RangeError
from tepui.jobs.coverage_chain import site_inputs
from tepui.prediction.coverage import MapConditions, MapSite
from tepui.prediction.map_combine import Feeding, all_of, best_of, chained_cn_db, echo_weight, feeding_order
from tepui.prediction.map_grid import (
    COAST,
    INLAND,
    SEA,
    bare_grid,
    with_clutter,
    with_zones_of_terrain,
)

CENTRE = Place(latitude_deg=36.59, longitude_deg=-84.25, text="middle")
LEVELS = [np.array([[-60.0, -80.0, np.nan]], np.float32), np.array([[-60.0, -70.0, np.nan]], np.float32)]


def together(away_m, **changes):
    given = {"noise_dbm": -100.0, "input_cn_db": [math.inf, math.inf], "delay_s": [0.0, 0.0], "guard_s": 28e-6,
             "useful_s": 896e-6, **changes}  # fmt: skip
    return all_of(LEVELS, away_m=[np.array([one], float) for one in away_m], **given)


# Two equal powers within the guard: 3.01 dB more. -80 and -70 dBm: -69.59 dBm.
def test_limit_powers_within_the_guard_add():
    seen = together([[1e3, 1e3, 1e3], [5e3, 1e3, 1e3]])
    assert seen.level_dbm[0, 0] == pytest.approx(-56.99, abs=0.005)
    assert seen.level_dbm[0, 1] == pytest.approx(-69.59, abs=0.005)
    assert seen.cn_db[0, 1] == pytest.approx(30.41, abs=0.005)
    assert seen.best[0, 1] == 1
    assert np.isnan(seen.cn_db[0, 2])


# 150 km later than the strongest is 500 us: beyond guard and a third of 896 us, all of it is noise: C/N = 0 dB.
def test_limit_a_late_equal_echo_is_noise():
    seen = together([[1e3] * 3, [151e3] * 3])
    assert seen.cn_db[0, 0] == pytest.approx(0.0, abs=0.001)
    mended = together([[1e3] * 3, [151e3] * 3], delay_s=[150e3 / 299792458, 0.0])
    assert mended.cn_db[0, 0] == pytest.approx(43.01, abs=0.005)


def test_law_the_weight_of_an_echo_falls_from_one_to_nothing():
    late = np.linspace(0, 400e-6, 200)
    weight = echo_weight(late, guard_s=28e-6, useful_s=896e-6)
    assert (np.diff(weight) <= 0).all()
    assert (weight[late <= 28e-6] == 1).all()
    assert weight[-1] == 0


# Two hops of 20 dB: 16.99 dB. A transposer that hears 20 dB sends at most 20 dB, however strong it is.
def test_limit_a_transposer_passes_its_noise_on():
    assert chained_cn_db(20, 20) == pytest.approx(16.99, abs=0.005)
    seen = best_of(LEVELS, noise_dbm=-100.0, input_cn_db=[math.inf, 20.0])
    assert seen.cn_db[0, 0] == pytest.approx(40.0)
    assert seen.best[0, 0] == 0
    # -80 dBm alone: 20 dB; the repeater with 30 dB over its own 20 dB: 19.59 dB
    assert seen.cn_db[0, 1] == pytest.approx(20.0)
    silent = best_of(LEVELS, noise_dbm=-100.0, input_cn_db=[-math.inf, math.inf])
    assert silent.best[0, 1] == 1
    assert silent.cn_db[0, 1] == pytest.approx(30.0)


def feed(fed_by, kind="transposer", **changes):
    return Feeding(**{"fed_by": fed_by, "kind": kind, "gain_dbi": 13.0, "noise_db": 4.0, "height_m": 15.0, **changes})


@pytest.mark.parametrize(
    ("feeds", "sentence"),
    [
        ({"A": None, "B": feed("C")}, "B is fed by C, which is none of the transmitters A, B"),
        ({"A": feed("B"), "B": feed("A")}, "A, B feed each other in a ring"),
    ],
)
def test_what_feeds_nobody_is_refused(feeds, sentence):
    with pytest.raises(RangeError, match=sentence):
        feeding_order(feeds)
    assert feeding_order({"B": feed("A"), "C": feed("B"), "A": None}) == ["A", "B", "C"]


# Over a smooth Earth 10 km of free space at 1.27 GHz lose 114.5 dB: 50 - 114.5 + 13 = -51.5 dBm at the repeater.
def test_limit_a_repeater_hears_its_feeder_over_the_map():
    grid = bare_grid(CENTRE, reach_m=15e3, pixel_m=250.0)
    conditions = MapConditions(model="p526", frequency_hz=1.27e9, rx_height_m=10.0, radial=False, reach_m=15e3)
    east = Place(latitude_deg=36.59, longitude_deg=-84.1382, text="10 km east")
    a = MapSite(name="A", place=CENTRE, height_m=200.0, eirp_dbm=50.0)
    b = MapSite(name="B", place=east, height_m=200.0, eirp_dbm=40.0, feeding=feed("A", height_m=200.0))
    deaf = MapSite(
        name="C",
        place=Place(latitude_deg=36.62, longitude_deg=-84.2, text="C"),
        height_m=20.0,
        eirp_dbm=40.0,
        feeding=feed("B", "regenerative", noise_db=90),
    )
    inputs = site_inputs((a, b, deaf), grid, conditions, clutter_loss_db=0, width_hz=5.7e6, needed_cn_db=5.0)
    assert inputs[1].level_dbm == pytest.approx(50 - 114.5 + 13, abs=0.1)
    assert inputs[1].cn_db == pytest.approx(inputs[1].level_dbm + 173.98 - 67.56 - 4, abs=0.05)
    assert inputs[1].sends_db == inputs[1].cn_db
    assert inputs[2].sends_db == -math.inf
    same = MapSite(name="D", place=CENTRE, height_m=20.0, eirp_dbm=40.0, feeding=feed("A"))
    with pytest.raises(RangeError, match="A and D stand in one place"):
        site_inputs((a, same), grid, conditions, clutter_loss_db=0, width_hz=5.7e6, needed_cn_db=5.0)


# [P.1812] 3.2: coastal land reaches 100 m up and 50 km in.
def test_published_coast_is_low_land_near_the_sea():
    grid = bare_grid(CENTRE, reach_m=60e3, pixel_m=250.0)
    height = np.full(grid.height_m.shape, 20, np.float32)
    height[:, :20] = 0
    height[200:, 30:] = 150
    zoned = with_zones_of_terrain(type(grid)(**{**vars(grid), "height_m": height}))
    assert (zoned.land[:, :20] == SEA).all()
    assert zoned.land[10, 25] == COAST
    assert zoned.land[10, 20 + 195] == COAST
    assert zoned.land[10, 20 + 210] == INLAND
    assert zoned.land[250, 40] == INLAND
    covered = with_clutter(zoned, 12.0)
    assert covered.clutter_m[0, 5] == 0
    assert covered.clutter_m[0, 100] == 12
    with pytest.raises(RangeError, match=r"Clutter of .* is none"):
        with_clutter(zoned, 400.0)
