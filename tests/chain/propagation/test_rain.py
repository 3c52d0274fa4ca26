"""Rain after P.838 and P.530."""

import pytest

from tepui.chain.propagation.rain import rain_coefficients, rain_loss_db
from tepui.ground.errors import RangeError


# P.838-3 table 5, values as remembered: 10 GHz and 20 GHz.
@pytest.mark.parametrize(
    ("f_ghz", "vertical", "k", "alpha"),
    [
        (10, False, 0.01217, 1.2571),
        (10, True, 0.01129, 1.2156),
        (20, False, 0.09164, 1.0568),
        (20, True, 0.09611, 0.9847),
    ],
)
def test_published_coefficients(f_ghz, vertical, k, alpha):
    found = rain_coefficients(frequency_hz=f_ghz * 1e9, vertical=vertical)
    assert found == pytest.approx((k, alpha), abs=6e-5)


def test_law_more_rain_and_more_way_lose_more():
    def loss(rate, km):
        return rain_loss_db(frequency_hz=10.2e9, vertical=False, rate_mm_h=rate, distance_m=1e3 * km)

    assert loss(0, 20) == 0
    assert loss(10, 20) < loss(30, 20) < loss(30, 40)


def test_outside_the_sources_is_refused():
    with pytest.raises(RangeError, match="between 1 and 1000 GHz"):
        rain_coefficients(frequency_hz=436e6, vertical=False)
    with pytest.raises(RangeError, match="path length of rain attenuation must lie between 0 and 60 km"):
        rain_loss_db(frequency_hz=10e9, vertical=False, rate_mm_h=30, distance_m=90e3)
