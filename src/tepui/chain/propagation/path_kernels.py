"""One path between two antennas over terrain, with switches for three recommendations.

Theory  Diffraction by the delta-Bullington construction: an equivalent edge on the actual profile, plus what a
        spherical Earth loses beyond the same construction on a smooth one. Line of sight, ducting and troposcatter
        are blended by the share of time and by how far the path is beyond the horizon.
Source  [P.526] 3.2, 4.5.1, 4.5.2; [P.1812-8] annex 1, 4.2 to 4.8; [P.452-18] annex 1, 4.2 to 4.6. Formulae as
        reproduced against the published validation sets.
Holds   Profiles from 0 km on, rising. Horizons, smooth heights and roughness are of bare ground; clutter raises the
        actual profile only. Straight-line code, so that LLVM can see all of it.
"""

import math

import numpy as np
import numpy.typing as npt

from tepui.ground.kernels import kernel, part

Floats = npt.NDArray[np.float64]

# Places in the row of terms that a path hands back.
FREE, DIFFRACTION_50, DIFFRACTION_B, DIFFRACTION_P = 0, 1, 2, 3
BULL_ACTUAL, BULL_SMOOTH, SPHERICAL = 4, 5, 6
BULL_ACTUAL_B, BULL_SMOOTH_B, SPHERICAL_B = 7, 8, 9
LOS_P, LOS_B, DUCTING, SCATTER, COMBINED, TOTAL = 10, 11, 12, 13, 14, 15
THETA_T, THETA_R, THETA, D_LT, D_LR, BEYOND = 16, 17, 18, 19, 20, 21
H_ST, H_SR, H_STD, H_SRD, H_TE, H_RE, H_M = 22, 23, 24, 25, 26, 27, 28
F_I, F_J, F_K, BETA_0, GAS = 29, 30, 31, 32, 33
BD_50, BD, M_0P, M_AP, BDA, BAM = 34, 35, 36, 37, 38, 39
N_TERMS = 40

# Places in the row of numbers that go in.
(
    P_F_GHZ, P_WAVELENGTH, P_HTS, P_HRS, P_AE_50, P_AE_B, P_SEA, P_VERTICAL, P_TIME, P_BETA_0, P_TAU, P_COAST_T,
    P_COAST_R, P_N0, P_GAMMA, P_GAINS, P_MODEL, P_LOCATION, P_GAMMA_DRY,
) = range(19)  # fmt: skip
N_INPUTS = 19
MODEL_526, MODEL_1812, MODEL_452 = 0.0, 1.0, 2.0


@part
def knife_edge_db(v: float) -> float:
    """J(v), the approximation of a single edge."""
    if v <= -0.78:
        return 0.0
    return 6.9 + 20.0 * math.log10(math.sqrt((v - 0.1) ** 2 + 1.0) + v - 0.1)


@part
def first_term_db(f: float, d: float, h1: float, h2: float, a: float, sea: float, vertical: float) -> float:
    """First term of the residue series, mixed over land and sea."""
    total = 0.0
    for ground in range(2):
        share = sea if ground == 1 else 1.0 - sea
        if share <= 0.0:
            continue
        eps, sigma = (80.0, 5.0) if ground == 1 else (22.0, 0.003)
        wet = (18.0 * sigma / f) ** 2
        k = 0.036 * (a * f) ** (-1.0 / 3.0) * ((eps - 1.0) ** 2 + wet) ** -0.25
        if vertical > 0.5:
            k *= math.sqrt(eps * eps + wet)
        k2 = k * k
        beta = (1.0 + 1.6 * k2 + 0.67 * k2 * k2) / (1.0 + 4.5 * k2 + 1.53 * k2 * k2)
        x = 21.88 * beta * (f / (a * a)) ** (1.0 / 3.0) * d
        scale = 0.9575 * beta * (f * f / a) ** (1.0 / 3.0)
        far = -(11.0 + 10.0 * math.log10(x) - 17.6 * x)
        loss = far if x >= 1.6 else 20.0 * math.log10(x) + 5.6488 * x**1.425
        least = 2.0 + 20.0 * math.log10(k)
        for end in range(2):
            b = beta * scale * (h1 if end == 0 else h2)
            if b > 2.0:
                gain = 17.6 * math.sqrt(b - 1.1) - 5.0 * math.log10(b - 1.1) - 8.0
            else:
                gain = 20.0 * math.log10(b + 0.1 * b * b * b)
            loss -= max(gain, least)
        total += share * loss
    return total


