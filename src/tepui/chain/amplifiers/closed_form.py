"""What a memoryless amplifier makes of a Gaussian signal, in closed form: output spectrum without simulation.

Theory  For a complex Gaussian x of power P and y = x G(|x|^2), the output's autocorrelation is the sum over k of
        |c_k|^2 rho |rho|^2k, rho that of the input with rho(0) = 1, and
        c_k = sqrt(P) times the integral over u from 0 on of e^-u u G(P u) L_k^1(u) / sqrt(k + 1).
        Term 0 is the signal, all others are distortion, spread over (2 k + 1) input widths: the k-fold convolutions
        are products of rho, formed once for a waveform by FFT. The sum of |c_k|^2 is the output power.
Source  J. J. Bussgang 1952, MIT RLE technical report 216; Laguerre polynomials as [NIST-DLMF] 18.3 has them.
Holds   OFDM of hundreds of carriers is Gaussian enough (0.05 dB in the shoulders). No memory. Terms beyond the last
        are left out: for a hard limit 1e-4 of the power.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt
import scipy.fft

from tepui.ground.checks import require_positive
from tepui.ground.errors import RangeError

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
Envelope = npt.NDArray[np.complex64] | npt.NDArray[np.complex128]
Amplifier = Callable[[Complexes], Envelope]

TERMS = 24
NODES = 400
FARTHEST = 45.0  # e^-45 is below what double precision can add to one
POLYNOMIAL_TERMS = 6  # of an odd polynomial up to the eleventh order: exact


@cache
def _quadrature(n_terms: int) -> tuple[Floats, Floats]:
    """Nodes sqrt(u) and, for each term, weights that turn y / sqrt(P) at these nodes into c_k / sqrt(P)."""
    node, weight = np.polynomial.legendre.leggauss(NODES)
    root = (node + 1) / 2 * np.sqrt(FARTHEST)
    weight = weight / 2 * np.sqrt(FARTHEST)
    u = root**2
    # y = sqrt(P u) G, so u G = root y / sqrt(P); du = 2 root d(root).
    common = weight * 2 * root * np.exp(-u) * root
    rows = np.empty((n_terms, NODES))
    before, now = np.zeros_like(u), np.ones_like(u)
    for k in range(n_terms):
        rows[k] = common * now / np.sqrt(k + 1)
        before, now = now, ((2 * k + 2 - u) * now - (k + 1) * before) / (k + 1)
    root.flags.writeable = rows.flags.writeable = False
    return root, rows


def expand(amplifier: Amplifier, input_w: npt.ArrayLike, *, n_terms: int = TERMS) -> Complexes:
    """Coefficients of the output at each mean input power.

    amplifier  envelope in sqrt(W) to envelope in sqrt(W), any shape
    input_w    (n,) mean power at the input
    returns    (n, n_terms) sqrt(W); |c_0|^2 is the power of the signal, the others are distortion
    raises     RangeError for a power that is not above zero
    """
    power = np.atleast_1d(np.asarray(input_w, dtype=np.float64))
    for one in power:
        require_positive("input_w", float(one), unit="W")
    root, rows = _quadrature(n_terms)
    driven = np.sqrt(power)[:, None] * root[None, :]
    return np.asarray(amplifier(driven.astype(np.complex128)) @ rows.T.astype(np.complex128))


def mean_power_w(amplifier: Amplifier, input_w: npt.ArrayLike) -> Floats:
    """Mean output power, all terms and what is left out of them. (n,) [W]"""
    power = np.atleast_1d(np.asarray(input_w, dtype=np.float64))
    node, weight = np.polynomial.legendre.leggauss(NODES)
    root = (node + 1) / 2 * np.sqrt(FARTHEST)
    density = weight / 2 * np.sqrt(FARTHEST) * 2 * root * np.exp(-(root**2))
    driven = np.sqrt(power)[:, None] * root[None, :]
    return np.asarray(np.abs(amplifier(driven.astype(np.complex128))) ** 2 @ density)


@dataclass(frozen=True, kw_only=True, eq=False)
class Terms:
    """Spectra of the terms of one waveform, each of power one.

    frequency_hz  (n,) ascending, zero in the middle
    density       (n_terms, n) per hertz; row 0 is the waveform itself
    """

    frequency_hz: Floats
    density: Floats

    @property
    def step_hz(self) -> float:
        """Distance between two frequencies. [Hz]"""
        return float(self.frequency_hz[1] - self.frequency_hz[0])

    def output_density(self, coefficients: Complexes) -> Floats:
        """Output spectrum of each row of ``expand``. (n_drives, n) [W/Hz]"""
        return np.asarray(np.abs(coefficients) ** 2 @ self.density[: coefficients.shape[1]])


def convolve_terms(density: npt.ArrayLike, *, step_hz: float, n_terms: int = TERMS) -> Terms:
    """Spectra of all terms from the spectrum of the waveform: the n-fold convolutions, by FFT.

    density  (n,) per hertz, any scale, frequency ascending, zero at index n // 2; what lies beyond n step_hz / 2
             folds back: take a span of at least five widths
    raises   RangeError where the spectrum is empty or negative
    """
    given = np.asarray(density, dtype=np.float64)
    require_positive("step_hz", step_hz, unit="Hz")
    total = float(given.sum())
    if not (total > 0 and given.min() >= 0):
        raise RangeError("The spectrum of a waveform must be power per hertz, nowhere below zero and not all zero.")
    n = len(given)
    rho = scipy.fft.ifft(scipy.fft.ifftshift(given / total)) * n
    square = np.abs(rho) ** 2
    rows = np.empty((n_terms, n), np.complex128)
    rows[0] = rho
    for k in range(1, n_terms):
        np.multiply(rows[k - 1], square, out=rows[k])
    spectra = scipy.fft.fft(rows, axis=1, overwrite_x=True).real / (n * step_hz)
    frequency: Floats = np.asarray((np.arange(n) - n // 2) * step_hz, dtype=np.float64)
    return Terms(frequency_hz=frequency, density=np.maximum(scipy.fft.fftshift(spectra, axes=1), 0.0))
