"""Many paths over a grid: each receiver with its own profile, or radials whose profiles grow point by point.

Theory  With z = h - c x^2 (c the Earth's curvature) the transmitter's steepest slope is a running maximum and the
        receiver's a tangent to the upper hull of z behind it; raw heights need a second hull, smooth heights running
        sums. On a smooth path Bullington's extremes have a closed form. Points are evenly spaced, so one table of 1/i
        and of 1/sqrt(i) replaces every division and root along a path.
Source  [P.526] 4.5, [P.1812-8], [P.452-18] as in path_kernels.py; hull and tables: own design.
Holds   Bare or surface heights without clutter. Line of sight on a radial is judged at hull points only.
"""

import math

import numpy as np
import numpy.typing as npt

from tepui.chain.propagation.path_kernels import (  # fmt: skip
    BETA_0,
    BEYOND,
    BULL_ACTUAL,
    D_LR,
    D_LT,
    DIFFRACTION_50,
    DIFFRACTION_B,
    DIFFRACTION_P,
    DUCTING,
    FREE,
    GAS,
    H_M,
    H_RE,
    H_SR,
    H_SRD,
    H_ST,
    H_STD,
    H_TE,
    LOS_B,
    LOS_P,
    MODEL_526,
    N_TERMS,
    P_AE_50,
    P_AE_B,
    P_BETA_0,
    P_F_GHZ,
    P_GAMMA,
    P_HRS,
    P_HTS,
    P_MODEL,
    P_SEA,
    P_TAU,
    P_TIME,
    P_VERTICAL,
    P_WAVELENGTH,
    SCATTER,
    THETA,
    THETA_R,
    THETA_T,
    TOTAL,
    blend,
    ducting_db,
    inverse_normal,
    knife_edge_db,
    scatter_db,
    spherical_db,
)
from tepui.ground.kernels import kernel, part

Floats = npt.NDArray[np.float64]
Singles = npt.NDArray[np.float32]
LEAST_RECEIVE_KM = 1e-3


@part
def bend_db(edge: float, d: float) -> float:
    """Bullington's loss of an equivalent edge that loses J(v)."""
    return edge + (1.0 - math.exp(-edge / 6.0)) * (10.0 + 0.02 * d)


@part
def smooth_bullington_db(d: float, low_t: float, low_r: float, ae: float, lam: float) -> float:
    """Bullington over bare sea level, its extremes in closed form."""
    ce = 500.0 / ae
    at_t, at_r = math.sqrt(low_t / ce), math.sqrt(low_r / ce)
    s_tr = (low_r - low_t) / d
    s_tim = ce * (d - 2.0 * at_t) if at_t < d else -low_t / d
    if s_tim < s_tr:
        # v grows with a u/(1+u^2) - low_t/u - low_r u over u = sqrt(x/(d-x)): one hill, climbed by golden section
        a = ce * d * d
        low, high = math.log(1e-3), math.log(1e3)
        best = -1e30
        for _ in range(24):
            left, right = low + 0.381966 * (high - low), low + 0.618034 * (high - low)
            u, w = math.exp(0.5 * left), math.exp(0.5 * right)
            f_left = a * u / (1.0 + u * u) - low_t / u - low_r * u
            f_right = a * w / (1.0 + w * w) - low_t / w - low_r * w
            best = max(best, f_left, f_right)
            if f_left > f_right:
                high = right
            else:
                low = left
        v = best * math.sqrt(0.002 / (lam * d))
        return bend_db(knife_edge_db(v), d)
    s_rim = ce * (d - 2.0 * at_r) if at_r < d else -low_r / d
    d_b = (low_r - low_t + s_rim * d) / (s_tim + s_rim)
    above = low_t + s_tim * d_b - (low_t * (d - d_b) + low_r * d_b) / d
    return bend_db(knife_edge_db(above * math.sqrt(0.002 * d / (lam * d_b * (d - d_b)))), d)


@part
def edge_db(d: float, hts: float, hrs: float, s_tim: float, s_rim: float, lam: float) -> float:
    """Bullington loss beyond line of sight from both slopes."""
    d_b = (hrs - hts + s_rim * d) / (s_tim + s_rim)
    above = hts + s_tim * d_b - (hts * (d - d_b) + hrs * d_b) / d
    return bend_db(knife_edge_db(above * math.sqrt(0.002 * d / (lam * d_b * (d - d_b)))), d)


