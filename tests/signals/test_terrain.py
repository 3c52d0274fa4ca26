"""Terrain profiles: heights along a path, whole or refused."""

import numpy as np
import pytest

from tepui.ground.errors import RangeError
from tepui.signals.terrain import Profile


def path(**changes):
    parts = {"distance_m": [0, 500, 1200], "height_m": [72, 40, 32], "clutter_m": [0, 8, 0], "source": "invented"}
    return Profile(**{**parts, **changes})


def test_limit_a_profile_knows_its_length():
    assert path().length_m == 1200.0
    assert path(clutter_m=None).clutter_m is None


@pytest.mark.parametrize("name", ["distance_m", "height_m", "clutter_m"])
def test_limit_arrays_are_read_only(name):
    with pytest.raises(ValueError, match="read-only"):
        getattr(path(), name)[0] = 5


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        ({"distance_m": [100, 500, 1200]}, "the first at 0 m, not 3 from 100 m on"),
        ({"distance_m": [0]}, "two points or more"),
        ({"distance_m": [0, 500, 500]}, "distance_m must rise"),
        ({"height_m": [72, np.nan, 32]}, "height_m must hold finite numbers; point 2 of 3 does not."),
        ({"height_m": [72, 40]}, "height_m must be an array of 3 numbers"),
        ({"clutter_m": [0, -1, 0]}, "clutter_m must be from 0 on, not -1 m."),
        ({"source": ""}, "must name the source"),
    ],
)
def test_limit_contradictions_are_refused(changes, sentence):
    with pytest.raises(RangeError, match=sentence):
        path(**changes)
