"""Spectrum masks: straight lines in decibels between break points, and silence outside."""

import numpy as np
import pytest

from tepui.ground.errors import ChoiceError, RangeError
from tepui.signals.mask import Mask


def example(**changes):
    """One side of a mask for 8 MHz, in 4 kHz, against the whole mean power.

    Break points as a Vietnamese technical regulation for DVB-T transmitters prints them (table 2, non-critical);
    that they are those of ETSI EN 302 296 V1.1.1 is from memory.
    """
    parts = {
        "name": "8 MHz",
        "offset_hz": [3.81e6, 4.2e6, 6e6, 12e6],
        "level_db": [-32.8, -73.0, -85.0, -110.0],
        "convention": "total_power",
        "bandwidth_hz": 4e3,
        "source": "a published table",
    }
    return Mask(**{**parts, **changes})


def test_published_break_points_come_back():
    mask = example()
    assert mask.limit_db(mask.offset_hz) == pytest.approx([-32.8, -73.0, -85.0, -110.0], abs=1e-12)


def test_limit_between_break_points_the_line_is_straight():
    # Half way from 6 to 12 MHz: half way from -85 to -110 dB.
    assert example().limit_db(9e6) == pytest.approx(-97.5, abs=1e-12)
    assert example().limit_db([[9e6], [6e6]]).shape == (2, 1)


def test_limit_at_a_step_the_stricter_side_counts():
    falls = example(offset_hz=[0, 1e6, 1e6, 2e6], level_db=[0, 0, -20, -20])
    rises = example(offset_hz=[-2e6, -1e6, -1e6, 0], level_db=[-20, -20, 0, 0])
    assert falls.limit_db(1e6) == -20
    assert rises.limit_db(-1e6) == -20
    assert falls.limit_db([0.5e6, 1.5e6]) == pytest.approx([0, -20])


def test_limit_outside_the_mask_says_nothing():
    with pytest.raises(RangeError, match=r"reaches from 3.81e\+06 to 1.2e\+07 Hz .* says nothing about 1.3e\+07 Hz."):
        example().limit_db([4e6, 13e6])
    with pytest.raises(RangeError, match="says nothing about nan"):
        example().limit_db(np.nan)


@pytest.mark.parametrize(
    ("changes", "error", "sentence"),
    [
        ({"convention": "peak"}, ChoiceError, "convention must be trace_maximum or total_power"),
        ({"bandwidth_hz": -1.0}, RangeError, "bandwidth_hz must be a number above zero"),
        ({"offset_hz": [4e6, 3e6, 6e6, 12e6]}, RangeError, "offset_hz must rise"),
        ({"level_db": [0.0, 1.0]}, RangeError, "level_db must be an array of 4 numbers"),
        ({"source": ""}, RangeError, "must name its source"),
    ],
)
def test_limit_contradictions_are_refused(changes, error, sentence):
    with pytest.raises(error, match=sentence):
        example(**changes)


def test_limit_arrays_are_read_only():
    with pytest.raises(ValueError, match="read-only"):
        example().level_db[0] = 0
