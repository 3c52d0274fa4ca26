"""Do the stated 95 % intervals of the drive crossing hold? Simulated series with known answers, many of them.

    python benchmarks/drive_intervals.py [--cases 500] [--first 0]

Prints the share of true intervals (93 to 99 % wanted), the mean half width over twice the rms error (at most 1.5), and
how often the setting recommended at 90 % truly meets the target (90 % or more wanted).
"""

import argparse
import sys
from fractions import Fraction
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))

from drive_cases import case, interval
from tepui.prediction.waveform_density import view_of_mode
from tepui.signals.dvbt.mode import Mode


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=500)
    parser.add_argument("--first", type=int, default=0)
    arguments = parser.parse_args()
    mode = Mode(width_hz=7e6, n_fft=2048, guard=Fraction(1, 8), constellation="64QAM", code_rate=Fraction(2, 3))
    view, found, seed = view_of_mode(mode), [], arguments.first
    while len(found) < arguments.cases:
        one = interval(case(seed), view)
        seed += 1
        if one is not None:
            found.append(one)
    error = np.array([one.value - one.true for one in found])
    half = np.array([one.high - one.low for one in found]) / 2
    inside = np.mean([one.low <= one.true <= one.high for one in found])
    sure = [one.recommended <= one.true for one in found if one.recommended is not None]
    rms = float(np.sqrt(np.mean(error**2)))
    print(f"{len(found)} cases: {100 * inside:.1f} % of the 95 % intervals hold the crossing")
    print(f"rms error {rms:.3f} dB, bias {error.mean():+.3f} dB, worst {np.abs(error).max():.2f} dB")
    print(f"mean half width {half.mean():.3f} dB, {half.mean() / (2 * rms):.2f} times twice the rms error")
    print(f"recommended at 90 %: {100 * np.mean(sure):.1f} % of {len(sure)} truly meet the target")


if __name__ == "__main__":
    main()