@part
def smooth_ends(
    h_0: float, h_n: float, hst: float, hsr: float, h_obs: float, a_t: float, a_r: float, out: Floats
) -> None:
    """Smooth heights at both ends, obstruction counted, never above the ground."""
    t, r = hst, hsr
    if h_obs > 0.0:
        t = hst - h_obs * a_t / (a_t + a_r)
        r = hsr - h_obs * a_r / (a_t + a_r)
    out[H_STD], out[H_SRD] = min(t, h_0), min(r, h_n)
    out[H_ST], out[H_SR] = min(hst, h_0), min(hsr, h_n)


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
def lean_path(h: Floats, n: int, d: float, inv: Floats, root: Floats, given: Floats, out: Floats) -> None:
    """The terms a map needs of one evenly spaced path, as path_terms gives them."""
    hts, hrs, p = given[P_HTS], given[P_HRS], given[P_TIME]
    ae = given[P_AE_50]
    ce, ce_b = 500.0 / ae, 500.0 / given[P_AE_B]
    s = d / (n - 1)
    curve, curve_b = ce * s * s, ce_b * s * s
    last = n - 1
    lean = (hrs - hts) / last
    full = given[P_MODEL] != MODEL_526
    rare = full and p < 50.0
    a_t, a_r, t_50, r_50, t_b, r_b, h_obs = -1e30, -1e30, -1e30, -1e30, -1e30, -1e30, -1e30
    total, moment = 0.0, 0.0
    for i in range(1, last):
        hi = h[i]
        total += hi
        moment += hi * i
        up_t, up_r = (hi - hts) * inv[i], (hi - hrs) * inv[last - i]
        a_t, a_r = max(a_t, up_t), max(a_r, up_r)
        t_50, r_50 = max(t_50, up_t - curve * i), max(r_50, up_r - curve * (last - i))
        h_obs = max(h_obs, hi - hts - lean * i)
        if rare:
            t_b, r_b = max(t_b, up_t - curve_b * i), max(r_b, up_r - curve_b * (last - i))
    a_t, a_r = (a_t - lean) / s, (a_r + lean) / s
    v1 = s * (h[0] + h[last] + 2.0 * total)
    v2 = s * s * (6.0 * moment + h[last] * (3.0 * last - 1.0) + h[0])
    hst, hsr = (2.0 * v1 * d - v2) / (d * d), (v2 - v1 * d) / (d * d)
    smooth_ends(h[0], h[last], hst, hsr, h_obs, a_t, a_r, out)
    out[BULL_ACTUAL] = actual_db(h, n, d, root, given, ce, t_50 / s + ce * d, r_50 / s + ce * d)
    loss_50 = beyond_smooth(d, given, ae, out[BULL_ACTUAL], out)
    out[DIFFRACTION_50], out[DIFFRACTION_P] = loss_50, loss_50
    far = math.sqrt(d * d + ((hts - hrs) * 1e-3) ** 2)
    if not full:
        out[FREE] = 20.0 * math.log10(4.0 * math.pi * 1000.0 * far / (0.299792458 / given[P_F_GHZ]))
        out[TOTAL] = out[FREE] + loss_50
        return
    share = 0.0
    beta_0 = given[P_BETA_0]
    out[BETA_0] = beta_0
    if p < 50.0:
        share = 1.0 if p <= beta_0 else inverse_normal(0.01 * p) / inverse_normal(0.01 * beta_0)
        actual = actual_db(h, n, d, root, given, ce_b, t_b / s + ce_b * d, r_b / s + ce_b * d)
        out[DIFFRACTION_B] = beyond_smooth(d, given, given[P_AE_B], actual, out)
        out[DIFFRACTION_P] += (out[DIFFRACTION_B] - loss_50) * share
    map_horizons(h, n, d, inv, root, given, out)
    out[GAS] = given[P_GAMMA] * far
    out[FREE] = 92.4 + 20.0 * math.log10(given[P_F_GHZ]) + 20.0 * math.log10(far) + out[GAS]
    focus = 2.6 * (1.0 - math.exp(-0.1 * (out[D_LT] + out[D_LR])))
    out[LOS_P] = out[FREE] + focus * math.log10(p / 50.0)
    out[LOS_B] = out[FREE] + focus * math.log10(beta_0 / 50.0)
    out[DUCTING] = ducting_db(d, given, out)
    out[SCATTER] = scatter_db(d, given, out)
    blend(d, share, given, out)


