"""What the size of S21 alone tells of a filter, its unloaded Q being known.

Theory  |S21| and Qu fix the poles E and the height c of S21 = c / E, and F F* = E E* - c^2 holds the zeros of the
        reflection, each on one side of the axis or the other: up to 2^n filters have the same |S21|, in pairs that are
        each other's mirror image. One is found by least squares, the others by moving zeros across the axis and
        dividing E by E - F again (filter_start.chain_of). Those whose couplings are like the goal's are told apart no
        further: the interval of a rod encloses them all.
Source  the factorisation of a lossless two-port, as D. Youla and others have it, from memory; own arrangement.
Holds   Equal unloaded Qs, known to some ten per cent; an absolute loss, the cables' own taken off.
"""

import itertools
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.chain.filters.goal import FilterGoal
from tepui.evidence.filter_model import Model, Sweep
from tepui.evidence.filter_start import chain_of
from tepui.ground.doubt import COVERAGE_FACTOR

Floats = npt.NDArray[np.float64]
Complex = npt.NDArray[np.inexact[Any]]
RELATIVE, FLOOR = 0.02, 0.003  # doubt of a point: of its size, and of a floor near -50 dB
ALIKE = 0.22  # of the logarithm of couplings and loads: metal that was made for the goal
FARTHEST = 1.0  # widths that a rod may be off and the filter still be meant
TRIES = 12
TRUSTED = 2.5  # misfit in doubts of a point up to which the model is believed


@dataclass(frozen=True, kw_only=True, eq=False)
class ScalarFit:
    """Filters that |S21| allows, the likeliest first, and how far they leave the trace, in doubts of a point.

    solutions  (m, 2 n + 1): shifts over the width, log couplings, two log external Qs
    std        (2 n + 1,) of the first
    """

    solutions: Floats
    std: Floats
    misfit: float
    poles: int

    @property
    def trusted(self) -> bool:
        """Whether the model explains the trace."""
        return self.misfit <= TRUSTED

    def interval(self, place: int) -> tuple[float, float, float]:
        """Value, low and high of a parameter over every filter allowed."""
        column, half = self.solutions[:, place], COVERAGE_FACTOR * self.std[place]
        return float(column[0]), float(column.min() - half), float(column.max() + half)


def scalar_fit(sweep: Sweep, goal: FilterGoal, *, unloaded_q: float) -> ScalarFit:
    """The filters near a goal that have the |S21| of a sweep (its row ``s21``, phase of no account)."""
    n = goal.poles
    model = Model(Sweep(frequency_hz=sweep.frequency_hz, rows={"s21": sweep.rows["s21"]},
                        centre_hz=sweep.centre_hz, width_hz=sweep.width_hz), n)  # fmt: skip
    size = np.abs(sweep.rows["s21"])
    doubt = np.hypot(RELATIVE * size, FLOOR)
    loss = 1 / (unloaded_q * model.w)
    first = _nearest(model, goal, size, doubt, loss)
    found = [first]
    for guess in _relatives(first[0], model):
        refined = _refined(model, guess, size, doubt, loss)
        if refined[1] < 1.05 * first[1] + 0.05 and np.abs(refined[0][:n]).max() <= FARTHEST:
            found.append(refined)
    wanted = np.concatenate([np.log(goal.couplings), np.log([goal.external_q] * 2)])
    scored = sorted((float(np.abs(v[n : 2 * n + 1] - wanted).max()), place) for place, (v, _, _) in enumerate(found))
    limit = max(ALIKE, 1.2 * scored[0][0])
    kept = [found[place] for score, place in scored if score <= limit]
    best = kept[0]
    oriented = [_like(best[0], v, n) for v, _, _ in kept]
    grown = best[2]
    covariance = np.linalg.pinv(grown.T @ grown) * max(best[1], 0.3) ** 2
    return ScalarFit(
        solutions=np.array(oriented), std=np.sqrt(np.maximum(np.diag(covariance), 0)), misfit=best[1], poles=n
    )


def mirrored(v: Floats, poles: int) -> Floats:
    """The same filter seen from its other port."""
    n = poles
    return np.concatenate([v[:n][::-1], v[n : 2 * n - 1][::-1], v[2 * n - 1 : 2 * n + 1][::-1]])


