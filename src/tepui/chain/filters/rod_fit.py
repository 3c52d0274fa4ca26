"""Dimensions brought to the specification: spacings, taps, end capacitances and rod length by least squares.

Theory  Of a lossless mirror-symmetric two-port S11 / S21 = j K with K real, over a narrow band a polynomial whose
        coefficients follow frequencies and couplings smoothly: K of the dimensions (rod_line) is brought to K of the
        goal's coupled resonators, in band and on the skirts. Filters stay symmetric. The rods' common length is found
        such that the screws stand, on the mean, where they were wanted.
Source  own method; scipy.optimize.least_squares.
Holds   Starts within some ten per cent of the answer, as the textbook gives.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.resonators import coupled_scattering, tuned
from tepui.chain.filters.rod_box import RodBox
from tepui.chain.filters.rod_line import box_capacitance, gap_inductance_h, rod_scattering

Floats = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]
LOSSLESS = 1e7
REACH = 0.75
GOOD_COST = 1e-3  # of a fit that has found its sign


@dataclass(frozen=True, kw_only=True)
class Fitted:
    """A box after fitting: how far its reflection in band is from the goal's (rms), and how often it was analysed."""

    box: RodBox
    reflection_rms: float
    analyses: int


def comparison_grid(goal: FilterGoal) -> Floats:
    """Frequencies of comparison: the ripple band and a quarter of it more on either side, denser at the ends. [Hz]"""
    count = 4 * goal.poles + 5
    away = REACH * np.cos(np.pi * (np.arange(count) + 0.5) / count)[::-1] * goal.relative_width
    return np.asarray(goal.centre_hz * (away / 2 + np.sqrt(1 + away**2 / 4)))


def characteristic(s: Complex) -> Floats:
    """K, the imaginary part of S11 / S21."""
    return np.asarray((s[:, 0, 0] / s[:, 1, 0]).imag)


class _Parts:
    """Which dimensions are free, as one vector of about one, and back."""

    def __init__(self, box: RodBox, *, metal: bool, load_f: float | None) -> None:
        self.box, self.metal, self.wanted = box, metal, load_f
        self.pairs, self.rods = len(box.spacings_m) // 2 + len(box.spacings_m) % 2, (box.poles + 1) // 2
        self.scale = float(np.mean(box.load_f))
        self.line_f = float(np.mean(np.diag(box_capacitance(box)))) * 8.854e-12 * box.length_m

    @property
    def free_length(self) -> bool:
        return self.metal and self.wanted is not None

    def start(self) -> Floats:
        loads = (self.box.load_f[: self.rods] - self.scale) / self.line_f
        metal = np.concatenate([np.zeros(self.pairs), np.zeros(1)]) if self.metal else np.empty(0)
        return 1 + np.concatenate([loads, metal, np.zeros(1 if self.free_length else 0)])

    def made(self, x: Floats) -> RodBox:
        """The box of a vector: loads in parts of a rod's capacitance, spacings in plate distances, the rest in logs."""
        box, x = self.box, x - 1
        loads = np.concatenate([x[: self.rods], x[: box.poles - self.rods][::-1]]) * self.line_f + self.scale
        if not self.metal:
            return box.changed(load_f=loads)
        apart = x[self.rods : self.rods + self.pairs]
        apart = np.concatenate([apart, apart[: len(box.spacings_m) - self.pairs][::-1]]) * box.plates_m
        tap = box.taps_m[0] * float(np.exp(x[self.rods + self.pairs]))
        length = box.length_m * float(np.exp(x[-1])) if self.free_length else box.length_m
        tap = min(tap, 0.95 * length)
        spacings = np.maximum(box.spacings_m + apart, 1.12 * box.diameter_m)
        return box.changed(load_f=loads, spacings_m=spacings, taps_m=(tap, tap), length_m=length)


def fit_box(goal: FilterGoal, start: RodBox, *, metal: bool = True, load_f: float | None = None) -> Fitted:
    """The box nearest to the goal.

    metal   False leaves all metal as it is and turns the screws only
    load_f  mean end capacitance to arrive at by the rods' common length; None keeps the length
    """
    from scipy.optimize import least_squares

    grid = comparison_grid(goal)
    wanted = characteristic(coupled_scattering(tuned(goal), grid))
    in_band = np.abs(grid / goal.centre_hz - goal.centre_hz / grid) <= goal.relative_width
    weight = 1 / (1 + np.abs(wanted)) / np.sqrt(len(grid))
    parts = _Parts(_resonant(goal, start.changed(unloaded_q=LOSSLESS)), metal=metal, load_f=load_f)

    def residual(x: Floats, sign: float) -> Floats:
        box = parts.made(x)
        unlike = (sign * characteristic(rod_scattering(box, grid)) - wanted) * weight
        extra = [20 * (np.mean(box.load_f) - load_f) / parts.line_f] if load_f is not None and metal else []
        return np.concatenate([unlike, extra])

    tried: list[Any] = []
    for sign in sorted((-1.0, 1.0), key=lambda sign: float((residual(parts.start(), sign) ** 2).sum())):
        tried.append(
            least_squares(residual, parts.start(), args=(sign,), x_scale=0.02, max_nfev=40, xtol=1e-8, ftol=1e-9)
        )
        if tried[-1].cost < GOOD_COST:
            break
    found = min(tried, key=lambda one: one.cost)
    box = parts.made(found.x)
    shown = np.abs(rod_scattering(box, grid)[in_band, 0, 0]) - np.abs(wanted[in_band]) / np.hypot(1, wanted[in_band])
    rms = float(np.sqrt(np.mean(shown**2)))
    return Fitted(box=box.changed(unloaded_q=start.unloaded_q), reflection_rms=rms, analyses=int(found.nfev))


def _resonant(goal: FilterGoal, box: RodBox) -> RodBox:
    """The box with every rod resonant at the centre, its neighbours held at ground."""
    from scipy.constants import epsilon_0, speed_of_light

    omega = 2 * np.pi * goal.centre_hz
    per_length = np.diag(box_capacitance(box)) * epsilon_0 * speed_of_light
    loaded = per_length / np.tan(omega * box.length_m / speed_of_light)
    load = loaded / (omega * (1 + omega * gap_inductance_h(box) * loaded))
    return box.changed(load_f=load)
