"""The least-squares fit behind stitching: gains, filter shape and converter floor from what two recordings both saw.

Theory  D = g_s e_r h(x) T(f) + (F + d_r) u: in every cell of frequency T is free and is eliminated; left are the gain
        of each setting, what each recording departs from it, the coefficients of h, the floor F in steps^2 and what a
        recording's own floor departs from it. Distortion comes in bursts: its power over one recording departs from
        its mean everywhere outside the channel alike, and that departure is an unknown too. What tunings at equal
        steps cannot tell (a ripple of T with that very period) is settled by h being smooth in the middle of the band.
Source  Separable least squares: Golub and Pereyra 1973, SIAM J. Numer. Anal. 10, 413-432; splines: de Boor 1978. Steps
        within 2 dB of nominal and equal settings within 0.05 dB: this program's limits.
Holds   A floor that is flat over the sampled band. Where more is seen at a band's edge than fits, the outer cells of
        that recording are left out: there signals beyond the sampled band fold back.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from tepui.evidence.converter import IDEAL_LSB2
from tepui.evidence.lost_shape import lost_floor_std, lost_gain_std
from tepui.evidence.narrow import NarrowSpectrum
from tepui.evidence.stitch_beliefs import add_guards, beliefs, guards_of
from tepui.evidence.stitch_layout import LOST_CELLS, Elsewhere, Floats, Layout, Seen, floor_units, model_std

EDGE_MISFIT, EDGE_PART = 4.0, 0.6  # standard deviations; part of the half band beyond which a misfit is the edge's
LEAST_LEFT = 0.02  # of what was seen: the least the model may be where little is left of it
ROUNDS, FOLD_ROUNDS, MOST_STEP = 25, 6, 0.7
MOST_BEYOND = (
    2.0  # standard deviations: what lies further beyond a limit is a fault of the model (this program's limit)
)
FLOOR_BY_SHAPE_ALONE = 1.5  # times the doubt, where only band edges tell the floor: set on cuts of the known sweeps


@dataclass(frozen=True, kw_only=True)
class Fit:
    """What the fit found.

    theta, covariance   the unknowns as ``Layout`` orders them, and what the sights leave of their doubt
    truth, slope        (n_cells,) spectrum of each cell, at the first setting's gain; (n_cells, n) its derivatives
    floor, weight, residual   of each sight: floor taken off, one over variance, seen less fitted
    misfit              root mean square of what is left over what was allowed; 1 is right
    """

    theta: Floats
    covariance: Floats
    truth: Floats
    slope: Floats
    floor: Floats
    weight: Floats
    residual: Floats
    misfit: float


def _fitted(
    seen: Seen,
    layout: Layout,
    spectra: Sequence[NarrowSpectrum],
    elsewhere: Elsewhere,
) -> Fit:
    precision, pull, theta = beliefs(layout, spectra, elsewhere)
    unit, extra = floor_units(spectra)
    unit, extra = unit[seen.who], extra[seen.who]
    rows = np.concatenate([layout.gain_rows(seen.who, seen.outside), layout.shape(seen.x)], axis=1)
    own = np.zeros((len(seen.who), layout.n_recordings))
    own[np.arange(len(own)), seen.who] = unit
    floor_rows = np.concatenate([unit[:, None], own], axis=1)
    no_noise, guards = np.zeros((len(own), 1)), guards_of(spectra, layout)  # it is part of T
    n_log, cell, n_cells = layout.n_log, seen.cell, seen.n_cells
    starts = np.flatnonzero(np.diff(cell, prepend=-1))
    spread = 1 / seen.n_averages + model_std(seen.x, layout.x_limit) ** 2
    lost = LOST_CELLS * np.array([(lost_gain_std(one) ** 2, lost_floor_std(one) ** 2) for one in spectra])[seen.who]
    unknown = np.zeros(len(own))
    model = seen.density.copy()
    least = np.full(layout.n, -np.inf)
    least[n_log] = IDEAL_LSB2 if spectra[0].converter.step else 0.0
    least[layout.n_noise] = 0.0
    for _ in range(ROUNDS):
        gain = np.exp(rows @ theta[:n_log])
        weight = 1 / (model**2 * spread + unknown)
        held = np.maximum(np.bincount(cell, weight * gain**2, n_cells), 1e-300)
        floor = floor_rows @ theta[n_log : layout.n_noise] + unit * extra
        less = seen.density - floor
        truth = np.bincount(cell, weight * gain * less, n_cells) / held
        shown = gain * truth[cell]
        model = np.maximum(shown, LEAST_LEFT * seen.density) + np.maximum(floor, 0.0)
        unknown = lost[:, 0] * shown**2 + lost[:, 1] * floor**2
        residual = less - shown
        jacobian = np.concatenate([shown[:, None] * rows, floor_rows, no_noise], axis=1)
        carried = np.zeros((n_cells, layout.n))
        carried[cell[starts]] = np.add.reduceat((weight * gain)[:, None] * jacobian, starts)
        slope = -carried / held[:, None]
        free = jacobian + gain[:, None] * slope[cell]
        normal = free.T @ (weight[:, None] * free) + precision
        right = free.T @ (weight * residual) + pull - precision @ theta
        add_guards(guards, theta, layout, normal, right)
        step, at_limit = _step_within(normal, right, least - theta)
        step[:n_log] = np.clip(step[:n_log], -MOST_STEP, MOST_STEP)
        theta = theta + step
        if np.abs(step).max() < 1e-9:
            break
    n_free = len(cell) - int(np.count_nonzero(np.bincount(cell, minlength=n_cells))) - layout.n_shape
    alone = elsewhere.floor is None and all(one.floor is None for one in spectra)
    allowance = FLOOR_BY_SHAPE_ALONE if alone else 1.0
    misfit = math.sqrt(float(np.sum(weight * residual**2)) / max(n_free, 1))
    return Fit(
        theta=theta,
        covariance=np.asarray(
            np.linalg.inv(normal + np.diag(at_limit)) * (allowance * max(1.0, misfit)) ** 2, dtype=np.float64
        ),
        truth=truth,
        slope=slope,
        floor=floor,
        weight=weight,
        residual=residual,
        misfit=misfit,
    )


def _step_within(normal: Floats, right: Floats, least: Floats) -> tuple[Floats, Floats]:
    """Step of the normal equations that takes no unknown below its limit; the others are solved for what is left.

    least    (n,) the lowest step of each, minus infinity where there is no limit
    returns  (n,) the step, and (n,) precision that the limit adds to the unknowns it holds: of a Gaussian whose middle
             lies beyond a limit only the tail is possible, and that is as wide as its variance over the distance
    """
    held = np.zeros(len(right), bool)
    step = np.linalg.solve(normal, right)
    free = step
    while (beyond := ~held & (step < least)).any():
        held |= beyond
        step = np.where(held, least, 0.0)
        rest = ~held
        step[rest] = np.linalg.solve(normal[np.ix_(rest, rest)], right[rest] - normal[np.ix_(rest, held)] @ step[held])
    more = np.zeros(len(right))
    if held.any():
        variance = np.diag(np.linalg.inv(normal))
        beyond = np.minimum(np.maximum(least - free, 0.0), MOST_BEYOND * np.sqrt(variance))
        more[held] = (beyond / variance)[held] ** 2
    return np.asarray(step, dtype=np.float64), more


def fit_without_folded_edges(
    seen: Seen,
    layout: Layout,
    spectra: Sequence[NarrowSpectrum],
    elsewhere: Elsewhere,
) -> tuple[Seen, Fit]:
    """The fit without the outer cells of recordings where more is seen than fits: what folds back at band edges."""
    for _ in range(FOLD_ROUNDS):
        fit = _fitted(seen, layout, spectra, elsewhere)
        excess = fit.residual * np.sqrt(fit.weight)
        outer = np.abs(seen.x) > EDGE_PART * layout.x_limit
        bad = outer & (excess > EDGE_MISFIT)
        drop = np.zeros(len(bad), bool)
        for who in np.unique(seen.who[bad]):
            for sign in (-1, 1):
                mine = (seen.who == who) & (np.sign(seen.x) == sign)
                if (bad & mine).any():
                    drop |= mine & (np.abs(seen.x) >= float(np.abs(seen.x[bad & mine]).min()) - 1e-9)
        if not drop.any():
            break
        keep = ~drop
        seen = replace(
            seen,
            who=seen.who[keep],
            cell=seen.cell[keep],
            x=seen.x[keep],
            density=seen.density[keep],
            n_averages=seen.n_averages[keep],
            outside=seen.outside[keep],
        )
    return seen, _fitted(seen, layout, spectra, elsewhere)
