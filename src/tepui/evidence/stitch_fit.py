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
import numpy.typing as npt
from scipy.interpolate import BSpline

from tepui.evidence.converter import IDEAL_LSB2
from tepui.evidence.narrow import NarrowSpectrum
from tepui.evidence.stitch_set import Setting, bins_a_cell, nominal_gain_db, setting_of
from tepui.ground.doubt import Estimate

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.intp]

NEPER = math.log(10) / 10  # natural logarithm of a power ratio, per dB
NOMINAL_STD_DB = 1.0  # of a gain step as set: 2 dB at 95 %
EQUAL_STD_DB = 0.025  # between recordings of one setting: 0.05 dB at 95 %
UNKNOWN_STD_DB = 40.0  # of a setting that names no gain
REFERENCE_STD_DB, ANY_DB = 1e-4, 20.0
KNOTS = 10  # inner pieces of the filter's shape
BEND_STD_DB, EDGE_BEND_STD_DB = 0.03, 3.0  # second difference between coefficients of the shape, middle and edge
MODEL_STD, EDGE_STD = 0.003, 0.02  # relative, what the model leaves, in the middle of a band and at its edge
HANN_BINS_AS_ONE = 1 + 2 * ((2 / 3) ** 2 + (1 / 6) ** 2)  # Hann bins are correlated with their neighbours
STARVED_GAIN_SHARE = 0.2  # of what rounding changes of a gain: what the law of bursts may miss
STARVED_SHARE = 0.4  # of what rounding of a signal below a step changes: what that law may miss of the floor
TUNER_OFF_HZ = 50e3
CUBE_UNREST = 19.0  # (E y^2 - (E y)^2) / (E y)^2 for y = |x|^6 of a Gaussian x, (6! - 3!^2) / 3!^2
FLOOR_LIES = 0.5  # of the quietest place of all: the floor lies below, and no further is known beforehand
FLOOR_BY_SHAPE_ALONE = 1.5  # times the doubt, where only band edges tell the floor: set on cuts of the known sweeps
EDGE_MISFIT, EDGE_PART = 4.0, 0.6  # standard deviations; part of the half band beyond which a misfit is the edge's
LEAST_LEFT = 0.02  # of what was seen: the least the model may be where little is left of it
ROUNDS, FOLD_ROUNDS, MOST_STEP = 25, 6, 0.7


@dataclass(frozen=True, kw_only=True)
class Seen:
    """Every cell as each recording saw it, in a row by rising cell.

    who, cell        (n,) recording, and number of the cell, from 0
    x                (n,) distance from the tuned frequency, over the rate
    density          (n,) mean over the cell; n_averages (n,) how many averages that is worth
    outside          (n,) whether only distortion and noise are seen there
    """

    who: Places
    cell: Places
    x: Floats
    density: Floats
    n_averages: Floats
    outside: npt.NDArray[np.bool_]
    n_cells: int


def is_outside(frequency_hz: Floats, *, centre_hz: float, occupied_width_hz: float) -> npt.NDArray[np.bool_]:
    """Whether only distortion and noise are seen there; the tuner may be off a little. (n,)"""
    return np.asarray(np.abs(frequency_hz - centre_hz) > occupied_width_hz / 2 + TUNER_OFF_HZ)


