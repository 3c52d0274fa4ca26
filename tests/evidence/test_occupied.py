import numpy as np
import pytest
from evidence_signals import shaped_noise

from tepui.evidence.floor import Floor
from tepui.evidence.occupied import occupied_width
from tepui.ground.errors import RangeError
from tepui.signals.spectrum import spectrum_of_recording


def box(frequency_hz):
    return np.where(np.abs(frequency_hz - 0.4e6) <= 3.3e6, 1e-9, 0.0)


# Solved by hand: of a rectangle 99 % of the width holds 99 % of the power, [RR] 1.153.
def test_limit_a_rectangle_and_its_doubt():
    inside = 0
    for seed in range(12):
        recording = shaped_noise(box, n=200_000, rate_hz=16e6, seed=seed)
        found = occupied_width(spectrum_of_recording(recording, resolution_bandwidth_hz=4e3))
        inside += found.width_hz.low <= 0.99 * 6.6e6 <= found.width_hz.high
        assert found.width_hz.value == pytest.approx(0.99 * 6.6e6, rel=2e-3)
        assert (found.lower_hz + found.upper_hz) / 2 == pytest.approx(0.4e6, abs=5e3)
    assert inside >= 10


# Solved by hand: two half-lines decaying as exp(-|f|/a) hold all but 1 % within a ln 100 on either side.
def test_limit_exponential_sides():
    recording = shaped_noise(lambda f: np.exp(-np.abs(f) / 0.5e6) * 1e-9, n=1_000_000, rate_hz=16e6, seed=1)
    found = occupied_width(spectrum_of_recording(recording, resolution_bandwidth_hz=10e3))
    assert found.width_hz.value == pytest.approx(2 * 0.5e6 * np.log(100), rel=0.02)


def test_law_the_floor_taken_off_gives_the_width_back():
    floor = Floor(density=1e-11, std=1e-13, at_most=False, method="known")
    recording = shaped_noise(lambda f: box(f) + floor.density, n=400_000, rate_hz=16e6, seed=4)
    spectrum = spectrum_of_recording(recording, resolution_bandwidth_hz=4e3)
    assert occupied_width(spectrum).width_hz.value > 6.7e6
    found = occupied_width(spectrum, floor=floor).width_hz
    assert found.low - 10e3 <= 0.99 * 6.6e6 <= found.high + 10e3


def test_nothing_above_the_floor_is_said():
    recording = shaped_noise(lambda f: 1e-9 + 0 * f, n=50_000, rate_hz=1e6, seed=1)
    spectrum = spectrum_of_recording(recording, resolution_bandwidth_hz=10e3)
    with pytest.raises(RangeError, match="stands above its floor"):
        occupied_width(spectrum, floor=Floor(density=1e-8, std=0.0, at_most=False, method="known"))
