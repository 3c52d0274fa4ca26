import numpy as np
import pytest
from sweep_signals import from_codes, recording_of

from tepui.evidence.converter import converter_from, rounded, sums_of_recording, unrounded


def used(recording):
    return converter_from(sums_of_recording(recording))


# Bennett 1948: rounding of a signal that spans its steps adds 1/12 of a step squared and leaves the signal alone.
def test_published_rounding_noise():
    mean, variance, gain, added = rounded(0.3, 2.0)
    assert (mean, gain) == (0.3, 1.0)
    assert (variance, added) == (pytest.approx(4 + 1 / 12, rel=1e-12), pytest.approx(1 / 12, rel=1e-12))


# Direct simulation with numpy's own rounding; two million draws leave about 0.002 of each figure.
@pytest.mark.parametrize(("mean", "spread"), [(0.0, 0.3), (0.5, 0.3), (0.2, 0.45), (0.5, 0.9)])
def test_tool_weak_signal_as_simulated(mean, spread):
    x = np.random.default_rng(5).normal(mean, spread, 2_000_000)
    y = np.rint(x)
    gain = np.cov(x, y)[0, 1] / x.var()
    found = rounded(mean, spread)
    assert found == pytest.approx((y.mean(), y.var(), gain, y.var() - gain**2 * spread**2), abs=0.003)


# With a spread of 0.3 step the gain for power depends on where the mean falls: between two codes it more than doubles.
def test_limit_gain_depends_on_where_the_codes_fall():
    between, on = rounded(0.5, 0.3)[2], rounded(0.0, 0.3)[2]
    # The density at the step in its middle and, far down, at the two beside it.
    assert between == pytest.approx((1 + 2 * np.exp(-1 / (2 * 0.3**2))) / (0.3 * np.sqrt(2 * np.pi)), rel=1e-6)
    assert between**2 > 2 * on**2


@pytest.mark.parametrize(("mean", "spread"), [(0.1, 0.35), (-0.4, 0.6), (12.5, 0.4)])
def test_law_mean_and_spread_come_back(mean, spread):
    out_mean, out_variance, _, _ = rounded(mean, spread)
    assert unrounded(out_mean, out_variance) == pytest.approx((mean, spread), abs=2e-3)


def test_limit_codes_of_a_weak_recording():
    rng = np.random.default_rng(8)
    codes = np.rint(rng.normal((128.1, 126.5), 0.4, (200_000, 2)))
    found = used(from_codes(codes))
    assert found.step == pytest.approx(1 / 127.5)
    assert found.mean == pytest.approx((0.6, -1.0), abs=0.01)
    assert found.spread == pytest.approx(0.4, abs=0.01)
    assert found.used_bits < 2.9
    assert found.clipped_share == 0
    assert not found.is_starved


def test_limit_clipping_is_counted_at_the_ends():
    rng = np.random.default_rng(9)
    codes = np.clip(np.rint(rng.normal(127.5, 60, (100_000, 2))), 0, 255)
    found = used(from_codes(codes))
    assert found.n_clipped == np.count_nonzero(((codes == 0) | (codes == 255)).any(axis=1))
    assert found.used_bits == pytest.approx(8.0)


def test_limit_clipping_before_scaling_heaps_at_inner_codes():
    rng = np.random.default_rng(9)
    codes = np.clip(np.rint(rng.normal(127.5, 60, (100_000, 2))), 40, 215)
    assert used(from_codes(codes)).n_clipped == np.count_nonzero((codes == 40) | (codes == 215))  # of both axes


# A 12-bit converter stored in the upper bits of 16: its steps are 16 codes apart.
def test_limit_step_of_a_converter_stored_with_more_bits():
    rng = np.random.default_rng(3)
    codes = 16 * np.rint(rng.normal(0, 100, (50_000, 2)))
    samples = (codes[:, 0] + 1j * codes[:, 1]) / 32767
    found = used(recording_of(samples, sample_type="ci16_le"))
    assert found.step == pytest.approx(16 / 32767)
    assert found.spread == pytest.approx(100, rel=0.01)


def test_limit_floating_point_has_no_known_step():
    found = used(recording_of(np.exp(1j * np.arange(1000.0))))
    assert (found.step, found.used_bits, found.gain) == (None, None, 1.0)
