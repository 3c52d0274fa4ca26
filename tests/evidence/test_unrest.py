"""Unrest beside the channel: steady noise has none, bursts have what their statistics say."""

import numpy as np
import pytest

from tepui.evidence.unrest import PARTS, unrest_beside

RATE_HZ = 8e6
PLACE = {"sample_rate_hz": RATE_HZ, "centre_offset_hz": 0.0, "occupied_width_hz": 4.754e6}


def noise(n, seed):
    return (np.random.default_rng(seed).normal(size=(n, 2)) @ [1, 1j]).astype(np.complex64)


# Noise of bandwidth B over T is known to 1 / sqrt(B T); 800 kHz over 50 ms leave half a per cent.
def test_law_steady_noise_has_no_unrest_to_speak_of():
    assert np.mean([unrest_beside(noise(400_000, seed), **PLACE) for seed in range(20)]) < 0.004


# Independent bursts: the powers of the parts have a variance that numpy gives, their mean a sixteenth of it.
def test_limit_bursts_in_some_parts():
    size = 25_000
    gains = np.random.default_rng(1).choice([1.0, 2.0], PARTS)
    samples = noise(PARTS * size, 2) * np.repeat(np.sqrt(gains), size)
    expected = gains.std(ddof=1) / gains.mean() / np.sqrt(PARTS)
    assert unrest_beside(samples, **PLACE) == pytest.approx(expected, rel=0.05)


def test_limit_too_short_to_tell_is_not_counted():
    assert unrest_beside(noise(10_000, 3), **PLACE) == 0.0
