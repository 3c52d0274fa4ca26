"""Every pixel of some rows of a map, each receiver with its own profile.

Theory  A straight line on the grid is cut out of the ground for each pixel. Where clutter or sea is told, the path is
        worked out with every term of path_kernels.py on the ground and what stands on it; its runs of land and of
        inland, counted on the way, say how often ducts form. Bare land takes the lean path.
Source  [P.526] 4.5, [P.1812-8] 3.1, 3.2 and 4.1, [P.452-18] as in path_kernels.py.
Holds   A point stands for half the way to each neighbour; clutter and zones are those of the nearest pixel. Both ends
        stand on bare ground.
"""

import math

import numpy as np
import numpy.typing as npt

from tepui.chain.propagation.lean_kernels import lean_path
from tepui.chain.propagation.path_kernels import (  # fmt: skip
    MODEL_452,
    MODEL_526,
    N_TERMS,
    P_BETA_0,
    P_COAST_R,
    P_COAST_T,
    P_HRS,
    P_HTS,
    P_MODEL,
    P_SEA,
    P_TAU,
    TOTAL,
    path_terms,
)
from tepui.ground.kernels import kernel, part

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]
Codes = npt.NDArray[np.uint8]
SEA, COAST, INLAND = 0, 1, 2
BARE_ENDS_KM = 0.05  # as models.py has it for P.452


@part
def cut_profile(grid: Singles, r0: float, c0: float, r1: float, c1: float, n: int, h: Floats) -> None:
    """Heights at n points on a straight line, bilinear; all within the grid."""
    rows, columns = grid.shape
    dr, dc = (r1 - r0) / (n - 1), (c1 - c0) / (n - 1)
    for i in range(n):
        r, c = r0 + i * dr, c0 + i * dc
        top, left = min(int(r), rows - 2), min(int(c), columns - 2)
        down, right = r - top, c - left
        above = grid[top, left] + right * (grid[top, left + 1] - grid[top, left])
        below = grid[top + 1, left] + right * (grid[top + 1, left + 1] - grid[top + 1, left])
        h[i] = above + down * (below - above)


@part
def duct_terms(land: float, inland: float, latitude: float, given: Floats) -> None:
    """beta_0 and tau of a path with these longest runs of land and of inland, into ``given``."""
    tau = 1.0 - math.exp(-4.12e-4 * inland**2.41)
    mu1 = min((10.0 ** (-land / (16.0 - 6.6 * tau)) + 10.0 ** (-5.0 * (0.496 + 0.354 * tau))) ** 0.2, 1.0)
    if latitude > 70.0:
        given[P_BETA_0] = 4.17 * mu1 * mu1**0.3
    else:
        given[P_BETA_0] = 10.0 ** (-0.015 * latitude + 1.67) * mu1 * mu1 ** (-0.935 + 0.0176 * latitude)
    given[P_TAU] = tau


@kernel(
    "void(Array(float32, 2, 'C', readonly=True), float64, float64, float64, float64, float64, float64, float64,"
    "float64[::1], float64[::1], float64[::1], int64, float32[:, ::1])"
)
def map_rows(
    grid: Singles, r0: float, c0: float, pixel_km: float, reach_km: float, tx_m: float, rx_m: float, latitude: float,
    base: Floats, inv: Floats, root: Floats, first: int, loss: Singles,
) -> None:  # fmt: skip
    """Loss at every pixel of some rows, each from its own profile; NaN beyond ``reach_km`` and at the transmitter.

    r0, c0  the transmitter's place in pixels;  tx_m, rx_m  antennas above ground;  first  the grid's row of loss[0]
    base    (N_INPUTS,) as one_path takes, heights left out;  inv, root  1/i and 1/sqrt(i)
    """
    given, out, h = base.copy(), np.zeros(N_TERMS), np.zeros(inv.shape[0])
    rows, columns = loss.shape
    tx_ground = np.zeros(2)
    cut_profile(grid, r0, c0, r0, c0, 2, tx_ground)
    for row in range(rows):
        for column in range(columns):
            r1, c1 = float(first + row), float(column)
            pixels = math.sqrt((r1 - r0) ** 2 + (c1 - c0) ** 2)
            d = pixels * pixel_km
            if d > reach_km or pixels < 1.0:
                loss[row, column] = np.nan
                continue
            n = max(math.ceil(pixels) + 1, 3)
            cut_profile(grid, r0, c0, r1, c1, n, h)
            given[P_HTS], given[P_HRS] = h[0] + tx_m, h[n - 1] + rx_m
            if given[P_MODEL] != MODEL_526:
                duct_terms(d, d, latitude, given)
            lean_path(h, n, d, inv, root, given, out)
            loss[row, column] = out[TOTAL]


