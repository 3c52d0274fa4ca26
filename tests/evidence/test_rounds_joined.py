"""The mean over rounds: as precise as the best where nothing drifts, as the scatter where something does."""

import numpy as np
import pytest

from tepui.chain.reception.runs import turn_std
from tepui.evidence.reception import weighted


# Inverse-variance weights: any handbook; with stds 1 and 2 the weights are 4/5 and 1/5, the doubt sqrt(4/5).
def test_limit_without_drift_the_inverse_variances_count():
    mean = weighted(np.array([10.0, 11.0]), np.array([1.0, 2.0]), np.array([100.0, 100.0]))
    assert mean.value == pytest.approx(10.2)
    assert mean.std == pytest.approx(np.sqrt(0.8))


def test_limit_a_short_round_with_a_wide_doubt_changes_nothing():
    mean = weighted(np.array([5.0, 5.4]), np.array([0.001, 1.0]), np.array([300.0, 12.0]))
    assert mean.value == pytest.approx(5.0, abs=1e-5)
    assert mean.std == pytest.approx(0.001, rel=1e-3)


# DerSimonian and Laird 1986, by hand: three rounds of std 0.1 at 0, 1, 2 have Q = 200, tau^2 = (200 - 2) / 200 = 0.99.
def test_limit_drift_is_what_scatters_beyond_the_doubt():
    mean = weighted(np.array([0.0, 1.0, 2.0]), np.full(3, 0.1), np.ones(3))
    assert mean.value == pytest.approx(1.0)
    assert mean.std == pytest.approx(np.sqrt((0.99 + 0.01) / 3))
    assert mean.contributions["drift"] == pytest.approx(np.sqrt(0.99 / 3))


@pytest.mark.parametrize(("walk", "low", "high"), [(0.0, 90, 100), (1.0, 88, 100)])
def test_law_the_doubt_of_a_slope_holds_for_white_noise_and_for_a_walk(walk, low, high):
    held, n = 0, 150
    steps = np.arange(n)
    for trial in range(200):
        rng = np.random.default_rng([50, trial])
        phase = 0.1 * rng.normal(size=n) + walk * np.cumsum(rng.normal(size=n))
        slope = float(np.polyfit(steps, phase, 1)[0])
        held += abs(slope) <= 2 * turn_std(phase)
    assert low <= held / 2 <= high
