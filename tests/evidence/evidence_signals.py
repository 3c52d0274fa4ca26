"""Signals with a known answer for the tests of evidence: shaped noise, OFDM, and the drive series."""

import json
from pathlib import Path

import numpy as np

from tepui.signals.recording import recording_from_samples

CAPTURES = Path(__file__).parents[1] / "data" / "captures"


def shaped_noise(density, *, n, rate_hz, seed):
    """A recording of Gaussian noise whose power per hertz is ``density`` of frequency."""
    rng = np.random.default_rng(seed)
    unit = (rng.standard_normal((n, 2)) @ np.array([1, 1j])) / np.sqrt(2)
    shape = np.sqrt(density(np.fft.fftfreq(n, 1 / rate_hz)) * rate_hz)
    return recording_from_samples("noise", np.fft.ifft(unit * shape) * np.sqrt(n), sample_rate_hz=rate_hz)


def drive_series(step):
    """One recording of the drive series (provenance: data/captures/a4_drive.md) and what is true of it."""
    path = CAPTURES / f"a4_drive_7MHz_2K_64QAM23_GI8_{step}"
    truth = json.loads(path.with_suffix(".truth.json").read_text(encoding="utf-8"))
    samples = np.fromfile(path.with_suffix(".sigmf-data"), "<i2").astype(np.float32).view(np.complex64) / 32767
    return recording_from_samples(path.name, samples, sample_rate_hz=16e6), truth


def guarded_signal(*, n_symbols, n_fft=2048, n_guard=256, seed=1, used=700):
    """OFDM at one sample a clock: carriers -used to used without the middle one, unit power a carrier."""
    rng = np.random.default_rng(seed)
    carriers = np.zeros((n_symbols, n_fft), complex)
    places = np.r_[1 : used + 1, -used:0]
    carriers[:, places] = np.exp(0.5j * np.pi * rng.integers(0, 4, (n_symbols, len(places))))
    useful = np.fft.ifft(carriers, axis=1) * n_fft
    return np.concatenate([useful[:, -n_guard:], useful], axis=1).ravel() / np.sqrt(len(places))
