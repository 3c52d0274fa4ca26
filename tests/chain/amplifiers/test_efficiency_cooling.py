"""Heat: efficiency of ideal classes with a Rayleigh envelope, and the worked thermal examples."""

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tepui.chain.amplifiers.cooling import (
    FORCED_RATIO,
    air_flow_m3_s,
    finned_sink,
    junction_k,
    sink_needed_k_w,
    sink_width_m,
)
from tepui.chain.amplifiers.efficiency import mean_efficiency, supply_ratio
from tepui.ground.errors import RangeError

EXAMPLES = {
    row["case"]: row
    for row in csv.DictReader(
        (Path(__file__).parents[2] / "data/plan/thermal_examples.csv").read_text(encoding="utf-8").splitlines()
    )
}


# thermal_examples.csv, "class B OFDM efficiency": 44.4 / 35.3 / 28.0 % at 6 / 8 / 10 dB, printed to 0.1 %.
@pytest.mark.parametrize(("backoff_db", "printed"), [(6, 0.444), (8, 0.353), (10, 0.280)])
def test_published_class_b_with_a_rayleigh_envelope(backoff_db, printed):
    assert "44.4 / 35.3 / 28.0 %" in EXAMPLES["class B OFDM efficiency"]["result"]
    assert mean_efficiency("B", backoff_db=backoff_db) == pytest.approx(printed, abs=0.0006)
    assert mean_efficiency("B", backoff_db=backoff_db) == pytest.approx(
        math.sqrt(math.pi) / 2 * 10 ** (-backoff_db / 20)
    )


def test_published_class_a_is_half_at_full_drive():
    assert mean_efficiency("A", backoff_db=0) == 0.5
    assert mean_efficiency("A", backoff_db=10) == pytest.approx(0.05)


# The closed form against the integral over the density by numpy, which knows nothing of it.
@given(backoff_db=st.floats(3, 20), idle=st.floats(0, 0.8))
def test_law_closed_form_is_the_integral_over_the_envelope(backoff_db, idle):
    mean_square = 10 ** (-backoff_db / 10)
    a = np.linspace(0, 8 * math.sqrt(mean_square), 40001)
    density = 2 * a / mean_square * np.exp(-(a**2) / mean_square)
    mean = np.trapezoid(np.maximum(idle, a) * density, a)
    assert supply_ratio("AB", backoff_db=backoff_db, idle_ratio=idle) == pytest.approx(4 / math.pi * mean, rel=1e-4)


def test_limit_class_ab_without_idle_current_is_class_b_and_lies_above_with_it():
    assert supply_ratio("AB", backoff_db=7) == supply_ratio("B", backoff_db=7)
    assert supply_ratio("AB", backoff_db=7, idle_ratio=0.3) > supply_ratio("B", backoff_db=7)


# "junction chain": P_dc 40 W, P_rf 10 W, 1.5 + 0.2 + 1.0 K/W, 40 C -> 30 W, 121 C, sink 70 C.
def test_published_junction_chain():
    assert EXAMPLES["junction chain"]["result"].startswith("P_diss 30 W, Tj = 40+30*2.7 = 121 C, sink 70 C")
    assert junction_k(heat_w=30, air_k=313.15, resistances_k_w=(1.5, 0.2, 1.0)) - 273.15 == pytest.approx(121)
    assert junction_k(heat_w=30, air_k=313.15, resistances_k_w=(1.0,)) - 273.15 == pytest.approx(70)
    assert sink_needed_k_w(heat_w=30, case_max_k=349.15, air_k=313.15, interface_k_w=0.2) == pytest.approx(1.0)


# "fan flow": 40 W, 10 K -> 7.03 CFM = 11.9 m3/h; "airflow heat capacity": CFM = 1.757 P/dT.
def test_published_fan_flow():
    assert "7.03 CFM = 11.9 m3/h" in EXAMPLES["fan flow"]["result"]
    flow = air_flow_m3_s(heat_w=40, rise_k=10)
    assert flow * 3600 == pytest.approx(11.9, abs=0.06)
    assert flow / 0.3048**3 * 60 == pytest.approx(7.03, abs=0.03)


# [ISO2533] standard atmosphere, density at 2000 m over that at sea level 0.8217.
def test_published_thin_air_needs_more_flow():
    ratio = air_flow_m3_s(heat_w=40, rise_k=10) / air_flow_m3_s(heat_w=40, rise_k=10, altitude_m=2000)
    assert ratio == pytest.approx(0.8217, abs=5e-4)


# "Bar-Cohen & Rohsenow optimum fins": S 7.45 mm, 14 fins, h 4.862 W/m2K, 29.4 W.
def test_published_finned_sink():
    assert "S_opt 7.45 mm, 14 fins, h 4.862 W/m2K, Q 29.4 W" in EXAMPLES["Bar-Cohen & Rohsenow optimum fins"]["result"]
    sink = finned_sink(width_m=0.12, height_m=0.18, fin_m=0.024, thick_m=0.001, base_k=353.15, air_k=303.15)
    assert sink.spacing_m * 1e3 == pytest.approx(7.45, abs=0.01)
    assert sink.n_fins == 14
    assert sink.film_w_m2_k == pytest.approx(4.862, abs=0.01)
    assert sink.heat_w == pytest.approx(29.4, abs=0.1)


# "forced-air correction": 0.37 K/W natural at 2 m/s -> 0.16 K/W.
def test_published_forced_air():
    assert pytest.approx(0.16, abs=0.005) == 0.37 * FORCED_RATIO


def test_law_a_sink_of_the_width_asked_gives_the_heat():
    shape = {"height_m": 0.2, "fin_m": 0.04, "thick_m": 0.002, "base_k": 343.15, "air_k": 313.15}
    width = sink_width_m(heat_w=60, **shape)
    assert finned_sink(width_m=width + 1e-9, **shape).heat_w == pytest.approx(60, rel=0.06)


def test_limit_a_base_colder_than_the_air_is_refused():
    with pytest.raises(RangeError, match=r"the base \(20 degC\) must be warmer than the air \(30 degC\)"):
        finned_sink(width_m=0.1, height_m=0.1, fin_m=0.02, thick_m=0.001, base_k=293.15, air_k=303.15)