@part
def actual_db(h: Floats, n: int, d: float, root: Floats, given: Floats, ce: float, s_tim: float, s_rim: float) -> float:
    """Bullington loss of the actual profile, the slopes known."""
    hts, hrs, lam = given[P_HTS], given[P_HRS], given[P_WAVELENGTH]
    if s_tim >= (hrs - hts) / d:
        return edge_db(d, hts, hrs, s_tim, s_rim, lam)
    last = n - 1
    s = d / last
    curve, lean = ce * s * s, (hrs - hts) / last
    v = -1e30
    for i in range(1, last):
        above = h[i] + curve * i * (last - i) - hts - lean * i
        v = max(v, above * root[i] * root[last - i])
    return bend_db(knife_edge_db(v * math.sqrt(0.002 * d / lam) / s), d)


@part
def beyond_smooth(d: float, given: Floats, ae: float, actual: float, out: Floats) -> float:
    """Delta-Bullington at one radius from the loss of the actual profile."""
    lam = given[P_WAVELENGTH]
    low_t, low_r = given[P_HTS] - out[H_STD], given[P_HRS] - out[H_SRD]
    sphere = spherical_db(given[P_F_GHZ], lam, d, low_t, low_r, ae, given[P_SEA], given[P_VERTICAL])
    if sphere <= 0.0:
        return actual
    smooth = smooth_bullington_db(d, low_t, low_r, ae, lam)
    return actual + max(sphere - smooth, 0.0)


@part
def map_horizons(h: Floats, n: int, d: float, inv: Floats, root: Floats, given: Floats, out: Floats) -> None:
    """Horizons, angular distance and roughness, as in path_kernels.horizons."""
    hts, hrs, ae = given[P_HTS], given[P_HRS], given[P_AE_50]
    last = n - 1
    s = d / last
    curve = 500.0 / ae * s * s
    best_t, best_r, at_t, at_r = -1e30, -1e30, 1, last - 1
    for i in range(1, last):
        t = (h[i] - hts) * inv[i] - curve * i
        if t > best_t:
            best_t, at_t = t, i
        r = (h[i] - hrs) * inv[last - i] - curve * (last - i)
        if r > best_r:
            best_r, at_r = r, i
    theta_td = 1000.0 * math.atan((hrs - hts) / (1000.0 * d) - d / (2.0 * ae))
    theta_max = 1000.0 * math.atan(best_t / (1000.0 * s))
    if theta_max > theta_td:
        out[THETA_T], out[THETA_R], out[BEYOND] = theta_max, 1000.0 * math.atan(best_r / (1000.0 * s)), 1.0
        out[D_LT], out[D_LR] = at_t * s, d - at_r * s
    else:
        lean, v = (hrs - hts) / last, -1e30
        for i in range(1, last):
            above = (h[i] + curve * i * (last - i) - hts - lean * i) * root[i] * root[last - i]
            if above > v:
                v, at_t = above, i
        at_r = at_t
        out[THETA_T], out[BEYOND] = theta_td, 0.0
        out[THETA_R] = 1000.0 * math.atan((hts - hrs) / (1000.0 * d) - d / (2.0 * ae))
        out[D_LT], out[D_LR] = at_t * s, d - at_t * s
    out[THETA] = 1000.0 * d / ae + out[THETA_T] + out[THETA_R]
    slope = (out[H_SR] - out[H_ST]) / last
    rough = 0.0
    for i in range(at_t, at_r + 1):
        rough = max(rough, h[i] - out[H_ST] - slope * i)
    out[H_M] = rough
    out[H_TE], out[H_RE] = hts - out[H_ST], hrs - out[H_SR]


@part
def duct_terms(d: float, latitude: float, given: Floats) -> None:
    """beta_0 and tau of a path over land alone, into ``given``."""
    tau = 1.0 - math.exp(-4.12e-4 * d**2.41)
    mu1 = min((10.0 ** (-d / (16.0 - 6.6 * tau)) + 10.0 ** (-5.0 * (0.496 + 0.354 * tau))) ** 0.2, 1.0)
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
                duct_terms(d, latitude, given)
            lean_path(h, n, d, inv, root, given, out)
            loss[row, column] = out[TOTAL]


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
