"""Exposure against worked examples, and patterns."""

import math

import pytest

from tepui.chain.antenna.exposure import (
    LongArray,
    aperture_fields,
    array_beam_deg,
    exposure_limits,
    far_density_w_m2,
    limit_distance_m,
)
from tepui.chain.antenna.pattern import beam, beam_width_deg, polarisation_loss_db
from tepui.ground.errors import RangeError

EIRP_W = 354.8  # 10 W mean, 1.5 dB feeder, 17 dBi


def limit(standard, kind, group):
    (found,) = (
        one
        for one in exposure_limits(1255e6)
        if one.standard == standard and one.kind == kind and one.group.startswith(group)
    )
    return found


# Worked example at 1255 MHz: levels as ICNIRP 2020 tables 5 and 6 and 47 CFR 1.1310 give them.
@pytest.mark.parametrize(
    ("standard", "kind", "group", "density", "distances"),
    [
        ("ICNIRP 2020", "whole body", "general", 6.275, (2.12, 3.39, 4.24)),
        ("ICNIRP 2020", "local", "general", 26.81, (1.03, 1.64, 2.05)),
        ("ICNIRP 2020", "whole body", "occupational", 31.375, (0.95, 1.52, 1.90)),
        ("47 CFR 1.1310", "field", "general", 8.367, (1.84, 2.94, 3.67)),
        ("47 CFR 1.1310", "field", "occupational", 41.83, (0.82, 1.31, 1.64)),
    ],
)
def test_published_levels_and_distances(standard, kind, group, density, distances):
    one = limit(standard, kind, group)
    assert one.density_w_m2 == pytest.approx(density, rel=5e-4)
    for reflection, printed_m in zip((1.0, 2.56, 4.0), distances, strict=True):
        distance = limit_distance_m(eirp_w=EIRP_W, density_w_m2=one.density_w_m2, reflection=reflection)
        assert distance == pytest.approx(printed_m, abs=0.006)
        assert far_density_w_m2(eirp_w=EIRP_W, distance_m=distance, reflection=reflection) == pytest.approx(
            one.density_w_m2
        )


# [OET65]: density in mW/cm2 at 1 m per kW e.r.p. is 13.05 in free space, 52.20 with full reflection.
@pytest.mark.parametrize(("reflection", "printed"), [(1.0, 13.05), (4.0, 52.20)])
def test_published_check_constants(reflection, printed):
    density = far_density_w_m2(eirp_w=1.64 * 1000, distance_m=1.0, reflection=reflection)
    assert density / 10 == pytest.approx(printed, abs=0.005)


# Worked example: 0.9 m dish, 10 W, 1255 MHz: 62.9 W/m2 at the surface, 34.6 to 0.85 m, far field from 2.03 m.
def test_published_dish():
    dish = aperture_fields(power_w=10, diameter_m=0.9, frequency_hz=1255e6)
    assert dish.surface_w_m2 == pytest.approx(62.9, abs=0.05)
    assert dish.near_w_m2 == pytest.approx(34.6, abs=0.05)
    assert (dish.near_m, dish.far_m) == pytest.approx((0.85, 2.03), abs=0.006)
    assert dish.density_w_m2(1.7, eirp_w=EIRP_W) == pytest.approx(dish.near_w_m2 / 2, rel=0.01)


def test_outside_the_standards_is_refused():
    with pytest.raises(RangeError, match="from 30 MHz to 300 GHz"):
        exposure_limits(10e6)


def test_limit_half_power_at_half_the_width():
    pattern = beam(width_deg=20, front_to_back_db=25)
    assert pattern.loss_at_db(10) == pytest.approx(3.0, abs=0.02)
    assert pattern.loss_at_db(350) == pattern.loss_at_db(10)
    assert pattern.loss_at_db(180) == 25
    assert beam_width_deg(20) == pytest.approx(18.0)


def test_limit_polarisation():
    assert polarisation_loss_db(0) == 0
    assert polarisation_loss_db(45) == pytest.approx(3.01, abs=0.01)
    assert polarisation_loss_db(90) == pytest.approx(30, abs=0.05)


# Power over a cylinder: 100 W all round, 4 m long, at 2 m: 100 / (2 pi 2 4) = 1.99 W/m2; [OET65], from memory.
def test_limit_a_long_array_spreads_its_power_on_a_cylinder():
    array = LongArray(power_w=100.0, length_m=4.0, beam_deg=360.0)
    assert array.density_w_m2(2.0, eirp_w=1000.0) == pytest.approx(1.989, abs=0.001)
    joins = array.joins_m(eirp_w=1000.0)
    far = 1000 / (4 * math.pi * joins**2)
    assert array.density_w_m2(joins, eirp_w=1000.0) == pytest.approx(far)
    assert array.density_w_m2(10 * joins, eirp_w=1000.0) == pytest.approx(far / 100)
    assert array.distance_m(1.989, eirp_w=1000.0) == pytest.approx(2.0, abs=0.001)


# A collinear of 10 dBi, 4 m at 1270 MHz: 51 * 0.236/4 = 3.0 degrees upright, 41253/10/3.0 > 360: all round.
def test_limit_a_tall_collinear_radiates_all_round():
    assert array_beam_deg(gain_dbi=10.0, length_m=4.0, frequency_hz=1270e6) == 360.0
    assert array_beam_deg(gain_dbi=17.0, length_m=1.0, frequency_hz=1270e6) == pytest.approx(68.4, abs=0.2)
