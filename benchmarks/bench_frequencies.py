"""The whole grid of frequency plans: this program's search against a plain loop over the same products in one run.

    python benchmarks/bench_frequencies.py [--every 40]

IF 45 to 870 MHz on a 0.25 MHz raster, both sides, all products to order 9. The loop, plain Python with the exact
distribution function, is given one plan in ``--every`` and its time is multiplied: it would take minutes. What both
find is compared first.
"""

import argparse
import math
import time

import numpy as np

from tepui.chain.conversion.mixer import MixerDrive, ProductLevels, product_levels
from tepui.chain.filters.coupled import BandpassDesign
from tepui.prediction.plan import find_plans
from tepui.prediction.plan_question import PlanQuestion

DRIVE = MixerDrive(
    signal_dbm=-10, lo_dbm=7, loss_db=6.75, loss_doubt_db=2.25, lo_isolation_db=35, lo_isolation_doubt_db=10,
    if_isolation_db=25, if_isolation_doubt_db=10, harmonic_db=-40,
)  # fmt: skip
WANTED_HZ, WIDTH_HZ, ORDER = 1286e6, 7e6, 9
SIGNAL_HZ = 6816 / 1024e-6


def question(if_hz) -> PlanQuestion:
    return PlanQuestion(
        wanted_hz=WANTED_HZ, width_hz=WIDTH_HZ, signal_width_hz=SIGNAL_HZ, if_hz=tuple(if_hz), side="both",
        near_hz=1.5 * WIDTH_HZ, drive=DRIVE, order=ORDER,
        design=BandpassDesign(centre_hz=WANTED_HZ, width_hz=35e6, n_poles=3, ripple_db=0.1, unloaded_q=1200),
    )  # fmt: skip


def share_below(x: float, n: int) -> float:
    """Irwin and Hall's distribution, one number at a time."""
    y = n / 2 - abs(x)
    if y <= 0:
        return 0.0 if x < 0 else 1.0
    tail = sum((-1) ** k * math.comb(n, k) * (y - k) ** n for k in range(math.floor(y) + 1)) / math.factorial(n)
    return tail if x <= 0 else 1 - tail


def plain_loop(signed_hz, levels: ProductLevels) -> list[float]:
    """Upper end of the worst product's share in the channel, plan by plan and product by product."""
    low, high = WANTED_HZ - SIGNAL_HZ / 2, WANTED_HZ + SIGNAL_HZ / 2
    found = []
    for lo, signal in signed_hz:
        worst = -math.inf
        for m in range(-ORDER, ORDER + 1):
            for n in range(ORDER + 1 - abs(m)):
                if (m, n) == (1, 1) or (n == 0 and m <= 0):
                    continue
                centre = abs(m * lo + n * signal)
                if centre + n * SIGNAL_HZ / 2 <= low or centre - n * SIGNAL_HZ / 2 >= high:
                    continue
                share = 1.0
                if n:
                    share = share_below((high - centre) / SIGNAL_HZ, n) - share_below((low - centre) / SIGNAL_HZ, n)
                level = levels.level_db[abs(m), n] + levels.doubt_db[abs(m), n]
                worst = max(worst, level + 10 * math.log10(max(share, 1e-30)))
        found.append(worst)
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--every", type=int, default=40)
    arguments = parser.parse_args()
    grid = np.arange(45e6, 870.01e6, 0.25e6)
    asked = question(grid)
    find_plans(question(grid[:50]))  # the mixer's ring is solved once and kept
    times = []
    for _ in range(3):
        begin = time.perf_counter()
        plans = find_plans(asked)
        times.append(time.perf_counter() - begin)
    ours = min(times)
    chosen = np.arange(0, len(plans), arguments.every)
    levels = product_levels(DRIVE)
    begin = time.perf_counter()
    theirs = plain_loop(plans.signed_hz[chosen].tolist(), levels)
    loop = (time.perf_counter() - begin) * len(plans) / len(chosen)
    upper = plans.in_channel.level_db[chosen] + plans.in_channel.doubt_db[chosen]
    seen = np.array(theirs) > -120
    difference = float(np.abs(upper[seen] - np.array(theirs)[seen]).max())
    print(f"{len(plans)} plans, {len(plans) * len(plans.rows)} products, both regions and the ranking: {ours:.2f} s")
    print(f"plain loop, the channel alone, from {len(chosen)} plans: {loop:.1f} s; ratio {loop / ours:.0f}")
    print(f"largest difference of the worst product's level above -120 dB: {difference:.2f} dB")


if __name__ == "__main__":
    main()
