"""The practice transmitter: the modulated waveform through an amplifier that bends, at a rate that holds what it makes.

Theory  A product of order m is m times as wide as the channel. At F times the elementary rate it folds back no
        nearer than F f_s - m B/2, so F = 4 keeps orders up to 7 out of the nearest 1.3 channel widths either side.
        Between the elementary samples the waveform is restored by its spectrum, the copies beyond f_s/2 rolled off.
Source  sampling theorem; a modulator's converter and its smoothing filter, common practice (no published source).
Holds   Memoryless amplifiers. Read in pieces, so memory does not grow; a piece does not depend on how it was cut
        beyond the last digits of single precision.
"""

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import scipy.fft

from tepui.ground.checks import require_positive
from tepui.ground.errors import RangeError
from tepui.practice.blocks import EDGE, cut, faded, roll_off

Samples = npt.NDArray[np.complex64]
Amplifier = Callable[[Samples], npt.NDArray[np.complexfloating]]
PASS_EDGE, STOP_EDGE = 0.43, 0.5  # of the elementary rate: DVB-T carriers end at 0.416 in every mode
POWER_SAMPLES = 1 << 19  # of the elementary rate, for the mean power: its doubt is then 0.01 dB


@dataclass(frozen=True, kw_only=True, eq=False)
class TransmittedSignal:
    """What leaves the amplifier, read in pieces.

    waveform                   (n,) at the elementary rate, mean power 1
    elementary_rate_hz         1/T
    amplifier                  envelope in sqrt(W) to envelope in sqrt(W)
    drive_w                    mean power at the amplifier's input
    factor                     oversampling F, at least 2
    """

    waveform: Samples
    elementary_rate_hz: float
    amplifier: Amplifier
    drive_w: float
    factor: int = 4
    _mean_w: float = field(init=False, repr=False)

    def __post_init__(self) -> None:
        require_positive("drive_w", self.drive_w, unit="W")
        if self.factor < 2:
            raise RangeError(f"An amplifier's products need an oversampling of at least 2, not {self.factor}.")
        step, total = 1 << 16, 0.0
        end = min(self.n_samples, POWER_SAMPLES * self.factor)
        for start in range(0, end, step):
            piece = self.read(start, min(step, end - start))
            total += float(np.vdot(piece, piece).real)
        object.__setattr__(self, "_mean_w", total / max(end, 1))

    @property
    def rate_hz(self) -> float:
        """Rate of the samples that ``read`` gives. [Hz]"""
        return self.factor * self.elementary_rate_hz

    @property
    def n_samples(self) -> int:
        """Length at that rate."""
        return self.factor * len(self.waveform)

    @property
    def mean_w(self) -> float:
        """Mean power at the output, products included, over the first samples. [W]"""
        return self._mean_w

    def read(self, start: int, count: int) -> Samples:
        """Samples start to start + count of the output, zeros outside the transmission. (count,) sqrt(W)"""
        first = start // self.factor - EDGE
        span = -(-(start + count) // self.factor) + EDGE - first
        piece = faded(cut(self.waveform, start=first, count=scipy.fft.next_fast_len(span)))
        driven = oversample(piece, factor=self.factor) * np.float32(np.sqrt(self.drive_w))
        kept = driven[start - first * self.factor :][:count]
        return np.asarray(self.amplifier(kept), dtype=np.complex64)


def oversample(piece: Samples, *, factor: int) -> Samples:
    """The waveform between its samples, copies beyond half the rate rolled off.

    piece    (n,), taken as one period: fade its ends first
    returns  (n factor,); sample n factor is sample n of the piece, but for the roll-off
    """
    n = len(piece)
    spectrum = scipy.fft.fft(piece) * roll_off(scipy.fft.fftfreq(n), pass_edge=PASS_EDGE, stop_edge=STOP_EDGE).astype(
        np.float32
    )
    wide = np.zeros(n * factor, np.complex64)
    half = n // 2
    wide[:half] = spectrum[:half]
    wide[len(wide) - half :] = spectrum[n - half :]
    return np.asarray(scipy.fft.ifft(wide) * np.float32(factor))
