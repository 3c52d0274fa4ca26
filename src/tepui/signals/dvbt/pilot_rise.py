"""How a resolution filter shows the band: higher where pilots crowd, as they are sent stronger and stand unevenly.

Theory  Continual pilots have 16/9 of a data carrier's power in every symbol, scattered ones in every fourth on each
        third carrier. Through a filter the band then has a shape of its own, the same for every transmitter of a mode:
        a trace averaged without end shows it, and its highest value is the zero of shoulder levels.
        Pilots always carry the same. With no data the signal repeats every four symbols, so it is lines, and the filter
        shows the sum of their powers: neighbours that add in the guard interval are seen higher, others lower. Data
        carriers add theirs on average, each spread by its symbol's length.
Source  [EN300744] 4.4, 4.5.2 to 4.5.5, table dvbt_pilots; the filter of ten spacings: [TR101290] 9.7 as shoulders.py
        reads it.
Holds   A channel that is flat over the filter's width; a filter nearly Gaussian (a Hann window of the same noise
        bandwidth shows the highest value 0.005 dB higher).
"""

import math
from fractions import Fraction
from functools import cache

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from tepui.signals.dvbt.carriers import mean_powers, pilot_carriers, pilot_values
from tepui.signals.dvbt.mode import GUARDS, N_CARRIERS

Floats = npt.NDArray[np.float64]

SPACINGS = 10.0  # of the resolution filter, noise bandwidth
RISE_STD_DB = 0.08  # where the channel slopes, or the filter has another shape (this program's limit)
SIZE_AGREES = 1e-3  # of the number of carriers
REACH = 2.0  # widths of the filter to either side that count
STEPS = 4  # points from carrier to carrier
PHASES = 4  # symbols after which scattered pilots stand where they stood
SPREAD = 100  # spacings that a carrier's own spectrum is followed


def size_of_channel(*, occupied_width_hz: float, carrier_spacing_hz: float) -> int | None:
    """Size of the transform with that many carriers; None where no mode has them."""
    spacings = occupied_width_hz / carrier_spacing_hz
    for n_fft, carriers in N_CARRIERS.items():
        if abs(spacings / (carriers - 1) - 1) < SIZE_AGREES:
            return n_fft
    return None


def _gaussian(steps_per_carrier: float, spacings: float) -> Floats:
    reach = math.ceil(REACH * spacings * steps_per_carrier)
    return np.asarray(np.exp(-np.pi * (np.arange(-reach, reach + 1) / steps_per_carrier / spacings) ** 2))


