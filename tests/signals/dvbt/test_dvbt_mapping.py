"""Constellations against the figures of the standard."""

import numpy as np
import pytest

from tepui.ground.errors import ChoiceError
from tepui.signals.dvbt.mapping import constellation_points, levels


def point(constellation, alpha, bits):
    return constellation_points(constellation, alpha)[int(bits, 2)]


# [EN300744] 4.4 Table 6: normalisation 1/sqrt of 2; 10, 20, 52; 42, 60, 108 for alpha 1, 2, 4; axis steps of
# 4.3.5, figures 9a to 9c: uniform 1 3 5 7, alpha 2 from 2 and alpha 4 from 4.
@pytest.mark.parametrize(
    ("constellation", "alpha", "steps", "norm"),
    [
        ("QPSK", 0, [1], 2),
        ("16QAM", 0, [1, 3], 10),
        ("16QAM", 1, [1, 3], 10),
        ("16QAM", 2, [2, 4], 20),
        ("16QAM", 4, [4, 6], 52),
        ("64QAM", 1, [1, 3, 5, 7], 42),
        ("64QAM", 2, [2, 4, 6, 8], 60),
        ("64QAM", 4, [4, 6, 8, 10], 108),
    ],
)
def test_published_levels_and_normalisation(constellation, alpha, steps, norm):
    assert levels(constellation, alpha) == pytest.approx(np.array(steps) / np.sqrt(norm), rel=1e-12)
    assert np.mean(np.abs(constellation_points(constellation, alpha)) ** 2) == pytest.approx(1, rel=1e-6)


# [EN300744] 4.3.5 figures 9a: bits y0 y1 ..; even bits set I, odd ones Q.
@pytest.mark.parametrize(
    ("constellation", "bits", "expected", "norm"),
    [
        ("QPSK", "00", 1 + 1j, 2),
        ("QPSK", "10", -1 + 1j, 2),
        ("QPSK", "01", 1 - 1j, 2),
        ("16QAM", "0000", 3 + 3j, 10),
        ("16QAM", "0010", 1 + 3j, 10),
        ("16QAM", "1010", -1 + 3j, 10),
        ("16QAM", "1000", -3 + 3j, 10),
        ("16QAM", "0101", 3 - 1j, 10),
        ("64QAM", "000000", 7 + 7j, 42),
        ("64QAM", "000010", 5 + 7j, 42),
        ("64QAM", "001010", 3 + 7j, 42),
        ("64QAM", "001000", 1 + 7j, 42),
        ("64QAM", "101000", -1 + 7j, 42),
        ("64QAM", "101010", -3 + 7j, 42),
        ("64QAM", "100010", -5 + 7j, 42),
        ("64QAM", "100000", -7 + 7j, 42),
        ("64QAM", "010101", 7 - 3j, 42),
    ],
)
def test_published_points(constellation, bits, expected, norm):
    assert point(constellation, 0, bits) == pytest.approx(expected / np.sqrt(norm), abs=1e-6)


@pytest.mark.parametrize("constellation", ["QPSK", "16QAM", "64QAM"])
@pytest.mark.parametrize("alpha", [0, 2, 4])
def test_law_neighbours_differ_in_one_bit(constellation, alpha):
    points = constellation_points(constellation, alpha)
    distance = np.abs(points[:, None] - points[None, :])
    nearest = np.isclose(distance, np.min(distance[distance > 0]), rtol=1e-4)
    for a, b in zip(*np.nonzero(nearest), strict=True):
        assert int(a ^ b).bit_count() == 1


def test_law_alpha_is_the_gap_over_the_step():
    for constellation in ("16QAM", "64QAM"):
        for alpha in (1, 2, 4):
            axis = levels(constellation, alpha)
            assert 2 * axis[0] / (axis[1] - axis[0]) == pytest.approx(alpha)


def test_an_unknown_constellation_is_refused():
    with pytest.raises(ChoiceError, match="constellation must be QPSK, 16QAM or 64QAM"):
        constellation_points("8PSK")
