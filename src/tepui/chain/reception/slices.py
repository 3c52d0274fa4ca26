"""Telling that a recording shows only a slice of a wider OFDM channel.

Theory  A slice of an OFDM signal still repeats its guard interval after the useful symbol: the product of the samples
        with those one useful symbol later, folded over the symbol, has a bump a guard long.
Source  as search.py; the useful symbols are those of [EN300744] 4.4 for 5 to 8 MHz.
Holds   A score that noise reaches once in e^50 looks; lines give the same value everywhere and are taken off.
"""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.search import FFT_SIZES, GUARDS, WIDTHS_HZ, occupied_hz, quietest
from tepui.signals.recording import Recording

LOOK_SAMPLES = 1 << 19
CLEAR = 7.0


@dataclass(frozen=True, kw_only=True)
class WiderChannel:
    """What the slice belongs to: channel width and useful symbol."""

    width_hz: float
    useful_s: float


def wider_channel(recording: Recording) -> WiderChannel | None:
    """The channel wider than the recording whose symbols are seen in it, or None."""
    rate_hz = recording.sample_rate_hz
    samples = recording.read(0, LOOK_SAMPLES)
    energy = float(np.mean(np.abs(samples) ** 2)) + 1e-30
    best: tuple[float, WiderChannel] | None = None
    for width_hz in WIDTHS_HZ:
        if width_hz < 5e6 or occupied_hz(width_hz) <= rate_hz / 1.04:
            continue
        for n_fft in FFT_SIZES[:2]:
            useful_s = n_fft * 7 / (8 * width_hz)
            lag = round(useful_s * rate_hz)
            if samples.size < 8 * lag:
                continue
            product = samples[:-lag] * np.conj(samples[lag:])
            for guard in GUARDS:
                score = _bump(
                    product, period=useful_s * rate_hz * (1 + float(guard)), guard=float(guard), energy=energy
                )
                if score > CLEAR and (best is None or score > best[0]):
                    best = (score, WiderChannel(width_hz=width_hz, useful_s=useful_s))
    return None if best is None else best[1]


def _bump(product: npt.NDArray[np.complex64], *, period: float, guard: float, energy: float) -> float:
    """How far the best stretch of a guard's length stands out of the product folded over the symbol."""
    size = int(period)
    width = max(1, round(period * guard / (1 + guard)))
    place = np.minimum((np.arange(product.size) % period).astype(np.int64), size - 1)
    folded = np.bincount(place, product.real, size) + 1j * np.bincount(place, product.imag, size)
    ring = np.concatenate([folded, folded[:width]])
    sums = np.concatenate([[0], np.cumsum(ring)])
    box = sums[width : width + size] - sums[:size]
    level, spread = quietest(box)
    scale = max(energy * np.sqrt(width * product.size / period), 2 * spread)
    return float(np.abs(box - level).max() / scale)


@dataclass(frozen=True, kw_only=True)
class SliceSymbols:
    """Symbols seen in a slice: size of the transform, useful part and guard at the nominal clock."""

    n_fft: int
    guard: Fraction
    useful_s: float

    @property
    def guard_s(self) -> float:
        """Length of the guard interval. [s]"""
        return self.useful_s * float(self.guard)

    @property
    def text(self) -> str:
        """In words."""
        return f"{self.n_fft // 1024}K {self.guard}"


def nominal_symbols(*, width_hz: float, n_fft: int, guard: Fraction) -> SliceSymbols:
    """The symbols of a mode that was told."""
    return SliceSymbols(n_fft=n_fft, guard=guard, useful_s=n_fft * 7 / (8 * width_hz))


def symbols_of_slice(recording: Recording, *, width_hz: float) -> SliceSymbols | None:
    """FFT size and guard of a channel of known width from a slice of it; None where no symbols stand out."""
    rate_hz = recording.sample_rate_hz
    samples = recording.read(0, LOOK_SAMPLES)
    samples = samples - samples.mean()
    energy = float(np.mean(np.abs(samples) ** 2)) + 1e-30
    best: tuple[float, SliceSymbols] | None = None
    for n_fft in FFT_SIZES:
        useful_s = n_fft * 7 / (8 * width_hz)
        lag = round(useful_s * rate_hz)
        if samples.size < 8 * lag:
            continue
        product = samples[:-lag] * np.conj(samples[lag:])
        for guard in GUARDS:
            period = useful_s * rate_hz * (1 + float(guard))
            score = _bump(product, period=period, guard=float(guard), energy=energy)
            if score > CLEAR and (best is None or score > best[0]):
                best = (score, SliceSymbols(n_fft=n_fft, guard=guard, useful_s=useful_s))
    return None if best is None else best[1]
