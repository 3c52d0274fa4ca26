"""What rounding does to a bursty signal of less than a step, from how often each code occurs.

Theory  Beside a signal with a Rayleigh envelope lies distortion, whose power follows a power p of the envelope's: it
        comes in bursts. On an axis x = mean + sqrt(tau) s g + n g', g and g' Gaussian, tau = E^p over its mean and E
        exponential: a mixture of Gaussians, each rounded by Bussgang's law. Places, spreads and p follow from the codes
        by maximum likelihood. Bursts span their steps and pass; what is quiet is lost: neither the gain for the signal
        nor what rounding adds is that of a Gaussian with the same spread.
Source  Bussgang 1952, MIT RLE report 216; the mixture is this program's own, checked on recordings of known noise.
Holds   An axis spread over less than 1.2 steps, many thousands of samples; third order gives p near 2, noise p = 0.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize
from scipy.special import ndtr

Floats = npt.NDArray[np.float64]

E_NODES, E_WEIGHTS = np.polynomial.laguerre.laggauss(24)
REACH_SPREADS = 9
LEAST_SHARE = 1e-15
BOUNDS = ((-1.5, 1.5), (-1.5, 1.5), (0.03, 1.3), (0.02, 1.3), (0.02, 1.3), (0.0, 3.0))
START_POWERS = (0.5, 1.8)


@dataclass(frozen=True, kw_only=True)
class Bursty:
    """Both axes as the converter saw them, in steps.

    mean, spread   (2,)
    gain           (2,) amplitude gain of rounding for the signal (not for the noise that is always there)
    added          power of all that rounding put on both axes, referred to its input
    power          p: 0 for noise, near 2 for third-order products
    """

    mean: Floats
    spread: Floats
    gain: Floats
    added: float
    power: float


def _mixture(noise: float, signal: float, power: float) -> tuple[Floats, Floats]:
    """Share of the mean power and spread of each Gaussian of the mixture, (nodes,) each."""
    tau = E_NODES**power
    tau = tau / float(E_WEIGHTS @ tau)
    return tau, np.sqrt(noise**2 + signal**2 * tau)


def _shares(codes: Floats, mean: float, spreads: Floats) -> Floats:
    """How often each code occurs, (codes,); the outermost take what lies beyond."""
    edges = np.concatenate([[-np.inf], (codes[1:] + codes[:-1]) / 2, [np.inf]])
    return np.asarray(E_WEIGHTS @ np.diff(ndtr((edges - mean) / spreads[:, None]), axis=1))


def _moments(mean: float, spreads: Floats, tau: Floats) -> tuple[float, float]:
    """Gain for the signal, and variance of the rounded axis."""
    reach = math.ceil(REACH_SPREADS * float(spreads.max())) + 1
    codes = np.arange(math.floor(mean) - reach, math.ceil(mean) + reach + 1, dtype=np.float64)
    shares = _shares(codes, mean, spreads)
    middle = float(shares @ codes)
    bell = np.exp(-(((codes[1:] + codes[:-1]) / 2 - mean) ** 2) / (2 * spreads[:, None] ** 2))
    gains = bell.sum(axis=1) / (spreads * math.sqrt(2 * math.pi))  # the derivative of rounding is a row of steps
    return float(E_WEIGHTS @ (tau * gains)), float(shares @ (codes - middle) ** 2)


def bursty_use(codes: Floats, counts: Floats, *, mean: Floats, spread: Floats) -> Bursty:
    """How two axes of one signal used their codes.

    codes         (n,) in steps, ascending, at whole distances
    counts        (2, n) how often each occurred
    mean, spread  (2,) as a Gaussian would have them, to start from
    """
    total = float(counts.sum())

    def misfit(at: Floats) -> float:
        left = 0.0
        for axis in (0, 1):
            _, spreads = _mixture(at[2], at[3 + axis], at[5])
            shares = _shares(codes, mean[axis] + at[axis], spreads)
            left -= float(counts[axis] @ np.log(np.maximum(shares, LEAST_SHARE)))
        return left / total

    half = spread / math.sqrt(2)
    limits = np.array(BOUNDS)
    tries = []
    for start_power in START_POWERS:
        start = np.array([0.0, 0.0, float(half.mean()), half[0], half[1], start_power])
        start = np.clip(start, limits[:, 0], limits[:, 1])
        tries.append(minimize(misfit, start, method="L-BFGS-B", bounds=BOUNDS, options={"ftol": 1e-12, "gtol": 1e-7}))
    found = min(tries, key=lambda one: float(one.fun)).x
    noise, power = float(found[2]), float(found[5])
    middles, gains, added = mean + found[:2], [], 0.0
    for axis in (0, 1):
        signal = float(found[3 + axis])
        tau, spreads = _mixture(noise, signal, power)
        gain, variance = _moments(float(middles[axis]), spreads, tau)
        gains.append(gain)
        added += (variance / gain**2 - signal**2) - noise**2
    return Bursty(
        mean=middles,
        spread=np.sqrt(noise**2 + found[3:5] ** 2),
        gain=np.array(gains),
        added=added,
        power=power,
    )
