"""A chain of coupled resonators: its response from frequencies, couplings, external Qs and unloaded Q.

Theory  A = diag(1 / Qe) + diag(1 / Qu + j (f/f_i - f_i/f)) - j k; S21 = 2 (A^-1)_n1 / sqrt(Qe1 Qen),
        S11 = 1 - 2 (A^-1)_11 / Qe1, S22 likewise. Each row is the sum of currents at one resonator over its slope.
Source  J.-S. Hong and M. Lancaster 2001, general coupling matrix [A] = [q] + p[U] - j[m], from memory; here with each
        resonator's own frequency in place of m_ii, which is exact for detuned parallel resonators.
Holds   Couplings that do not change with frequency; a single pass band.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.chain.filters.goal import FilterGoal
from tepui.ground.checks import require_positive
from tepui.signals.arrays import read_only_floats
from tepui.signals.twoport import TwoPort

Floats = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complex128]


@dataclass(frozen=True, kw_only=True, eq=False)
class CoupledFilter:
    """Resonators in a row.

    resonator_hz   (n,)
    couplings      (n - 1,) k of neighbours
    q_first, q_last  external Qs;  unloaded_q  of every resonator, inf where lossless
    """

    resonator_hz: Floats
    couplings: Floats
    q_first: float
    q_last: float
    unloaded_q: float

    def __post_init__(self) -> None:
        frequencies = read_only_floats(self.resonator_hz, name="resonator_hz")
        object.__setattr__(self, "resonator_hz", frequencies)
        if len(frequencies) > 1:
            named = read_only_floats(self.couplings, name="couplings", n=len(frequencies) - 1)
            object.__setattr__(self, "couplings", named)
        require_positive("q_first", self.q_first, unit="1")
        require_positive("q_last", self.q_last, unit="1")


def tuned(goal: FilterGoal, *, unloaded_q: float = np.inf) -> CoupledFilter:
    """The filter that meets a goal exactly."""
    return CoupledFilter(
        resonator_hz=np.full(goal.poles, goal.centre_hz),
        couplings=goal.couplings,
        q_first=goal.external_q,
        q_last=goal.external_q,
        unloaded_q=unloaded_q,
    )


def chain_matrix(made: CoupledFilter, frequency_hz: Floats) -> Complex:
    """A of the head of this module at every frequency. (n_frequencies, n, n)"""
    f = np.asarray(frequency_hz, dtype=np.float64)[:, None]
    n = len(made.resonator_hz)
    diagonal = 1 / made.unloaded_q + 1j * (f / made.resonator_hz - made.resonator_hz / f)
    diagonal[:, 0] += 1 / made.q_first
    diagonal[:, -1] += 1 / made.q_last
    matrix = np.zeros((len(f), n, n), dtype=complex)
    at = np.arange(n)
    matrix[:, at, at] = diagonal
    for i in range(n - 1):
        matrix[:, i, i + 1] = matrix[:, i + 1, i] = -1j * made.couplings[i]
    return matrix


def coupled_scattering(made: CoupledFilter, f: Floats) -> Complex:
    """Scattering parameters at any frequencies, both ports with a flat phase. (n_frequencies, 2, 2)"""
    inverse = np.linalg.inv(chain_matrix(made, f))
    s = np.empty((len(f), 2, 2), dtype=complex)
    s[:, 0, 0] = 1 - 2 * inverse[:, 0, 0] / made.q_first
    s[:, 1, 1] = 1 - 2 * inverse[:, -1, -1] / made.q_last
    s[:, 1, 0] = s[:, 0, 1] = 2 * inverse[:, -1, 0] / np.sqrt(made.q_first * made.q_last)
    return s


def coupled_response(made: CoupledFilter, frequency_hz: npt.ArrayLike, *, z0_ohm: float = 50.0) -> TwoPort:
    """The same as a two-port, frequencies rising."""
    f = np.asarray(frequency_hz, dtype=np.float64)
    return TwoPort(frequency_hz=f, s=coupled_scattering(made, f), z0_ohm=z0_ohm)
