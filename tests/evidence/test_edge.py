"""Both shoulders from two or three narrow recordings, against a truth file and signals made to order."""

from fractions import Fraction

import numpy as np
import pytest
from sweep_signals import cut_sweep, recording_of, truth

from tepui.evidence.edge import edge_floor, edge_shoulders, find_edge_hz
from tepui.evidence.edge_tunings import edge_tunings
from tepui.evidence.narrow import narrow_spectra
from tepui.ground.errors import RangeError

RATE_HZ, CENTRE_HZ = 2.4e6, 1e9


# Two recordings of a set with truth file (provenance: data/sweeps/README.md), 16.7 ms each, tuned 0.2 MHz inside the
# edges: the 700 kHz point lies at the end of the usable band, which the interval must allow for.
@pytest.mark.parametrize("name", ["fixed_gain", "hot", "hot_att6"])
def test_tool_shoulders_behind_the_front_end(name):
    known = truth()
    centre, occupied = known["channel_centre_hz"], known["occupied_width_hz"]
    two = [one for one in cut_sweep(name) if abs(abs(one.centre_hz - centre) - 3.125e6) < 1]
    spectra = narrow_spectra(two, resolution_bandwidth_hz=2.2 * known["carrier_spacing_hz"], usable_share=0.8)
    place = {"centre_hz": centre, "occupied_width_hz": occupied}
    floor = edge_floor(
        list(zip(two, spectra, strict=True)), **place, useful_s=known["useful_s"], guard_s=known["guard_s"]
    )
    found = edge_shoulders(
        list(zip(("lower", "upper"), spectra, strict=True)),
        **place,
        carrier_spacing_hz=known["carrier_spacing_hz"],
        floor=floor,
        tuning_std_hz=20e3,
        guard=Fraction(1, 8),
    )
    behind = known["sweeps"][name]["behind_front_end_shoulder_db"]
    for side in ("lower", "upper"):
        read = getattr(found, side)
        assert abs(read.value - behind[side]) < 2.5 * read.std  # six readings, the floors of the last both 1.3 std high
        assert read.high - read.low < 4
    # The truth file's crystal error of 20 ppm moves the channel down by 25.5 kHz.
    crystal_ppm = known["sweeps"][name]["crystal_ppm"]
    assert found.centre_hz.value - centre == pytest.approx(-crystal_ppm * 1e-6 * centre, abs=2 * found.centre_hz.std)


def made(tunings, *, occupied_hz, shoulder_db, reach_hz, moved_hz=0.0, seconds=0.2):
    """Flat noise of the channel's width over noise ``shoulder_db`` lower, cut to each tuning, with a line at zero."""
    rng = np.random.default_rng(5)
    n = int(seconds * RATE_HZ)
    recordings = []
    for one in tunings:
        bins = (rng.standard_normal((n, 2)) @ [1, 1j]).astype(np.complex64)
        offset_hz = np.fft.fftfreq(n, 1 / RATE_HZ) + one.frequency_hz - CENTRE_HZ - moved_hz
        bins *= np.where(np.abs(offset_hz) < occupied_hz / 2, 1.0, 10 ** (shoulder_db / 20))
        bins[np.abs(np.fft.fftfreq(n, 1 / RATE_HZ)) > 1.05 * reach_hz] = 0
        samples = np.fft.ifft(bins) * np.sqrt(n) * 0.1 + 0.05
        recordings.append(recording_of(samples, name=one.side, rate_hz=RATE_HZ, frequency_hz=one.frequency_hz))
    return recordings


def read(recordings, tunings, *, occupied_hz, reach_hz):
    spectra = narrow_spectra(recordings, resolution_bandwidth_hz=2.2e3, usable_share=2 * reach_hz / RATE_HZ)
    return edge_shoulders(
        [(one.side, spectrum) for one, spectrum in zip(tunings, spectra, strict=True)],
        centre_hz=CENTRE_HZ,
        occupied_width_hz=occupied_hz,
        carrier_spacing_hz=1e3,
        floor=None,
        tuning_std_hz=10e3,
    )


# By hand: the level is the one put in. What is shown is relative to the highest value of a trace that still scatters,
# some 0.5 dB at 2000 averages, and so is what is read on the shoulder: the two nearly cancel.
@pytest.mark.parametrize("reach_hz", [0.9e6, 0.5e6, 0.46e6, 0.3e6])
def test_limit_the_level_put_in_whatever_the_receiver_sees(reach_hz):
    occupied = 6.656e6
    tunings = edge_tunings(centre_hz=CENTRE_HZ, occupied_width_hz=occupied, reach_hz=reach_hz, dc_half_width_hz=0.03e6)
    moved = 8e3 if len(tunings) == 2 else 0.0
    recordings = made(tunings, occupied_hz=occupied, shoulder_db=-33.0, reach_hz=reach_hz, moved_hz=moved)
    found = read(recordings, tunings, occupied_hz=occupied, reach_hz=reach_hz)
    for shown in (found.shown_lower, found.shown_upper):
        assert shown.low <= -33.0 <= shown.high
        assert shown.value == pytest.approx(-33.0, abs=0.6)
    if len(tunings) == 2:
        assert found.centre_hz.value - CENTRE_HZ == pytest.approx(moved, abs=2 * found.centre_hz.std)
    assert found.lower is None  # no floor told


def test_limit_no_signal_no_edge():
    occupied = 6.656e6
    tunings = edge_tunings(centre_hz=CENTRE_HZ, occupied_width_hz=occupied, reach_hz=0.9e6, dc_half_width_hz=0.03e6)
    recordings = made(tunings, occupied_hz=occupied, shoulder_db=0.0, reach_hz=0.9e6)
    (spectrum, _) = narrow_spectra(recordings, resolution_bandwidth_hz=2.2e3, usable_share=0.75)
    assert find_edge_hz(spectrum, expected_hz=CENTRE_HZ - occupied / 2, side="lower") is None
    assert read(recordings, tunings, occupied_hz=occupied, reach_hz=0.9e6).step_db < 1


def test_limit_a_set_that_shows_nothing_of_the_band():
    occupied = 6.656e6
    tunings = edge_tunings(centre_hz=CENTRE_HZ, occupied_width_hz=occupied, reach_hz=0.3e6, dc_half_width_hz=0.03e6)
    recordings = made(tunings, occupied_hz=occupied, shoulder_db=-30.0, reach_hz=0.3e6)
    with pytest.raises(RangeError, match="None of the recordings shows the signal"):
        read(recordings[:2], tunings[:2], occupied_hz=occupied, reach_hz=0.3e6)
