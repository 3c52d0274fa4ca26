"""Whether the doubt of noise, clock and carriers read in narrow slices is true: seeded slices with known answers.

A case is a mode, an amplifier's drive up to 2 dB under its limit, a place in the channel, a clock, a noise level and a
length of recording; a third has phase noise. Printed: how many 95 % intervals hold the truth (asked: 93 to 99 %), and
their mean half width over twice the root mean square error (at most 1.5). Bounds are counted by themselves.
Run: .venv/bin/python benchmarks/coverage_slices.py [CASES]
"""

import sys
from fractions import Fraction
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests" / "evidence"))

from slice_cases import centre_from_tuned_hz, compared

from tepui.practice.receiver import PhaseNoise
from tepui.signals.dvbt.mode import Mode

PHASE_NOISE = PhaseNoise(plateau_dbc_hz=-90.0, corner_hz=2e3)


def main() -> None:
    """Print the table, and a line for each interval that fails."""
    errors: dict[str, list[tuple[float, float]]] = {"noise [dB]": [], "clock [ppm]": [], "carriers [Hz]": []}
    bounds: list[bool] = []
    placed = []
    for number in range(int(sys.argv[1]) if len(sys.argv) > 1 else 200):
        rng = np.random.default_rng([9, number])
        mode = Mode(
            width_hz=float(rng.choice([6e6, 7e6, 8e6])),
            n_fft=int(rng.choice([2048, 8192])),
            guard=Fraction(1, int(rng.choice([4, 8, 16, 32]))),
            constellation="QPSK",
            code_rate=Fraction(2, 3),
        )
        reach_hz = mode.occupied_width_hz / 2 - 0.3e6
        drawn = {
            "snr_db": rng.uniform(12, 52),
            "ppm": 15 * rng.normal(),
            "drive_db": float(rng.choice([-30, -8, -4, -2])),
            "offset_hz": rng.uniform(-1, 1) * reach_hz,
            "seconds": float(rng.choice([0.03, 0.06, 0.1])),
            "rate_hz": float(rng.choice([2.4e6, 2.4e6, 1.8e6])),
        }
        # Faster phase noise than a guard is noise, and no number put in says how much: only with much other noise.
        phase_noise = PHASE_NOISE if rng.random() < 0.3 and drawn["snr_db"] < 40 else None
        told = compared(mode, phase_noise=phase_noise, seed=number, **drawn)
        if told is None:
            print(f"{number:3} {mode.text():34} nothing told", flush=True)
            continue
        true_hz = centre_from_tuned_hz(offset_hz=drawn["offset_hz"], ppm=drawn["ppm"])
        away_hz = told.carrier_hz.value - true_hz
        away_hz -= told.spacing_hz * round(away_hz / told.spacing_hz)
        placed.append(told.centre_hz is not None and abs(told.centre_hz - true_hz) < told.spacing_hz / 2)
        rows = {
            "clock [ppm]": (told.clock_ppm.value + drawn["ppm"], 2 * told.clock_ppm.std),
            "carriers [Hz]": (away_hz, 2 * told.carrier_hz.std),
        }
        noise = told.snr_db.value - drawn["snr_db"]
        if told.is_clean:
            rows["noise [dB]"] = (noise, 2 * told.snr_db.std)
        else:
            bounds.append(noise <= 2 * told.snr_db.std)
        for name, (error, half) in rows.items():
            errors[name].append((error, half))
            if abs(error) > half:
                print(f"{number:3} {mode.text():34} {name:14} {error:+8.3f} +- {half:.3f}", flush=True)
    print(f"\n{'':16}{'n':>5}{'held':>8}{'bias':>9}{'rms':>8}{'half width over 2 rms':>24}")
    for name, pairs in errors.items():
        error, half = np.array(pairs).T
        rms = float(np.sqrt(np.mean(error**2)))
        held = 100 * np.mean(np.abs(error) <= half)
        print(f"{name:16}{error.size:5}{held:7.1f}%{error.mean():9.3f}{rms:8.3f}{half.mean() / (2 * rms):24.2f}")
    print(f"bounds that hold: {sum(bounds)} of {len(bounds)}; slices put in the right place by their pilots: "
          f"{sum(placed)} of {len(placed)}")  # fmt: skip


if __name__ == "__main__":
    main()