def cells_seen(
    spectra: Sequence[NarrowSpectrum], *, centre_hz: float, occupied_width_hz: float
) -> tuple[Seen, int, int]:
    """Cells of whole numbers of bins; returns also bins a cell and the first cell's number."""
    m = bins_a_cell(spectra[0])
    first_cell = min(one.first_bin // m for one in spectra)
    rows = []
    for who, one in enumerate(spectra):
        start = -one.first_bin % m
        count = (len(one.density) - start) // m
        density = one.density[start : start + count * m].reshape(count, m).mean(axis=1)
        whole = one.usable[start : start + count * m].reshape(count, m).all(axis=1)
        number = (one.first_bin + start) // m + np.arange(count) - first_cell
        middle_hz = one.frequency_hz[start : start + count * m].reshape(count, m).mean(axis=1)
        n = one.n_averages * max(1.0, m / HANN_BINS_AS_ONE)
        rows.append(
            np.stack(
                [np.full(count, who), number, (middle_hz - one.tuned_hz) / one.rate_hz, density, np.full(count, n)]
            )[:, whole]
        )
    together = np.concatenate(rows, axis=1)
    who, number, x, density, n = together[:, np.argsort(together[1], kind="stable")]
    cell = number.astype(np.intp)
    middle_hz = ((cell + first_cell) * m + (m - 1) / 2) * spectra[0].bin_hz
    seen = Seen(
        who=who.astype(np.intp),
        cell=cell,
        x=x,
        density=density,
        n_averages=n,
        outside=is_outside(middle_hz, centre_hz=centre_hz, occupied_width_hz=occupied_width_hz),
        n_cells=int(cell.max()) + 1,
    )
    return seen, m, first_cell


@dataclass(frozen=True, kw_only=True)
class Layout:
    """Where each unknown stands: gains of settings, of recordings, of distortion in each recording, coefficients of the
    shape, the floor and what each recording's own floor departs from it."""

    settings: tuple[Setting, ...]
    setting_index: Places
    n_recordings: int
    knots: Floats
    x_limit: float
    occupied_width_hz: float

    @property
    def n_shape(self) -> int:
        """Coefficients of the filter's shape."""
        return len(self.knots) - 4

    @property
    def n_gains(self) -> int:
        """Gains of settings and recordings, and of the distortion in each."""
        return len(self.settings) + 2 * self.n_recordings

    @property
    def n_log(self) -> int:
        """How many of the unknowns are logarithms of gains."""
        return self.n_gains + self.n_shape

    @property
    def n(self) -> int:
        """All unknowns."""
        return self.n_log + 1 + self.n_recordings

    def shape(self, x: Floats) -> Floats:
        """Values of the shape's splines, less those at x = 0: (n, n_shape)."""
        at = BSpline.design_matrix(np.clip(x, -self.x_limit, self.x_limit), self.knots, 3).toarray()
        zero = BSpline.design_matrix(np.zeros(1), self.knots, 3).toarray()
        return np.asarray(at - zero)

    def gain_rows(self, who: Places, outside: npt.NDArray[np.bool_]) -> Floats:
        """Derivatives of log gain, (n, n_gains), at places outside the channel or in it."""
        rows, n_settings, places = np.zeros((len(who), self.n_gains)), len(self.settings), np.arange(len(who))
        rows[places, self.setting_index[who]] = 1
        rows[places, n_settings + who] = 1
        rows[places[outside], n_settings + self.n_recordings + who[outside]] = 1
        return rows


def layout_of(spectra: Sequence[NarrowSpectrum], seen: Seen, *, occupied_width_hz: float) -> Layout:
    """The unknowns of a set; a recording that names no setting has one of its own."""
    keys = [setting_of(one) or (("recording", float(i)),) for i, one in enumerate(spectra)]
    settings = tuple(dict.fromkeys(keys))
    limit = float(np.abs(seen.x).max()) * 1.001
    inner = np.linspace(-limit, limit, KNOTS + 1)
    return Layout(
        settings=settings,
        setting_index=np.array([settings.index(key) for key in keys], dtype=np.intp),
        n_recordings=len(spectra),
        knots=np.concatenate([[-limit] * 3, inner, [limit] * 3]),
        x_limit=limit,
        occupied_width_hz=occupied_width_hz,
    )


@dataclass(frozen=True, kw_only=True)
class KnownShape:
    """Shape of the receiver's filters as noise alone showed it.

    x        (n,) distance from the tuned frequency, over the rate
    log      (n,) natural logarithm of the power gain, from any zero
    weight   (n,) one over its variance
    """

    x: Floats
    log: Floats
    weight: Floats


def _beliefs(
    layout: Layout,
    spectra: Sequence[NarrowSpectrum],
    shared_floor: Estimate | None,
    known_shape: KnownShape | None,
) -> tuple[Floats, Floats, Floats]:
    """What is known beforehand: precision (n, n), precision times value (n,), and a start (n,)."""
    n_set, n_rec, n_shape, n_log = len(layout.settings), layout.n_recordings, layout.n_shape, layout.n_log
    precision, pull, start = np.zeros((layout.n, layout.n)), np.zeros(layout.n), np.zeros(layout.n)
    nominal = {int(index): nominal_gain_db(one) for index, one in zip(layout.setting_index, spectra, strict=True)}
    reference = nominal[0]
    for index in range(n_set):
        value, std = nominal[index], NOMINAL_STD_DB if index else REFERENCE_STD_DB
        if index and (value is None or reference is None):
            std = UNKNOWN_STD_DB
        start[index] = 0.0 if value is None or reference is None else (value - reference) * NEPER
        precision[index, index] = 1 / (std * NEPER) ** 2
    equal, unrest, at = np.arange(n_set, n_set + n_rec), np.arange(n_set + n_rec, n_set + 2 * n_rec), layout.n_gains
    lost_db = STARVED_GAIN_SHARE * np.array([abs(one.converter.gain - 1) for one in spectra]) / NEPER
    precision[equal, equal] = 1 / (np.hypot(EQUAL_STD_DB, lost_db) * NEPER) ** 2
    independent = np.array([one.n_samples / one.rate_hz for one in spectra]) * layout.occupied_width_hz
    precision[unrest, unrest] = independent / CUBE_UNREST
    places = np.abs(np.linspace(-1, 1, n_shape)[1:-1])
    bend_std = (BEND_STD_DB + EDGE_BEND_STD_DB * places**4) * NEPER
    bends = np.diff(np.eye(n_shape), n=2, axis=0) / bend_std[:, None]
    precision[at:n_log, at:n_log] = bends.T @ bends + np.eye(n_shape) / (ANY_DB * NEPER) ** 2
    if known_shape is not None:
        within = np.abs(known_shape.x) <= layout.x_limit
        shape, log, weight = layout.shape(known_shape.x[within]), known_shape.log[within], known_shape.weight[within]
        shape = shape - weight @ shape / weight.sum()  # its zero is free
        log = log - weight @ log / weight.sum()
        precision[at:n_log, at:n_log] += shape.T @ (weight[:, None] * shape)
        shape_pull = shape.T @ (weight * log)
    start[n_log] = 2 * IDEAL_LSB2 if spectra[0].converter.step else 0.0
    pull += precision @ start
    if known_shape is not None:
        pull[at:n_log] += shape_pull
    quietest = min(float(np.percentile(one.density[one.usable], 2)) / one.unit_density for one in spectra)
    lies = max(FLOOR_LIES * quietest, IDEAL_LSB2) if spectra[0].converter.step else quietest
    precision[n_log, n_log] += 1 / max(lies, 1e-12) ** 2
    pull[n_log] += start[n_log] / max(lies, 1e-12) ** 2
    extra = floor_units(spectra)[1]
    # Noise of the receiver's input is in it too, at high gain: what lies above the lowest is trusted so much less.
    lowest = min(
        (one.floor.value - extra[k] + 2 * one.floor.std for k, one in enumerate(spectra) if one.floor), default=0.0
    )
    for number, one in enumerate(spectra):
        own = n_log + 1 + number
        departs = STARVED_SHARE * abs(one.converter.gain - 1) * 2 * IDEAL_LSB2
        precision[own, own] += 1 / max(departs, 1e-4) ** 2
        if one.floor is not None:
            both = np.array([n_log, own])
            level = one.floor.value - extra[number]
            std = math.hypot(one.floor.std, max(level - lowest, 0.0))
            precision[np.ix_(both, both)] += 1 / std**2
            pull[both] += level / std**2
    if shared_floor is not None:
        precision[n_log, n_log] += 1 / shared_floor.std**2
        pull[n_log] += shared_floor.value / shared_floor.std**2
    return precision, pull, start


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


def floor_units(spectra: Sequence[NarrowSpectrum]) -> tuple[Floats, Floats]:
    """Density of one step^2 in each recording, and what its rounding adds beyond the ideal figure, in steps^2."""
    unit = np.array([one.unit_density for one in spectra])
    extra = np.array([one.converter.rounding - IDEAL_LSB2 if one.converter.step else 0.0 for one in spectra])
    return unit, extra


def model_std(x: Floats, limit: float) -> Floats:
    """What the model may miss at distances x from the tuned frequency (over the rate), relative: most at the edges."""
    return np.asarray(MODEL_STD + EDGE_STD * (np.abs(x) / limit) ** 8)


def _fitted(
    seen: Seen,
    layout: Layout,
    spectra: Sequence[NarrowSpectrum],
    shared_floor: Estimate | None,
    known_shape: KnownShape | None,
) -> Fit:
    precision, pull, theta = _beliefs(layout, spectra, shared_floor, known_shape)
    unit, extra = floor_units(spectra)
    unit, extra = unit[seen.who], extra[seen.who]
    rows = np.concatenate([layout.gain_rows(seen.who, seen.outside), layout.shape(seen.x)], axis=1)
    own = np.zeros((len(seen.who), layout.n_recordings))
    own[np.arange(len(own)), seen.who] = unit
    floor_rows = np.concatenate([unit[:, None], own], axis=1)
    n_log, cell, n_cells = layout.n_log, seen.cell, seen.n_cells
    starts = np.flatnonzero(np.diff(cell, prepend=-1))
    spread = 1 / seen.n_averages + model_std(seen.x, layout.x_limit) ** 2
    model = seen.density.copy()
    for _ in range(ROUNDS):
        gain = np.exp(rows @ theta[:n_log])
        weight = 1 / (model**2 * spread)
        held = np.maximum(np.bincount(cell, weight * gain**2, n_cells), 1e-300)
        floor = floor_rows @ theta[n_log:] + unit * extra
        less = seen.density - floor
        truth = np.bincount(cell, weight * gain * less, n_cells) / held
        shown = gain * truth[cell]
        model = np.maximum(shown, LEAST_LEFT * seen.density) + np.maximum(floor, 0.0)
        residual = less - shown
        jacobian = np.concatenate([shown[:, None] * rows, floor_rows], axis=1)
        carried = np.zeros((n_cells, layout.n))
        carried[cell[starts]] = np.add.reduceat((weight * gain)[:, None] * jacobian, starts)
        slope = -carried / held[:, None]
        free = jacobian + gain[:, None] * slope[cell]
        normal = free.T @ (weight[:, None] * free) + precision
        step = np.linalg.solve(normal, free.T @ (weight * residual) + pull - precision @ theta)
        step[:n_log] = np.clip(step[:n_log], -MOST_STEP, MOST_STEP)
        theta = theta + step
        theta[n_log] = max(theta[n_log], 0.0)
        if np.abs(step).max() < 1e-9:
            break
    n_free = len(cell) - int(np.count_nonzero(np.bincount(cell, minlength=n_cells))) - layout.n_shape
    alone = shared_floor is None and all(one.floor is None for one in spectra)
    allowance = FLOOR_BY_SHAPE_ALONE if alone else 1.0
    misfit = math.sqrt(float(np.sum(weight * residual**2)) / max(n_free, 1))
    return Fit(
        theta=theta,
        covariance=np.asarray(np.linalg.inv(normal) * (allowance * max(1.0, misfit)) ** 2, dtype=np.float64),
        truth=truth,
        slope=slope,
        floor=floor,
        weight=weight,
        residual=residual,
        misfit=misfit,
    )


def fit_without_folded_edges(
    seen: Seen,
    layout: Layout,
    spectra: Sequence[NarrowSpectrum],
    shared_floor: Estimate | None,
    known_shape: KnownShape | None = None,
) -> tuple[Seen, Fit]:
    """The fit without the outer cells of recordings where more is seen than fits: what folds back at band edges."""
    for _ in range(FOLD_ROUNDS):
        fit = _fitted(seen, layout, spectra, shared_floor, known_shape)
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
    return seen, _fitted(seen, layout, spectra, shared_floor, known_shape)
