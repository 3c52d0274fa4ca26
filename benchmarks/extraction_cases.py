"""A thousand detuned filters extracted: how far off the resonators are, and how often the stated intervals hold.

    python benchmarks/extraction_cases.py [CASES]

Filters of 2 to 5 resonators (2 to 4 without S22), Butterworth, 0.1 or 0.5 dB: every one off by up to half a width,
couplings and loads by up to 15 %, unloaded Q 600 to 2500, lines of up to 2 ns at the ports, noise of -50 dB on every S,
201 points over four widths. Prints the shares asked: within 0.5 % (all S) or 2 % (S11 and S21) of the width, and the
share of 95 % intervals that hold the truth.
"""

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests" / "evidence"))

from test_filter_extraction import detuned, swept

from tepui.evidence.filter_extraction import extract


def run(rows, most_poles, share, cases):
    rng = np.random.default_rng(20)
    good, held, errors = 0, [], []
    for _ in range(cases):
        goal, made = detuned(rng, int(rng.integers(2, most_poles + 1)), ripple_db=float(rng.choice([0.0, 0.1, 0.5])))
        found = extract(swept(rng, goal, made, rows=rows), goal.poles)
        error = np.array([one.value for one in found.resonator_hz]) - made.resonator_hz
        errors.append(np.abs(error).max() / goal.width_hz)
        good += errors[-1] < share
        pairs = [*zip(made.resonator_hz, found.resonator_hz, strict=True)]
        pairs += [*zip(made.couplings, found.couplings, strict=True)]
        pairs += [(made.q_first, found.q_first), (made.q_last, found.q_last)]
        held += [one.low <= truth <= one.high for truth, one in pairs]
    worst = np.percentile(errors, [50, 99, 100]) * 100
    print(
        f"{' '.join(rows):12s} {cases} cases of 2 to {most_poles}: {100 * good / cases:.1f} % within {100 * share:g} % "
        f"of the width; error median {worst[0]:.3f} %, 99 % {worst[1]:.3f} %, worst {worst[2]:.3f} %; "
        f"95 % intervals true in {100 * np.mean(held):.1f} %",
        flush=True,
    )


if __name__ == "__main__":
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    run(("s11", "s21", "s22"), 5, 0.005, count)
    run(("s11", "s21"), 4, 0.02, count)