@part
def spherical_db(f: float, lam: float, d: float, h1: float, h2: float, ae: float, sea: float, vertical: float) -> float:
    """Loss of a smooth spherical Earth beyond free space."""
    d_los = math.sqrt(2.0 * ae) * (math.sqrt(0.001 * h1) + math.sqrt(0.001 * h2))
    if d >= d_los:
        return max(first_term_db(f, d, h1, h2, ae, sea, vertical), 0.0)
    c = (h1 - h2) / (h1 + h2)
    m = 250.0 * d * d / (ae * (h1 + h2))
    root = math.sqrt((m + 1.0) / (3.0 * m))
    angle = math.acos(min(1.0, max(-1.0, 1.5 * c * math.sqrt(3.0 * m / (m + 1.0) ** 3))))
    b = 2.0 * root * math.cos(math.pi / 3.0 + angle / 3.0)
    d1 = 0.5 * d * (1.0 + b)
    d2 = d - d1
    h = ((h1 - 500.0 * d1 * d1 / ae) * d2 + (h2 - 500.0 * d2 * d2 / ae) * d1) / d
    wanted = 17.456 * math.sqrt(d1 * d2 * lam / d)
    if h > wanted:
        return 0.0
    a_em = 500.0 * (d / (math.sqrt(h1) + math.sqrt(h2))) ** 2
    loss = first_term_db(f, d, h1, h2, a_em, sea, vertical)
    if loss < 0.0:
        return 0.0
    return (1.0 - h / wanted) * loss


@part
def bullington_db(x: Floats, h: Floats, n: int, hts: float, hrs: float, ae: float, lam: float, flat: bool) -> float:
    """Loss of the equivalent edge; ``flat`` leaves the heights out (all zero), for the smooth path."""
    ce = 500.0 / ae
    d = x[n - 1]
    s_tim = -1e30
    for i in range(1, n - 1):
        g = 0.0 if flat else h[i]
        s_tim = max(s_tim, (g + ce * x[i] * (d - x[i]) - hts) / x[i])
    s_tr = (hrs - hts) / d
    edge = 0.0
    if n > 2 and s_tim < s_tr:
        v = -1e30
        for i in range(1, n - 1):
            g = 0.0 if flat else h[i]
            rest = d - x[i]
            above = g + ce * x[i] * rest - (hts * rest + hrs * x[i]) / d
            v = max(v, above * math.sqrt(0.002 * d / (lam * x[i] * rest)))
        edge = knife_edge_db(v)
    elif n > 2:
        s_rim = -1e30
        for i in range(1, n - 1):
            g = 0.0 if flat else h[i]
            rest = d - x[i]
            s_rim = max(s_rim, (g + ce * x[i] * rest - hrs) / rest)
        d_b = (hrs - hts + s_rim * d) / (s_tim + s_rim)
        above = hts + s_tim * d_b - (hts * (d - d_b) + hrs * d_b) / d
        edge = knife_edge_db(above * math.sqrt(0.002 * d / (lam * d_b * (d - d_b))))
    return float(edge + (1.0 - math.exp(-edge / 6.0)) * (10.0 + 0.02 * d))


@part
def inverse_normal(x: float) -> float:
    """Level that a standard normal exceeds with probability x, x from 1e-6 to 0.5."""
    t = math.sqrt(-2.0 * math.log(x))
    above = (0.010328 * t + 0.802853) * t + 2.515516698
    below = ((0.001308 * t + 0.189269) * t + 1.432788) * t + 1.0
    return t - above / below


