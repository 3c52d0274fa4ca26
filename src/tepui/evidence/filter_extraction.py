"""Resonators, couplings and Qs out of a measured response, each with its doubt.

Theory  Least squares of all complex points on the coupled-resonator model, started from a rational fit; the standard
        uncertainties are those of the linearised fit with the scatter that is left. Misfit above the trace's own noise
        starts the search again from elsewhere; what then remains is told as ``misfit`` and widens every doubt.
Source  scipy.optimize.least_squares; noise from third differences of neighbouring points. [GUM] H.3 for the fit.
Holds   2 to 7 in-line resonators of equal unloaded Q; a sweep of two to eight bandwidths.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.evidence.filter_model import Model, Sweep, row_noises
from tepui.evidence.filter_start import first_guess, port_delays
from tepui.ground.doubt import Estimate
from tepui.ground.errors import RangeError

Floats = npt.NDArray[np.float64]
ENOUGH = 1.25  # of the trace's own noise, above which the search goes on
TRIES = 14
NEGLIGIBLE = 5e-4  # misfit below which no search is worth its time
FAIR, SAME = 0.05, 0.02  # two starts that end alike, and not badly, have found what there is
LEAST_POINTS = 21
NOTHING_BEHIND = 12.0  # logarithm of the external Q of a side that nothing is connected to


@dataclass(frozen=True, kw_only=True, eq=False)
class Extraction:
    """What a response tells of the filter behind it.

    resonator_hz, couplings, q_first, q_last, unloaded_q  with their doubts; None where the rows do not tell
    delay_s     of the ports, one way
    parameters  as ``filter_model.Model`` has them, for redrawing;  covariance  of the same
    noise, misfit  rms of the trace's own noise and of what the fit leaves, per complex point
    """

    resonator_hz: tuple[Estimate, ...]
    couplings: tuple[Estimate, ...]
    q_first: Estimate | None
    q_last: Estimate | None
    unloaded_q: Estimate | None
    delay_s: tuple[Estimate | None, Estimate | None]
    parameters: Floats
    covariance: Floats
    noise: float
    misfit: float

    @property
    def trusted(self) -> bool:
        """Whether the model explains the trace to its own noise, or to -40 dB."""
        return self.misfit <= max(1.6 * self.noise, 0.01)


def extract(sweep: Sweep, poles: int, *, loss: float | None = None, ends_here: bool = False) -> Extraction:
    """The filter behind a response.

    loss       w / Qu held at this value; None finds it
    ends_here  nothing is connected behind the last resonator (a step of the tuning sequence)
    raises  RangeError where there are fewer points than the model needs
    """
    model = Model(sweep, poles)
    points = len(sweep.frequency_hz)
    if points < max(LEAST_POINTS, 4 * poles):
        raise RangeError(
            f"{points} points are too few for {poles} resonators; sweep at least {max(LEAST_POINTS, 4 * poles)}, "
            "better 201, over four bandwidths."
        )
    free = model.free(lossy=loss is None)
    free[2 * poles] &= not ends_here
    noise = float(np.sqrt(np.mean([one**2 for one in row_noises(sweep).values()])))
    best = None
    for start in _starts(sweep, poles, model):
        if loss is not None:
            start[2 * poles + 1] = loss
        if ends_here:
            start[2 * poles] = NOTHING_BEHIND
        found = _fitted(model, start, free)
        again = best is not None and abs(found[1] - best[1]) < SAME * best[1]
        if best is None or found[1] < best[1]:
            best = found
        if best[1] < max(ENOUGH * noise, NEGLIGIBLE) or (again and best[1] < FAIR):
            break
    assert best is not None
    return _told(model, best[0], free, noise=noise, misfit=best[1], loss=loss)


def _starts(sweep: Sweep, poles: int, model: Model) -> Any:
    """First guesses, the likeliest first, lazily."""
    rng = np.random.default_rng(poles)
    delays = port_delays(sweep, poles)
    guesses = []
    for step in (0.0, 0.003, -0.003, 0.01, -0.01):
        guess, misfit = first_guess(sweep, poles, delays=(delays[0] + step, delays[1] + step))
        guesses.append((misfit, guess))
    guesses.sort(key=lambda pair: pair[0])
    for _, guess in guesses[:3]:
        yield _aligned(model, guess)
    base = guesses[0][1]
    w = model.w
    for number in range(TRIES):
        guess = base.copy()
        if number % 2 == 0:
            guess[:poles] = np.median(base[:poles]) + 0.25 * rng.standard_normal(poles)
            guess[poles : 2 * poles - 1] = np.log(0.7 * w)
        else:
            guess[: 2 * poles - 1] += 0.15 * rng.standard_normal(2 * poles - 1)
        guess[2 * poles - 1 : 2 * poles + 1] = np.log(1 / w) + 0.1 * rng.standard_normal(2)
        yield _aligned(model, guess)


def _aligned(model: Model, v: Floats) -> Floats:
    """The guess with the far port's phase (and, without S22, its delay) turned to S21 as measured."""
    n, rows = model.n, model.sweep.rows
    if "s21" not in rows:
        return v
    v = v.copy()
    if "s22" not in rows:
        best, place = -1.0, (0.0, 0.0)
        for delay in np.linspace(-1.5, 1.5, 61) + v[2 * n + 4]:
            v[2 * n + 3], v[2 * n + 5] = 0.0, delay
            overlap = _overlap(model, v)
            if abs(overlap) > best:
                best, place = abs(overlap), (float(np.angle(overlap)), float(delay))
        v[2 * n + 3], v[2 * n + 5] = place
    elif _overlap(model, v).real < 0:
        v[2 * n + 3] += np.pi
    return v


