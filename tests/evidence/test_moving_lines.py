"""Whose a line is, and the filters' shape from noise."""

import dataclasses

import numpy as np
import pytest
from sweep_signals import drawn

from tepui.evidence.droop import known_shape
from tepui.evidence.moving_lines import owned_lines
from tepui.evidence.stitch import stitch
from tepui.ground.doubt import estimate

CENTRE, WIDTH = 1.275e9, 6.65625e6
TUNED = [CENTRE + (k - 5.5) * 1.25e6 for k in range(12)]


def channel(hz):
    outside = np.maximum(np.abs(hz - CENTRE) - WIDTH / 2, 0.0)
    return 300 * 10 ** (np.where(outside > 0, -33 - 1.4 * outside / 1e6, 0.0) / 10)


def droop(x):
    return 0.15 * x / 1e6 - 3 * (np.abs(x) / 1.1e6) ** 6


def with_line(one, at_hz, power):
    """A steady tone: the lobe of a Hann window, a quarter of it on either side."""
    density = one.density.copy()
    place = round(at_hz / one.bin_hz) - one.first_bin
    if 2 < place < len(density) - 3:
        density[place - 1 : place + 2] += power * np.array([0.25, 1.0, 0.25]) / (1.5 * one.bin_hz)
    return dataclasses.replace(one, density=density)


def test_law_lines_have_owners():
    spectra = [
        drawn(channel, tuned_hz=hz, gain_db=0.0, droop_db=droop, seed=k, settings={"if_gain_db": 0.0}, name=f"{k + 1}")
        for k, hz in enumerate(TUNED)
    ]
    power = 0.05 * float(spectra[5].density.sum() * spectra[5].bin_hz)
    sent_hz = CENTRE + WIDTH / 2 + 0.55e6
    spectra = [with_line(one, sent_hz, power) for one in spectra]
    spectra = [with_line(one, one.tuned_hz + 0.3e6, power) for one in spectra]
    stitched = stitch(spectra, centre_hz=CENTRE, occupied_width_hz=WIDTH, find_tuning_error=False)
    lines = owned_lines(spectra, stitched)
    sent = [line for line in lines if line.owner == "signal"]
    assert [line.frequency_hz for line in sent] == pytest.approx([sent_hz - CENTRE], abs=3e3)
    assert len(sent[0].names) >= 2
    own = [line for line in lines if line.owner == "receiver"]
    assert len(own) >= 4
    assert all(abs(line.tuned_offset_hz - 0.3e6) < 3e3 for line in own)
    assert sum(line.owner == "unknown" for line in lines) == 0


# Noise through a known filter over a floor: the shape comes back, and it narrows what the overlaps leave open.
def test_law_noise_tells_the_filters():
    noise = drawn(
        lambda hz: np.full_like(hz, 40.0), tuned_hz=1.3e9, gain_db=0.0, droop_db=droop, seed=5, n_averages=3e3
    )
    shape = known_shape([noise], floor=estimate(0.35, known=0.01))
    middle = np.abs(shape.x) < 0.35
    expected = droop(shape.x * 2.4e6) * np.log(10) / 10
    apart = shape.log - expected
    assert np.std(apart[middle]) < 0.01
    quiet = drawn(np.zeros_like, tuned_hz=1.3e9, gain_db=0.0, droop_db=droop, seed=6)
    assert known_shape([quiet], floor=estimate(0.35, known=0.01)) is None
    spectra = [
        drawn(channel, tuned_hz=hz, gain_db=0.0, droop_db=droop, seed=k, settings={"if_gain_db": 0.0})
        for k, hz in enumerate(TUNED)
    ]
    place = {"centre_hz": CENTRE, "occupied_width_hz": WIDTH, "find_tuning_error": False}
    alone, helped = stitch(spectra, **place), stitch(spectra, **place, known_shape=shape)
    near = np.abs(alone.droop.offset_hz) < 0.9e6
    assert helped.droop.std_db[near].mean() < 0.8 * alone.droop.std_db[near].mean()
    assert np.abs(helped.droop.gain_db - droop(helped.droop.offset_hz))[near].max() < 0.1
