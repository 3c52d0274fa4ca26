"""The view of a path: knife edge, Fresnel zone, bulge, and the height that clears the obstacle."""

import numpy as np
import pytest

from tepui.chain.propagation.edges import knife_edge_db, path_view, radio_horizon_m, rise_of_one_m, rise_to_clear_m
from tepui.chain.propagation.path_kernels import knife_edge_db as compiled_edge_db


# P.526 eq. (31), values printed to four decimals.
@pytest.mark.parametrize(
    ("v", "printed_db"),
    [(-0.78, 0.004), (-0.5, 1.9592), (0, 6.0329), (0.5, 10.2878), (1, 13.9257), (2.4, 20.5393), (5, 26.8136)],
)
def test_published_knife_edge(v, printed_db):
    assert knife_edge_db(v) == pytest.approx(printed_db, abs=5e-3)
    assert compiled_edge_db(v) == pytest.approx(knife_edge_db(v), abs=1e-12)


# Exact Fresnel integrals (scipy.special.fresnel): the approximation stays within 0.2 dB for v from -0.5 to 5.
@pytest.mark.parametrize("v", [-0.5, 0.0, 0.7, 1.5, 3.0, 5.0])
def test_tool_exact_fresnel(v):
    from scipy.special import fresnel

    s, c = fresnel(v)
    exact_db = -20 * np.log10(np.hypot(1 - c - s, c - s) / 2)
    assert knife_edge_db(v) == pytest.approx(exact_db, abs=0.2)


def view(height_m=0.0, **changes):
    given = {"tx_asl_m": 72.0, "rx_asl_m": 32.0, "frequency_hz": 436e6, "earth_radius_m": 8494.67e3, **changes}
    ridge = np.array([0.0, 0.0, height_m, 0.0, 0.0])
    return path_view(distance_m=np.array([0, 10e3, 20e3, 30e3, 40e3]), ground_m=ridge, **given)


# Geometry with exact c (basic radio checks): 1.29 GHz, 10 km, mid-path 24.1038 m.
def test_limit_fresnel_radius():
    seen = path_view(
        distance_m=np.array([0.0, 5e3, 10e3]),
        ground_m=np.zeros(3),
        tx_asl_m=50.0,
        rx_asl_m=50.0,
        frequency_hz=1.29e9,
        earth_radius_m=8.5e6,
    )
    assert seen.fresnel_m[1] == pytest.approx(24.1038, abs=1e-4)
    assert seen.bulge_m[1] == pytest.approx(25e6 / 17e6, abs=1e-9)


# sqrt(2 ae h) with 8500 km: 20 m and 10 m see each other to 31.4775 km.
def test_limit_radio_horizon():
    total = radio_horizon_m(20, earth_radius_m=8.5e6) + radio_horizon_m(10, earth_radius_m=8.5e6)
    assert total == pytest.approx(31477.5, abs=0.1)


def test_law_the_height_said_clears_the_obstacle():
    low = view(height_m=60.0)
    assert not low.visible
    both = rise_to_clear_m(low)
    assert view(height_m=60.0, tx_asl_m=72 + both, rx_asl_m=32 + both).clearance_share == pytest.approx(0.6)
    one = rise_of_one_m(low, at_transmitter=False)
    assert view(height_m=60.0, rx_asl_m=32 + one).clearance_share == pytest.approx(0.6)
    assert rise_to_clear_m(view(height_m=60.0, tx_asl_m=900.0, rx_asl_m=900.0)) == 0.0