def _pilots_alone(n_fft: int, guard: Fraction, spacings: float) -> Floats:
    """Power of the pilots through the filter, a data carrier's being 1; at each step from the lowest carrier on."""
    middle = (N_CARRIERS[n_fft] - 1) // 2
    n_guard = int(n_fft * guard)
    symbols = []
    for phase in range(PHASES):
        carriers = pilot_carriers(n_fft, phase)
        sent = np.zeros(n_fft)
        sent[(carriers - middle) % n_fft] = pilot_values(n_fft)[carriers]
        useful = np.fft.ifft(sent) * n_fft
        symbols += [useful[n_fft - n_guard :], useful]
    lines = np.abs(np.fft.fftshift(np.fft.fft(np.concatenate(symbols), norm="forward"))) ** 2
    lines_per_carrier = len(lines) / n_fft
    through = np.convolve(lines, _gaussian(lines_per_carrier, spacings), "same")
    at = np.arange(STEPS * 2 * middle + 1) / STEPS - middle
    return np.asarray(np.interp(at, (np.arange(len(lines)) - len(lines) // 2) / lines_per_carrier, through))


def _independent(powers: Floats, guard: Fraction, spacings: float) -> Floats:
    """Power through the filter of carriers that carry something else in every symbol."""
    length = 1 + float(guard)  # of a symbol, over its useful part
    away = np.arange(-SPREAD * STEPS, SPREAD * STEPS + 1) / STEPS
    one = np.convolve(np.sinc(away * length) ** 2 * length / STEPS, _gaussian(STEPS, spacings), "same")
    lines = np.zeros(STEPS * (len(powers) - 1) + 1)
    lines[::STEPS] = powers
    return np.convolve(lines, one, "same")


@cache
def _shape(n_fft: int, guard: Fraction | None, spacings: float) -> Floats:
    """Density over its mean at each step from carrier to carrier; at the edges as if the band went on."""
    if guard is None:
        found = np.mean([_shape(n_fft, one, spacings) for one in GUARDS], axis=0)
    else:
        data = np.ones(N_CARRIERS[n_fft])
        for phase in range(PHASES):
            data[pilot_carriers(n_fft, phase)] -= 1 / PHASES
        through = _pilots_alone(n_fft, guard, spacings) + _independent(data, guard, spacings)
        found = through / _independent(np.ones(len(data)), guard, spacings) / mean_powers(n_fft).mean()
    found.flags.writeable = False
    return np.asarray(found)


def pilot_shape(
    offset_hz: Floats,
    *,
    occupied_width_hz: float,
    carrier_spacing_hz: float,
    resolution_bandwidth_hz: float,
    guard: Fraction | None,
) -> Floats:
    """Density over its mean in band that endless averaging shows; ones where no mode has so many carriers.

    offset_hz                from the channel's centre (m,); beyond the band as at its edge
    resolution_bandwidth_hz  of a Gaussian filter, two spacings or more
    guard                    over the useful part; where it is None the mean of all four is taken
    """
    n_fft = size_of_channel(occupied_width_hz=occupied_width_hz, carrier_spacing_hz=carrier_spacing_hz)
    if n_fft is None:
        return np.ones(len(offset_hz))
    shape = _shape(n_fft, guard, max(2.0, round(resolution_bandwidth_hz / carrier_spacing_hz, 3)))
    step = (offset_hz / occupied_width_hz + 0.5) * (len(shape) - 1)
    return np.asarray(np.interp(step, np.arange(len(shape)), shape), dtype=np.float64)


def _inner(n_fft: int, guard: Fraction | None, spacings: float) -> Floats:
    """The shape where the filter sees nothing beyond the band, or all of it where the filter is as wide."""
    shape, edge = _shape(n_fft, guard, max(2.0, round(spacings, 3))), int(spacings * STEPS)
    return shape[edge:-edge] if len(shape) > 4 * edge else shape


def pilot_rise_db(n_fft: int, guard: Fraction | None = None, *, spacings: float = SPACINGS) -> float:
    """Highest value in band over the mean, through a Gaussian filter of ten carrier spacings, or of so many. [dB]

    guard  over the useful part; where it is None the mean over all four, whose highest values stand at other carriers
    """
    if guard is None:
        return sum(pilot_rise_db(n_fft, one, spacings=spacings) for one in GUARDS) / len(GUARDS)
    return 10 * math.log10(float(_inner(n_fft, guard, spacings).max()))


def scattered_rise_db(n_fft: int, *, spacings: float, scatter_db: float) -> tuple[float, float]:
    """The same on a trace whose points still scatter: what its highest point shows on average, and the spread. [dB, dB]

    scatter_db  standard deviation of one point; points a resolution apart are independent
    """
    if scatter_db <= 0:
        return pilot_rise_db(n_fft, spacings=spacings), 0.0
    found = [_highest_of(10 * np.log10(_inner(n_fft, one, spacings)[::STEPS]), spacings, scatter_db) for one in GUARDS]
    mean, spread = np.mean(found, axis=0)
    return float(mean), float(spread)


def _highest_of(shape_db: Floats, spacings: float, scatter_db: float) -> tuple[float, float]:
    """Mean and spread of the highest of points that scatter about a shape. [dB, dB]"""
    level = np.linspace(-1.0, float(shape_db.max()) + 7 * scatter_db, 600)
    below = ndtr((level[:, None] - shape_db) / scatter_db)
    chance = np.exp(np.log(np.maximum(below, 1e-300)).sum(axis=1) / spacings)
    share, middle = np.diff(chance), (level[1:] + level[:-1]) / 2
    mean = float(share @ middle / share.sum())
    return mean, math.sqrt(float(share @ (middle - mean) ** 2 / share.sum()))
