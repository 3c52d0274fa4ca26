from types import SimpleNamespace

import numpy as np
import pytest

from tepui.evidence.lost_shape import lost_floor_std, lost_gain_std

N, POINTS = 1 << 20, 128


def spectrum_of(samples):
    rows = samples[: len(samples) // POINTS * POINTS].reshape(-1, POINTS) * np.hanning(POINTS)
    return np.fft.fftshift(np.mean(np.abs(np.fft.fft(rows, axis=1)) ** 2, axis=0))


def rounded_band(low, high, *, spread, noise, means):
    """A band of Gaussian noise and white noise under it, rounded to whole numbers; what rounding added to it."""
    rng = np.random.default_rng(3)
    white = rng.standard_normal((2, N)) + 1j * rng.standard_normal((2, N))
    frequency = np.fft.fftfreq(N)
    band = np.fft.ifft(np.fft.fft(white[0]) * ((frequency > low) & (frequency < high)))
    band *= np.sqrt(spread**2 - noise**2) / band.real.std()
    exact = band + noise * white[1] + complex(*means)
    codes = np.rint(exact.real) + 1j * np.rint(exact.imag)
    return codes - codes.mean(), (codes - exact) - (codes - exact).mean(), band


def seen(codes, spread):
    converter = SimpleNamespace(step=1.0, spread=np.array([spread, spread]))
    return SimpleNamespace(density=spectrum_of(codes), converter=converter)


# Outside the project: rounding done by numpy on Gaussian noise, over several places of the means between two codes.
@pytest.mark.parametrize(
    ("low", "high", "spread", "noise"), [(-0.5, -0.4, 0.74, 0.12), (0.05, 0.15, 0.6, 0.15), (-0.48, -0.43, 0.9, 0.1)]
)
def test_floor_of_a_narrow_band_is_not_flat(low, high, spread, noise):
    shapes = []
    for means in ((0.0, 0.0), (0.25, 0.25), (0.5, 0.1), (0.3, 0.4)):
        codes, added, _ = rounded_band(low, high, spread=spread, noise=noise, means=means)
        shape = spectrum_of(added)
        shapes.append(np.std(shape / shape.mean()) ** 2 - POINTS / N)
    assert lost_floor_std(seen(codes, spread)) == pytest.approx(np.sqrt(np.mean(shapes)), rel=0.5)


# As above: a band that fills all of it and more than a step keeps a flat floor and one gain.
def test_nothing_is_lost_of_a_wide_strong_signal():
    codes, *_ = rounded_band(-0.45, 0.45, spread=2.0, noise=0.3, means=(0.1, 0.4))
    assert lost_floor_std(seen(codes, 2.0)) < 1e-6
    assert lost_gain_std(seen(codes, 2.0)) < 1e-6


# Bussgang: the gain of a weak band differs from one by at most twice the first term, as the mean falls.
def test_gain_of_a_weak_signal_stays_within_what_is_told():
    gains = []
    for mean in (0.0, 0.5):
        codes, _, band = rounded_band(-0.4, 0.4, spread=0.4, noise=0.2, means=(mean, mean))
        gains.append(abs(np.vdot(band, codes) / np.vdot(band, band)))
    told = lost_gain_std(seen(codes, 0.4))
    assert max(abs(gain - 1) for gain in gains) == pytest.approx(2 * told, rel=0.15)
