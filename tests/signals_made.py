"""Signals made for tests: packets through the project's transmitter, impaired with numpy and nothing else of ours."""

import numpy as np

from tepui.chain.waveform.transmit import Transmitter
from tepui.signals.dvbt.mode import Mode
from tepui.signals.recording import Recording, recording_from_samples

POINTS = 10  # of the Lagrange interpolation on a four times finer grid: below -100 dB in the band


def random_packets(count: int, rng: np.random.Generator) -> np.ndarray:
    """Packets with a sync byte, no error indicator and random content."""
    packets = rng.integers(0, 256, (count, 188), dtype=np.uint8)
    packets[:, 0] = 0x47
    packets[:, 1] &= 0x1F
    packets[:, 3] = (packets[:, 3] & 0xCF) | 0x10
    return packets


def read_between(samples: np.ndarray, times: np.ndarray) -> np.ndarray:
    """A periodic band-limited signal at any times, by a finer grid (FFT) and Lagrange's polynomial."""
    n, finer = samples.size, 4
    spectrum = np.fft.fft(samples)
    padded = np.zeros(n * finer, complex)
    padded[: n // 2], padded[-(n - n // 2) :] = spectrum[: n // 2], spectrum[n // 2 :]
    grid = np.fft.ifft(padded) * finer
    whole = np.floor(times * finer).astype(int)
    rest = times * finer - whole
    out = np.zeros(times.size, complex)
    half = POINTS // 2 - 1
    for k in range(POINTS):
        weight = np.ones(times.size)
        for j in range(POINTS):
            if j != k:
                weight *= (rest + half - j) / (k - j)
        out += weight * grid[(whole + k - half) % grid.size]
    return out


def made_recording(
    mode: Mode,
    *,
    symbols: int,
    rate_hz: float,
    cn_db: float,
    offset_hz: float = 0.0,
    clock_ppm: float = 0.0,
    inverted: bool = False,
    echoes: list[tuple[float, float, float]] | None = None,
    lines: list[tuple[float, float]] | None = None,
    seed: int = 1,
) -> tuple[Recording, np.ndarray]:
    """A recording and the packets in it.

    echoes  (delay in s, level in dB, phase in rad); lines (frequency in Hz, level in dB under the whole signal)
    cn_db   total signal over noise in the occupied width
    """
    rng = np.random.default_rng(seed)
    modulator = Transmitter(mode)
    packets = random_packets(modulator.packets_needed(symbols + 1), rng)
    low = random_packets(modulator.packets_needed_lp(symbols + 1), rng) if mode.alpha else None
    sent = modulator.push(packets) if low is None else modulator.push(packets, low)
    sent = sent[: symbols * mode.n_symbol].astype(complex)
    step = mode.sample_rate_hz * (1 + clock_ppm * 1e-6) / rate_hz
    times = 7.3 + np.arange(int((sent.size - 16) / step)) * step
    signal = read_between(sent, times) if step != 1.0 else sent
    if echoes:
        frequency = np.fft.fftfreq(signal.size, 1 / rate_hz)
        factor = 1 + sum(10 ** (db / 20) * np.exp(1j * turn - 2j * np.pi * frequency * s) for s, db, turn in echoes)
        signal = np.fft.ifft(np.fft.fft(signal) * factor)
    n = np.arange(signal.size)
    signal = signal * np.exp(2j * np.pi * offset_hz / rate_hz * n)
    power = float(np.mean(np.abs(signal) ** 2))
    noise = power / 10 ** (cn_db / 10) * rate_hz / mode.occupied_width_hz
    signal = signal + np.sqrt(noise / 2) * (rng.normal(size=n.size) + 1j * rng.normal(size=n.size))
    for line_hz, line_db in lines or []:
        signal = signal + np.sqrt(power * 10 ** (line_db / 10)) * np.exp(2j * np.pi * line_hz / rate_hz * n + 1j)
    if inverted:
        signal = np.conj(signal)
    samples = (signal * (0.1 / np.sqrt(power))).astype(np.complex64)
    return recording_from_samples("made", samples, sample_rate_hz=rate_hz, frequency_hz=1e9), packets