@part
def smooth_heights(x: Floats, h: Floats, n: int, hts: float, hrs: float, out: Floats) -> None:
    """Straight line through the ground, and the same with what obstructs taken into account."""
    d = x[n - 1]
    v1, v2 = 0.0, 0.0
    for i in range(1, n):
        step = x[i] - x[i - 1]
        v1 += step * (h[i] + h[i - 1])
        v2 += step * (h[i] * (2.0 * x[i] + x[i - 1]) + h[i - 1] * (x[i] + 2.0 * x[i - 1]))
    hst = (2.0 * v1 * d - v2) / (d * d)
    hsr = (v2 - v1 * d) / (d * d)
    h_obs, a_t, a_r = -1e30, -1e30, -1e30
    for i in range(1, n - 1):
        rest = d - x[i]
        above = h[i] - (hts * rest + hrs * x[i]) / d
        h_obs = max(h_obs, above)
        a_t = max(a_t, above / x[i])
        a_r = max(a_r, above / rest)
    hstp, hsrp = hst, hsr
    if h_obs > 0.0:
        hstp = hst - h_obs * a_t / (a_t + a_r)
        hsrp = hsr - h_obs * a_r / (a_t + a_r)
    out[H_STD], out[H_SRD] = min(hstp, h[0]), min(hsrp, h[n - 1])
    out[H_ST], out[H_SR] = min(hst, h[0]), min(hsr, h[n - 1])


@part
def horizons(x: Floats, h: Floats, n: int, hts: float, hrs: float, ae: float, lam: float, out: Floats) -> None:
    """Horizon angles in mrad, their distances in km, and the roughness between them."""
    d = x[n - 1]
    ce = 500.0 / ae
    theta_td = 1000.0 * math.atan((hrs - hts) / (1000.0 * d) - d / (2.0 * ae))
    theta_rd = 1000.0 * math.atan((hts - hrs) / (1000.0 * d) - d / (2.0 * ae))
    best_t, best_r, at_t, at_r = -1e30, -1e30, 1, n - 2
    for i in range(1, n - 1):
        angle = (h[i] - hts) / (1000.0 * x[i]) - x[i] / (2.0 * ae)
        if angle > best_t:
            best_t, at_t = angle, i
        rest = d - x[i]
        angle = (h[i] - hrs) / (1000.0 * rest) - rest / (2.0 * ae)
        if angle >= best_r:
            if angle > best_r:
                at_r = i
            best_r = angle
    theta_max = 1000.0 * math.atan(best_t)
    if n > 2 and theta_max > theta_td:
        out[THETA_T], out[THETA_R] = theta_max, 1000.0 * math.atan(best_r)
        out[D_LT], out[D_LR], out[BEYOND] = x[at_t], d - x[at_r], 1.0
    else:
        v, at = -1e30, 1
        for i in range(1, n - 1):
            rest = d - x[i]
            above = h[i] + ce * x[i] * rest - (hts * rest + hrs * x[i]) / d
            here = above * math.sqrt(0.002 * d / (lam * x[i] * rest))
            if here > v:
                v, at = here, i
        at_t, at_r = at, at
        out[THETA_T], out[THETA_R] = theta_td, theta_rd
        out[D_LT], out[D_LR], out[BEYOND] = x[at], d - x[at], 0.0
    out[THETA] = 1000.0 * d / ae + out[THETA_T] + out[THETA_R]
    slope = (out[H_SR] - out[H_ST]) / d
    roughness = 0.0
    for i in range(at_t, at_r + 1):
        roughness = max(roughness, h[i] - (out[H_ST] + slope * x[i]))
    out[H_M] = roughness
    out[H_TE], out[H_RE] = hts - out[H_ST], hrs - out[H_SR]


@part
def diffraction_db(x: Floats, g: Floats, n: int, given: Floats, ae: float, at: int, out: Floats) -> float:
    """Delta-Bullington at one Earth radius; its three parts go to ``out[at:at + 3]``."""
    hts, hrs, lam = given[P_HTS], given[P_HRS], given[P_WAVELENGTH]
    low_t, low_r = hts - out[H_STD], hrs - out[H_SRD]
    actual = bullington_db(x, g, n, hts, hrs, ae, lam, False)
    smooth = bullington_db(x, g, n, low_t, low_r, ae, lam, True)
    sphere = spherical_db(given[P_F_GHZ], lam, x[n - 1], low_t, low_r, ae, given[P_SEA], given[P_VERTICAL])
    out[at], out[at + 1], out[at + 2] = actual, smooth, sphere
    return actual + max(sphere - smooth, 0.0)


