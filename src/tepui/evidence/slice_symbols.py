"""The mode's symbols as narrow slices of the channel show them: useful part and guard.

Theory  Any slice of an OFDM signal repeats its guard one useful symbol later: the product of the samples with those one
        useful symbol on, folded over the symbol, has a bump a guard long. The clearest over all slices is the mode's.
        A useful symbol belongs to a channel of one width for each size of the transform; only the width seen tells
        which it is.
Source  [EN300744] 4.4 for useful symbols and guards; van de Beek et al. 1997, IEEE Trans. Signal Processing 45.
Holds   Slices of a tenth of the channel or more, 8 symbols long; clocks to 100 ppm. Lines are taken off.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.search import CARRIERS, FFT_SIZES, GUARDS, WIDTHS_HZ, quietest
from tepui.signals.recording import Recording

LOOK_SAMPLES = 1 << 18
LEAST_SYMBOLS = 8
CLEAR = 7.0


@dataclass(frozen=True, kw_only=True)
class SliceSymbols:
    """What the slices repeat.

    useful_s  nominal, as the receiver's clock counts
    guard     fraction of the useful part
    score     how far the repetition stands out, in standard deviations
    """

    useful_s: float
    guard: Fraction
    score: float

    @property
    def guard_s(self) -> float:
        """Length of the guard interval. [s]"""
        return self.useful_s * float(self.guard)

    def channels(self) -> tuple[tuple[int, float, float], ...]:
        """Channels with such symbols: size of the transform, width, and width from lowest to highest carrier."""
        return tuple(
            (n_fft, 7 * n_fft / (8 * self.useful_s), (CARRIERS[n_fft] - 1) / self.useful_s)
            for n_fft in sorted(CARRIERS)
        )


def useful_symbols_s(width_hz: float | None) -> tuple[float, ...]:
    """All useful symbols there may be, of one width or of all, longest first. [s]"""
    widths = WIDTHS_HZ if width_hz is None else (width_hz,)
    return tuple(sorted({round(7 * n / (8 * w), 12) for w in widths for n in FFT_SIZES}, reverse=True))


def slice_symbols(slices: Sequence[Recording], *, width_hz: float | None = None) -> SliceSymbols | None:
    """Useful symbol and guard that all slices together show best; None where nothing repeats clearly."""
    totals: dict[tuple[float, Fraction], float] = {}
    for one in slices:
        samples = one.read(0, LOOK_SAMPLES)
        samples = samples - samples.mean()
        energy = float(np.mean(np.abs(samples) ** 2))
        if energy <= 0:
            continue
        for useful_s in useful_symbols_s(width_hz):
            lag = useful_s * one.sample_rate_hz
            if len(samples) < LEAST_SYMBOLS * lag:
                continue
            product = samples[: -round(lag)] * np.conj(samples[round(lag) :])
            for guard in GUARDS:
                key = useful_s, guard
                totals[key] = totals.get(key, 0.0) + _bump(product, lag=lag, guard=float(guard), energy=energy) ** 2
    if not totals:
        return None
    (useful_s, guard), score = max(totals.items(), key=lambda item: item[1])
    score = float(np.sqrt(score / len(slices)))
    return SliceSymbols(useful_s=useful_s, guard=guard, score=score) if score > CLEAR else None


def _bump(product: npt.NDArray[np.complex64], *, lag: float, guard: float, energy: float) -> float:
    """How far the best stretch of a guard's length stands out of the product folded over the symbol."""
    period = lag * (1 + guard)
    size, width = int(period), max(1, round(lag * guard))
    place = np.minimum((np.arange(product.size) % period).astype(np.int64), size - 1)
    folded = np.bincount(place, product.real, size) + 1j * np.bincount(place, product.imag, size)
    sums = np.concatenate([[0], np.cumsum(np.concatenate([folded, folded[:width]]))])
    box = sums[width : width + size] - sums[:size]
    level, spread = quietest(box)
    scale = max(energy * np.sqrt(width * product.size / period), 2 * spread)
    return float(np.abs(box - level).max() / scale)
