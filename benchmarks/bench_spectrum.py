"""Averaged spectrum of a cf32 file, 4096 points, half overlapped: this program against scipy.signal.welch in one run.

    python benchmarks/bench_spectrum.py [--megabytes 1000]

Prints gigabytes a second on one and two threads, the ratio to the reference (which is given a quarter of a gigabyte of
the same file: more costs it many times its length in memory) and the most memory taken.
"""

import argparse
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import scipy.signal

from tepui.files.recordings import open_recording
from tepui.signals.spectrum import SpectrumEstimator, spectrum_of_recording

RATE_HZ, N_FFT, REFERENCE_SAMPLES = 8e6, 4096, 1 << 25


def write_noise(path: Path, megabytes: int) -> int:
    """White noise, the same megabyte over and over with its phase turned."""
    unit = np.random.default_rng(1).standard_normal(2 << 17, dtype=np.float32).view(np.complex64)
    with path.open("wb") as file:
        for number in range(megabytes):
            (unit * np.complex64(np.exp(1j * number))).tofile(file)
    return megabytes * len(unit)


def best_of(times: int, work) -> float:
    found = []
    for _ in range(times):
        begin = time.perf_counter()
        work()
        found.append(time.perf_counter() - begin)
    return min(found)


def peak_memory_mb() -> float | None:
    try:
        import resource
    except ImportError:
        return None
    size = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return size / (1e6 if sys.platform == "darwin" else 1e3)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--megabytes", type=int, default=1000)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "noise.cf32"
        n = write_noise(path, arguments.megabytes)
        recording = open_recording(path, sample_type="cf32", rate_hz=RATE_HZ)
        resolution_hz = 1.5 * RATE_HZ / N_FFT
        SpectrumEstimator(n_fft=N_FFT).push(np.ones(1 << 20, np.complex64))
        for workers in (1, 2):
            took = best_of(3, lambda w=workers: spectrum_of_recording(
                recording, resolution_bandwidth_hz=resolution_hz, workers=w))  # fmt: skip
            print(f"tepui, {workers} thread{'s' if workers > 1 else ''}: {8e-9 * n / took:.2f} GB/s")
        memory = peak_memory_mb()
        part = min(n, REFERENCE_SAMPLES)

        def reference() -> None:
            samples = np.fromfile(path, np.complex64, part)
            scipy.signal.welch(samples, RATE_HZ, "hann", N_FFT, N_FFT // 2, return_onesided=False, detrend=False)

        theirs = 8e-9 * part / best_of(1, reference)
        print(f"scipy.signal.welch: {theirs:.3f} GB/s; ratio {8e-9 * n / took / theirs:.0f}")
        if memory is not None:
            print(f"most memory before the reference ran: {memory:.0f} MB")


if __name__ == "__main__":
    main()
