"""What a display's detector makes of a noise-like signal, and of a steady line that stands in noise.

Theory  Through a filter much narrower than itself, OFDM is complex Gaussian noise: its power w over the mean is
        exponential. Mean of powers: 0 dB. Mean of logarithms: E[10 lg w] = -10 lg(e) 0.5772 = -2.51 dB. Mean of
        envelopes: E[|x|]^2 = pi/4 = -1.05 dB. Highest of a stretch of time T: the envelope passes w upwards
        sqrt(2) B T sqrt(w) exp(-w) times, so P(highest <= w) = (1 - exp(-w)) exp(-that / (1 - exp(-w))).
        A line of K times the noise's power shows 10 lg K + 10 lg(e) E1(K) over it as a mean of logarithms, and a mean
        envelope of sqrt(pi)/2 exp(-K/2) ((1 + K) I0(K/2) + K I1(K/2)).
Source  Moments of the exponential and the Rice density; S. O. Rice 1945, Bell Syst. Tech. J. 24, sections 3.4 and 3.10,
        for crossings; closed forms from memory, checked by simulation.
Holds   Filters of Gaussian shape for the crossings, and steady spectra. Products that come in bursts have higher peaks.
"""

import math

import numpy as np
from scipy.optimize import brentq
from scipy.special import exp1, ive

EULER = 0.5772156649015329
LOG_DB = -10 * EULER / math.log(10)
LINEAR_DB = 10 * math.log10(math.pi / 4)
DECIBEL = 10 / math.log(10)  # of a small relative change
SCATTER_DB = {
    "power": DECIBEL,
    "log": DECIBEL * math.pi / math.sqrt(6),
    "linear": 2 * DECIBEL * math.sqrt(4 / math.pi - 1),
}
"""Standard deviation of a point in decibels, times the root of the values averaged in it: Gumbel's for logarithms."""

LEAST_EXCESS_DB, CLEAR_DB = 1e-6, 60.0  # between, noise moves a line's level by more than 1e-5 dB


def peak_offset_db(*, resolutions: float, times: int = 1) -> tuple[float, float]:
    """Highest value of noise over its mean power, as a mean of decibels, and its scatter. [dB, dB]

    resolutions  noise bandwidth times the time that one point of the trace takes
    times        how often that is repeated with the highest kept

    >>> [round(peak_offset_db(resolutions=r)[0], 1) for r in (0.0, 10.0, 1000.0)]
    [-2.5, 5.7, 9.5]
    """
    power = np.logspace(-5, 2.5, 6001)
    below = -np.expm1(-power)
    crossings = math.sqrt(2) * resolutions * np.sqrt(power) * np.exp(-power)
    chance = (below * np.exp(-crossings / below)) ** times
    share = np.diff(chance)
    level = 10 * np.log10(np.sqrt(power[1:] * power[:-1]))
    share = share / share.sum()
    mean = float(share @ level)
    return mean, math.sqrt(float(share @ (level - mean) ** 2))


def line_alone_db(*, shown_db: float, beside_db: float, detector: str) -> float | None:
    """Level of a steady line from what is shown at its top and beside it, both as the same detector shows them. [dB]

    detector  power, log or linear
    returns   None where the top stands no higher than what is beside it
    """
    excess = shown_db - beside_db
    if excess <= LEAST_EXCESS_DB:
        return None
    if excess >= CLEAR_DB:
        return shown_db
    if detector == "power":
        return shown_db + 10 * math.log10(-math.expm1(-excess / DECIBEL))
    shows = _log_shows_db if detector == "log" else _linear_shows_db
    nothing = LOG_DB if detector == "log" else LINEAR_DB
    ratio_db = brentq(lambda k_db: shows(10 ** (k_db / 10)) - nothing - excess, -80.0, CLEAR_DB + 10)
    return float(beside_db - nothing + ratio_db)


def _log_shows_db(ratio: float) -> float:
    """Mean of decibels of a line of ``ratio`` times the noise, over the noise's power."""
    return 10 * math.log10(ratio) + DECIBEL * float(exp1(ratio))


def _linear_shows_db(ratio: float) -> float:
    """The mean envelope of the same, squared."""
    half = ratio / 2
    return 20 * math.log10(math.sqrt(math.pi) / 2 * ((1 + ratio) * float(ive(0, half)) + ratio * float(ive(1, half))))
