"""Fitting an amplifier to a drive series: what the readings say of the curve, and how far they may be trusted.

Theory  Bayesian least squares. Unknown: the family's parameters; what no family holds (a departure in decibels along
        the drive, alike over some 3 dB, small); the baseline under the shoulders; what all readings of one instrument
        have in common; the gain; and, if asked for, a floor that the signal brings along. All are standard normal
        beforehand, so the best fit minimises misfit + |z|^2 and its covariance is (J^T J)^-1. A shoulder shows
        distortion, floor and baseline added as powers; so readings drowned in the baseline count for what they hold,
        and no more. Families are weighed by their evidence (Laplace).
Source  D. J. C. MacKay 1992, Neural Computation 4, 415-447 (evidence); Kennedy and O'Hagan 2001, J. R. Stat. Soc. B 63,
        425-464 (departure from the model as a Gaussian process); [GUM-S1] for intervals.
Holds   Doubts small enough that curves are straight within them. The departure's size, DEPARTURE_DB, is this
        program's own choice: it covers amplifiers of other forms than the families in 500 simulated cases.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.special import chdtrc, ndtr

from tepui.chain.amplifiers.closed_form import Complexes, Floats, expand
from tepui.chain.amplifiers.drive_curve import WaveformView, mer_of, shoulder_of
from tepui.chain.amplifiers.families import FAMILIES, Family, relative_drive
from tepui.chain.amplifiers.output_crest import output_ccdf, output_crest_db
from tepui.ground.doubt import Estimate, estimate
from tepui.ground.errors import RangeError

DEPARTURE_DB = 0.3
DEPARTURE_POWER_DB = 0.4
ALIKE_OVER_DB = 3.0
GAIN_SPREAD_DB = 30.0
STEP = 1e-4
KEPT = 32
MOST_STEPS = 60
LEAST_WEIGHT = 1e-3  # of a fit that counts
HALVINGS = 50
BY_CHANCE = 1e-3  # odds below which readings are said to scatter too much
PLAIN = 0.5  # beforehand, that the signal brings no floor along
SETTLED = 1e-4  # of misfit + |z|^2, which is of order the number of readings


@dataclass(frozen=True, kw_only=True, eq=False)
class DriveData:
    """Readings as arrays.

    setting_db       (n,) drive of each shoulder
    shoulder_db      (n,) as shown, baseline and all
    shoulder_std_db  (n,) what is each reading's own; ``common_std_db`` (n,) what all share, with the same sign
    on_baseline      (n,) whether the baseline lies under it
    baseline_db, baseline_std_db   None where there is none
    power_setting_db, power_dbm, power_std_db   (m,) output levels; m may be 0
    """

    setting_db: Floats
    shoulder_db: Floats
    shoulder_std_db: Floats
    common_std_db: Floats
    on_baseline: npt.NDArray[np.bool_]
    baseline_db: float | None = None
    baseline_std_db: float = 0.0
    power_setting_db: Floats = field(default_factory=lambda: np.zeros(0))
    power_dbm: Floats = field(default_factory=lambda: np.zeros(0))
    power_std_db: Floats = field(default_factory=lambda: np.zeros(0))

    @property
    def reference_db(self) -> float:
        """The drive that parameters refer to: the highest read."""
        return float(self.setting_db.max())


@dataclass(frozen=True, kw_only=True, eq=False)
class Curves:
    """A quantity against drive as a mixture of Gaussians, one a fit.

    weights       (k,) of the fits, together 1
    means, stds   (k, n)
    """

    weights: Floats
    means: Floats
    stds: Floats

    @cached_property
    def value(self) -> Floats:
        """Even odds. (n,)"""
        return self.at_odds(0.5)

    @cached_property
    def std(self) -> Floats:
        """Standard uncertainty, what the fits differ by included. (n,)"""
        away = self.means - self.weights @ self.means
        return np.asarray(np.sqrt(self.weights @ (self.stds**2 + away**2)))

    def at_odds(self, odds: float) -> Floats:
        """Level that the quantity stays below with a probability. (n,)"""
        low, high = (self.means - 9 * self.stds).min(axis=0), (self.means + 9 * self.stds).max(axis=0)
        for _ in range(HALVINGS):
            middle = (low + high) / 2
            below = self.weights @ ndtr((middle - self.means) / np.maximum(self.stds, 1e-9)) < odds
            low, high = np.where(below, middle, low), np.where(below, high, middle)
        return np.asarray((low + high) / 2)


@dataclass(frozen=True, kw_only=True, eq=False)
class FamilyFit:
    """One family's best fit.

    z           all unknowns, standard normal beforehand
    covariance  of ``z``
    evidence    logarithm, up to what all families share
    cost        what was minimised: squared residuals over their doubts, and |z|^2
    """

    family: Family
    z: Floats
    covariance: Floats
    evidence: float
    cost: float


@dataclass(frozen=True, kw_only=True, eq=False)
class AmplifierFit:
    """Every family that was tried, and its weight; predictions are their mixture."""

    fits: tuple[FamilyFit, ...]
    weights: Floats
    problem: "_Problem"

    @property
    def best(self) -> FamilyFit:
        """The family with the largest weight."""
        return self.fits[int(np.argmax(self.weights))]

    @property
    def strain(self) -> float:
        """By how much the readings scatter more than their doubts: a factor, 1 where chance explains it.

        What was minimised follows a chi-squared law of as many degrees as there are readings, if all doubts are true.
        """
        n, cost = self.problem.n_readings, self.best.cost
        return math.sqrt(cost / n) if chdtrc(n, cost) < BY_CHANCE else 1.0

    def between(self, setting_db: float) -> float:
        """What the choice among families adds to the shoulder's standard uncertainty at one setting. [dB]"""
        at = np.array([setting_db])
        values = np.array([self.problem.predict("shoulder", fit.family, fit.z, at)[0] for fit in self.fits])
        mean = float(self.weights @ values)
        return float(np.sqrt(self.weights @ (values - mean) ** 2))

    def shoulder(self, setting_db: npt.ArrayLike) -> Curves:
        """Shoulder behind the amplifier, baseline taken off. [dB]"""
        return self._mixed("shoulder", setting_db)

    def bare(self, setting_db: npt.ArrayLike) -> Curves:
        """Shoulder that the amplifier itself makes, without the floor that the signal brings along. [dB]"""
        return self._mixed("bare", setting_db)

    @property
    def floor(self) -> tuple[float, Estimate | None]:
        """How surely the signal brings a floor along, and where it lies; None where no fit has one."""
        having = [(w, fit) for w, fit in zip(self.weights, self.fits, strict=True) if fit.family.has_floor]
        total = float(sum(weight for weight, _ in having))
        if total <= 0:
            return 0.0, None
        share = np.array([weight for weight, _ in having]) / total
        at = [len(fit.family.centre) - 1 for _, fit in having]
        level = np.array([fit.family.floor_db(fit.z[: n + 1]) for n, (_, fit) in zip(at, having, strict=True)])
        own = np.array(
            [fit.family.spread[-1] ** 2 * fit.covariance[n, n] for n, (_, fit) in zip(at, having, strict=True)]
        )
        mean = float(share @ level)
        return total, estimate(mean, fit=float(np.sqrt(share @ (own + (level - mean) ** 2))))

    def power(self, setting_db: npt.ArrayLike) -> Curves:
        """Output level; only where powers were read. [dBm]

        raises  RangeError where none was
        """
        if not len(self.problem.data.power_dbm):
            raise RangeError("No output power was read; give power_dbm to have it predicted.")
        return self._mixed("power", setting_db)

    def mer(self, setting_db: npt.ArrayLike) -> Curves:
        """MER that the distortion alone would leave. [dB]"""
        return self._mixed("mer", setting_db)

    def compression(self, setting_db: npt.ArrayLike) -> Curves:
        """Fall of the gain against a weak signal's. [dB]"""
        return self._mixed("compression", setting_db)

    def crest(self, setting_db: npt.ArrayLike) -> Curves:
        """Level over the mean that the output envelope passes one time in ten thousand. [dB]"""
        return self._mixed("crest", setting_db)

    def ccdf(self, setting_db: float, level_db: npt.ArrayLike) -> Floats:
        """Probability of the output envelope to pass levels over its mean at one setting. (n,)"""
        drive = float(relative_drive(setting_db, reference_db=self.problem.data.reference_db))
        rows = [
            output_ccdf(lambda x, fit=fit: fit.family.envelope(fit.z[: len(fit.family.centre)], x), drive, level_db)  # type: ignore[misc]
            for fit in self.fits
        ]
        return np.asarray(self.weights @ np.array(rows))

    def _mixed(self, what: str, setting_db: npt.ArrayLike) -> Curves:
        setting = np.atleast_1d(np.asarray(setting_db, dtype=np.float64))
        kept = [(weight, fit) for fit, weight in zip(self.fits, self.weights, strict=True) if weight >= LEAST_WEIGHT]
        means, stds = [], []
        for _, fit in kept:
            means.append(self.problem.predict(what, fit.family, fit.z, setting))
            slope = self.problem.slope_of(what, fit.family, fit.z, setting)
            stds.append(np.sqrt(np.einsum("ni,ij,nj->n", slope, fit.covariance, slope)))
        weights = np.array([weight for weight, _ in kept])
        return Curves(weights=weights / weights.sum(), means=np.array(means), stds=np.array(stds))


