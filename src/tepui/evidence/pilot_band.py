"""How a resolution filter shows the occupied band: higher where boosted pilots crowd.

Theory  Continual pilots carry 16/9 of a data carrier's power all the time, each third carrier a quarter of the time.
        Through a filter of ten spacings the band is then not flat, however long one averages: its highest value lies a
        few tenths of a decibel above its mean.
Source  [EN300744] 4.5.3 to 4.5.5.
Holds   Upright spectra; a mirrored one has other places but nearly the same highest value.
"""

import math

import numpy as np
import numpy.typing as npt

from tepui.signals.dvbt.carriers import PILOT_AMPLITUDE, continual_carriers
from tepui.signals.dvbt.mode import N_CARRIERS

Floats = npt.NDArray[np.float64]

SIZE_AGREES = 0.02  # of the number of carriers


def pilot_pattern(n_fft: int) -> Floats:
    """Mean power of each carrier over a data carrier's. (K,)"""
    boost = PILOT_AMPLITUDE**2
    pattern = np.ones(N_CARRIERS[n_fft])
    pattern[::3] = (boost + 3) / 4
    pattern[continual_carriers(n_fft)] = boost
    return pattern


def size_of(*, occupied_width_hz: float, carrier_spacing_hz: float) -> int | None:
    """Size of the transform with that many carriers, or None."""
    count = occupied_width_hz / carrier_spacing_hz + 1
    near = {n_fft: abs(count / carriers - 1) for n_fft, carriers in N_CARRIERS.items()}
    best = min(near, key=lambda n_fft: near[n_fft])
    return best if near[best] < SIZE_AGREES else None


def band_shape(
    offset_hz: Floats, *, occupied_width_hz: float, carrier_spacing_hz: float, resolution_bandwidth_hz: float
) -> Floats:
    """Density over its mean that endless averaging shows, filter and pilots alone; ones where the size is not known.

    offset_hz                from the channel's centre, inside the band (m,)
    resolution_bandwidth_hz  of a Gaussian filter
    """
    n_fft = size_of(occupied_width_hz=occupied_width_hz, carrier_spacing_hz=carrier_spacing_hz)
    if n_fft is None:
        return np.ones(len(offset_hz))
    pattern = pilot_pattern(n_fft)
    width = resolution_bandwidth_hz / carrier_spacing_hz
    reach = math.ceil(1.6 * width)
    response = np.exp(-np.pi * (np.arange(-reach, reach + 1) / width) ** 2)
    through = np.convolve(pattern, response, "same") / np.convolve(np.ones(len(pattern)), response, "same")
    carrier = offset_hz / occupied_width_hz * (len(pattern) - 1) + (len(pattern) - 1) / 2
    return np.asarray(np.interp(carrier, np.arange(len(pattern)), through / through.mean()), dtype=np.float64)
