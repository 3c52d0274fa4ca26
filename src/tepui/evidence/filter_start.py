"""A first guess of resonators and couplings, by a rational fit and its continued fraction.

Theory  In u = (f / fc - fc / f) / w every S of an in-line filter is a ratio of polynomials over one common denominator
        E of degree n. S11 tends to the port's own phase d far away; 1 - S11 / d = (2 / Qe1) (A^-1)_11, and dividing
        E by that numerator again and again gives a_1, k_12^2, a_2 ... from port 1 inwards. Port 2 gives the rest.
Source  C. Sanathanan and J. Koerner 1963 for the iteration of the fit, from memory; the continued fraction is the
        chain matrix's own. Delay of a port: the phase's slope far out less what the filter adds there.
Holds   A start only: noise grows inwards along the chain.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.evidence.filter_model import Sweep

Floats = npt.NDArray[np.float64]
Complex = npt.NDArray[np.inexact[Any]]
ROUNDS = 5


def rational_fit(
    u: Floats, rows: list[Complex], degrees: list[int], poles: int
) -> tuple[Complex, list[Complex], float]:
    """Common denominator (monic in j u, highest power first), numerators, and the rms misfit."""
    scale = float(np.abs(u).max())
    top = max(poles, *degrees)
    powers = (1j * u / scale)[:, None] ** np.arange(top, -1, -1)
    lower = powers[:, top - poles :]
    weight: Floats = np.ones(len(u))
    denominator = np.ones(poles + 1, dtype=complex)
    numerators: list[Complex] = []
    for _ in range(ROUNDS):
        blocks, right = [], []
        for place, (row, degree) in enumerate(zip(rows, degrees, strict=True)):
            parts = [np.zeros((len(u), d + 1), dtype=complex) for d in degrees]
            parts[place] = powers[:, top - degree :]
            blocks.append(np.hstack([-row[:, None] * lower[:, 1:], *parts]) * weight[:, None])
            right.append(row * lower[:, 0] * weight)
        found = np.linalg.lstsq(np.vstack(blocks), np.concatenate(right), rcond=None)[0]
        denominator = np.concatenate([[1.0], found[:poles]])
        numerators, at = [], poles
        for degree in degrees:
            numerators.append(found[at : at + degree + 1])
            at += degree + 1
        weight = 1 / np.maximum(np.abs(lower @ denominator), 1e-9)
    below = lower @ denominator
    apart = [row - (powers[:, top - d :] @ m) / below for row, m, d in zip(rows, numerators, degrees, strict=True)]
    grow = scale ** np.arange(poles + 1)
    scaled = [m * scale ** (poles - d + np.arange(d + 1.0)) for m, d in zip(numerators, degrees, strict=True)]
    return (
        np.asarray(denominator * grow),
        list[Complex](scaled),
        float(np.sqrt(np.mean(np.abs(np.concatenate(apart)) ** 2))),
    )


def chain_of(denominator: Complex, numerator: Complex) -> tuple[Complex, Floats, float]:
    """Diagonal a_i (less j u), couplings and 2 / Qe (all in units of w) from S = numerator / denominator."""
    above = (denominator - numerator / numerator[0])[1:]
    load = float(above[0].real)
    first, second = denominator, above / above[0]
    diagonal, couplings = [], []
    while len(second) > 1:
        constant = first[1] - second[1]
        rest = first[2:] - np.append(second[2:], 0) - constant * second[1:]
        diagonal.append(constant)
        couplings.append(float(np.sqrt(abs(rest[0]))))
        first, second = second, rest / rest[0]
    diagonal.append(first[1])
    return np.array(diagonal), np.array(couplings), load


def first_guess(sweep: Sweep, poles: int, *, delays: tuple[float, float]) -> tuple[Floats, float]:
    """A parameter vector of ``filter_model.Model`` and the misfit of the rational fit behind it.

    delays  of the ports in the model's unit (turns of phase over the width), already known roughly
    """
    f, fc = sweep.frequency_hz, sweep.centre_hz
    w = sweep.width_hz / fc
    u = (f / fc - fc / f) / w
    turn = 2 * np.pi * (f - fc) / sweep.width_hz
    names = [name for name in ("s11", "s22", "s21") if name in sweep.rows]
    way = {"s11": 2 * delays[0], "s22": 2 * delays[1], "s21": delays[0] + delays[1]}
    rows = [sweep.rows[name] * np.exp(-1j * way[name] * turn) for name in names]
    degrees = [0 if name == "s21" else poles for name in names]
    below, above, misfit = rational_fit(u, rows, degrees, poles)
    v = np.zeros(2 * poles + 6)
    v[2 * poles + 4 : 2 * poles + 6] = delays
    diagonal = np.zeros(poles, dtype=complex)
    couplings = np.ones(max(poles - 1, 1))
    loads = [1.0, 1.0]
    for port, name in ((0, "s11"), (1, "s22")):
        if name not in names:
            continue
        numerator = above[names.index(name)]
        v[2 * poles + 2 + port] = np.angle(numerator[0]) / 2
        own, between, loads[port] = chain_of(below, numerator)
        half = poles if port == 0 else poles // 2
        if port == 0:
            diagonal[:], couplings[: poles - 1] = own, between
        elif half:
            diagonal[poles - half :] = own[:half][::-1]
            mended = between[: (poles - 1) // 2][::-1]
            couplings[poles - 1 - len(mended) : poles - 1] = mended
    if "s22" not in names:
        loads[1] = max(2 * float(diagonal[-1].real), 0.2)
    v[:poles] = np.clip(-diagonal.imag / 2, -1.5, 1.5)
    v[poles : 2 * poles - 1] = np.log(np.clip(couplings[: poles - 1], 0.1, 5) * w)
    v[2 * poles - 1] = -np.log(np.clip(loads[0] / 2, 0.05, 5) * w)
    v[2 * poles] = -np.log(np.clip(loads[1] / 2, 0.05, 5) * w)
    v[2 * poles + 1] = 0.01
    return v, misfit


def port_delays(sweep: Sweep, poles: int) -> tuple[float, float]:
    """Delays of both ports, one way, in turns over the width; 0 where a port's reflection was not measured.

    The poles come from a fit whose numerators may follow a delay; with them held, the delay sought is the one that
    leaves numerators of the filter's own degree. The search begins at the phase's slope at both ends of the sweep,
    less what the filter itself adds there.
    """
    f, fc = sweep.frequency_hz, sweep.centre_hz
    turn = 2 * np.pi * (f - fc) / sweep.width_hz
    u = (f / fc - fc / f) / (sweep.width_hz / fc)
    names = [name for name in ("s11", "s22") if name in sweep.rows]
    ends = max(5, len(f) // 8)
    parts = (slice(0, ends), slice(-ends, None))
    rough = {}
    for name in names:
        angle = np.unwrap(np.angle(sweep.rows[name]))
        slopes = [np.polyfit(turn[part], angle[part], 1)[0] + 2 / np.pi / np.mean(u[part] ** 2) for part in parts]
        rough[name] = float(np.mean(slopes) / 2)
    rows = [sweep.rows[name] * np.exp(-2j * rough[name] * turn) for name in names]
    below, _, _ = rational_fit(u, rows, [poles + 2] * len(rows), poles)
    p = 1j * u / np.abs(u).max()
    shape = p[:, None] ** np.arange(poles + 1) / np.polyval(below, 1j * u)[:, None]
    basis, _ = np.linalg.qr(shape)
    found = [0.0, 0.0]
    for name, row in zip(names, rows, strict=True):
        reach, middle = 0.4, 0.0
        for _ in range(4):
            steps = middle + reach * np.linspace(-1, 1, 41)
            turned = row * np.exp(-2j * steps[:, None] * turn)
            kept = np.sum(np.abs(turned @ basis.conj()) ** 2, axis=1)
            middle, reach = float(steps[int(np.argmax(kept))]), reach / 15
        found[0 if name == "s11" else 1] = rough[name] + middle
    return found[0], found[1]
