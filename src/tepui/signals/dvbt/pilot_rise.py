"""How far the highest value in band stands over the band's mean: pilots are sent stronger, and stand unevenly.

Theory  Continual pilots have 16/9 of a data carrier's power in every symbol, scattered ones in every fourth on each
        third carrier. Through the resolution filter of the shoulders that is a shape of its own, the same for every
        transmitter: a trace averaged without end shows it, and its highest value is the zero of the levels.
Source  [EN300744] 4.5.3 to 4.5.5, table dvbt_pilots; the filter: [TR101290] 9.7 as shoulders.py reads it.
Holds   A channel that is flat over ten carriers; where it slopes, its highest part need not hold the strongest pilots.
"""

import math
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from tepui.signals.dvbt.carriers import PILOT_AMPLITUDE, continual_carriers
from tepui.signals.dvbt.mode import N_CARRIERS

Floats = npt.NDArray[np.float64]

STEPS = 4  # points from carrier to carrier
SPACINGS = 10.0  # of the resolution filter, noise bandwidth
RISE_STD_DB = 0.08  # where the channel slopes, or the filter has another shape (this program's limit)


@cache
def _shape(n_fft: int, spacings: float) -> Floats:
    """Density over its mean in band, through a Gaussian filter of so many carrier spacings, STEPS points a carrier."""
    boost = PILOT_AMPLITUDE**2
    power = np.ones(N_CARRIERS[n_fft])
    power[::3] += (boost - 1) / 4
    power[continual_carriers(n_fft)] = boost
    lines = np.zeros(STEPS * len(power))
    lines[::STEPS] = power
    reach = int(2 * spacings * STEPS)
    response = np.exp(-np.pi * (np.arange(-reach, reach + 1) / (spacings * STEPS)) ** 2) / spacings
    size = len(lines) + 2 * reach
    through = np.fft.irfft(np.fft.rfft(lines, size) * np.fft.rfft(response, size), size)[reach : reach + len(lines)]
    return np.asarray(through / float(power.mean()))


@cache
def pilot_rise_db(n_fft: int, spacings: float = SPACINGS) -> float:
    """Highest value in band over the mean, through a Gaussian filter of ten carrier spacings, or of so many. [dB]"""
    return 10 * math.log10(float(_shape(n_fft, spacings).max()))


def scattered_rise_db(n_fft: int, *, spacings: float, scatter_db: float) -> tuple[float, float]:
    """The same on a trace whose points still scatter: what its highest point shows on average, and the spread. [dB, dB]

    scatter_db  standard deviation of one point; points a resolution apart are independent
    """
    if scatter_db <= 0:
        return pilot_rise_db(n_fft, spacings), 0.0
    shape = 10 * np.log10(_shape(n_fft, spacings)[int(spacings * STEPS / 2) :: STEPS])
    level = np.linspace(-1.0, float(shape.max()) + 7 * scatter_db, 600)
    below = ndtr((level[:, None] - shape) / scatter_db)
    chance = np.exp(np.log(np.maximum(below, 1e-300)).sum(axis=1) / spacings)
    share, middle = np.diff(chance), (level[1:] + level[:-1]) / 2
    mean = float(share @ middle / share.sum())
    return mean, math.sqrt(float(share @ (middle - mean) ** 2 / share.sum()))


def rise_of_channel_db(*, occupied_width_hz: float, carrier_spacing_hz: float) -> float | None:
    """The same for the mode that has so many carriers; None where no mode has."""
    spacings = occupied_width_hz / carrier_spacing_hz
    for n_fft, carriers in N_CARRIERS.items():
        if abs(spacings / (carriers - 1) - 1) < 1e-3:
            return pilot_rise_db(n_fft)
    return None