def _like(one: Floats, other: Floats, poles: int) -> Floats:
    """``other`` or its mirror image, whichever is nearer to ``one``."""
    turned = mirrored(other, poles)
    return other if np.abs(other - one).sum() <= np.abs(turned - one).sum() else turned


def _nearest(model: Model, goal: FilterGoal, size: Floats, doubt: Floats, loss: float) -> tuple[Floats, float, Floats]:
    """One filter that explains the trace."""
    n = goal.poles
    rng = np.random.default_rng(n)
    power = size**2
    middle = float(np.average(model.f, weights=power))
    start = np.concatenate([
        np.full(n, (middle - model.sweep.centre_hz) / model.sweep.width_hz),
        np.log(goal.couplings), np.log([goal.external_q] * 2),
    ])  # fmt: skip
    best = None
    for number in range(TRIES):
        guess = start.copy()
        if number:
            guess[:n] += 0.3 * rng.standard_normal(n)
            guess[n:] += 0.1 * rng.standard_normal(n + 1)
        found = _refined(model, guess, size, doubt, loss)
        if best is None or found[1] < best[1]:
            best = found
        if best[1] < 1.0:
            break
    assert best is not None
    return best


def _refined(model: Model, guess: Floats, size: Floats, doubt: Floats, loss: float) -> tuple[Floats, float, Floats]:
    """Least squares from a guess: parameters, misfit in doubts of a point, slopes."""
    from scipy.optimize import least_squares

    n = model.n
    whole = np.zeros(model.size)
    whole[2 * n + 1] = loss

    def row(x: Floats) -> tuple[Complex, Complex]:
        whole[: 2 * n + 1] = x
        values, slopes = model.evaluate(whole)
        return values["s21"], slopes["s21"][:, : 2 * n + 1]

    def residual(x: Floats) -> Floats:
        return np.asarray((np.abs(row(x)[0]) - size) / doubt)

    def jacobian(x: Floats) -> Floats:
        value, slope = row(x)
        along = (value.conj()[:, None] * slope).real / np.maximum(np.abs(value), 1e-12)[:, None]
        return np.asarray(along / doubt[:, None])

    found = least_squares(residual, guess, jac=jacobian, method="lm", x_scale="jac", max_nfev=60)
    return found.x, float(np.sqrt(np.mean(found.fun**2))), np.asarray(found.jac)


def _relatives(v: Floats, model: Model) -> list[Floats]:
    """Other filters of the same |S21|, as starts: zeros of the reflection moved across the axis."""
    n, w = model.n, model.w
    k = np.exp(v[n : 2 * n - 1]) / w
    loads = np.exp(-v[2 * n - 1 : 2 * n + 1]) / w
    matrix = np.diag(2j * v[:n]).astype(complex)
    matrix[0, 0] -= loads[0]
    matrix[-1, -1] -= loads[1]
    at = np.arange(n - 1)
    matrix[at, at + 1] = matrix[at + 1, at] = 1j * k
    poles = np.linalg.eigvals(matrix)
    height = 2 * np.sqrt(loads[0] * loads[1]) * np.prod(k)
    below = np.poly(poles)
    parity = (-1.0) ** np.arange(n, -1, -1)
    across = np.convolve(below, below.conj() * parity)
    across[-1] -= height**2
    roots = np.roots(across)
    left = roots[np.argsort(roots.real)][:n]
    found = []
    for sides in itertools.product((False, True), repeat=n - 1):
        chosen = np.where([False, *sides], -left.conj(), left)
        diagonal, between, load = chain_of(below, np.poly(chosen))
        last = 2 * float(diagonal[-1].real) if n > 1 else load
        if not (load > 0 and last > 0 and (between > 0).all()):
            continue
        found.append(
            np.concatenate([
                np.clip(-diagonal.imag / 2, -2, 2), np.log(between[: n - 1] * w),
                [-np.log(load / 2 * w), -np.log(max(last / 2, 1e-3) * w)],
            ])
        )  # fmt: skip
    return found
