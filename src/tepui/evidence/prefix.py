"""Signal over noise from the likeness of guard interval and tail.

Theory  The power of whole symbols is known far better than the noise, whose scatter from symbol to symbol is the
        doubt. Interpolating a recording between its samples leaves an error of its own, told as a share of the noise.
        MER holds noise and distortion: with the noise known, the rest is distortion.
Source  chain/reception/prefix.py for the sums; [GUM] 5.1 for the doubt.
Holds   Symbols whose powers are independent. Blind to distortion: an amplifier bends prefix and tail alike.
"""

import math

import numpy as np

from tepui.chain.reception.prefix import PrefixSums
from tepui.ground.decibels import ratio_from_db
from tepui.ground.doubt import COVERAGE_FACTOR, Estimate, estimate

RESAMPLED_DB = 96.0  # what the interpolation itself leaves, seen on signals without noise
CEILING_DB = {False: 85.0, True: 100.0}  # beyond which nothing is told, read between samples and as they are
PILOTS_DB = 0.335  # mean carrier over a data carrier, pilots being boosted: [EN300744] 4.5, of 2K and 8K alike
METHOD_DB = 0.03  # a noise density that is not quite flat, edges of the band; ours


def prefix_snr(sums: PrefixSums, *, resampled: bool) -> Estimate | None:
    """Power of the signal over that of the noise in the occupied band, or None where there is no signal. [dB]

    resampled  the recording was read between its samples
    """
    noise = float(sums.noise.mean())
    signal = sums.power - noise
    if signal <= 0 or noise <= 0:
        return None
    value = 10 * math.log10(signal / noise)
    scatter = 4.343 * (1 + noise / signal) * float(np.std(sums.noise, ddof=1)) / noise / math.sqrt(sums.noise.size)
    left = 4.343 * ratio_from_db(value - RESAMPLED_DB) if resampled else 0.0
    return estimate(value, noise=scatter, interpolation=left, method=METHOD_DB)


def left_by_distortion(mer: Estimate, snr: Estimate) -> tuple[float | None, float, float | None]:
    """MER that what repeats with the guard would leave alone: all errors less the noise. [dB]

    returns  value, lower and upper end; value and upper end are None where the noise explains all there is
    """
    errors, noise = ratio_from_db(-mer.value), ratio_from_db(PILOTS_DB - snr.value)
    left = errors - noise
    doubt = COVERAGE_FACTOR * math.hypot(errors * mer.std, noise * snr.std) * math.log(10) / 10
    low = -10 * math.log10(max(left, 0.0) + doubt)
    if left <= doubt:
        return None, low, None
    return -10 * math.log10(left), low, -10 * math.log10(left - doubt)
