"""The one resampler: read a recording at any times, at any rate, with its carrier turned back to zero.

Theory  A signal that keeps to |f| <= pass is recovered between its samples by a low-pass filter that is flat to the
        pass edge and closed from the stop edge on, where the first image or alias may lie: stop = min(rate in, rate
        out) - pass. A Kaiser window of attenuation A over a transition d needs (A - 7.95) / (14.36 d) taps.
Source  J. F. Kaiser, nonrecursive digital filter design using the I0-sinh window function, IEEE ISCAS 1974.
Holds   100 dB in the stop band; the linear interpolation of the tabulated weights adds an error of
        (2 pi f / phases)^2 / 8, below -97 dB at the edge of a full band and far below elsewhere.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.ground.errors import RangeError
from tepui.signals.recording import Recording
from tepui.signals.resample_kernels import (
    derotate,
    derotate_code_rows,
    derotate_codes,
    derotate_rows,
    resample_rows,
)

ATTENUATION_DB = 100.0
PHASES = 256


@dataclass(frozen=True, kw_only=True)
class Interpolator:
    """Tabulated weights: ``table`` is (PHASES + 1, taps) float32; a row serves one fraction of a sample."""

    table: npt.NDArray[np.float32]

    @property
    def margin(self) -> int:
        """Samples needed on either side of the times read."""
        return int(self.table.shape[1]) // 2 + 1


def design_interpolator(*, rate_in_hz: float, rate_out_hz: float, half_width_hz: float) -> Interpolator:
    """Weights that keep |f| <= half_width_hz and close where images or aliases would fall on it.

    raises  RangeError where the rates leave no room beside the band
    """
    stop_hz = min(rate_in_hz, rate_out_hz) - half_width_hz
    if stop_hz <= half_width_hz:
        raise RangeError(
            f"a band {2 * half_width_hz / 1e6:g} MHz wide needs a sample rate above it (Nyquist), "
            f"not {min(rate_in_hz, rate_out_hz) / 1e6:g} MS/s; record at 1.1 times the band or more."
        )
    transition = (stop_hz - half_width_hz) / rate_in_hz
    cutoff = 0.5 * (stop_hz + half_width_hz) / rate_in_hz
    taps = 8 * math.ceil((ATTENUATION_DB - 7.95) / (14.36 * transition) / 8 + 0.125)
    beta = 0.1102 * (ATTENUATION_DB - 8.7)
    fractions = np.arange(PHASES + 1)[:, None] / PHASES
    times = np.arange(taps)[None, :] - (taps // 2 - 1) - fractions
    inside = np.clip(1.0 - (times / (taps / 2)) ** 2, 0.0, None)
    table = 2 * cutoff * np.sinc(2 * cutoff * times) * np.i0(beta * np.sqrt(inside)) / np.i0(beta)
    table /= table.sum(axis=1, keepdims=True)
    result = np.ascontiguousarray(table, dtype=np.float32)
    return Interpolator(table=result)


def turn_back(
    samples: npt.NDArray[np.complex64], *, cycles_per_sample: float, first: int, conjugate: bool = False
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """Shift a block down by a frequency, phase-true from block to block.

    samples  (n,) as read; with ``conjugate`` the spectrum is turned over first
    first    number of the first sample in the recording, so that blocks join without a step of phase
    returns  real and imaginary part, (n,) each
    """
    real = np.empty(samples.size, np.float32)
    imag = np.empty(samples.size, np.float32)
    derotate(np.require(samples, np.complex64, ["C", "W"]), cycles_per_sample, first, conjugate, real, imag)
    return real, imag


def turned_back(
    recording: Recording, *, begin: int, count: int, cycles_per_sample: float
) -> tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]]:
    """As ``turn_back``, straight from a recording; stored 16-bit codes are turned as they are scaled."""
    stored = recording.codes(begin, count)
    if stored is None:
        return turn_back(recording.read(begin, count), cycles_per_sample=cycles_per_sample, first=begin)
    codes, scale = stored
    real, imag = np.empty(count, np.float32), np.empty(count, np.float32)
    derotate_codes(codes, scale, cycles_per_sample, begin, real, imag)
    return real, imag


def read_rows(
    parts: tuple[npt.NDArray[np.float32], npt.NDArray[np.float32]],
    *,
    starts: npt.NDArray[np.float64],
    step: float,
    count: int,
    interpolator: Interpolator,
) -> npt.NDArray[np.complex64]:
    """Rows of ``count`` samples read at times starts[r] + n step within the block.

    parts    real and imaginary part of the block, from ``turn_back``
    returns  (rows, count) complex64
    raises   RangeError where a row would reach outside the block
    """
    out = np.empty((starts.size, count), np.complex64)
    _require_inside(starts, (count - 1) * step, size=parts[0].size, margin=interpolator.margin)
    resample_rows(parts[0], parts[1], np.ascontiguousarray(starts), step, interpolator.table, out)
    return out


def whole_rows(
    recording: Recording,
    *,
    begin: int,
    length: int,
    starts: npt.NDArray[np.int64],
    count: int,
    cycles_per_sample: float,
) -> npt.NDArray[np.complex64]:
    """Rows of ``count`` samples as they are, shifted down by a frequency, phase-true as ``turn_back``.

    begin, length  the block of the recording that is read; starts are places in it
    raises         RangeError where a row would reach outside the block
    """
    out = np.empty((starts.size, count), np.complex64)
    _require_inside(starts, count - 1, size=length, margin=0)
    places = np.ascontiguousarray(starts, dtype=np.int64)
    stored = recording.codes(begin, length)
    if stored is None:
        block = np.require(recording.read(begin, length), np.complex64, ["C", "W"])
        derotate_rows(block, cycles_per_sample, begin, places, out)
    else:
        derotate_code_rows(stored[0], stored[1], cycles_per_sample, begin, places, out)
    return out


def _require_inside(starts: npt.NDArray[np.generic], length: float, *, size: int, margin: int) -> None:
    low, high = float(starts.min()), float(starts.max()) + length
    if low < margin or high > size - 1 - margin:
        raise RangeError(f"rows from {low:g} to {high:g} reach outside a block of {size} samples.")