class _Problem:
    """The unknowns in a row: family | departure of shoulders | of powers | gain | baseline | common."""

    def __init__(self, data: DriveData, view: WaveformView) -> None:
        self.data, self.view = data, view
        n, m = len(data.setting_db), len(data.power_dbm)
        self._knots = np.unique(np.concatenate([data.setting_db, data.power_setting_db]))
        kernel = _alike(self._knots, self._knots) + 1e-6 * np.eye(len(self._knots))
        self._to_knots = np.linalg.inv(np.linalg.cholesky(kernel)).T
        q = len(self._knots)
        self.n_extra = q + (q + 1 if m else 0) + (1 if data.baseline_db is not None else 0) + 1
        self.n_readings = n + m
        self._q, self._has_power = q, bool(m)
        self._kept: dict[tuple[str, bytes, bytes], Complexes] = {}

    def _departure(self, setting: Floats) -> Floats:
        """Rows that turn knots' z into a departure of unit size at each setting. (n, q)"""
        return np.asarray(_alike(setting, self._knots) @ self._to_knots)

    def _split(self, extra: Floats) -> tuple[Floats, Floats, float, float, float]:
        q, at = self._q, self._q
        shoulder, power, gain = extra[:q], np.zeros(q), 0.0
        if self._has_power:
            power, gain, at = extra[q : 2 * q], float(extra[2 * q]), 2 * q + 1
        base = 0.0
        if self.data.baseline_db is not None:
            base, at = float(extra[at]), at + 1
        return shoulder, power, gain, base, float(extra[at])

    def _coefficients(self, family: Family, z: Floats, setting: Floats) -> Complexes:
        """Closed form at each setting; the last few are kept, for most unknowns leave them as they are."""
        own = z[:-1] if family.has_floor else z
        key = (family.name, own.tobytes(), setting.tobytes())
        if key not in self._kept:
            if len(self._kept) > KEPT:
                self._kept.clear()
            drive = relative_drive(setting, reference_db=self.data.reference_db)
            self._kept[key] = expand(lambda x: family.envelope(z, x), drive)
        return self._kept[key]

    def _gain_guess_db(self) -> float:
        return float(np.median(self.data.power_dbm - self.data.power_setting_db))

    def predict(self, what: str, family: Family, z: Floats, setting: Floats) -> Floats:
        """One quantity at some settings for one set of unknowns. (n,)"""
        size = len(family.centre)
        if what == "crest":
            drive = relative_drive(setting, reference_db=self.data.reference_db)
            return output_crest_db(lambda x: family.envelope(z[:size], x), drive)
        coefficients = self._coefficients(family, z[:size], setting)
        shoulder, power, gain, _, _ = self._split(z[size:])
        if what in ("shoulder", "bare"):
            level = shoulder_of(coefficients, self.view) + DEPARTURE_DB * (self._departure(setting) @ shoulder)
            return level if what == "bare" else _joined(level, family.floor_db(z[:size]))
        if what == "mer":
            return mer_of(coefficients, self.view) - DEPARTURE_DB * (self._departure(setting) @ shoulder)
        drive = relative_drive(setting, reference_db=self.data.reference_db)
        squared = np.abs(coefficients) ** 2
        if what == "compression":
            return np.asarray(-10 * np.log10(squared[:, 0] / drive))
        level = 10 * np.log10(squared.sum(axis=1) / drive) + setting
        departure = DEPARTURE_POWER_DB * (self._departure(setting) @ power)
        return np.asarray(level + self._gain_guess_db() + GAIN_SPREAD_DB * gain + departure)

    def slope_of(self, what: str, family: Family, z: Floats, setting: Floats) -> Floats:
        """Change of ``predict`` with each unknown. (n, n_unknowns)"""
        columns = []
        middle = self.predict(what, family, z, setting)
        for number in range(len(z)):
            moved = z.copy()
            moved[number] += STEP
            columns.append((self.predict(what, family, moved, setting) - middle) / STEP)
        return np.stack(columns, axis=1)

    def residuals(self, family: Family, z: Floats) -> Floats:
        """Misfit of each reading over its doubt. (n_readings,)"""
        data = self.data
        *_, base, common = self._split(z[len(family.centre) :])
        shown = self.predict("shoulder", family, z, data.setting_db)
        if data.baseline_db is not None:
            floor = data.baseline_db + data.baseline_std_db * base
            shown = np.where(data.on_baseline, _joined(shown, floor), shown)
        rest = (data.shoulder_db - shown - data.common_std_db * common) / data.shoulder_std_db
        if not self._has_power:
            return np.asarray(rest)
        power = self.predict("power", family, z, data.power_setting_db)
        return np.concatenate([rest, (data.power_dbm - power) / data.power_std_db])