def _overlap(model: Model, v: Floats) -> complex:
    values, _ = model.evaluate(v)
    return complex(np.vdot(values["s21"], model.sweep.rows["s21"]))


def _fitted(model: Model, start: Floats, free: npt.NDArray[np.bool_]) -> tuple[Floats, float]:
    """The nearest least-squares solution and its rms misfit per complex point."""
    from scipy.optimize import least_squares

    whole = start.copy()

    def spread(x: Floats) -> Floats:
        whole[free] = x
        return whole

    found = least_squares(
        lambda x: model.residual(spread(x)),
        start[free],
        jac=lambda x: model.jacobian(spread(x))[:, free],
        method="lm",
        x_scale="jac",
        max_nfev=60,
        xtol=1e-8,
        ftol=1e-8,
    )
    count = len(found.fun) // 2
    return spread(found.x).copy(), float(np.sqrt(np.sum(found.fun**2) / count))


def _told(
    model: Model, v: Floats, free: npt.NDArray[np.bool_], *, noise: float, misfit: float, loss: float | None
) -> Extraction:
    grown = model.jacobian(v)[:, free]
    degrees = max(len(grown) - int(free.sum()), 1)
    scatter = misfit**2 * (len(grown) / 2) / degrees
    covariance = np.zeros((model.size, model.size))
    covariance[np.ix_(free, free)] = np.linalg.pinv(grown.T @ grown) * scatter
    std = np.sqrt(np.maximum(np.diag(covariance), 0))
    n, fc, width = model.n, model.sweep.centre_hz, model.sweep.width_hz

    def logarithmic(place: int) -> Estimate:
        value = float(np.exp(v[place]))
        return Estimate(value=value, std=value * float(std[place]), contributions={"trace": value * float(std[place])})

    resonators = tuple(
        Estimate(value=float(fc + v[i] * width), std=float(std[i] * width), contributions={"trace": float(std[i])})
        for i in range(n)
    )
    lossy = v[2 * n + 1] if loss is None else loss
    unloaded = None
    if lossy > 0:
        value = 1 / (lossy * model.w)
        unloaded = Estimate(value=float(value), std=float(value * std[2 * n + 1] / lossy))
    delays = tuple(
        Estimate(value=float(-v[2 * n + 4 + port] / width), std=float(std[2 * n + 4 + port] / width))
        if free[2 * n + 4 + port]
        else None
        for port in (0, 1)
    )
    return Extraction(
        resonator_hz=resonators,
        couplings=tuple(logarithmic(n + i) for i in range(n - 1)),
        q_first=logarithmic(2 * n - 1),
        q_last=logarithmic(2 * n),
        unloaded_q=unloaded,
        delay_s=(delays[0], delays[1]),
        parameters=v.copy(),
        covariance=covariance,
        noise=noise,
        misfit=misfit,
    )
