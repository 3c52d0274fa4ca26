"""What rounding to steps leaves unknown of a recording's shape: of the signal in it, and of the floor under it.

Theory  The error of rounding x is the sum of (-1)^k sin(2 pi k x) / (pi k). Of a Gaussian axis spread by s steps its
        first term goes with the signal by exp(-2 pi^2 s^2): the gain of a signal that fills less than a step differs
        from place to place in the band. With itself, some samples later, it goes by exp(-4 pi^2 s^2 (1 - rho)) over
        2 pi^2, rho the axis's own correlation: under a signal that fills a narrow part of the band, an edge of the
        channel say, the floor is not flat even where that spans a step.
Source  A. B. Sripad, D. L. Snyder, IEEE Trans. Acoust. Speech Signal Process. 25 (1977) 442-448 (both, by the
        characteristic function; from memory).
Holds   Signals near Gaussian. Of distortion in bursts it is the order of magnitude, and is used as a doubt only.
"""

import math

import numpy as np
import numpy.typing as npt

from tepui.evidence.narrow import NarrowSpectrum

Floats = npt.NDArray[np.float64]

GAIN_SHARE = 1.0  # of the first term: how far gains differ over a band (own choice, after simulated slopes)
LAGS = 48
MEANS_SHARE = 0.5  # of what depends on where the axes' means fall between two codes: its root mean square
ROUNDING = 1 / 12  # steps^2 of an axis


def lost_gain_std(spectrum: NarrowSpectrum) -> float:
    """Relative standard uncertainty of the signal's density at any one place of a recording. [1]"""
    if spectrum.converter.step is None:
        return 0.0
    return GAIN_SHARE * math.exp(-2 * (math.pi * float(spectrum.converter.spread.min())) ** 2)


def lost_floor_std(spectrum: NarrowSpectrum) -> float:
    """Relative standard uncertainty of the floor's density at any one place of a recording. [1]"""
    if spectrum.converter.step is None:
        return 0.0
    correlation = np.fft.ifft(np.fft.ifftshift(spectrum.density))[: LAGS + 1]
    square = float(np.mean(spectrum.converter.spread**2))
    rho = correlation[1:] / correlation[0].real * (square + ROUNDING) / square  # rounding is in the density at lag 0

    def goes_with_itself(alike: Floats) -> Floats:
        first = np.exp(-4 * math.pi**2 * square * (1 - np.minimum(np.abs(alike), 1.0)))
        return np.asarray((first - math.exp(-4 * math.pi**2 * square)) / (2 * math.pi**2) / ROUNDING)

    share = np.where(rho.real > 0, 1.0, MEANS_SHARE)
    own = np.hypot(share * goes_with_itself(rho.real), MEANS_SHARE * goes_with_itself(rho.imag))
    return min(1.0, math.sqrt(2 * float(np.sum(own**2))))
