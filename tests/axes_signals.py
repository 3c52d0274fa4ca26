"""Signals with unequal axes, a leaking carrier and phase noise, made with numpy; of ours only the modulator."""

from dataclasses import dataclass

import numpy as np

from signals_made import random_packets, read_between
from tepui.chain.waveform.transmit import Transmitter
from tepui.signals.dvbt.mode import Mode
from tepui.signals.recording import Recording, recording_from_samples

FILLED = 8  # symbols until the outer interleaver holds no more of its first zeros, whose points are not random


@dataclass(frozen=True, kw_only=True)
class Axes:
    """Gain of I over Q, angle between the axes less 90 degrees, a constant relative to the signal's rms amplitude."""

    gain_db: float = 0.0
    angle_deg: float = 0.0
    leak: complex = 0.0

    def bend(self, samples: np.ndarray) -> np.ndarray:
        """I along one axis, Q along the other: two real gains and two directions, written out."""
        gain = 10 ** (self.gain_db / 40)
        half = np.radians(self.angle_deg) / 2
        rms = np.sqrt(np.mean(np.abs(samples) ** 2))
        bent = samples.real * gain * np.exp(-1j * half) + 1j * samples.imag / gain * np.exp(1j * half)
        return bent + self.leak * rms


IDEAL = Axes()


def wandering_phase(n: int, *, rms_rad: float, correlation: float, rng: np.random.Generator) -> np.ndarray:
    """Gaussian phase of a given rms whose correlation falls to 1/e over ``correlation`` samples. (n,)"""
    points = max(4, int(16 * n / correlation))
    keep = np.exp(-1 / 16)
    drive = rng.normal(size=points) * np.sqrt(1 - keep**2)
    values = np.empty(points)
    last = rng.normal()
    for place in range(points):
        last = keep * last + drive[place]
        values[place] = last
    return rms_rad * np.interp(np.linspace(0, points - 1, n), np.arange(points), values)


def impaired_recording(
    mode: Mode,
    *,
    symbols: int,
    cn_db: float | None,
    rate_hz: float | None = None,
    transmitter: Axes = IDEAL,
    receiver: Axes = IDEAL,
    offset_hz: float = 0.0,
    echoes: list[tuple[float, float, float]] | None = None,
    phase_rms_deg: float = 0.0,
    phase_correlation_symbols: float = 3.0,
    inverted: bool = False,
    seed: int = 1,
) -> tuple[Recording, np.ndarray]:
    """A recording, and the phase noise in each of its samples [rad].

    echoes  (delay in s, level in dB, phase in rad); cn_db as in signals_made, None for no noise
    """
    rng = np.random.default_rng(seed)
    rate_hz = rate_hz or mode.sample_rate_hz
    modulator = Transmitter(mode)
    sent = modulator.push(random_packets(modulator.packets_needed(symbols + FILLED + 1), rng))
    sent = transmitter.bend(sent[FILLED * mode.n_symbol :][: symbols * mode.n_symbol].astype(complex))
    step = mode.sample_rate_hz / rate_hz
    signal = sent if step == 1.0 else read_between(sent, 7.3 + np.arange(int((sent.size - 16) / step)) * step)
    if echoes:
        frequency = np.fft.fftfreq(signal.size, 1 / rate_hz)
        factor = 1 + sum(10 ** (db / 20) * np.exp(1j * turn - 2j * np.pi * frequency * s) for s, db, turn in echoes)
        signal = np.fft.ifft(np.fft.fft(signal) * factor)
    n = np.arange(signal.size)
    correlation = phase_correlation_symbols * mode.symbol_s * rate_hz
    phase = wandering_phase(n.size, rms_rad=np.radians(phase_rms_deg), correlation=correlation, rng=rng)
    signal = signal * np.exp(1j * (2 * np.pi * offset_hz / rate_hz * n + phase))
    power = float(np.mean(np.abs(signal) ** 2))
    if cn_db is not None:
        noise = power / 10 ** (cn_db / 10) * rate_hz / mode.occupied_width_hz
        signal = signal + np.sqrt(noise / 2) * (rng.normal(size=n.size) + 1j * rng.normal(size=n.size))
    signal = receiver.bend(np.conj(signal) if inverted else signal)
    samples = (signal * (0.1 / np.sqrt(power))).astype(np.complex64)
    return recording_from_samples("impaired", samples, sample_rate_hz=rate_hz, frequency_hz=1e9), phase