@part
def site_shield_db(theta: float, d_l: float, f: float) -> float:
    """Shielding of one terminal against ducts."""
    angle = theta - 0.1 * d_l
    if angle <= 0.0:
        return 0.0
    return float(20.0 * math.log10(1.0 + 0.361 * angle * math.sqrt(f * d_l)) + 0.264 * angle * f ** (1.0 / 3.0))


@part
def coast_db(h: float, d_c: float, d_l: float, sea: float) -> float:
    """Coupling of one terminal near the coast into ducts over the sea."""
    if sea < 0.75 or d_c > d_l or d_c > 5.0:
        return 0.0
    return -3.0 * math.exp(-0.25 * d_c * d_c) * (1.0 + math.tanh(0.07 * (50.0 - h)))


@part
def ducting_db(d: float, given: Floats, out: Floats) -> float:
    """Loss by ducting and layer reflection, exceeded for all but p % of the time."""
    f, ae, p = given[P_F_GHZ], given[P_AE_50], given[P_TIME]
    d_lt, d_lr, sea, tau = out[D_LT], out[D_LR], given[P_SEA], given[P_TAU]
    loss = 102.45 + 20.0 * math.log10(f) + 20.0 * math.log10(d_lt + d_lr) + given[P_GAMMA] * d
    if f < 0.5:
        loss += 45.375 - 137.0 * f + 92.5 * f * f
    loss += site_shield_db(out[THETA_T], d_lt, f) + site_shield_db(out[THETA_R], d_lr, f)
    loss += coast_db(given[P_HTS], given[P_COAST_T], d_lt, sea) + coast_db(given[P_HRS], given[P_COAST_R], d_lr, sea)
    angle = 1000.0 * d / ae + min(out[THETA_T], 0.1 * d_lt) + min(out[THETA_R], 0.1 * d_lr)
    loss += 5e-5 * ae * f ** (1.0 / 3.0) * angle
    alpha = max(-3.4, -0.6 - 3.5e-9 * d**3.1 * tau)
    heights = (math.sqrt(out[H_TE]) + math.sqrt(out[H_RE])) ** 2
    mu2 = min(1.0, (500.0 * d * d / (ae * heights)) ** alpha) if heights > 0.0 else 1.0
    mu3 = 1.0
    if out[H_M] > 10.0:
        mu3 = math.exp(-4.6e-5 * (out[H_M] - 10.0) * (43.0 + 6.0 * min(d - d_lt - d_lr, 40.0)))
    beta = given[P_BETA_0] * mu2 * mu3
    log_b = math.log10(beta)
    gamma = 1.076 / (2.0058 - log_b) ** 1.012
    gamma *= math.exp(-(9.51 - 4.8 * log_b + 0.198 * log_b * log_b) * 1e-6 * d**1.13)
    ratio = p / beta
    return float(loss - 12.0 + (1.2 + 3.7e-3 * d) * math.log10(ratio) + 12.0 * ratio**gamma)


@part
def scatter_db(d: float, given: Floats, out: Floats) -> float:
    """Troposcatter, exceeded for all but p % of the time."""
    f, p = given[P_F_GHZ], given[P_TIME]
    loss = 25.0 * math.log10(f) - 2.5 * math.log10(f / 2.0) ** 2
    loss += 20.0 * math.log10(d) + 0.573 * out[THETA] - 0.15 * given[P_N0]
    rare = max(math.log10(50.0 / p), 0.0) ** 0.7
    if given[P_MODEL] == MODEL_452:
        return float(loss + 190.0 + 0.051 * math.exp(0.055 * given[P_GAINS]) + given[P_GAMMA_DRY] * d - 10.1 * rare)
    return float(loss + 190.1 - 10.125 * rare)


