"""Narrow recordings with a known answer: the cut sweeps, recordings from codes, and spectra drawn from a model."""

import json
from pathlib import Path

import numpy as np

from tepui.evidence.converter import Converter
from tepui.evidence.narrow import NarrowSpectrum, narrow_spectra
from tepui.signals.recording import Recording, Stretch

SWEEPS = Path(__file__).parents[1] / "data" / "sweeps"


class Samples:
    def __init__(self, samples):
        self.samples = np.asarray(samples, np.complex64)

    def read(self, start, count):
        return self.samples[start : start + count]


def recording_of(samples, *, name="one", rate_hz=2.4e6, frequency_hz=1e9, sample_type="cf32_le", **settings):
    stretch = Stretch(start=0, count=len(samples), frequency_hz=frequency_hz, settings=settings)
    return Recording(
        name=name,
        sample_rate_hz=rate_hz,
        n_samples=len(samples),
        stretches=(stretch,),
        sample_type=sample_type,
        source=Samples(samples),
    )


def from_codes(codes, **kwargs):
    """A cu8 recording of codes (n, 2)."""
    axes = (np.asarray(codes, np.float32) - 127.5) / 127.5
    return recording_of(axes[:, 0] + 1j * axes[:, 1], sample_type="cu8", **kwargs)


def truth():
    return json.loads((SWEEPS / "a5_truth.json").read_text(encoding="utf-8"))


def cut_sweep(name):
    """Recordings of one cut sweep (provenance: data/sweeps/README.md)."""
    known = truth()
    with np.load(SWEEPS / "a5_cut.npz") as file:
        return [
            from_codes(
                file[f"{name}_{number:02d}"],
                name=f"{name}_{number:02d}",
                rate_hz=known["sample_rate_hz"],
                frequency_hz=step["tuned_hz"],
                attenuator_db=float(step["attenuator_db"]),
                frontend_gain_db=float(step["frontend_gain_db"]),
                if_gain_db=float(step["if_gain_db"]),
            )
            for number, step in enumerate(known["sweeps"][name]["steps"], start=2)
        ]


def spectra_of(*names):
    known = truth()
    half = known["occupied_width_hz"] / 2
    centre = known["channel_centre_hz"]
    return narrow_spectra(
        [one for name in names for one in cut_sweep(name)],
        resolution_bandwidth_hz=3500.0,
        usable_share=0.8,
        useful_s=known["useful_s"],
        guard_s=known["guard_s"],
        channel_hz=(centre - half, centre + half),
    )


def drawn(
    truth_of,
    *,
    tuned_hz,
    gain_db,
    droop_db,
    floor_lsb2=0.35,
    rate_hz=2.4e6,
    n_fft=1024,
    n_averages=300.0,
    usable_share=0.8,
    seed=0,
    settings=None,
    name=None,
):
    """A spectrum as averaging would show it: truth_of(absolute Hz) in steps^2 through gain and filter, floor added."""
    rng = np.random.default_rng(seed)
    step = 1 / 127.5
    bin_hz = rate_hz / n_fft
    first = round(tuned_hz / bin_hz) - n_fft // 2
    x = (first + np.arange(n_fft)) * bin_hz - tuned_hz
    expected = truth_of(x + tuned_hz) * 10 ** ((gain_db + droop_db(x)) / 10) + floor_lsb2
    shown = expected * rng.gamma(n_averages, 1 / n_averages, n_fft) * step**2 / rate_hz
    return NarrowSpectrum(
        name=name or f"at {tuned_hz / 1e6:.3f}",
        tuned_hz=tuned_hz,
        rate_hz=rate_hz,
        settings=settings or {},
        first_bin=first,
        bin_hz=bin_hz,
        density=shown,
        usable=(np.abs(x) <= usable_share * rate_hz / 2) & (np.abs(x) > 4 * bin_hz),
        n_averages=n_averages,
        resolution_bandwidth_hz=1.5 * bin_hz,
        n_samples=int(n_averages * n_fft),
        converter=Converter(
            step=step,
            n_samples=int(n_averages * n_fft),
            n_clipped=0,
            used_bits=7.0,
            mean=np.zeros(2),
            spread=np.full(2, 10.0),
            gain=1.0,
            rounding=1 / 6,
        ),
        image=0j,
        image_std=0.0,
        dc_half_width_hz=4 * bin_hz,
        floor=None,
    )
