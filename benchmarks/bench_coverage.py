"""How fast maps are: 100 x 100 km at 90 m, 1.2 million receivers, against a published path model in pure Python.

The ground is the public-domain SRTM cut that matplotlib ships, mirrored to fill the square. Ratios are of one run.
Usage: python benchmarks/bench_coverage.py
"""

import resource
import sys
import time
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parent.parent / "tests"))
from tepui.chain.antenna.places import Place
from tepui.ground.tasks import default_workers, map_tasks
from tepui.prediction.coverage import (
    MapConditions,
    MapSite,
    assembled,
    map_tasks_for,
    run_map_task,
)
from tepui.prediction.map_grid import MapGrid, bare_grid
from terrain_files import srtm_cut

HALF_M, PIXEL_M = 50e3, 90.0
CENTRE = Place(latitude_deg=36.6, longitude_deg=-84.2, text="middle of the cut")


def ground():
    """The square with the cut mirrored over it."""
    grid = bare_grid(CENTRE, reach_m=HALF_M, pixel_m=PIXEL_M)
    cut = srtm_cut().astype(np.float32)
    tile = np.block([[cut, cut[:, ::-1]], [cut[::-1], cut[::-1, ::-1]]])
    side = grid.height_m.shape[0]
    times = (-(-side // tile.shape[0]), -(-side // tile.shape[1]))
    heights = np.ascontiguousarray(np.tile(tile, times)[:side, :side])
    return MapGrid(
        zone=grid.zone, west_m=grid.west_m, north_m=grid.north_m, pixel_m=PIXEL_M, height_m=heights, scale=grid.scale
    )


def made(grid, *, model, radial, time_share=0.5):
    """Map and seconds of processor time, both threads together."""
    conditions = MapConditions(
        model=model, frequency_hz=1.27e9, rx_height_m=10.0, radial=radial, reach_m=80e3, time_share=time_share
    )
    site = MapSite(name="middle", place=CENTRE, height_m=30.0, eirp_dbm=50.0)
    begun = time.process_time()
    tasks = map_tasks_for(grid, site, conditions)
    loss = assembled(tasks, map_tasks(run_map_task, tasks))
    return loss, time.process_time() - begun


def reference_s(paths=40):
    """Seconds a path of the Longley-Rice library in pure Python, over profiles of the map's mean length."""
    from itmlogic.preparatory_subroutines.qlrpfl import qlrpfl
    from itmlogic.statistics.avar import avar
    from itmlogic_path import prepared

    profile = srtm_cut()[170, :403].astype(float).tolist()
    begun = time.process_time()
    for _ in range(paths):
        avar(0.0, 0.0, 0.0, qlrpfl(prepared(profile, PIXEL_M)))
    return (time.process_time() - begun) / paths


def main():
    grid = ground()
    receivers = grid.height_m.size
    print(f"{receivers} receivers, {default_workers()} cores")
    small = made(grid, model="p526", radial=True)[0]
    results = {}
    for name, words in (
        ("delta-Bullington, radials", {"model": "p526", "radial": True}),
        ("delta-Bullington, each pixel", {"model": "p526", "radial": False}),
        ("P.1812 median, each pixel", {"model": "p1812", "radial": False}),
        ("P.1812 at 5 % of time, each pixel", {"model": "p1812", "radial": False, "time_share": 0.05}),
    ):
        results[name], seconds = made(grid, **words)
        print(
            f"{name}: {seconds:.2f} s of processor time, "
            f"{seconds / default_workers():.2f} s on {default_workers()} free cores"
        )
        if "reference" not in results:
            results["reference"] = reference_s()
            print(f"reference in pure Python: {results['reference'] * 1e3:.2f} ms a path")
        ratio = default_workers() * results["reference"] / (seconds / receivers)
        print(f"  per path {ratio:.0f} times the reference on one core")
    away = np.abs(results["delta-Bullington, radials"] - results["delta-Bullington, each pixel"])
    away = away[np.isfinite(away)]
    print(f"radials against each pixel: median {np.median(away):.3f} dB, 90 % {np.percentile(away, 90):.2f} dB")
    print(f"most memory {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2:.2f} GB; {small.shape}")


if __name__ == "__main__":
    main()
