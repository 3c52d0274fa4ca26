"""What known cells tell of the transmitter: its axes, its leaking carrier, its phase and the boost of its pilots.

Theory  Axes of gains 1 + b and 1 - b (b complex) send x + b x*. The gain of I over Q is |1 + b| / |1 - b|, the angle
        between them 90 degrees plus arg((1 - b) / (1 + b)). What the receiver adds of the same kind turns by
        exp(-2 j psi) (its image) or exp(-j psi) (its line at zero), psi the phase taken out of a symbol, and is fitted
        beside; where it hardly turns the two cannot be told apart.
Source  [TR101290] 9.18 for the quantities, from memory; [GUM] 5.1 for the doubt, from the scatter of the symbols; S. O.
        Rice 1945 for the amplitude of a constant in noise.
Holds   Axes that are unequal by the same amount over the whole channel.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.axes import AxesSums
from tepui.chain.reception.phase import PhaseSums
from tepui.ground.doubt import COVERAGE_FACTOR, Estimate, estimate

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
MOST_INFLATION = 4.0  # of the variance, beyond which two terms are not told apart; ours
LEAST_SHARE = 0.03  # of the receiver's own, below which it need not be told apart; ours
LEAST_SYMBOLS = 12
NOISE_SHARE = 0.06  # relative standard uncertainty of the pilots' own phase noise, by trial on seeded signals
PHASE_SHARE = 0.005  # of a phase that moves within the symbol, by trial on seeded signals
BOOST_METHOD_DB = 0.0005  # single precision, seen on a recording without noise


@dataclass(frozen=True, kw_only=True)
class Constant:
    """A complex constant under noise, and whether the receiver's own was told apart from it.

    std_real, std_imag  standard uncertainties of its parts
    """

    value: complex
    std_real: float
    std_imag: float
    apart: bool

    @property
    def std(self) -> float:
        """Of one part, both alike."""
        return math.hypot(self.std_real, self.std_imag) / math.sqrt(2)


def constant_beside(values: Complexes, weights: Floats, turning: Complexes, *, share: float) -> Constant:
    """The constant in ``values``, with a part that turns like ``turning`` fitted beside it where that can be done.

    values, weights, turning  (n,); |turning| = 1
    share    how much of the turning part can reach the values at all, 0 to 1
    """
    total = float(weights.sum())
    mean = complex((weights * values).sum() / total)
    overlap = complex((weights * turning).sum() / total)
    inflation = 1 / max(1 - abs(overlap) ** 2, 1e-12)
    known = abs(share) < LEAST_SHARE
    if inflation > MOST_INFLATION:
        left, constant, apart = values - mean, mean, known
        base: Complexes = (weights / total).astype(np.complex128)
    else:
        beside = complex((weights * values * np.conj(turning)).sum() / total)
        constant = (mean - overlap * beside) * inflation
        turn = (beside - np.conj(overlap) * mean) * inflation
        left = values - constant - turn * turning
        base, apart = weights / total * (1 - overlap * np.conj(turning)) * inflation, True
    free = values.size / max(values.size - 2, 1)
    moved = base * left
    return Constant(
        value=constant,
        std_real=float(np.sqrt(free * (moved.real**2).sum())),
        std_imag=float(np.sqrt(free * (moved.imag**2).sum())),
        apart=apart,
    )


def image_ratio(sums: list[AxesSums], *, offset_carriers: float) -> Constant | None:
    """b of the transmitter's axes, or None with too few symbols.

    offset_carriers  signal centre less tuned frequency, in carrier spacings
    """
    image = _joined([part for one in sums for part in one.image])
    power = _joined([part for one in sums for part in one.image_power]).real
    turn = _joined([part for one in sums for part in one.turn]).real
    held = power > 0
    if held.sum() < LEAST_SYMBOLS:
        return None
    return constant_beside(
        image[held] / power[held],
        power[held],
        np.exp(-2j * turn[held]),
        share=float(np.sinc(2 * offset_carriers)),
    )


def gain_imbalance(ratio: Constant) -> Estimate:
    """Gain of the I axis over that of the Q axis. [dB]"""
    b = ratio.value
    value = 20 * math.log10(abs(1 + b) / abs(1 - b))
    slope = 20 / math.log(10) * abs(2 / (1 - b * b))
    return estimate(value, noise=slope * ratio.std_real)


def quadrature_error(ratio: Constant) -> Estimate:
    """Angle from the I axis to the Q axis less a right angle. [deg]"""
    b = ratio.value
    value = math.degrees(float(np.angle((1 - b) / (1 + b))))
    slope = math.degrees(abs(2 / (1 - b * b)))
    return estimate(value, noise=slope * ratio.std_imag)


@dataclass(frozen=True, kw_only=True)
class Suppression:
    """Power of the signal over that of the residual carrier. [dB]

    low, high  95 %; high None where the carrier does not stand out of the noise
    """

    value: float
    low: float
    high: float | None
    apart: bool


def residual_carrier(sums: list[AxesSums], *, image: Constant, offset_carriers: float) -> Constant | None:
    """The constant on the centre carrier, in units of a data cell's amplitude; None with too few symbols.

    image  from ``image_ratio``: the centre carrier is its own mirror, so b X* stands on it too
    """
    cells = _joined([part for one in sums for part in one.centre])
    if cells.size < LEAST_SYMBOLS:
        return None
    plain = _joined([part for one in sums for part in one.centre_sent])
    turning = np.exp(-1j * _joined([part for one in sums for part in one.centre_turn]).real)
    stds = [std for one in sums for std in one.channel_std if std is not None]
    sent = plain + image.value * np.conj(plain)
    alone = abs(float(np.sinc(offset_carriers))) < LEAST_SHARE
    parts = [np.ones(cells.size, complex)]
    if 1 / max(1 - abs(turning.mean()) ** 2, 1e-12) <= MOST_INFLATION:
        parts, alone = [*parts, turning], True
    image_std = abs(complex(plain.mean())) * image.std
    if stds:  # the channel is known from the neighbours
        value, variance = _fitted(cells - sent, parts)
        extra = math.hypot(max(stds) * abs(plain[0]) / math.sqrt(2), image_std)
        constant = value[0]
        std = math.sqrt(variance[0, 0].real / 2)
    else:
        value, variance = _fitted(cells, [*parts, sent])
        gain = value[-1]
        constant = value[0] / gain
        moves = np.zeros(value.size, complex)
        moves[0], moves[-1] = 1 / gain, -constant / gain
        std = math.sqrt(float((moves @ variance @ np.conj(moves)).real) / 2)
        extra = image_std
    std = math.hypot(std, extra)
    return Constant(value=complex(constant), std_real=std, std_imag=std, apart=alone)


def _fitted(values: Complexes, parts: list[Complexes]) -> tuple[Complexes, Complexes]:
    """Least-squares amounts of ``parts`` in ``values``, (n,) each, and their covariance from what is left."""
    columns = np.stack(parts, axis=1)
    inverse = np.linalg.inv(np.conj(columns.T) @ columns)
    amounts = inverse @ (np.conj(columns.T) @ values)
    left = values - columns @ amounts
    scatter = float((np.abs(left) ** 2).sum()) / max(values.size - len(parts), 1)
    # the covariance of sums of conj(x) v is that of their conjugates for x: hence the transpose
    return np.asarray(amounts), np.asarray(scatter * inverse)


def carrier_suppression(carrier: Constant, *, signal_power: float) -> Suppression:
    """Suppression of the residual carrier.

    signal_power  of all carriers together, in units of a data cell's power
    """
    size, std = abs(carrier.value), carrier.std
    level = 10 * math.log10(signal_power)
    least = size + COVERAGE_FACTOR * std
    if size < 3 * std:
        bound = level - 20 * math.log10(max(least, 1e-12))
        return Suppression(value=bound, low=bound, high=None, apart=carrier.apart)
    # noise adds to the size of a constant on average, by std^2 / 2 of its square in each part
    true = math.sqrt(max(size**2 - std**2, (size - COVERAGE_FACTOR * std) ** 2))
    return Suppression(
        value=level - 20 * math.log10(true),
        low=level - 20 * math.log10(least),
        high=level - 20 * math.log10(size - COVERAGE_FACTOR * std),
        apart=carrier.apart,
    )


@dataclass(frozen=True, kw_only=True)
class Deviation:
    """Root mean square of a phase, ``low`` None where it does not stand out of the noise. [deg]"""

    value: float
    low: float | None
    high: float


def phase_error(sums: PhaseSums) -> Deviation | None:
    """Root mean square of the common phase in this recording, the pilots' noise taken off; None with too few symbols.

    The noise of n symbols is known to sqrt(2 / n) of itself and, as such, to NOISE_SHARE; beside a phase of mean
    square p it also beats with it, 4 p noise / n.
    """
    if sums.symbols < LEAST_SYMBOLS:
        return None
    n = sums.symbols
    noise, square = sums.noise / n, (sums.squares - sums.noise) / n
    scatter = (2 * sums.cross / n + 4 * max(square, 0.0) * noise) / n
    std = math.sqrt(scatter + (NOISE_SHARE * noise) ** 2 + (2 * PHASE_SHARE * max(square, 0.0)) ** 2)
    high = math.degrees(math.sqrt(max(square, 0.0) + COVERAGE_FACTOR * std))
    low = square - COVERAGE_FACTOR * std
    if low <= 0:
        return Deviation(value=high, low=None, high=high)
    return Deviation(value=math.degrees(math.sqrt(square)), low=math.degrees(math.sqrt(low)), high=high)


def pilot_boost(sums: list[AxesSums], *, amplitude: float) -> Estimate | None:
    """Amplitude of the pilots over the root mean square of the data cells, or None where none were compared. [dB]

    amplitude  the pilots' nominal amplitude, which they were divided by
    """
    a, q, aa, aq, qq = np.sum([one.pilot_sums for one in sums], axis=0)
    if q <= 0 or a <= 0:
        return None
    ratio = a / q
    std = math.sqrt(max(aa - 2 * ratio * aq + ratio * ratio * qq, 0.0)) / q
    return estimate(20 * math.log10(amplitude * ratio), noise=8.686 * std / ratio, arithmetic=BOOST_METHOD_DB)


def _joined(parts: list[npt.NDArray[np.generic]] | list[Complexes] | list[Floats]) -> Complexes:
    return np.concatenate([np.zeros(0, complex), *parts]).astype(np.complex128)
