"""Scattering parameters as a noun: valid once built, and not to be changed."""

import numpy as np
import pytest

from tepui.ground.errors import RangeError
from tepui.signals.twoport import TwoPort


def pad(**changes):
    """A matched 6 dB pad at three frequencies."""
    s = np.zeros((3, 2, 2), dtype=complex)
    s[:, 0, 1] = s[:, 1, 0] = 10 ** (-6 / 20)
    return TwoPort(**{"frequency_hz": [1e6, 2e6, 3e6], "s": s, "z0_ohm": 50.0, **changes})


def test_limit_arrays_are_kept_as_read_only_copies():
    frequency_hz = np.array([1e6, 2e6, 3e6])
    port = pad(frequency_hz=frequency_hz)
    frequency_hz[0] = 0
    assert port.frequency_hz[0] == 1e6
    assert port.s.dtype == np.complex128
    for array in (port.frequency_hz, port.s):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0


@pytest.mark.parametrize(
    ("changes", "sentence"),
    [
        (
            {"frequency_hz": [1e6, 3e6, 2e6]},
            r"frequency_hz must rise from point to point; point 3 \(2e\+06 Hz\) follows 3e\+06 Hz.",
        ),
        ({"frequency_hz": [1e6, 1e6, 2e6]}, "must rise"),
        ({"frequency_hz": [-1.0, 1e6, 2e6]}, "frequency_hz must be from 0 on, not -1 Hz."),
        ({"frequency_hz": [1e6, np.nan, 2e6]}, "frequency_hz must hold finite numbers; point 2 of 3 does not."),
        ({"frequency_hz": [1e6, 2e6]}, r"s must be an array of 2 x 2 x 2 numbers, not \(3, 2, 2\)."),
        ({"s": np.full((3, 2, 2), np.inf)}, "s must hold finite numbers; point 1 of 3 does not."),
        ({"s": np.ones((3, 2))}, "s must be an array of 3 x 2 x 2 numbers"),
        ({"frequency_hz": [], "s": np.ones((0, 2, 2))}, "frequency_hz must hold at least one number."),
        ({"z0_ohm": 0.0}, "z0_ohm must be a number above zero in Ohm, not 0."),
    ],
)
def test_limit_contradictions_are_refused(changes, sentence):
    with pytest.raises(RangeError, match=sentence):
        pad(**changes)
