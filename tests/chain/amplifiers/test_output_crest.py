"""Peaks of the envelope through an amplifier, against laws of the Gaussian envelope."""

import numpy as np
import pytest

from tepui.chain.amplifiers.output_crest import gaussian_crest_db, output_ccdf, output_crest_db
from tepui.ground.errors import RangeError


# OFDM envelope, power over mean, complex Gaussian: 1 % 6.6, 0.1 % 8.4, 0.01 % 9.6, 0.001 % 10.6 dB (common tables).
@pytest.mark.parametrize(("probability", "level_db"), [(1e-2, 6.6), (1e-3, 8.4), (1e-4, 9.6), (1e-5, 10.6)])
def test_published_levels_of_many_carriers(probability, level_db):
    assert gaussian_crest_db(probability) == pytest.approx(level_db, abs=0.05)
    assert output_crest_db(lambda x: 3 * x, 2.0, probability=probability)[0] == pytest.approx(level_db, abs=0.05)


# A hard limit at c times the mean input power: mean output 1 - e^-c of the input's, so the peak stands
# 10 log(c / (1 - e^-c)) over it; below, the output is the input.
@pytest.mark.parametrize("c", [1.0, 3.0, 6.0])
def test_limit_a_hard_limit(c):
    def limiter(x):
        return x / np.maximum(np.abs(x) / np.sqrt(c), 1.0)

    peak_db = 10 * np.log10(c / (1 - np.exp(-c)))
    assert output_crest_db(limiter, 1.0)[0] == pytest.approx(peak_db, abs=0.01)
    below = peak_db - 1.5
    passed = np.exp(-(10 ** (below / 10)) * (1 - np.exp(-c)))
    assert output_ccdf(limiter, 1.0, [below])[0] == pytest.approx(passed, rel=0.01)
    assert output_ccdf(limiter, 1.0, [peak_db + 0.2])[0] == 0


# Where the curve turns down the largest inputs are not the largest outputs: draws of the envelope say what is passed.
def test_tool_a_curve_that_turns_down_by_drawing():
    def folding(x):
        return x * (1 - 0.12 * np.abs(x) ** 2)

    u = np.random.default_rng(1).exponential(size=4_000_000)
    power = np.abs(folding(np.sqrt(u).astype(complex))) ** 2
    drawn_db = 10 * np.log10(np.quantile(power, 1 - 1e-4) / power.mean())
    assert output_crest_db(folding, 1.0)[0] == pytest.approx(drawn_db, abs=0.1)


def test_refusal():
    with pytest.raises(RangeError, match="probability must lie between"):
        gaussian_crest_db(0.0)
