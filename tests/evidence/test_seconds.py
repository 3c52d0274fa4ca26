"""Seconds free of errors, cases counted by hand."""

import numpy as np
import pytest

from tepui.evidence.seconds import Stretch, error_free


def stretch(begin_s, end_s, broken=(), packets=1000):
    good = np.ones(packets, bool)
    good[list(broken)] = False
    return Stretch(begin_s=begin_s, end_s=end_s, good=good)


def test_limit_one_run_without_errors():
    found = error_free([stretch(0.2, 5.6)])
    assert (found.whole_seconds, found.clean_seconds, found.share) == (5, 5, 1.0)
    assert found.duration_s == pytest.approx(5.4)


def test_limit_errors_count_the_seconds_they_lie_in():
    # 1000 packets in 10 s: packets 100 and 101 lie in the second second, 950 in the last
    found = error_free([stretch(3.0, 13.0, broken=(100, 101, 950))])
    assert (found.whole_seconds, found.clean_seconds) == (10, 8)
    assert found.share == pytest.approx(0.997)


def test_limit_a_gap_breaks_every_second_it_touches():
    found = error_free([stretch(0.0, 2.5), stretch(4.2, 7.0)])
    assert (found.whole_seconds, found.clean_seconds) == (7, 4)  # seconds 2, 3 and 4 are lost
    assert found.share == pytest.approx((2.5 + 2.8) / 7.0)


def test_limit_a_short_recording_has_a_share_only():
    found = error_free([stretch(0.0, 0.4, broken=range(250))])
    assert (found.whole_seconds, found.clean_seconds) == (0, 0)
    assert found.share == pytest.approx(0.75)


def test_limit_no_packet_no_word():
    assert error_free([stretch(0.0, 0.4, packets=0)]) is None
    assert error_free([]) is None
