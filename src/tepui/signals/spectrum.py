"""The one spectrum: averaged, windowed, overlapped periodograms of a stream of samples.

Theory  Mean of |DFT(w x)|^2 / (fs sum w^2) over overlapped segments: power per hertz, so that the sum over bins times
        the bin width is the mean power. The resolution bandwidth is that of an ideal filter passing as much noise as
        the window, fs sum w^2 / (sum w)^2.
Source  Welch 1967, IEEE Trans. Audio Electroacoust. AU-15, 70-73.
Holds   Complex samples of any rate; full scale is 1. Samples past the last whole segment are left out. The doubt counts
        averaging only and takes the signal as Gaussian and steady; a discrete line has less.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from scipy import fft

from tepui.ground.checks import require_between, require_positive
from tepui.ground.errors import RangeError
from tepui.ground.tasks import default_workers, map_tasks
from tepui.signals.recording import Recording
from tepui.signals.windows import effective_averages, noise_bandwidth_bins, window_weights

Floats = npt.NDArray[np.float64]
Samples = npt.NDArray[np.complex64]

BATCH_POINTS = 1 << 16
SPAN_SAMPLES = 1 << 18


@dataclass(frozen=True, kw_only=True)
class Spectrum:
    """A power spectrum as a screen would show it, with what is needed to read it.

    frequency_hz  (n,) ascending, offset from ``centre_hz`` (the tuned frequency; None where not known)
    density       (n,) power per hertz, a full-scale complex tone having power 1
    std           (n,) standard uncertainty of ``density`` from averaging
    resolution_bandwidth_hz   noise bandwidth of the window
    n_averages    effective number of independent averages
    n_samples     samples that went in
    """

    frequency_hz: Floats
    density: Floats
    std: Floats
    resolution_bandwidth_hz: float
    window: str
    n_averages: float
    n_samples: int
    centre_hz: float | None = None

    def __post_init__(self) -> None:
        for array in (self.frequency_hz, self.density, self.std):
            array.flags.writeable = False

    @property
    def bin_hz(self) -> float:
        """Distance between two points. [Hz]"""
        return float(self.frequency_hz[1] - self.frequency_hz[0])

    @property
    def power(self) -> float:
        """Mean power of the samples that went in, full scale = 1. [1]"""
        return float(self.density.sum() * self.bin_hz)


class SpectrumEstimator:
    """Averages the spectrum of samples that arrive in blocks of any size; memory does not grow.

    The sums are formed over fixed groups of segments counted from the first sample, so the result does not depend on
    how the stream was cut, to the last bit.
    """

    def __init__(
        self,
        *,
        n_fft: int,
        window: str = "hann",
        overlap: float = 0.5,
        sample_rate_hz: float = 1.0,
        centre_hz: float | None = None,
    ) -> None:
        require_between("n_fft", n_fft, 2, 1 << 26, unit="points", source="this program's limit")
        require_between("overlap", overlap, 0, 0.95, unit="of a segment", source="this program's limit")
        require_positive("sample_rate_hz", sample_rate_hz, unit="Hz")
        from tepui.signals import spectrum_kernels

        self._kernels = spectrum_kernels
        self.n_fft, self.window = n_fft, window
        self.hop = max(1, round(n_fft * (1 - overlap)))
        self.sample_rate_hz, self.centre_hz = sample_rate_hz, centre_hz
        self._weights = window_weights(window, n_fft)
        self._pairs = np.repeat(self._weights.astype(np.float32), 2)
        self._batch = max(1, BATCH_POINTS // n_fft)
        self._work = np.empty((self._batch, n_fft), np.complex64)
        self._total = np.zeros(n_fft)
        self._segments = 0
        self._pending = np.empty(self._span(self._batch), np.complex64)
        self._held = 0

    def _span(self, segments: int) -> int:
        return (segments - 1) * self.hop + self.n_fft

    def _add(self, samples: Samples, segments: int) -> None:
        work = self._work[:segments]
        self._kernels.window_segments(samples.view(np.float32), self._pairs, 2 * self.hop, work.view(np.float32))
        spectra = fft.fft(work, axis=-1, overwrite_x=True)
        self._kernels.add_power(spectra.view(np.float32), self._total)
        self._segments += segments

    def push(self, block: Samples) -> None:
        """Take the next samples of the stream.

        block   (n,) complex64, any n
        """
        block = np.ascontiguousarray(block, dtype=np.complex64)
        need, shared, at = self._span(self._batch), self._span(self._batch) - self._batch * self.hop, 0
        while True:
            if self._held == 0:
                while at + need <= len(block):
                    self._add(block[at : at + need], self._batch)
                    at += self._batch * self.hop
                if at >= len(block):
                    return
            take = min(need - self._held, len(block) - at)
            self._pending[self._held : self._held + take] = block[at : at + take]
            self._held += take
            at += take
            if self._held < need:
                return
            self._add(self._pending, self._batch)
            if shared <= at:
                at, self._held = at - shared, 0
            else:
                self._pending[:shared] = self._pending[need - shared :].copy()
                self._held = shared

    def finish(self) -> tuple[Floats, int]:
        """Sum of |X|^2 over the whole segments so far, and their number; the estimator can go on afterwards.

        returns  (n_fft,) in the DFT's own order, and a count
        """
        total, segments = self._total.copy(), self._segments
        rest = 0 if self._held < self.n_fft else (self._held - self.n_fft) // self.hop + 1
        if rest:
            kept = self._total, self._segments
            self._total = total
            self._add(self._pending[: self._span(rest)], rest)
            self._total, self._segments = kept
        return total, segments + rest

    def result(self) -> Spectrum:
        """The spectrum of what has been pushed so far.

        raises  RangeError where not even one segment is full
        """
        total, segments = self.finish()
        return self.spectrum_from(total, segments)

    def spectrum_from(self, total: Floats, segments: int) -> Spectrum:
        """The spectrum that belongs to a sum of ``segments`` squared magnitudes.

        total   (n_fft,) in the DFT's own order
        raises  RangeError where ``segments`` is zero
        """
        if segments == 0:
            raise RangeError(
                f"This resolution needs at least {self.n_fft} samples and there are fewer: "
                "record longer or ask for a wider resolution bandwidth."
            )
        scale = 1.0 / (self.sample_rate_hz * float(np.sum(self._weights**2)) * segments)
        density = fft.fftshift(total) * scale
        averages = effective_averages(self._weights, hop=self.hop, n_segments=segments)
        return Spectrum(
            frequency_hz=fft.fftshift(fft.fftfreq(self.n_fft, 1 / self.sample_rate_hz)),
            density=density,
            std=density / math.sqrt(averages),
            resolution_bandwidth_hz=noise_bandwidth_bins(self._weights) * self.sample_rate_hz / self.n_fft,
            window=self.window,
            n_averages=averages,
            n_samples=self._span(segments),
            centre_hz=self.centre_hz,
        )


def points_for_resolution(*, resolution_bandwidth_hz: float, sample_rate_hz: float, window: str) -> int:
    """DFT length whose window passes noise as a filter of this width does, the next quick one upwards. [1]

    raises  RangeError where the resolution is wider than a quarter of the rate
    """
    require_positive("resolution_bandwidth_hz", resolution_bandwidth_hz, unit="Hz")
    wanted = noise_bandwidth_bins(window_weights(window, 1024)) * sample_rate_hz / resolution_bandwidth_hz
    if wanted < 4:
        raise RangeError(
            f"A resolution bandwidth of {resolution_bandwidth_hz:g} Hz is too wide for a sample rate of "
            f"{sample_rate_hz:g} Hz (at most a quarter of it): ask for a narrower one."
        )
    return int(fft.next_fast_len(round(wanted)))


def spectrum_of_recording(
    recording: Recording,
    *,
    resolution_bandwidth_hz: float,
    window: str = "hann",
    overlap: float = 0.5,
    start: int = 0,
    count: int | None = None,
    workers: int | None = None,
) -> Spectrum:
    """Averaged spectrum of a recording, or of ``count`` samples of it from ``start`` on, read span by span.

    resolution_bandwidth_hz   wanted noise bandwidth; the one got is told by the result, at most a few per cent narrower
    workers                   threads; None takes what the machine offers; the result does not depend on it
    raises                    RangeError where the recording is too short for this resolution
    """
    rate_hz = recording.sample_rate_hz
    n_fft = points_for_resolution(
        resolution_bandwidth_hz=resolution_bandwidth_hz, sample_rate_hz=rate_hz, window=window
    )
    available = recording.n_samples - start
    count = available if count is None else min(count, available)

    def estimator() -> SpectrumEstimator:
        return SpectrumEstimator(
            n_fft=n_fft, window=window, overlap=overlap, sample_rate_hz=rate_hz, centre_hz=recording.centre_hz
        )

    whole = estimator()
    n_segments = 0 if count < n_fft else (count - n_fft) // whole.hop + 1
    per_span = max(1, SPAN_SAMPLES // whole.hop)

    def span_sum(first: int) -> tuple[Floats, int]:
        segments = min(per_span, n_segments - first)
        part = estimator()
        part.push(recording.read(start + first * whole.hop, (segments - 1) * whole.hop + n_fft))
        return part.finish()

    total, segments = np.zeros(n_fft), 0
    for group in _groups(range(0, n_segments, per_span), 8 * (workers or default_workers())):
        for part_total, part_segments in map_tasks(span_sum, group, workers=workers):
            total += part_total
            segments += part_segments
    return whole.spectrum_from(total, segments)


def _groups(items: range, size: int) -> Iterator[range]:
    for at in range(0, len(items), size):
        yield items[at : at + size]


def smoothed(spectrum: Spectrum, *, resolution_bandwidth_hz: float) -> Spectrum:
    """The same spectrum through a wider, Gaussian resolution filter, as an analyser would draw it, on the same points.

    resolution_bandwidth_hz   noise bandwidth afterwards, at least three times the spectrum's own
    raises                    RangeError for less
    """
    own_hz = spectrum.resolution_bandwidth_hz
    if resolution_bandwidth_hz < 3 * own_hz:
        raise RangeError(
            f"A trace of {own_hz:g} Hz resolution can be widened to {3 * own_hz:g} Hz or more, "
            f"not to {resolution_bandwidth_hz:g} Hz: take the spectrum anew."
        )
    filter_hz = math.sqrt(resolution_bandwidth_hz**2 - own_hz**2)
    reach = min(math.ceil(1.6 * filter_hz / spectrum.bin_hz), len(spectrum.density) // 2 - 1)
    response = np.exp(-np.pi * (np.arange(-reach, reach + 1) * spectrum.bin_hz / filter_hz) ** 2)
    response /= response.sum()
    density = _convolved(spectrum.density, response) / _convolved(np.ones_like(spectrum.density), response)
    averages = spectrum.n_averages * _independent_bins(response, spectrum)
    return replace(
        spectrum,
        density=density,
        std=density / math.sqrt(averages),
        resolution_bandwidth_hz=resolution_bandwidth_hz,
        n_averages=averages,
    )


def _convolved(values: Floats, response: Floats) -> Floats:
    """Linear convolution, the middle part, exact also where levels differ by many decades (no transform)."""
    out: Floats = np.convolve(values, response, mode="same")
    return out


def _independent_bins(response: Floats, spectrum: Spectrum) -> float:
    """By how much summing bins with these weights reduces the variance, their correlation counted; never over T B."""
    weights = window_weights(spectrum.window, len(spectrum.density))
    shared = np.abs(fft.fft(weights**2))[: len(response)] ** 2 / float(np.sum(weights**2)) ** 2
    overlap = np.convolve(response, response[::-1])[len(response) - 1 :]
    spread = float(overlap[0] * shared[0] + 2 * np.sum(overlap[1:] * shared[1:]))
    time_bandwidth = spectrum.n_samples / len(spectrum.density) / float(np.sum(response**2))
    return min(1 / spread, time_bandwidth / spectrum.n_averages)


def periodogram_average(samples: Samples, n_fft: int) -> Floats:
    """Quick look for a search: mean |DFT|^2 of Hann-windowed half-overlapped segments, no kernels, no doubt.

    samples  (n,), n >= n_fft
    returns  (n_fft,) power per bin, frequency ascending from -fs/2; the sum is the mean power
    raises   RangeError where there are fewer samples than points
    """
    if len(samples) < n_fft:
        raise RangeError(f"{len(samples)} samples are too few for {n_fft} points: give at least as many.")
    weights = window_weights("hann", n_fft).astype(np.float32)
    segments = np.lib.stride_tricks.sliding_window_view(samples, n_fft)[:: max(1, n_fft // 2)]
    total = np.zeros(n_fft)
    step = max(1, BATCH_POINTS // n_fft)
    for at in range(0, len(segments), step):
        spectra = fft.fft(segments[at : at + step] * weights, axis=-1, overwrite_x=True)
        total += np.sum(spectra.real**2 + spectra.imag**2, axis=0, dtype=np.float64)
    return np.asarray(fft.fftshift(total) / (len(segments) * n_fft * float(np.sum(weights.astype(np.float64) ** 2))))
