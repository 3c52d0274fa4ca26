"""Discrete lines: carriers, oscillator leaks and clock products that stand out of the noise or the OFDM signal.

Theory  A steady tone fills one main lobe of the window, whatever the resolution; its power is what the lobe holds above
        the density beside it, which no choice of resolution or window changes. Noise and OFDM read as density, tones as
        power: only a ratio of powers is a level in dBc. The frequency follows from the powers on both sides of the
        highest point, whose ratio the window's lobe fixes.
Source  Heinzel, Rüdiger and Schilling 2002, sections 9 and 10 (density and power); Harris 1978 (lobe widths).
Holds   Lines apart by more than a lobe, steady over the recording. Continual pilots of an OFDM signal are lines: name
        their frequencies in ``ignore_hz`` or keep the resolution above the carrier spacing.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_one_of
from tepui.ground.doubt import Estimate, estimate
from tepui.signals.spectrum import Spectrum
from tepui.signals.windows import WINDOWS

Floats = npt.NDArray[np.float64]

BESIDE = 12  # points on each side, past the lobe, from which the density beside is taken
STANDS_OUT = 5.0  # standard deviations
LOBE_BINS = 0.003  # left by an interpolated table of the lobe; drift of the tone is not in it


@dataclass(frozen=True, kw_only=True)
class Line:
    """One line.

    frequency_hz  offset from the tuned frequency
    level_dbc     its power over the reference power
    power         full-scale tone = 1
    excess_db     how far its peak stood above the density beside it
    """

    frequency_hz: Estimate
    level_dbc: Estimate
    power: float
    excess_db: float


def discrete_lines(
    spectrum: Spectrum,
    *,
    reference_power: float,
    least_excess_db: float = 3.0,
    ignore_hz: npt.ArrayLike = (),
    most: int = 50,
) -> tuple[Line, ...]:
    """Lines in a spectrum, strongest first.

    spectrum         fine, not smoothed; Hann, Blackman-Harris or flat-top window
    reference_power  the power that is 0 dBc, full-scale tone = 1, the signal's in its channel for instance
    least_excess_db  smaller bumps are not lines
    ignore_hz        (m,) frequencies not to report, within a lobe
    """
    require_one_of("window", spectrum.window, [name for name in WINDOWS if name != "rectangular"], source="lobe widths")
    lobe = len(WINDOWS[spectrum.window])
    density = spectrum.density
    beside = _density_beside(density, lobe)
    limit = max(10 ** (least_excess_db / 10), 1 + STANDS_OUT * math.sqrt((1 + 1 / BESIDE) / spectrum.n_averages))
    inner = slice(lobe, len(density) - lobe)
    peaks = np.flatnonzero(
        (density[inner] > limit * beside[inner])
        & (density[inner] >= density[lobe - 1 : len(density) - lobe - 1])
        & (density[inner] > density[lobe + 1 : len(density) - lobe + 1])
    )
    peaks = peaks + lobe
    ignored = np.asarray(ignore_hz, dtype=np.float64).ravel()
    found: list[Line] = []
    taken = np.zeros(len(density), bool)
    for peak in peaks[np.argsort(-density[peaks])]:
        if taken[peak] or len(found) >= most:
            continue
        taken[max(0, peak - lobe) : peak + lobe + 1] = True
        line = _line(spectrum, beside, int(peak), lobe, reference_power)
        if line is None or (
            ignored.size and np.min(np.abs(ignored - line.frequency_hz.value)) < lobe * spectrum.bin_hz
        ):
            continue
        found.append(line)
    return tuple(sorted(found, key=lambda line: -line.power))


def _density_beside(density: Floats, lobe: int) -> Floats:
    """The higher of the medians below and above each point, so that a steep edge is not taken for a line."""
    gap = lobe + 1
    padded = np.pad(density, gap + BESIDE, mode="reflect")
    medians = np.median(np.lib.stride_tricks.sliding_window_view(padded, BESIDE), axis=-1)
    below = medians[: len(density)]
    above = medians[2 * gap + BESIDE + 1 :][: len(density)]
    if len(above) < len(density):
        above = np.pad(above, (0, len(density) - len(above)), mode="edge")
    return np.asarray(np.maximum(below, above))


def _line(spectrum: Spectrum, beside: Floats, peak: int, lobe: int, reference_power: float) -> Line | None:
    density, bin_hz = spectrum.density, spectrum.bin_hz
    around = slice(peak - lobe, peak + lobe + 1)
    n = 2 * lobe + 1
    background = float(beside[peak])
    power = float(density[around].sum() - n * background) * bin_hz
    if power <= 0:
        return None
    shift, blur = _place(spectrum.window, density[peak - 1], density[peak + 1], background, spectrum.n_averages)
    # Tone and noise beat: the scatter of the lobe is about twice its power times the noise within it.
    noise = background * bin_hz * math.sqrt(n)
    scatter = math.sqrt((2 * power * background * spectrum.resolution_bandwidth_hz + noise**2) / spectrum.n_averages)
    scatter += n * background * bin_hz / math.sqrt(BESIDE * spectrum.n_averages)
    decibel = 10 / math.log(10)
    return Line(
        frequency_hz=estimate(
            float(spectrum.frequency_hz[peak]) + shift * bin_hz,
            averaging=blur * bin_hz,
            interpolation=LOBE_BINS * bin_hz,
        ),
        level_dbc=estimate(10 * math.log10(power / reference_power), averaging=decibel * scatter / power),
        power=power,
        excess_db=10 * math.log10(float(density[peak]) / background),
    )


@lru_cache(maxsize=4)
def _lobe_ratio(window: str) -> tuple[Floats, Floats]:
    """Logarithm of upper over lower neighbour's power against the place of a tone between them.

    returns  ratio (n,) rising, place (n,) in bins from the highest point
    """
    place = np.linspace(-0.7, 0.7, 281)

    def power(bins: Floats) -> Floats:
        terms = [a / 2 * (np.sinc(bins - k) + np.sinc(bins + k)) for k, a in enumerate(WINDOWS[window])]
        return np.asarray(np.sum(terms, axis=0) ** 2)

    return np.log(power(1 - place) / power(-1 - place)), place


def _place(window: str, lower: float, upper: float, background: float, n_averages: float) -> tuple[float, float]:
    """Where a tone stands from the highest point, and the scatter of that; both in bins."""
    ratio, place = _lobe_ratio(window)
    powers = [max(value - background, 0.1 * background) for value in (lower, upper)]
    seen = math.log(powers[1] / powers[0])
    # Beating with the noise scatters each neighbour by sqrt(2 P N + N^2).
    parts = [(2 * value * background + background**2) / value**2 for value in powers]
    slope = float((ratio[-1] - ratio[0]) / (place[-1] - place[0]))
    return float(np.interp(seen, ratio, place)), math.sqrt(sum(parts) / n_averages) / slope
