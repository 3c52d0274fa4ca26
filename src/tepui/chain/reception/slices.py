"""Telling that a recording shows only a slice of a wider OFDM channel.

Theory  A slice of an OFDM signal still repeats its guard interval after the useful symbol: the product of the samples
        with those one useful symbol later has a mean, which it has not at delays near by.
Source  as search.py; the useful symbols are those of [EN300744] 4.4 for 5 to 8 MHz.
Holds   Slices of a few symbols and more; lines repeat at every delay and are seen at the neighbours too.
"""

from dataclasses import dataclass

import numpy as np

from tepui.chain.reception.search import FFT_SIZES, WIDTHS_HZ, occupied_hz
from tepui.signals.recording import Recording

LOOK_SAMPLES = 1 << 20
CLEAR = 8.0


@dataclass(frozen=True, kw_only=True)
class WiderChannel:
    """What the slice belongs to: channel width and useful symbol."""

    width_hz: float
    useful_s: float


def wider_channel(recording: Recording) -> WiderChannel | None:
    """The channel wider than the recording whose symbols are seen in it, or None."""
    rate_hz = recording.sample_rate_hz
    samples = recording.read(0, LOOK_SAMPLES)
    best: tuple[float, WiderChannel] | None = None
    for width_hz in WIDTHS_HZ:
        if width_hz < 5e6 or occupied_hz(width_hz) <= rate_hz / 1.04:
            continue
        for n_fft in FFT_SIZES[:2]:
            useful_s = n_fft * 7 / (8 * width_hz)
            lag = round(useful_s * rate_hz)
            if samples.size < 8 * lag:
                continue
            here = _mean_product(samples, lag)
            # neighbours away from the correlation's own width, 1 over the bandwidth
            apart = (-41, -31, -23, -17, 17, 23, 31, 41)
            others = np.array([_mean_product(samples, lag + away) for away in apart])
            centre = others.mean()
            spread = np.sqrt(np.mean(np.abs(others - centre) ** 2)) + 1e-12
            score = abs(here - centre) / spread
            if score > CLEAR and (best is None or score > best[0]):
                best = (float(score), WiderChannel(width_hz=width_hz, useful_s=useful_s))
    return None if best is None else best[1]


def _mean_product(samples: "np.typing.NDArray[np.complex64]", lag: int) -> complex:
    return complex(np.vdot(samples[lag:], samples[:-lag])) / (samples.size - lag)
