"""Edges alone: how much of what stands beside them is no floor."""

from types import SimpleNamespace

import numpy as np
import pytest

from tepui.evidence.converter import IDEAL_LSB2
from tepui.ground.doubt import estimate
from tepui.jobs.set_edges import _joined, _left

CHANNEL = SimpleNamespace(centre_hz=1e9, occupied_hz=6e6)


def beside(level):
    """A slice of density 1 in the channel and ``level`` beside it."""
    frequency_hz = 1e9 + np.arange(-4e6, 4e6, 10e3)
    return SimpleNamespace(frequency_hz=frequency_hz, density=np.where(np.abs(frequency_hz - 1e9) < 3e6, 1.0, level))


# By hand: of 0.010 shown 0.008 are the floor's, a fifth is left; a floor of 0.008 +-0.0015 leaves less than is sure.
@pytest.mark.parametrize("sign", [-1, 1])
def test_limit_a_fifth_is_left_or_nothing_sure(sign):
    assert _left(beside(0.010), CHANNEL, estimate(0.008, guard=0.0005), sign) == pytest.approx(0.2)
    assert _left(beside(0.010), CHANNEL, estimate(0.008, guard=0.0015), sign) is None
    assert _left(beside(0.010), CHANNEL, estimate(0.012, guard=0.0005), sign) is None
    assert _left(beside(0.010), CHANNEL, None, sign) == 1.0


def edge_of(name):
    converter = SimpleNamespace(step=1.0, rounding=IDEAL_LSB2)
    return SimpleNamespace(name=name, unit_density=2.0, converter=converter)


# By hand: weighted mean of 0.30 +-0.02 and 0.34 +-0.02; 0.60 +-0.02 is no floor of that converter alone.
def test_limit_floors_that_agree_are_one():
    edges = [edge_of(name) for name in "abc"]
    told = {name: estimate(2 * level, guard=2 * 0.02) for name, level in zip("abc", (0.30, 0.34, 0.60), strict=True)}
    found = _joined(edges, told)
    assert [found[name].value for name in "ab"] == pytest.approx([0.64, 0.64])
    assert found["a"].std == pytest.approx(2 * np.hypot(0.02, 0.2 * 0.02))  # as far apart as sqrt(2) times their doubts
    assert found["c"] is told["c"]
    assert _joined(edges, {**told, "b": None})["b"] is None
