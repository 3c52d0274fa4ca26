"""The coupled-resonator model of a measured filter, with its ports' phases and delays, and the model's slopes.

Theory  As chain/filters/resonators: x and y are the first and last columns of A^-1; for any parameter t of A,
        dS11 = (2/Qe1) x' dA x, dS21 = -(2 / sqrt(Qe1 Qen)) y' dA x. Each port adds the phase a + 2 pi (f - fc) d, one
        way, to every wave that crosses it.
Source  derivative of an inverse matrix; own arrangement.
Holds   An in-line filter of n equal-Q resonators; couplings constant over the sweep.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Complex = npt.NDArray[np.complexfloating[Any, Any]]
SEEN = ("s11", "s21", "s22")


@dataclass(frozen=True, kw_only=True, eq=False)
class Sweep:
    """What was measured: complex rows of ``SEEN`` by name, those not measured left out."""

    frequency_hz: Floats
    rows: Mapping[str, Complex]
    centre_hz: float
    width_hz: float


def row_noises(sweep: Sweep) -> dict[str, float]:
    """Rms noise of a point of each row, from third differences (median, so that resonances do not count)."""
    return {
        name: float(np.sqrt(np.median(np.abs(np.diff(row, n=3)) ** 2) / 20 / np.log(2)))
        for name, row in sweep.rows.items()
    }


class Model:
    """Parameters as one vector: n shifts in parts of w, n - 1 log k, log Qe1, log Qen, w / Qu, phases, turns of delay.

    Shifts are (f_i - fc) / width; delays are in turns over the sweep's width.
    """

    def __init__(self, sweep: Sweep, poles: int) -> None:
        self.sweep, self.n = sweep, poles
        self.f = sweep.frequency_hz
        self.w = sweep.width_hz / sweep.centre_hz
        self.turn = 2 * np.pi * (self.f - sweep.centre_hz) / sweep.width_hz
        self.size = 2 * poles + 6
        noises = row_noises(sweep)
        common = float(np.sqrt(np.mean([noise**2 for noise in noises.values()])))
        self.weights = {name: float(np.clip(common / max(noise, 1e-9), 0.3, 3)) for name, noise in noises.items()}

    @property
    def names(self) -> list[str]:
        """Names of the parameters, in order."""
        n = self.n
        return (
            [f"shift {i + 1}" for i in range(n)]
            + [f"k {i + 1} {i + 2}" for i in range(n - 1)]
            + ["q first", "q last", "loss", "phase 1", "phase 2", "delay 1", "delay 2"]
        )

    def free(self, *, lossy: bool = True) -> npt.NDArray[np.bool_]:
        """Which parameters the rows measured can tell."""
        seen = np.ones(self.size, dtype=bool)
        n = self.n
        if not {"s21", "s22"} & set(self.sweep.rows):
            seen[[2 * n + 3, 2 * n + 5]] = False
        if "s11" not in self.sweep.rows:
            seen[[2 * n + 2, 2 * n + 4]] = False
        seen[2 * n + 1] = lossy
        return seen

    def _tame(self, v: Floats) -> Floats:
        """The vector kept where the model can be evaluated at all, however far a search strays."""
        n = self.n
        tame = v.copy()
        tame[:n] = np.clip(v[:n], -0.9 / self.w, 3 / self.w)
        tame[n : 2 * n + 1] = np.clip(v[n : 2 * n + 1], -12, 12)
        return tame

    def columns(self, v: Floats) -> tuple[Complex, Complex, Complex]:
        """First and last columns of A^-1, and the slope of the diagonal with the shifts. (n_f, n) each"""
        n, fc = self.n, self.sweep.centre_hz
        own = fc * (1 + v[:n] * self.w)
        f = self.f[:, None]
        diagonal: Complex = 1j * (f / own - own / f) + v[2 * n + 1] * self.w
        slope: Complex = -1j * (f / own + own / f) * (fc / own) * self.w
        diagonal[:, 0] += np.exp(-v[2 * n - 1])
        diagonal[:, -1] += np.exp(-v[2 * n])
        matrix = np.zeros((len(f), n, n), dtype=complex)
        at = np.arange(n)
        matrix[:, at, at] = diagonal
        k = np.exp(v[n : 2 * n - 1])
        matrix[:, at[:-1], at[1:]] = matrix[:, at[1:], at[:-1]] = -1j * k
        ends = np.zeros((n, 2))
        ends[0, 0] = ends[-1, 1] = 1
        both: npt.NDArray[np.generic] = np.linalg.solve(matrix, np.broadcast_to(ends, (len(f), n, 2)))
        return np.asarray(both[..., 0]), np.asarray(both[..., 1]), slope

    def evaluate(self, v: Floats) -> tuple[dict[str, Complex], dict[str, Complex]]:
        """Rows by name, and their slopes with every parameter. (n_f,), (n_f, size)"""
        v = self._tame(v)
        x, y, slope = self.columns(v)
        n = self.n
        k, q1, qn = np.exp(v[n : 2 * n - 1]), np.exp(v[2 * n - 1]), np.exp(v[2 * n])
        theta = [v[2 * n + 2 + port] + v[2 * n + 4 + port] * self.turn for port in (0, 1)]
        values, slopes = {}, {}
        for name in self.sweep.rows:
            a, b = {"s11": (x, x), "s21": (y, x), "s22": (y, y)}[name]
            scale = {"s11": 2 / q1, "s21": -2 / np.sqrt(q1 * qn), "s22": 2 / qn}[name]
            grown = np.zeros((len(self.f), self.size), dtype=complex)
            grown[:, :n] = scale * a * b * slope
            grown[:, n : 2 * n - 1] = scale * -1j * k * (a[:, :-1] * b[:, 1:] + a[:, 1:] * b[:, :-1])
            grown[:, 2 * n - 1] = -scale * a[:, 0] * b[:, 0] / q1
            grown[:, 2 * n] = -scale * a[:, -1] * b[:, -1] / qn
            grown[:, 2 * n + 1] = scale * self.w * (a * b).sum(axis=1)
            if name == "s21":
                value = -scale * x[:, -1]
                grown[:, 2 * n - 1] -= value / 2
                grown[:, 2 * n] -= value / 2
                ports = (1, 1)
            else:
                corner = scale * (x[:, 0] if name == "s11" else y[:, -1])
                value = 1 - corner
                grown[:, 2 * n - 1 if name == "s11" else 2 * n] += corner
                ports = (2, 0) if name == "s11" else (0, 2)
            turned = np.exp(1j * (ports[0] * theta[0] + ports[1] * theta[1]))
            values[name] = value * turned
            grown *= turned[:, None]
            for port in (0, 1):
                grown[:, 2 * n + 2 + port] = 1j * ports[port] * values[name]
                grown[:, 2 * n + 4 + port] = 1j * ports[port] * values[name] * self.turn
            slopes[name] = grown
        return values, slopes

    def residual(self, v: Floats) -> Floats:
        """Model less measured, each row by its own noise, real and imaginary parts."""
        values, _ = self.evaluate(v)
        apart = np.concatenate([self.weights[name] * (values[name] - row) for name, row in self.sweep.rows.items()])
        return np.concatenate([apart.real, apart.imag])

    def jacobian(self, v: Floats) -> Floats:
        """Slopes of the residual. (n_residuals, size)"""
        _, slopes = self.evaluate(v)
        grown = np.concatenate([self.weights[name] * slopes[name] for name in self.sweep.rows])
        return np.concatenate([grown.real, grown.imag])