@part
def path_terms(x: Floats, h: Floats, g: Floats, n: int, given: Floats, out: Floats) -> None:
    """Every term of one path.

    x (n,) km; h (n,) bare ground m; g (n,) ground with clutter, the ends bare
    given (N_INPUTS,), out (N_TERMS,) written
    """
    f, p, model = given[P_F_GHZ], given[P_TIME], given[P_MODEL]
    hts, hrs, d = given[P_HTS], given[P_HRS], x[n - 1]
    far = math.sqrt(d * d + ((hts - hrs) * 1e-3) ** 2)
    smooth_heights(x, h, n, hts, hrs, out)
    horizons(x, h, n, hts, hrs, given[P_AE_50], given[P_WAVELENGTH], out)
    out[DIFFRACTION_50] = diffraction_db(x, g, n, given, given[P_AE_50], BULL_ACTUAL, out)
    out[DIFFRACTION_P] = out[DIFFRACTION_50]
    if model == MODEL_526:
        out[GAS] = given[P_GAMMA] * far
        out[FREE] = 20.0 * math.log10(4.0 * math.pi * 1000.0 * far / (0.299792458 / f))
        out[TOTAL] = out[FREE] + out[DIFFRACTION_50]
        return
    beta_0 = given[P_BETA_0]
    out[BETA_0] = beta_0
    share = 0.0
    if p < 50.0:
        share = 1.0 if p <= beta_0 else inverse_normal(0.01 * p) / inverse_normal(0.01 * beta_0)
        out[DIFFRACTION_B] = diffraction_db(x, g, n, given, given[P_AE_B], BULL_ACTUAL_B, out)
        out[DIFFRACTION_P] += (out[DIFFRACTION_B] - out[DIFFRACTION_50]) * share
    out[GAS] = given[P_GAMMA] * far
    out[FREE] = 92.4 + 20.0 * math.log10(f) + 20.0 * math.log10(far) + out[GAS]
    focus = 2.6 * (1.0 - math.exp(-0.1 * (out[D_LT] + out[D_LR])))
    out[LOS_P] = out[FREE] + focus * math.log10(p / 50.0)
    out[LOS_B] = out[FREE] + focus * math.log10(beta_0 / 50.0)
    out[DUCTING] = ducting_db(d, given, out)
    out[SCATTER] = scatter_db(d, given, out)
    blend(d, share, given, out)


@part
def blend(d: float, share: float, given: Floats, out: Floats) -> None:
    """Join the mechanisms into one loss."""
    p, sea = given[P_TIME], given[P_SEA]
    f_j = 1.0 - 0.5 * (1.0 + math.tanh(2.4 * (out[THETA] - 0.3) / 0.3))
    f_k = 1.0 - 0.5 * (1.0 + math.tanh(1.5 * (d - 20.0) / 20.0))
    bd50 = out[FREE] + out[DIFFRACTION_50]
    bd = out[LOS_P] + out[DIFFRACTION_P]
    land = (1.0 - sea) * out[DIFFRACTION_P]
    m0p = out[LOS_P] + land
    if p >= out[BETA_0]:
        m0p = bd50 + (out[LOS_B] + land - bd50) * share
    high, low = max(out[DUCTING], out[LOS_P]), min(out[DUCTING], out[LOS_P])
    map_ = high + 2.5 * math.log(1.0 + math.exp((low - high) / 2.5))
    bda = bd if map_ > bd else map_ + (bd - map_) * f_k
    bam = bda + (m0p - bda) * f_j
    less, more = min(out[SCATTER], bam), max(out[SCATTER], bam)
    both = less - 5.0 * math.log10(1.0 + 10.0 ** (-0.2 * (more - less)))
    out[F_I], out[F_J], out[F_K] = share, f_j, f_k
    out[BD_50], out[BD], out[M_0P], out[M_AP], out[BDA], out[BAM] = bd50, bd, m0p, map_, bda, bam
    out[COMBINED] = both
    out[TOTAL] = both if given[P_MODEL] == MODEL_452 else max(out[LOS_P], both + given[P_LOCATION])


@kernel("void(float64[::1], float64[::1], float64[::1], float64[::1], float64[::1])")
def one_path(x: Floats, h: Floats, g: Floats, given: Floats, out: Floats) -> None:
    """Every term of one path; see ``path_terms``."""
    path_terms(x, h, g, x.shape[0], given, out)
