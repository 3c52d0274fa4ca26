"""The resolution filter of a display: how much noise it lets through, and how much of a channel beside it.

Theory  A density shows as density times the noise bandwidth, a steady line as its power. The stated width is that at
        3 dB, so noise needs a factor: Gaussian sqrt(pi / (4 ln 2)) = 1.0645; n equal poles, |H|^2 =
        (1 + 4 (2^(1/n) - 1) x^2)^-n with x in widths, B(1/2, n - 1/2) / (2 sqrt(2^(1/n) - 1)); windows of a Fourier
        transform by their own shape. At d beyond a channel of flat density the filter still passes the share of its
        response that reaches into the channel. A line that falls between two points of a transform shows low.
Source  integrals of the responses; factors of 1.05 to 1.13 where the filter is not known: common practice.
Holds   Skirts of real filters, and a sweep slow enough for the filter to settle.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt
from scipy.special import betainc, erfc

from tepui.ground.checks import require_one_of, require_positive
from tepui.signals.windows import noise_bandwidth_bins, window_weights

Floats = npt.NDArray[np.float64]

POLES = {"4-pole": 4, "5-pole": 5}
TRANSFORMS = ("hann", "blackman-harris", "flat-top")
FILTERS = ("gaussian", *POLES, *TRANSFORMS)
UNTOLD = (1.05, 1.13)  # noise bandwidth over width at 3 dB
TOLD_STD_DB, SKIRT_STD_DB = 0.05, 1.0  # of a filter whose shape is told: its noise bandwidth, what its skirt passes
_LENGTH, _FINE = 256, 64


@dataclass(frozen=True, kw_only=True)
class Resolution:
    """One resolution filter.

    width_hz            at 3 dB, as displays state it
    shape               one of FILTERS; None where not known
    noise_factor_db     noise bandwidth over that width, ``noise_std_db`` its standard uncertainty
    line_db, line_std_db   what a line shows below its power, on average, and the spread of that
    """

    width_hz: float
    shape: str | None
    noise_factor_db: float
    noise_std_db: float
    line_db: float = 0.0
    line_std_db: float = 0.0

    @property
    def noise_bandwidth_hz(self) -> float:
        """Width of a rectangle that passes as much noise. [Hz]"""
        return float(self.width_hz * 10 ** (self.noise_factor_db / 10))

    def leak(self, offset_hz: float, *, channel_hz: float) -> tuple[float, float]:
        """What it passes of a flat channel whose edge is so far away, over the channel, and its doubt. [1, 1]"""
        near, far = offset_hz / self.width_hz, (offset_hz + channel_hz) / self.width_hz
        if self.shape is not None:
            share = _beyond(self.shape, near) - _beyond(self.shape, far)
            return share, share * (10 ** (SKIRT_STD_DB / 10) - 1)
        ends = [_beyond(shape, near) - _beyond(shape, far) for shape in ("gaussian", "4-pole")]
        return sum(ends) / 2, abs(ends[1] - ends[0]) / math.sqrt(12)


def resolution(*, width_hz: float, shape: str | None = None) -> Resolution:
    """The filter of this width at 3 dB.

    raises  RangeError for a width of zero; ChoiceError for a shape that is not in FILTERS
    """
    require_positive("the resolution bandwidth", width_hz, unit="Hz")
    if shape is None:
        low, high = (10 * math.log10(one) for one in UNTOLD)
        return Resolution(
            width_hz=width_hz, shape=None, noise_factor_db=(low + high) / 2, noise_std_db=(high - low) / math.sqrt(12)
        )
    require_one_of("the resolution filter", shape, FILTERS, source="this program's list")
    line, spread = _between_points(shape)
    return Resolution(
        width_hz=width_hz,
        shape=shape,
        noise_factor_db=10 * math.log10(noise_factor(shape)),
        noise_std_db=TOLD_STD_DB,
        line_db=line,
        line_std_db=spread,
    )


def noise_factor(shape: str) -> float:
    """Noise bandwidth over the width at 3 dB. [1]

    >>> round(noise_factor("gaussian"), 4), round(noise_factor("4-pole"), 4), round(noise_factor("hann"), 3)
    (1.0645, 1.1285, 1.041)
    """
    if shape == "gaussian":
        return math.sqrt(math.pi / (4 * math.log(2)))
    if shape in POLES:
        n = POLES[shape]
        beta = math.gamma(0.5) * math.gamma(n - 0.5) / math.gamma(n)
        return beta / (2 * math.sqrt(2 ** (1 / n) - 1))
    return noise_bandwidth_bins(window_weights(shape, _LENGTH)) / _width_bins(shape)


def _beyond(shape: str, places: float) -> float:
    """Share of the filter's noise bandwidth that lies beyond ``places`` widths on one side."""
    if shape == "gaussian":
        return float(erfc(places * 2 * math.sqrt(math.log(2)))) / 2
    if shape in POLES:
        n = POLES[shape]
        return float(betainc(n - 0.5, 0.5, 1 / (1 + 4 * (2 ** (1 / n) - 1) * places**2))) / 2
    bins, power = _lobe(shape)
    beyond = np.cumsum(power[::-1])[::-1] / (2 * power.sum() - power[0])
    return float(np.interp(places * _width_bins(shape), bins, beyond, right=0.0))


@lru_cache(maxsize=8)
def _lobe(shape: str) -> tuple[Floats, Floats]:
    """Power response of a window from its middle outwards, by distance in points of the transform."""
    response = np.abs(np.fft.rfft(window_weights(shape, _LENGTH), _FINE * _LENGTH)) ** 2
    return np.arange(len(response)) / _FINE, response / response[0]


def _width_bins(shape: str) -> float:
    bins, power = _lobe(shape)
    first = int(np.argmax(power < 0.5))
    return 2 * float(np.interp(0.5, power[first - 1 : first + 1][::-1], bins[first - 1 : first + 1][::-1]))


def _between_points(shape: str) -> tuple[float, float]:
    """Mean and spread of how low a line shows that falls anywhere between two points of a transform. [dB, dB]"""
    if shape not in TRANSFORMS:
        return 0.0, 0.0
    bins, power = _lobe(shape)
    within = 10 * np.log10(power[bins <= 0.5])
    return float(within.mean()), float(within.std())
