"""The whole receiver's speed: signal time over run time after start-up, beside a named reference in the same run.

Reference: scipy.fft of every symbol's samples, 8192 points, on one thread: no receiver can do without it.
Run: .venv/bin/python benchmarks/bench_receiver.py [SECONDS]
"""

import resource
import sys
import tempfile
import time
from fractions import Fraction
from pathlib import Path

import numpy as np
import scipy.fft

from tepui.chain.reception.receive import receive
from tepui.chain.waveform.transmit import Transmitter
from tepui.files.recordings import open_recording
from tepui.signals.dvbt.mode import Mode
from tepui.signals.recording import Recording

MODES = (
    Mode(width_hz=7e6, n_fft=8192, guard=Fraction(1, 32), constellation="64QAM", code_rate=Fraction(7, 8)),
    Mode(width_hz=7e6, n_fft=8192, guard=Fraction(1, 32), constellation="QPSK", code_rate=Fraction(3, 4)),
)
CN_DB = {"64QAM": 30.0, "QPSK": 20.0}
RATE_HZ = 8e6
PIECE = 272


def write_recording(mode: Mode, path: Path, *, seconds: float) -> None:
    """A recording of whole super-frames as 16-bit samples, piece by piece."""
    rng = np.random.default_rng(0)
    modulator = Transmitter(mode)
    with path.open("wb") as handle:
        for _ in range(max(1, round(seconds * RATE_HZ / mode.n_symbol / PIECE))):
            packets = rng.integers(0, 256, (int(mode.packets_per_superframe), 188), dtype=np.uint8)
            packets[:, 0] = 0x47
            packets[:, 1] &= 0x1F
            samples = modulator.push(packets) * np.float32(0.1)
            noise = 0.1 * np.sqrt(0.5 * 10 ** (-CN_DB[mode.constellation] / 10))
            axes = samples.view(np.float32) + noise * rng.standard_normal(2 * samples.size, dtype=np.float32)
            handle.write(np.clip(np.rint(axes * 32767), -32767, 32767).astype("<i2").tobytes())


def run(recording: Recording, *, workers: int) -> float:
    """Seconds one reception takes, best of three."""
    times = []
    for _ in range(3):
        begun = time.perf_counter()
        reception = receive(recording, workers=workers, packet_sink=lambda _packets: None)
        times.append(time.perf_counter() - begun)
        assert reception.found
    return min(times)


def reference(recording: Recording, mode: Mode) -> float:
    """Seconds for the FFTs alone, on one thread."""
    rows = recording.read(0, 64 * mode.n_symbol).reshape(64, mode.n_symbol)[:, mode.n_guard :].copy()
    begun = time.perf_counter()
    for _ in range(10):
        scipy.fft.fft(rows, axis=1, workers=1)
    return (time.perf_counter() - begun) / 640 * recording.n_samples / mode.n_symbol


def main() -> None:
    """Print one line a mode and number of threads."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 12.0
    with tempfile.TemporaryDirectory() as folder:
        for mode in MODES:
            long, short = Path(folder) / "long.raw", Path(folder) / "short.raw"
            write_recording(mode, long, seconds=seconds)
            short.write_bytes(long.read_bytes()[: 4 * PIECE * mode.n_symbol])
            opened = [open_recording(path, sample_type="ci16", rate_hz=RATE_HZ) for path in (long, short)]
            signal_s = (opened[0].n_samples - opened[1].n_samples) / RATE_HZ
            fft_s = reference(opened[0], mode)
            for workers in (1, 2):
                spent = [run(one, workers=workers) for one in opened]
                steady_s = spent[0] - spent[1]
                memory = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
                print(
                    f"{mode.text():32} {workers} threads: {signal_s / steady_s:5.1f} times real time after start-up, "
                    f"{opened[0].n_samples / RATE_HZ / spent[0]:5.1f} with it; {steady_s / fft_s:4.1f} times the FFTs "
                    f"alone (scipy.fft, one thread); most memory {memory:.0f} MB"
                )


if __name__ == "__main__":
    main()
