"""Doubt against the GUM's own worked example."""

import pytest

from tepui.ground.doubt import estimate


# [GUM] H.1.4, calibration of an end gauge, from memory of the text: 25, 9.7, 2.9 and 16.6 nm combine to 32 nm;
# H.1.3: 5.8, 3.9 and 6.7 nm to 9.7 nm.
@pytest.mark.parametrize(
    ("parts_nm", "printed_nm", "digit_nm"), [((25.0, 9.7, 2.9, 16.6), 32, 1), ((5.8, 3.9, 6.7), 9.7, 0.1)]
)
def test_published_end_gauge(parts_nm, printed_nm, digit_nm):
    total = estimate(50.0, **{f"part{n}": part for n, part in enumerate(parts_nm)})
    assert total.std == pytest.approx(printed_nm, abs=digit_nm / 2)


# [GUM] 6.3.3: k = 2 for an interval of about 95 %.
def test_published_coverage():
    total = estimate(10.0, noise=0.3, window=0.4)
    assert (total.low, total.high) == pytest.approx((9.0, 11.0))
    assert dict(total.contributions) == {"noise": 0.3, "window": 0.4}
