"""Radials whose profiles grow point by point: the loss at every step from one pass over each.

Theory  With z = h - c x^2 (c the Earth's curvature) the transmitter's steepest slope is a running maximum and the
        receiver's a tangent to the upper hull of z behind it; raw heights need a second hull, smooth heights running
        sums.
Source  [P.526] 4.5 as in path_kernels.py; hulls: own design.
Holds   Bare or surface heights without clutter, P.526 only. Line of sight is judged at hull points only.
"""

import math

import numpy as np
import numpy.typing as npt

from tepui.chain.propagation.coverage_kernels import cut_profile
from tepui.chain.propagation.lean_kernels import bend_db, beyond_smooth, edge_db, smooth_ends
from tepui.chain.propagation.path_kernels import (  # fmt: skip
    N_TERMS,
    P_AE_50,
    P_F_GHZ,
    P_HRS,
    P_HTS,
    P_WAVELENGTH,
    knife_edge_db,
)
from tepui.ground.kernels import kernel, part

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]


@part
def tangent(at: npt.NDArray[np.int64], y: Floats, top: int, i: int, height: float) -> float:
    """Steepest slope from a point at i back to an upper hull, in steps."""
    low, high = 0, top - 1
    while low < high:
        middle = (low + high) // 2
        here = (y[at[middle]] - height) / (i - at[middle])
        after = (y[at[middle + 1]] - height) / (i - at[middle + 1])
        if after >= here:
            low = middle + 1
        else:
            high = middle
    return float((y[at[low]] - height) / (i - at[low]))


@part
def hull_push(at: npt.NDArray[np.int64], y: Floats, top: int, i: int) -> int:
    """Add point i to an upper hull; returns its new size."""
    while top >= 2:
        a, b = at[top - 2], at[top - 1]
        if (y[b] - y[a]) * (i - a) <= (y[i] - y[a]) * (b - a):
            top -= 1
        else:
            break
    at[top] = i
    return top + 1


@part
def highest_above(at: npt.NDArray[np.int64], y: Floats, top: int, base: float, lean: float) -> float:
    """Greatest height of a hull above a line from ``base`` rising by ``lean`` a step."""
    low, high = 0, top - 1
    while low < high:
        middle = (low + high) // 2
        a, b = at[middle], at[middle + 1]
        if y[b] - y[a] > lean * (b - a):
            low = middle + 1
        else:
            high = middle
    return float(y[at[low]] - base - lean * at[low])


@kernel(
    "void(Array(float32, 2, 'C', readonly=True), float64, float64, float64, float64, float64, float64[::1], "
    "float64[::1], float64[:, ::1], int64[::1], float32[:, ::1])"
)
def map_radials(
    grid: Singles, r0: float, c0: float, pixel_km: float, tx_m: float, rx_m: float, base: Floats, root: Floats,
    ends: Floats, begins: npt.NDArray[np.int64], loss: Singles,
) -> None:  # fmt: skip
    """Delta-Bullington loss at every step of some radials, free space included.

    ends    (n, 2) row and column where each radial ends;  begins  (n,) the step from which its loss is wanted
    loss    (n, steps) from one step out, NaN where not wanted and beyond the end
    """
    most = loss.shape[1] + 1
    h, z = np.zeros(most), np.zeros(most)
    hull, raw = np.zeros(most, np.int64), np.zeros(most, np.int64)
    given, out = base.copy(), np.zeros(N_TERMS)
    lam, ae = given[P_WAVELENGTH], given[P_AE_50]
    ce = 500.0 / ae
    for ray in range(loss.shape[0]):
        r1, c1 = ends[ray, 0], ends[ray, 1]
        length = math.sqrt((r1 - r0) ** 2 + (c1 - c0) ** 2)
        n = min(int(length) + 1, most)
        loss[ray] = np.nan
        if n < 2:
            continue
        share = (n - 1) / length
        cut_profile(grid, r0, c0, r0 + (r1 - r0) * share, c0 + (c1 - c0) * share, n, h)
        s = pixel_km
        curve = ce * s * s
        hts = h[0] + tx_m
        given[P_HTS] = hts
        steep, steep_raw, total, moment, top, top_raw = -1e30, -1e30, 0.0, 0.0, 0, 0
        for i in range(n):
            z[i] = h[i] - curve * i * i
        for j in range(1, n):
            d = j * s
            hrs = h[j] + rx_m
            given[P_HRS] = hrs
            if j > 1:
                i = j - 1
                steep, steep_raw = max(steep, (z[i] - hts) / i), max(steep_raw, (h[i] - hts) / i)
                total += h[i]
                moment += h[i] * i
                top, top_raw = hull_push(hull, z, top, i), hull_push(raw, h, top_raw, i)
            if j < begins[ray]:
                continue
            lean = (hrs - hts) / j
            h_obs, a_t, a_r, actual = -1e30, 0.0, 0.0, 0.0
            if j > 1:
                h_obs = highest_above(raw, h, top_raw, hts, lean)
                if h_obs > 0.0:
                    a_t, a_r = (steep_raw - lean) / s, (tangent(raw, h, top_raw, j, hrs) + lean) / s
            v1 = s * (h[0] + h[j] + 2.0 * total)
            v2 = s * s * (6.0 * moment + h[j] * (3.0 * j - 1.0) + h[0])
            smooth_ends(h[0], h[j], (2.0 * v1 * d - v2) / (d * d), (v2 - v1 * d) / (d * d), h_obs, a_t, a_r, out)
            if j > 1:
                s_tim = steep / s + ce * d
                if s_tim >= (hrs - hts) / d:
                    s_rim = tangent(hull, z, top, j, hrs - curve * j * j) / s - ce * d
                    actual = edge_db(d, hts, hrs, s_tim, s_rim, lam)
                else:
                    v = -1e30
                    for m in range(top):
                        i = hull[m]
                        above = h[i] + curve * i * (j - i) - hts - lean * i
                        v = max(v, above * root[i] * root[j - i])
                    actual = bend_db(knife_edge_db(v * math.sqrt(0.002 * d / lam) / s), d)
            far = math.sqrt(d * d + ((hts - hrs) * 1e-3) ** 2)
            free = 20.0 * math.log10(4.0 * math.pi * 1000.0 * far / (0.299792458 / given[P_F_GHZ]))
            loss[ray, j - 1] = free + beyond_smooth(d, given, ae, actual, out)
