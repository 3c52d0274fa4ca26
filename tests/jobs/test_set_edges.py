"""Edges alone: how much of what stands beside them is no floor."""

from types import SimpleNamespace

import numpy as np
import pytest

from tepui.ground.doubt import estimate
from tepui.jobs.set_edges import _left

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