def _joined(level_db: Floats, floor_db: float) -> Floats:
    """Powers added. (n,) [dB]"""
    return np.asarray(10 * np.log10(10 ** (level_db / 10) + 10 ** (floor_db / 10)))


def _alike(a: Floats, b: Floats) -> Floats:
    return np.asarray(np.exp(-0.5 * ((a[:, None] - b[None, :]) / ALIKE_OVER_DB) ** 2))


def _fit_family(family: Family, problem: _Problem) -> FamilyFit:
    """Levenberg's way down from the place beforehand, scanned for the first parameter."""
    size = len(family.centre) + problem.n_extra
    z = np.zeros(size)

    def cost(at: Floats) -> float:
        rest = problem.residuals(family, at)
        return float(rest @ rest + at @ at)

    tries = []
    for first in np.linspace(-2.5, 2.5, 21):
        z[0] = first
        tries.append((cost(z), first))
    z[0] = min(tries)[1]
    now, damping = cost(z), 1e-2
    jacobian = np.zeros((problem.n_readings, size))
    for _ in range(MOST_STEPS):
        rest = problem.residuals(family, z)
        for number in range(size):
            moved = z.copy()
            moved[number] += STEP
            jacobian[:, number] = (problem.residuals(family, moved) - rest) / STEP
        normal, downhill = jacobian.T @ jacobian + np.eye(size), jacobian.T @ rest + z
        gained = 0.0
        for _ in range(12):
            move = np.linalg.solve(normal + damping * np.diag(np.diag(normal)), -downhill)
            there = cost(z + move)
            if there < now:
                gained, now, z, damping = now - there, there, z + move, damping / 5
                break
            damping *= 4
        if gained < SETTLED:
            break
    covariance: Floats = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    _, log_volume = np.linalg.slogdet(covariance)
    return FamilyFit(family=family, z=z, covariance=covariance, evidence=-0.5 * now + 0.5 * log_volume, cost=now)


def fit_amplifier(
    data: DriveData,
    view: WaveformView,
    *,
    families: Sequence[str] = tuple(FAMILIES),
    floors: Sequence[tuple[float, float]] = (),
) -> AmplifierFit:
    """Fit every named family and weigh them.

    floors  level and its doubt, in dB as shoulders read, of each kind of floor that the signal may bring along; every
            family is tried without one and with each
    raises  RangeError for fewer than two drives
    """
    if len(np.unique(data.setting_db)) < 2:
        raise RangeError("A drive curve needs shoulders at two settings or more; read one more, a dB or two away.")
    problem = _Problem(data, view)
    plain = [FAMILIES[name] for name in families]
    tried = plain + [family.with_floor(level, std) for level, std in floors for family in plain]
    fits = tuple(_fit_family(family, problem) for family in tried)
    before = [1.0 if not floors else (1 - PLAIN) / len(floors) if fit.family.has_floor else PLAIN for fit in fits]
    evidence = np.array([fit.evidence for fit in fits]) + np.log(before)
    weights = np.exp(evidence - evidence.max())
    return AmplifierFit(fits=fits, weights=weights / weights.sum(), problem=problem)
