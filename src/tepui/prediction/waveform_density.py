"""Spectrum of the modulated waveform, as it enters an amplifier, and what is read from it.

Theory  Carriers of known mean power, each spread by its symbol's length Ts. Averaged over a few spacings the band is
        flat, and d beyond the last carrier of a band W wide the side-lobes of all carriers add up to
        (1 / (2 pi^2 Ts)) (1/d - 1/(d + W)) of the density in band: near -40 dB at 500 kHz in 8K. A modulator's filter
        takes them away; then nothing lies outside.
Source  [EN300744] 4.4 and 4.5 for carriers and boosted pilots; spectrum of rectangular symbols by Fourier's integral.
Holds   Means over ten carrier spacings. Filters are taken as flat in band.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from tepui.chain.amplifiers.closed_form import Terms, convolve_terms
from tepui.chain.amplifiers.drive_curve import WaveformView, shoulder_of, view_waveform
from tepui.chain.waveform.framing import mean_symbol_power
from tepui.ground.checks import require_positive
from tepui.signals.dvbt.carriers import mean_powers
from tepui.signals.dvbt.mode import Mode
from tepui.signals.dvbt.pilot_rise import pilot_rise_db

Floats = npt.NDArray[np.float64]
POINTS = 16384
SPAN_WIDTHS = 8.0  # of the channel: products up to the fifteenth order do not fold into it
SPACINGS_OF_RESOLUTION = 10  # [TR101290] 9.7


@dataclass(frozen=True, kw_only=True, eq=False)
class WaveformDensity:
    """Power per hertz with mean power 1 in the channel; frequencies from -n/2 steps on, zero at index n // 2."""

    density: Floats
    step_hz: float


def sidelobe_db(offset_hz: npt.ArrayLike, *, mode: Mode) -> Floats:
    """Side-lobes of the unfiltered waveform, relative to the mean in band.

    offset_hz  (n,) beyond the outermost carrier, above zero
    """
    away = np.asarray(offset_hz, dtype=np.float64)
    for one in np.atleast_1d(away):
        require_positive("offset_hz", float(one), unit="Hz")
    ratio = (1 / away - 1 / (away + mode.occupied_width_hz)) / (2 * math.pi**2 * mode.symbol_s)
    return np.asarray(10 * np.log10(ratio))


def sidelobe_shoulder_db(mode: Mode) -> float:
    """Shoulder that the unfiltered waveform itself shows. [dB]"""
    return float(shoulder_of(np.ones((1, 1), np.complex128), view_of_mode(mode, filtered=False))[0])


def waveform_density(mode: Mode, *, filtered: bool) -> WaveformDensity:
    """Mean spectrum of a mode's waveform.

    filtered  whether the modulator takes the side-lobes away
    """
    span = SPAN_WIDTHS * mode.width_hz
    step = span / POINTS
    frequency = (np.arange(POINTS) - POINTS // 2) * step
    half = mode.n_carriers * mode.carrier_spacing_hz / 2
    away = np.abs(frequency) - half
    density = np.clip(0.5 - away / step, 0.0, 1.0)  # the bin at the edge is partly filled
    if not filtered:
        outside = away > step
        density[outside] += 10 ** (sidelobe_db(away[outside], mode=mode) / 10)
    return WaveformDensity(density=density / (mode.n_carriers * mode.carrier_spacing_hz), step_hz=step)


def carrier_powers(mode: Mode) -> Floats:
    """Mean power of each carrier, a data cell's being 1. (K,)"""
    return mean_powers(mode.n_fft)


def highest_in_band_db(mode: Mode) -> float:
    """Highest value of the waveform's trace in band, through ten carrier spacings, over the mean. [dB]"""
    return pilot_rise_db(mode.n_fft, mode.guard)


@lru_cache(maxsize=2)
def terms_of_mode(mode: Mode, *, filtered: bool = True) -> Terms:
    """Spectra of the terms that an amplifier makes of a mode, formed once."""
    waveform = waveform_density(mode, filtered=filtered)
    return convolve_terms(waveform.density, step_hz=waveform.step_hz)


@lru_cache(maxsize=8)
def view_of_mode(mode: Mode, *, filtered: bool = True) -> WaveformView:
    """What drive curves of a mode are read from, formed once."""
    return view_waveform(
        terms_of_mode(mode, filtered=filtered),
        occupied_width_hz=mode.occupied_width_hz,
        resolution_hz=SPACINGS_OF_RESOLUTION * mode.carrier_spacing_hz,
        highest_db=highest_in_band_db(mode),
        data_ratio=mode.n_carriers / mean_symbol_power(mode),
    )
