"""No false lock: signals that are not DVB-T, a thousand of them, none of which may be found to be one.

Kinds, in turn: noise; a carrier in noise; an FM carrier; OFDM with the sizes, guards and spacing of DVB-T but other
pilots; OFDM of other sizes; QPSK on one carrier. Seeded: trial n is the same signal every time.
Run: .venv/bin/python benchmarks/false_locks.py [TRIALS]
"""

import sys
import time

import numpy as np

from tepui.chain.reception.receive import receive
from tepui.signals.recording import Recording, recording_from_samples

KINDS = ("noise", "carrier", "FM", "OFDM like DVB-T", "OFDM of another size", "one QPSK carrier")
RATES_HZ = (2.4e6, 8e6, 64e6 / 7, 10e6)
SAMPLES = 400_000


def signal_of(trial: int) -> tuple[str, Recording]:
    """The kind and the recording of one trial."""
    rng = np.random.default_rng([20, trial])
    kind = KINDS[trial % len(KINDS)]
    rate_hz = RATES_HZ[int(rng.integers(len(RATES_HZ)))]
    noise = (rng.normal(size=(SAMPLES, 2)) @ [1, 1j]) / np.sqrt(2)
    made = _made(kind, rng)
    level = 10 ** (rng.uniform(-5, 30) / 20)
    samples = (noise + level * made).astype(np.complex64) * np.float32(0.05)
    return kind, recording_from_samples(f"trial-{trial}", samples, sample_rate_hz=rate_hz, frequency_hz=1e9)


def _made(kind: str, rng: np.random.Generator) -> np.ndarray:
    n = np.arange(SAMPLES)
    if kind == "noise":
        return np.zeros(SAMPLES)
    if kind == "carrier":
        return np.exp(2j * np.pi * rng.uniform(-0.4, 0.4) * n)
    if kind == "FM":
        tone = np.sin(2 * np.pi * rng.uniform(1e-5, 1e-3) * n)
        return np.exp(2j * np.pi * rng.uniform(-0.3, 0.3) * n + 1j * rng.uniform(1, 50) * tone)
    if kind == "one QPSK carrier":
        per_symbol = int(rng.integers(2, 9))
        points = np.exp(0.5j * np.pi * rng.integers(0, 4, SAMPLES // per_symbol + 1))
        return np.repeat(points, per_symbol)[:SAMPLES]
    if kind == "OFDM like DVB-T":
        size, guard = int(rng.choice([2048, 8192])), int(rng.choice([4, 8, 16, 32]))
        carriers = 1705 if size == 2048 else 6817
    else:
        size, guard = int(rng.choice([512, 1024, 1536, 3072])), int(rng.choice([4, 8, 16]))
        carriers = int(0.8 * size) // 2 * 2 + 1
    rows = SAMPLES // (size + size // guard) + 1
    cells = np.zeros((rows, size), complex)
    first = (size - carriers) // 2
    cells[:, first : first + carriers] = np.exp(0.5j * np.pi * rng.integers(0, 4, (rows, carriers)))
    pilots = first + np.arange(0, carriers, int(rng.choice([8, 12, 16])))
    cells[:, pilots] = 4 / 3 * np.sign(rng.normal(size=pilots.size))  # fixed pilots, as other systems have them
    useful = np.fft.ifft(np.fft.ifftshift(cells, axes=1), axis=1) * size / np.sqrt(carriers)
    return np.concatenate([useful[:, -(size // guard) :], useful], axis=1).reshape(-1)[:SAMPLES]


def main() -> None:
    """Run the trials and print how many of each kind were taken for DVB-T."""
    trials = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    found = dict.fromkeys(KINDS, 0)
    begun = time.monotonic()
    for trial in range(trials):
        kind, recording = signal_of(trial)
        if receive(recording, workers=1).found:
            found[kind] += 1
            print(f"trial {trial}: {kind} was taken for DVB-T")
    for kind, count in found.items():
        print(f"{kind:22} {count} false locks in {len(range(KINDS.index(kind), trials, len(KINDS)))}")
    print(f"{sum(found.values())} false locks in {trials} trials, {time.monotonic() - begun:.0f} s")


if __name__ == "__main__":
    main()