@part
def nearest(r0: float, c0: float, r1: float, c1: float, i: int, last: int) -> tuple[int, int]:
    """The pixel nearest to point i of a straight line."""
    share = i / last
    return math.floor(r0 + (r1 - r0) * share + 0.5), math.floor(c0 + (c1 - c0) * share + 0.5)


@part
def zone_terms(
    zone: Codes, r0: float, c0: float, r1: float, c1: float, n: int, d: float, latitude: float, given: Floats
) -> None:
    """Share of sea, runs of land and of inland, and coasts of a path, into ``given``."""
    last = n - 1
    step = d / last
    sea, land, inland, run_land, run_inland = 0.0, 0.0, 0.0, 0.0, 0.0
    first, latest = -1.0, -1.0
    for i in range(n):
        row, column = nearest(r0, c0, r1, c1, i, last)
        here = zone[row, column]
        own = 0.5 * step if i in (0, last) else step
        if here == SEA:
            sea += own
            run_land, run_inland = 0.0, 0.0
            if first < 0.0:
                first = max(i * step - 0.5 * step, 0.0)
            latest = min(i * step + 0.5 * step, d)
            continue
        run_land += own
        run_inland = run_inland + own if here == INLAND else 0.0
        land, inland = max(land, run_land), max(inland, run_inland)
    given[P_SEA] = sea / d
    given[P_COAST_T] = first if first >= 0.0 else 500.0
    given[P_COAST_R] = d - latest if latest >= 0.0 else 500.0
    duct_terms(land, inland, latitude, given)


@kernel(
    "void(Array(float32, 2, 'C', readonly=True), Array(float32, 2, 'C', readonly=True), "
    "Array(uint8, 2, 'C', readonly=True), float64, float64, float64, float64, float64, float64, float64, "
    "float64[::1], int64, int64, float32[:, ::1])"
)
def map_covered_rows(
    grid: Singles, clutter: Singles, zone: Codes, r0: float, c0: float, pixel_km: float, reach_km: float, tx_m: float,
    rx_m: float, latitude: float, base: Floats, most: int, first: int, loss: Singles,
) -> None:  # fmt: skip
    """As ``map_rows``, with what stands on the ground and with sea.

    clutter  heights above ground, the grid's shape, or (1, 1) for none;  zone  SEA, COAST or INLAND likewise
    most     points of the longest path
    """
    given, out = base.copy(), np.zeros(N_TERMS)
    h, g, x = np.zeros(most), np.zeros(most), np.zeros(most)
    rows, columns = loss.shape
    covered, zoned = clutter.shape[0] > 1, zone.shape[0] > 1
    for row in range(rows):
        for column in range(columns):
            r1, c1 = float(first + row), float(column)
            pixels = math.sqrt((r1 - r0) ** 2 + (c1 - c0) ** 2)
            d = pixels * pixel_km
            if d > reach_km or pixels < 1.0:
                loss[row, column] = np.nan
                continue
            n = max(math.ceil(pixels) + 1, 3)
            last = n - 1
            cut_profile(grid, r0, c0, r1, c1, n, h)
            bare = BARE_ENDS_KM - 1e-9 if given[P_MODEL] == MODEL_452 else 0.0
            for i in range(n):
                x[i] = d * i / last
                g[i] = h[i]
                if covered and 0 < i < last and x[i] >= bare and x[i] <= d - bare:
                    r, c = nearest(r0, c0, r1, c1, i, last)
                    g[i] += clutter[r, c]
            given[P_HTS], given[P_HRS] = h[0] + tx_m, h[last] + rx_m
            if zoned:
                zone_terms(zone, r0, c0, r1, c1, n, d, latitude, given)
            elif given[P_MODEL] != MODEL_526:
                duct_terms(d, d, latitude, given)
            path_terms(x, h, g, n, given, out)
            loss[row, column] = out[TOTAL]
