"""Where to tune: the windows of a worked scenario, and what each tuning must show whatever the receiver."""

import numpy as np
import pytest

from tepui.evidence.edge_tunings import edge_tunings
from tepui.ground.errors import RangeError

CENTRE_HZ, OCCUPIED_HZ = 1286e6, 6.656e6


# Worked scenario "how hard can I drive it?": 7 MHz channel at 1286 MHz, receiver usable 0.90 MHz either side, line at
# zero 0.05 MHz either side; centre anywhere in 1282.422-1282.872 and 1289.128-1289.578 MHz (printed to 1 kHz).
def test_published_ranges_of_the_scenario():
    lower, upper = edge_tunings(
        centre_hz=CENTRE_HZ, occupied_width_hz=OCCUPIED_HZ, reach_hz=0.90e6, dc_half_width_hz=0.05e6
    )
    assert (lower.low_hz, lower.high_hz) == pytest.approx((1282.422e6, 1282.872e6), abs=1e3)
    assert (upper.low_hz, upper.high_hz) == pytest.approx((1289.128e6, 1289.578e6), abs=1e3)
    assert lower.low_hz <= lower.frequency_hz <= lower.high_hz


# By hand: 0.5 MHz either side, tuned 0.2 MHz outside the edge, sees 0.3 MHz of signal and 0.7 MHz beyond.
def test_limit_half_a_megahertz_is_enough_for_two():
    lower, upper = edge_tunings(
        centre_hz=CENTRE_HZ, occupied_width_hz=OCCUPIED_HZ, reach_hz=0.5e6, dc_half_width_hz=0.05e6
    )
    assert lower.frequency_hz == pytest.approx(CENTRE_HZ - 3.328e6 - 0.2e6)
    assert upper.frequency_hz == pytest.approx(CENTRE_HZ + 3.328e6 + 0.2e6)


@pytest.mark.parametrize("reach_hz", [0.25e6, 0.3e6, 0.44e6, 0.46e6, 0.49e6, 0.5e6, 0.7e6, 1.2e6, 4e6])
def test_law_windows_are_seen_and_the_line_at_zero_is_not_in_them(reach_hz):
    dc_hz = 0.04e6
    tunings = edge_tunings(
        centre_hz=CENTRE_HZ, occupied_width_hz=OCCUPIED_HZ, reach_hz=reach_hz, dc_half_width_hz=dc_hz
    )
    assert len(tunings) == (2 if reach_hz >= 0.5e6 else 3)
    for one, sign in zip(tunings[:2], (-1, 1), strict=True):
        outside = sign * (one.frequency_hz - CENTRE_HZ) - OCCUPIED_HZ / 2
        assert outside - reach_hz <= 300e3 + 1
        assert outside + reach_hz >= 700e3 - 1
        if reach_hz >= 0.44e6:
            assert outside + dc_hz <= 300e3 + 1
    if len(tunings) == 3:
        middle = tunings[2]
        assert abs(middle.frequency_hz - CENTRE_HZ) + reach_hz < OCCUPIED_HZ / 2
    else:
        assert all(reach_hz - np.abs(np.abs(one.frequency_hz - CENTRE_HZ) - OCCUPIED_HZ / 2) > 0 for one in tunings)


def test_limit_too_narrow():
    with pytest.raises(RangeError, match=r"too narrow for a shoulder .* at least 0.25 MHz"):
        edge_tunings(centre_hz=CENTRE_HZ, occupied_width_hz=OCCUPIED_HZ, reach_hz=0.2e6, dc_half_width_hz=0.05e6)
