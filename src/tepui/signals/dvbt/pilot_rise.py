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

from tepui.signals.dvbt.carriers import PILOT_AMPLITUDE, continual_carriers
from tepui.signals.dvbt.mode import N_CARRIERS

STEPS = 4  # points from carrier to carrier
SPACINGS = 10.0  # of the resolution filter, noise bandwidth
RISE_STD_DB = 0.08  # where the channel slopes, or the filter has another shape (this program's limit)


@cache
def pilot_rise_db(n_fft: int) -> float:
    """Highest value in band over the mean, through a Gaussian filter of ten carrier spacings. [dB]"""
    boost = PILOT_AMPLITUDE**2
    power = np.ones(N_CARRIERS[n_fft])
    power[::3] += (boost - 1) / 4
    power[continual_carriers(n_fft)] = boost
    lines = np.zeros(STEPS * len(power))
    lines[::STEPS] = power
    reach = int(2 * SPACINGS * STEPS)
    response = np.exp(-np.pi * (np.arange(-reach, reach + 1) / (SPACINGS * STEPS)) ** 2) / SPACINGS
    return 10 * math.log10(float(np.convolve(lines, response, mode="same").max()) / float(power.mean()))


def rise_of_channel_db(*, occupied_width_hz: float, carrier_spacing_hz: float) -> float | None:
    """The same for the mode that has so many carriers; None where no mode has."""
    spacings = occupied_width_hz / carrier_spacing_hz
    for n_fft, carriers in N_CARRIERS.items():
        if abs(spacings / (carriers - 1) - 1) < 1e-3:
            return pilot_rise_db(n_fft)
    return None
