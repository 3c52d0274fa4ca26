"""The whole grid of frequency plans: this program's search against a plain loop over the same products in one run.

    python benchmarks/bench_frequencies.py

IF 45 to 870 MHz on a 0.25 MHz raster, both sides, all products to order 9: 6602 plans, and the loop, plain Python with
the exact distribution function, is given every one of them. The search is timed as the best and the median of seven,
the loop once, in this order in one process; ``--start`` adds a whole ``tepui frequencies``, started afresh. What both
find is compared.
"""

import argparse
import math
import subprocess
import sys
import time

import numpy as np

from tepui.chain.conversion.mixer import MixerDrive, ProductLevels, product_levels
from tepui.chain.filters.coupled import BandpassDesign
from tepui.prediction.plan import FilterTable, find_plans
from tepui.prediction.plan_question import PlanQuestion
from tepui.prediction.plan_search import BINS

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


def plain_loop(signed_hz, levels: ProductLevels, bins) -> list[tuple[float, float]]:
    """Upper end of the worst product in the channel and beside it, plan by plan, product by product, bin by bin.

    bins  (low, high, share the filter passes) of the near region, side by side
    """
    low, high = WANTED_HZ - SIGNAL_HZ / 2, WANTED_HZ + SIGNAL_HZ / 2
    found = []
    for lo, signal in signed_hz:
        inside = beside = -math.inf
        for m in range(-ORDER, ORDER + 1):
            for n in range(ORDER + 1 - abs(m)):
                if (m, n) == (1, 1) or (n == 0 and m <= 0):
                    continue
                centre, half = abs(m * lo + n * signal), n * SIGNAL_HZ / 2
                level = levels.level_db[abs(m), n] + levels.doubt_db[abs(m), n]
                if centre + half > low and centre - half < high:
                    inside = max(inside, level + 10 * math.log10(max(share(low, high, centre, n), 1e-30)))
                for side in bins:
                    passed = 0.0
                    for begin, end, through in side:
                        if centre + half > begin and centre - half < end:
                            passed += through * share(begin, end, centre, n)
                    if passed:
                        beside = max(beside, level + 10 * math.log10(max(passed, 1e-30)))
        found.append((inside, beside))
    return found


def share(low_hz: float, high_hz: float, centre_hz: float, n: int) -> float:
    """Share of a product between two frequencies."""
    if n == 0:
        return float(low_hz <= centre_hz < high_hz)
    return share_below((high_hz - centre_hz) / SIGNAL_HZ, n) - share_below((low_hz - centre_hz) / SIGNAL_HZ, n)


def near_bins(asked: PlanQuestion):
    """The near region in the search's own bins, with what the filter passes of each."""
    half = SIGNAL_HZ / 2
    bins = []
    for begin, end in ((-asked.near_hz, -half), (half, asked.near_hz)):
        edges = WANTED_HZ + np.linspace(begin, end, BINS + 1)
        passed = 10 ** (-FilterTable(asked).near((edges[1:] + edges[:-1]) / 2) / 10)
        bins.append(list(zip(edges[:-1].tolist(), edges[1:].tolist(), passed.tolist(), strict=True)))
    return bins


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--every", type=int, default=1, help="one plan in so many for the loop, for a quick look")
    parser.add_argument("--start", action="store_true", help="time the command line too")
    arguments = parser.parse_args()
    grid = np.arange(45e6, 870.01e6, 0.25e6)
    asked = question(grid)
    begin = time.perf_counter()
    find_plans(asked)
    print(f"first search of a process, the mixer's ring solved too: {time.perf_counter() - begin:.2f} s")
    times = []
    for _ in range(7):
        begin = time.perf_counter()
        plans = find_plans(asked)
        times.append(time.perf_counter() - begin)
    ours = min(times)
    chosen = np.arange(0, len(plans), arguments.every)
    levels = product_levels(DRIVE)
    bins = near_bins(asked)
    begin = time.perf_counter()
    theirs = np.array(plain_loop(plans.signed_hz[chosen].tolist(), levels, bins))
    loop = (time.perf_counter() - begin) * len(plans) / len(chosen)
    middle = sorted(times)[len(times) // 2]
    print(
        f"{len(plans)} plans, {len(plans) * len(plans.rows)} products, ranked: best {ours:.3f} s, median {middle:.3f} s"
    )
    scaled = "" if len(chosen) == len(plans) else f", scaled from {len(chosen)}"
    print(f"plain loop over {len(plans)} plans{scaled}, without the ranking: {loop:.2f} s; {loop / middle:.0f} times")
    for place, worst, other in (("in", plans.in_channel, theirs[:, 0]), ("beside", plans.beside, theirs[:, 1])):
        upper = worst.level_db[chosen] + worst.doubt_db[chosen]
        seen = other > -120
        difference = float(np.abs(upper[seen] - other[seen]).max())
        print(f"largest difference of the worst product {place} the channel, above -120 dB: {difference:.3f} dB")
    if arguments.start:
        command = [
            sys.executable,
            "-c",
            "import sys; from tepui.cli.main import main; sys.exit(main())",
            "frequencies",
            "--wanted",
            "1286 MHz",
            "--width",
            "7 MHz",
            "--json",
        ]
        begin = time.perf_counter()
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL)
        print(f"tepui frequencies over the same grid, start-up, JSON and all: {time.perf_counter() - begin:.2f} s")


if __name__ == "__main__":
    main()
