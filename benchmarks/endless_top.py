"""The highest value in band that averaging without end would show, from a trace that was averaged for a while.

A trace of a fraction of a second scatters, and the highest of some hundred scattering values lies a few tenths of a
decibel above what stands there. Without scatter the band is its own slow course times what boosted pilots make of it
through ten carrier spacings ([EN300744] 4.5.3 to 4.5.5: continual pilots 16/9 of a data carrier, each third carrier a
quarter of the time).
"""

import numpy as np

from tepui.signals.dvbt.carriers import continual_carriers
from tepui.signals.dvbt.mode import Mode

COURSE = 16  # parts of the band over which its own course is taken


def endless_top_db(frequency_hz: np.ndarray, density: np.ndarray, mode: Mode) -> float:
    """Highest value in band without scatter, in decibels of the density's unit."""
    power = np.ones(mode.n_carriers)
    power[::3] += (16 / 9 - 1) / 4
    power[continual_carriers(mode.n_fft)] = 16 / 9
    response = np.exp(-np.pi * (np.arange(-20, 21) / 10) ** 2)
    through = np.convolve(power, response, "same") / np.convolve(np.ones(len(power)), response, "same")
    half_hz = mode.occupied_width_hz / 2
    inside = np.abs(frequency_hz) <= half_hz - 10 * mode.carrier_spacing_hz
    carrier = (frequency_hz[inside] + half_hz) / mode.carrier_spacing_hz
    pilots = np.interp(carrier, np.arange(len(power)), through / power.mean())
    width = max(1, int(inside.sum()) // COURSE)
    even = np.convolve(density[inside] / pilots, np.ones(width) / width, "valid")
    course = np.concatenate([np.full(width // 2, even[0]), even, np.full(width - 1 - width // 2, even[-1])])
    return float(10 * np.log10((course * pilots).max()))
