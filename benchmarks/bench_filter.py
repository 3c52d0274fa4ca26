"""Filters: a design, an extraction, and yields at two levels, against a scikit-rf loop in the same run.

    python benchmarks/bench_filter.py

The loop is the plain one: resonators and inverters of every trial as scikit-rf networks, cascaded.
"""

import sys
import time
from pathlib import Path

import numpy as np
import skrf

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests" / "evidence"))

from test_filter_extraction import detuned, swept

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.rod_design import design_rods
from tepui.chain.filters.yield_kernels import worst_in_band
from tepui.evidence.filter_extraction import extract
from tepui.jobs.filter_yield import drawn_parameters, extracted_parameters, moved_boxes, share_meeting, yield_slopes

TRIALS, PLACES = 40_000, 201


def timed(work, times=3):
    found = []
    for _ in range(times):
        begin = time.perf_counter()
        result = work()
        found.append(time.perf_counter() - begin)
    return min(found), result


def library_loop(trials):
    frequency = skrf.Frequency(1281, 1311, PLACES, "MHz")
    f, slope = frequency.f, 0.01
    rng = np.random.default_rng(1)

    def network(a):
        return skrf.Network(frequency=frequency, s=skrf.network.a2s(a, 50), z0=50)

    def inverter(j):
        a = np.zeros((len(f), 2, 2), dtype=complex)
        a[:, 0, 1], a[:, 1, 0] = 1j / j, 1j * j
        return network(a)

    def resonator(own):
        a = np.tile(np.eye(2, dtype=complex), (len(f), 1, 1))
        a[:, 1, 0] = slope * (1j * (f / own - own / f) + 1 / 1200)
        return network(a)

    for _ in range(trials):
        own = 1296e6 + rng.uniform(-3e6, 3e6, 3)
        parts = [inverter(0.0021), resonator(own[0]), inverter(2.1e-4), resonator(own[1]), inverter(2.1e-4)]
        skrf.network.cascade_list([*parts, resonator(own[2]), inverter(0.0021)])


def main():
    goal = FilterGoal(centre_hz=1296e6, width_hz=30e6, poles=3, ripple_db=0.1)
    for poles in (3, 5):
        asked = FilterGoal(centre_hz=1296e6, width_hz=30e6, poles=poles, ripple_db=0.1)
        spent, design = timed(
            lambda asked=asked: design_rods(
                asked, structure="interdigital", diameter_m=8e-3, plates_m=25e-3, unloaded_q=1200
            ),
            times=2,
        )
        print(f"design with fit, {poles} rods: {spent:.2f} s")
    rng = np.random.default_rng(3)
    for poles in (3, 5):
        case = swept(rng, *detuned(rng, poles))
        spent, _ = timed(lambda case=case, poles=poles: extract(case, poles))
        print(f"extraction, {poles} resonators, 201 points: {1e3 * spent:.0f} ms")
    shift = rng.uniform(-0.1, 0.1, (TRIALS, 3)).astype(np.float32)
    coupling = rng.uniform(0.8, 1.0, (TRIALS, 2)).astype(np.float32)
    load = np.full((TRIALS, 2), 0.97, np.float32)
    place = np.linspace(-1, 1, PLACES, dtype=np.float32)
    out = np.zeros((TRIALS, 2), np.float32)
    spent, _ = timed(lambda: worst_in_band(shift, coupling, load, np.float32(0.036), place, out))
    loop, _ = timed(lambda: library_loop(30), times=2)
    ours, theirs = TRIALS / spent, 30 / loop
    print(f"coupling matrix, 3 resonators, {PLACES} points: {ours:,.0f} trials/s a core; scikit-rf loop {theirs:,.0f};")
    print(f"  ratio {ours / theirs:,.0f}")
    design = design_rods(goal, structure="interdigital", diameter_m=8e-3, plates_m=25e-3, unloaded_q=1200)
    slopes_s, slopes = timed(lambda: yield_slopes(design, drilling_m=0.1e-3), times=1)
    shares_s, shares = timed(
        lambda: [share_meeting(design, drawn_parameters(slopes, 10_000), tuned=tuned) for tuned in (False, True)]
    )
    print(f"10,000 trials on the dimensions: slopes {slopes_s:.2f} s + trials {shares_s:.3f} s, shares {shares}")
    worst = 0.0
    for number in range(100):
        one = drawn = np.random.default_rng(number).standard_normal(len(slopes.names)) * slopes.tolerance_m / 2
        full = full_parameters(design, slopes, one)
        worst = max(worst, np.abs(slopes.centre + drawn @ slopes.slope - full).max())
    print(f"linear step against 100 full analyses of the dimensions: at most {worst:.4f} (shifts over w, logs)")


def full_parameters(design, slopes, moved_m):
    """Extracted anew from a box with every dimension moved at once."""
    box = design.box
    by_name = dict(zip(slopes.names, moved_m, strict=True))
    centres = box.centres_m + [by_name[f"position {n + 1}"] for n in range(box.poles)]
    unit = {name: (one.load_f - box.load_f).sum() / 0.05e-3 for name, _, one in moved_boxes(box, drilling_m=1e-4)}
    loads = box.load_f + [unit[f"length {n + 1}"] * by_name[f"length {n + 1}"] for n in range(box.poles)]
    taps = (box.taps_m[0] + by_name["tap 1"], box.taps_m[1] + by_name["tap 2"])
    changed = box.changed(
        spacings_m=np.diff(centres),
        wall_m=float(centres[0]),
        diameter_m=box.diameter_m + by_name["diameter"],
        plates_m=box.plates_m + by_name["plates"],
        taps_m=taps,
        load_f=loads,
    )
    return extracted_parameters(design, changed)


if __name__ == "__main__":
    main()
