"""Families of amplifiers that a drive series is fitted with, each a few numbers with what is known of them beforehand.

Theory  With w the envelope's power over the mean power at a reference drive, y = x g(w), g(0) = 1.
        cubic: g = 1 - 10^(q/10) w. polynomial: third order of any phase, and a fifth. rapp: smooth limit with
        p, and phase turning by phi r^2 / (1 + r^2), r the envelope over the limit. Every parameter is
        centre + spread z with z standard normal before anything is read, so that no parameter is ever undetermined.
        Any of them may get a floor: power beside the channel that the signal brings along, so many dB below it at
        every drive (side-lobes of an unfiltered modulator, a stage before the one that is turned).
Source  models.py for the forms; spreads are this program's own choice, wide enough for transistors from class A to
        class C at 0 to 20 dB below their limit.
Holds   Memoryless. A polynomial says nothing beyond the peaks of the strongest drive read.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tepui.chain.amplifiers.closed_form import Complexes, Floats
from tepui.ground.checks import require_one_of

Gain = Callable[[Floats, Floats], Complexes]


@dataclass(frozen=True, kw_only=True)
class Family:
    """One form of amplifier.

    centre, spread  of each parameter, beforehand
    gain            (parameters, w) to complex gain relative to a weak signal's
    has_floor       whether the last parameter is a floor, in dB as a shoulder reads
    """

    name: str
    parameters: tuple[str, ...]
    centre: tuple[float, ...]
    spread: tuple[float, ...]
    gain: Gain
    has_floor: bool = False

    def with_floor(self, level_db: float, std_db: float) -> "Family":
        """The same amplifier behind a signal that has a shoulder of its own."""
        return replace(
            self,
            parameters=(*self.parameters, "floor_db"),
            centre=(*self.centre, level_db),
            spread=(*self.spread, std_db),
            has_floor=True,
        )

    def floor_db(self, z: Floats) -> float:
        """Level of the floor; minus infinity without one."""
        return float(self.centre[-1] + self.spread[-1] * z[-1]) if self.has_floor else -np.inf

    def envelope(self, z: Floats, x: Complexes) -> Complexes:
        """Output for input ``x``, in units of the mean amplitude at the reference drive; weak signals pass as 1."""
        theta = np.asarray(self.centre) + np.asarray(self.spread) * z
        return np.asarray(x * self.gain(theta, np.abs(x) ** 2))


def _cubic(theta: Floats, w: Floats) -> Complexes:
    return np.asarray(1 - 10 ** (theta[0] / 10) * w, dtype=np.complex128)


def _polynomial(theta: Floats, w: Floats) -> Complexes:
    third = 10 ** (theta[0] / 10)
    return np.asarray(1 - third * np.exp(1j * theta[1]) * w + (theta[2] + 1j * theta[3]) * (third * w) ** 2)


def _rapp(theta: Floats, w: Floats) -> Complexes:
    square = w * 10 ** (-theta[0] / 10)
    p, phi = np.exp(np.clip(theta[1], -1.5, 3.0)), np.exp(np.clip(theta[2], -8.0, 1.5))
    return np.asarray((1 + square**p) ** (-0.5 / p) * np.exp(1j * phi * square / (1 + square)))


FAMILIES = {
    family.name: family
    for family in (
        Family(name="cubic", parameters=("third_db",), centre=(-14.0,), spread=(8.0,), gain=_cubic),
        Family(
            name="polynomial",
            parameters=("third_db", "third_phase_rad", "fifth_real", "fifth_imaginary"),
            centre=(-14.0, 0.5, 0.0, 0.0),
            spread=(8.0, 0.5, 1.5, 1.5),
            gain=_polynomial,
        ),
        Family(
            name="rapp",
            parameters=("backoff_db", "log_smoothness", "log_phase"),
            centre=(8.0, float(np.log(2.0)), float(np.log(0.15))),
            spread=(5.0, 0.5, 1.0),
            gain=_rapp,
        ),
    )
}


def family_named(name: str) -> Family:
    """The family of that name.

    raises  ChoiceError
    """
    require_one_of("model", name, tuple(FAMILIES), source="families that tepui fits")
    return FAMILIES[name]


def relative_drive(setting_db: npt.ArrayLike, *, reference_db: float) -> Floats:
    """Mean power at each setting over that at the reference. (n,) [1]"""
    return np.asarray(10 ** ((np.asarray(setting_db, dtype=np.float64) - reference_db) / 10))
