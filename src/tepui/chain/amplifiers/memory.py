"""An amplifier with memory: a polynomial of the envelope now and a little earlier, and what it makes of OFDM.

Theory  y(t) = sum over delays q of x(t - q) (c_1q + c_3q |x|^2 + c_5q |x|^4 ...). Each delay is a memoryless amplifier
        with terms c_k of its own (closed_form); terms of different k do not correlate and those of one k differ by
        their delay only, so term k leaves with the frequency response C_k(f) = sum over q of c_kq exp(-2 pi i f q).
        The output's spectrum is the sum of |C_k(f)|^2 times the spectrum of term k: its two shoulders may differ.
Source  Form: L. Ding et al., IEEE Trans. Communications 52 (2004). Response: own derivation from closed_form's terms.
Holds   A Gaussian signal; peaks up to ``reach``, the strongest input it was fitted with: beyond, a polynomial turns
        where it likes. Frequencies count from the middle of the channel.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
import numpy.typing as npt

from tepui.chain.amplifiers.closed_form import POLYNOMIAL_TERMS, Complexes, Floats, Terms, expand
from tepui.chain.amplifiers.drive_curve import WaveformView, lifted_line_db
from tepui.chain.amplifiers.models import odd_polynomial
from tepui.ground.checks import require_between
from tepui.ground.errors import RangeError

MOST_ORDER = 2 * POLYNOMIAL_TERMS - 1


def _bent(row: Complexes, x: Complexes) -> Complexes:
    """What one delay makes of the envelope."""
    return np.asarray(odd_polynomial(x, coefficients=[complex(one) for one in row]), dtype=np.complex128)


@dataclass(frozen=True, kw_only=True, eq=False)
class MemoryPolynomial:
    """A measured memory polynomial.

    delay_s        (d,) of each row
    coefficients   (d, n) c_1, c_3, c_5 ... of each delay
    reference_dbm  input and output at which |x| and |y| are 1
    reach_dbm      strongest input envelope it was fitted with
    """

    delay_s: Floats
    coefficients: Complexes
    reference_dbm: float
    reach_dbm: float

    @property
    def gain_db(self) -> float:
        """Gain of a weak signal in the middle of the channel. [dB]"""
        return float(20 * np.log10(abs(self.coefficients[:, 0].sum())))

    def terms(self, input_w: npt.ArrayLike) -> Complexes:
        """c_k of each delay at each mean input power over that of the reference. (p, k, d)"""
        rows = [expand(partial(_bent, row), input_w, n_terms=POLYNOMIAL_TERMS) for row in self.coefficients]
        return np.stack(rows, axis=2)

    def envelope(self, x: Complexes, *, sample_rate_hz: float) -> Complexes:
        """Output of samples that go round in a circle; delays between samples by the spectrum. (n,)"""
        frequency = np.fft.fftfreq(len(x), 1 / sample_rate_hz)
        spectrum = np.zeros(len(x), np.complex128)
        for delay, row in zip(self.delay_s, self.coefficients, strict=True):
            spectrum += np.fft.fft(_bent(row, x)) * np.exp(-2j * np.pi * frequency * delay)
        return np.asarray(np.fft.ifft(spectrum))


def memory_polynomial(
    rows: Sequence[tuple[float, int, complex]], *, reference_dbm: float, reach_dbm: float
) -> MemoryPolynomial:
    """From rows of delay [s], order and coefficient.

    raises  RangeError for an order that is even or too high, a row that stands twice, or no gain at all
    """
    places: dict[tuple[float, int], complex] = {}
    for delay, order, value in rows:
        require_between("delay of a memory polynomial", delay * 1e9, 0, 1e4, unit="ns", source="this program's limit")
        if order % 2 == 0 or not 1 <= order <= MOST_ORDER:
            raise RangeError(f"the order of a coefficient is odd, from 1 to {MOST_ORDER}, not {order}.")
        if (delay, order) in places:
            raise RangeError(f"delay {delay * 1e9:g} ns and order {order} stand twice; keep one of each.")
        places[delay, order] = value
    delays = sorted({delay for delay, _ in places})
    count = (max((order for _, order in places), default=1) + 1) // 2
    table = np.array([[places.get((delay, 2 * n + 1), 0.0) for n in range(count)] for delay in delays], np.complex128)
    if not len(table) or abs(table[:, 0].sum()) < 1e-12:
        raise RangeError("a memory polynomial needs coefficients of order 1 that leave a gain.")
    return MemoryPolynomial(
        delay_s=np.array(delays), coefficients=table, reference_dbm=reference_dbm, reach_dbm=reach_dbm
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class MemoryCurve:
    """Against drive, (p,) each: shoulders below and above the channel, MER, and the gain of the mean power."""

    lower_db: Floats
    upper_db: Floats
    mer_db: Floats
    gain_ratio: Floats


def memory_curve(
    amplifier: MemoryPolynomial, drive: npt.ArrayLike, *, terms: Terms, view: WaveformView, occupied_width_hz: float
) -> MemoryCurve:
    """What an amplifier with memory makes of a waveform.

    drive  (p,) mean input power over that of the reference
    terms  spectra of the waveform's terms; ``view`` is what a screen shows of them
    """
    power = np.atleast_1d(np.asarray(drive, dtype=np.float64))
    weights = amplifier.terms(power)
    n, half = weights.shape[1], occupied_width_hz / 2

    def response(frequency: Floats) -> Floats:
        """|C_k|^2 at frequencies. (p, k, f)"""
        turned = np.exp(-2j * np.pi * amplifier.delay_s[:, None] * frequency[None, :])
        return np.asarray(np.abs(weights @ turned) ** 2)

    inside = np.abs(terms.frequency_hz) < half - terms.step_hz
    density = terms.density[:n, inside]
    shown = response(terms.frequency_hz[inside]) * density[None]
    lift = view.highest[0] / view.in_channel[0]
    highest = (lift * shown[:, 0] + shown[:, 1:].sum(axis=1)).max(axis=1)
    sides = []
    for sign in (-1, 1):
        seen = (response(sign * (half + view.offset_hz)) * view.slope[None, :n]).sum(axis=1)
        level = 10 * np.log10(np.maximum(seen / highest[:, None], 1e-30))
        sides.append(lifted_line_db(view.offset_hz, level))
    errors = (shown[:, 1:].sum(axis=1) / shown[:, 0]).mean(axis=1) / view.data_ratio
    total = (response(terms.frequency_hz) * terms.density[None, :n]).sum(axis=(1, 2)) * terms.step_hz
    return MemoryCurve(
        lower_db=sides[0],
        upper_db=sides[1],
        mer_db=np.asarray(-10 * np.log10(np.maximum(errors, 1e-30))),
        gain_ratio=np.asarray(total / power),
    )
