"""The highest value in band that averaging without end would show, from a trace that was averaged for a while.

A trace of a fraction of a second scatters, and the highest of some hundred scattering values lies a few tenths of a
decibel above what stands there. Without scatter the band is its own slow course times what boosted pilots make of it
through ten carrier spacings (pilot_rise.py, which a test holds against a long average of a signal made by hand).
"""

import numpy as np

from tepui.signals.dvbt.mode import Mode
from tepui.signals.dvbt.pilot_rise import pilot_shape

COURSE = 6  # degree of the band's own course: of a running mean, scatter picks the highest


def endless_top_db(frequency_hz: np.ndarray, density: np.ndarray, mode: Mode) -> float:
    """Highest value in band without scatter, in decibels of the density's unit."""
    half_hz = mode.occupied_width_hz / 2
    inside = np.abs(frequency_hz) <= half_hz - 10 * mode.carrier_spacing_hz
    carrier = (frequency_hz[inside] + half_hz) / mode.carrier_spacing_hz
    pilots = pilot_shape(
        frequency_hz[inside],
        occupied_width_hz=mode.occupied_width_hz,
        carrier_spacing_hz=mode.carrier_spacing_hz,
        resolution_bandwidth_hz=10 * mode.carrier_spacing_hz,
        guard=mode.guard,
    )
    even = density[inside] / pilots
    course = np.polynomial.Chebyshev.fit(carrier, even, COURSE)(carrier)
    return float(10 * np.log10((course * pilots).max()))
