"""One evenly spaced path with only the terms a map needs: the same model as path_kernels.py, in fewer steps.

Theory  Points are evenly spaced, so one table of 1/i and of 1/sqrt(i) replaces every division and root along a path. On
        a smooth path Bullington's extremes have a closed form.
Source  [P.526] 4.5, [P.1812-8], [P.452-18] as in path_kernels.py; tables and closed form: own design.
Holds   Bare or surface heights without clutter; a test holds it to path_kernels.py.
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
    P_AE_50,
    P_AE_B,
    P_BETA_0,
    P_F_GHZ,
    P_GAMMA,
    P_HRS,
    P_HTS,
    P_MODEL,
    P_SEA,
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
from tepui.ground.kernels import part

Floats = npt.NDArray[np.float64]


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
        # v grows with a u/(1+u^2) - low_t/u - low_r u over u = sqrt(x/(d-x)): one hill, its slope falls through zero
        a = ce * d * d
        low, high = 0.03, 30.0
        for _ in range(18):
            u = math.sqrt(low * high)
            square = u * u
            if a * (1.0 - square) / (1.0 + square) ** 2 + low_t / square - low_r > 0.0:
                low = u
            else:
                high = u
        u = math.sqrt(low * high)
        v = (a * u / (1.0 + u * u) - low_t / u - low_r * u) * math.sqrt(0.002 / (lam * d))
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
