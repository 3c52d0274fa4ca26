"""Which carrier is which in a narrow slice: the continual pilots stand out where they must.

Theory  Guard and tail tell where the carriers stand, but not their numbers. Continual pilots are sent with 16/9 of a
        data carrier's power, each third carrier with a part of that, as scattered pilots pass over it: the pattern of
        mean powers is found again in only one place of the channel.
Source  [EN300744] 4.5.3 (scattered), 4.5.4 (continual pilots), 4.5.5 (boosted by 4/3).
Holds   20 symbols and more, upright spectra, no echo so deep that it hides the pattern. A place that another rivals is
        not told.
"""

import math

import numpy as np
import numpy.typing as npt
from scipy.ndimage import median_filter

from tepui.signals.dvbt.carriers import mean_powers
from tepui.signals.dvbt.mode import N_CARRIERS

Samples = npt.NDArray[np.complex64]
Floats = npt.NDArray[np.float64]

MOST_VALUES = 1 << 19  # samples that are transformed
SMOOTH = 41  # carriers over which the slice's own slope is taken off
CLEAR, AHEAD = 0.3, 0.12  # correlation of powers with the pattern, and its lead over the next best place; ours
LEAST_SYMBOLS, LEAST_CARRIERS = 20, 60
NEAR_HZ = 160e3  # how far off a centre may be that rests on edges or a crystal of 100 ppm


def carrier_powers(
    samples: Samples, starts: npt.NDArray[np.int64], *, rate_hz: float, useful_s: float, frequency_hz: Floats
) -> Floats:
    """Mean power at each frequency over useful parts that begin inside the guard. (m,)"""
    n = round(useful_s * rate_hz)
    starts = starts[starts + n < len(samples)][: max(LEAST_SYMBOLS, MOST_VALUES // n)]
    turning = np.exp(-2j * np.pi * np.outer(np.arange(n) / rate_hz, frequency_hz)).astype(np.complex64)
    return np.asarray((np.abs(samples[starts[:, None] + np.arange(n)] @ turning) ** 2).mean(axis=0), dtype=np.float64)


def number_of_first(powers: Floats, *, n_fft: int, numbers: range) -> int | None:
    """The number of the first carrier whose power is given, of those that may be; None where no place is clear.

    powers   (m,) of neighbouring carriers
    numbers  candidates; the slice may reach beyond the channel
    """
    if len(powers) < LEAST_CARRIERS:
        return None
    seen = powers / median_filter(powers, SMOOTH, mode="nearest") - 1
    seen = np.clip(seen, -1, 2)
    pattern = mean_powers(n_fft)
    k = np.asarray(numbers)[:, None] + np.arange(len(powers))
    inside = (k >= 0) & (k < len(pattern))
    wanted = np.where(inside, pattern[np.clip(k, 0, len(pattern) - 1)], 0.0)
    count = inside.sum(axis=1)
    enough = count >= LEAST_CARRIERS
    if not enough.any():
        return None
    mean = wanted.sum(axis=1) / np.maximum(count, 1)
    wanted = np.where(inside, wanted - mean[:, None], 0.0)
    own = np.where(inside, seen - (np.where(inside, seen, 0).sum(axis=1) / np.maximum(count, 1))[:, None], 0.0)
    likeness = (own * wanted).sum(axis=1) / np.sqrt((own**2).sum(axis=1) * (wanted**2).sum(axis=1) + 1e-30)
    likeness[~enough] = -1
    order = np.argsort(likeness)
    best = float(likeness[order[-1]])
    second = float(likeness[order[-2]]) if len(order) > 1 else -1.0
    return int(np.asarray(numbers)[order[-1]]) if best > CLEAR and best - second > AHEAD else None


def centre_by_pilots(
    samples: Samples,
    starts: npt.NDArray[np.int64],
    *,
    rate_hz: float,
    band_hz: tuple[float, float],
    carrier_hz: float,
    spacing_hz: float,
    n_fft: int,
    is_near: bool,
) -> float | None:
    """The channel's centre, from the frequency the slice was tuned to; None where no place is clear. [Hz]

    starts      inside the guards, where nothing of the neighbours is left
    band_hz     what is looked at; a carrier stands at ``carrier_hz``
    is_near     whether that is the centre to NEAR_HZ; else the slice may lie anywhere in the channel
    """
    if len(starts) < LEAST_SYMBOLS:
        return None
    first = math.ceil((band_hz[0] - carrier_hz) / spacing_hz)
    last = math.floor((band_hz[1] - carrier_hz) / spacing_hz)
    frequency_hz: Floats = carrier_hz + spacing_hz * np.arange(first, last + 1, dtype=np.float64)
    middle = (N_CARRIERS[n_fft] - 1) // 2
    reach = math.ceil(NEAR_HZ / spacing_hz)
    numbers = (
        range(middle + first - reach, middle + first + reach + 1)
        if is_near
        else range(LEAST_CARRIERS - len(frequency_hz), N_CARRIERS[n_fft] - LEAST_CARRIERS)
    )
    powers = carrier_powers(samples, starts, rate_hz=rate_hz, useful_s=1 / spacing_hz, frequency_hz=frequency_hz)
    number = number_of_first(powers, n_fft=n_fft, numbers=numbers)
    return None if number is None else float(frequency_hz[0] + spacing_hz * (middle - number))
