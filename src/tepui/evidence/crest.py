"""How often the envelope peaks how far above its mean: the CCDF, and the level passed one time in ten thousand.

Theory  P(|x|^2 > a mean |x|^2). For complex Gaussian noise, and nearly for OFDM, it is exp(-a); an amplifier that
        limits bends it down. The upper bits of a positive floating-point number are its logarithm, so a histogram over
        them has steps of equal ratio without computing one.
Source  Definition of the 0.01 % level: common practice (no published source). Gaussian law: Rayleigh envelope.
Holds   Envelope of the complex samples over their mean power (add 3.01 dB for peaks of the radio-frequency voltage);
        the recording's noise and filters are in it. Steps of 0.0042 dB or less.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.ground.doubt import Estimate, estimate
from tepui.ground.errors import RangeError
from tepui.signals.recording import Recording

Floats = npt.NDArray[np.float64]

DROPPED_BITS = 13  # of 23: 1024 steps an octave
BLOCK = 1 << 18
PROBABILITY = 1e-4


@dataclass(frozen=True, kw_only=True)
class PeakStatistics:
    """The histogram of power, ready to be asked.

    level_db     (n,) rising, above the mean power
    probability  (n,) of the envelope's power exceeding that level
    """

    level_db: Floats
    probability: Floats
    n_samples: int
    mean_power: float


class PeakCounter:
    """Counts powers of samples that arrive in blocks of any size; memory does not grow."""

    def __init__(self) -> None:
        self._counts = np.zeros((0x7F800000 >> DROPPED_BITS) + 1, np.int64)
        self._power = 0.0
        self._n = 0

    def push(self, block: npt.NDArray[np.complex64]) -> None:
        """Take the next samples (n,), full scale 1."""
        for at in range(0, len(block), BLOCK):
            part = block[at : at + BLOCK]
            power = part.real**2 + part.imag**2
            self._power += float(power.sum(dtype=np.float64))
            self._n += len(part)
            found = np.bincount(power.view(np.int32) >> DROPPED_BITS)
            self._counts[: len(found)] += found

    def result(self) -> PeakStatistics:
        """What was counted.

        raises  RangeError where there was nothing but zeros
        """
        if self._power <= 0:
            raise RangeError("There is no power in these samples, so their peaks cannot be told.")
        used = np.flatnonzero(self._counts)
        index = np.arange(max(1, used[0]), used[-1] + 2)
        edges = (index.astype(np.int32) << DROPPED_BITS).view(np.float32).astype(np.float64)
        below = np.cumsum(self._counts)[index - 1]
        mean = self._power / self._n
        return PeakStatistics(
            level_db=10 * np.log10(edges / mean),
            probability=1 - below / self._n,
            n_samples=self._n,
            mean_power=mean,
        )


def peaks_of_recording(recording: Recording) -> PeakStatistics:
    """Peak statistics of a whole recording, block by block."""
    counter = PeakCounter()
    for block in recording.blocks(1 << 20):
        counter.push(block)
    return counter.result()


def gaussian_level_db(probability: float) -> float:
    """Level above the mean that complex Gaussian noise passes with this probability. [dB]

    >>> round(gaussian_level_db(1e-4), 2)
    9.64
    """
    return 10 * math.log10(-math.log(probability))


def crest_db(
    peaks: PeakStatistics, *, sample_rate_hz: float, occupied_width_hz: float, probability: float = PROBABILITY
) -> Estimate:
    """Level above the mean power passed with this probability.

    occupied_width_hz  of the signal: samples taken faster than that are not independent
    raises             RangeError where fewer than ten independent samples lie above that level
    """
    independent = peaks.n_samples * min(1.0, occupied_width_hz / sample_rate_hz)
    if independent * probability < 10:
        raise RangeError(
            f"{peaks.n_samples} samples are too few for a level passed {probability:g} of the time: record at least "
            f"{10 / probability / min(1.0, occupied_width_hz / sample_rate_hz) / sample_rate_hz:.3g} s."
        )
    level = float(np.interp(-probability, -peaks.probability, peaks.level_db))
    scatter = probability / math.sqrt(independent * probability)
    low, high = (
        float(np.interp(-p, -peaks.probability, peaks.level_db)) for p in (probability + scatter, probability - scatter)
    )
    mean_db = 10 / math.log(10) / math.sqrt(independent)
    return estimate(level, count=(high - low) / 2, mean_power=mean_db, step=10 * math.log10(2) / 1024)


def gaussian_probability(level_db: Floats) -> Floats:
    """Probability of complex Gaussian noise to pass levels above its mean, exp(-a).

    level_db  (n,)
    """
    return np.asarray(np.exp(-(10 ** (level_db / 10))))
