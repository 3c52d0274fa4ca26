"""The practice receiver: a wide zero-intermediate-frequency receiver with the faults that such receivers have.

Theory  In the order in which they arise: thermal noise k T0 F, the oscillator's phase noise, unequal I and Q (an
        image |g/2 + i q/2| of the signal), a line at zero frequency, and a converter of N bits at a set gain.
        The sampled band is closed by a filter; the two stations' clocks differ, so every sample is read anew.
Source  Noise: definition of the noise figure at 290 K. Phase noise: first-order plateau L(f) = L0 / (1 + (f/fc)^2),
        whose angle has the variance pi L0 fc. Fault sizes are indicative of the 12-bit class, common practice.
Holds   Noise is flat over the whole sampled band. No blocking, no intermodulation of the receiver's own.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft
import scipy.signal

from tepui.ground.checks import require_between, require_positive
from tepui.ground.decibels import amplitude_from_db, ratio_from_db, watts_from_dbm
from tepui.ground.errors import RangeError
from tepui.ground.tasks import map_tasks
from tepui.practice.blocks import faded, roll_off
from tepui.practice.chirp import ChirpReader
from tepui.practice.path import PracticePath, mean_power_gain, noise_w_hz, response
from tepui.practice.transmitter import TransmittedSignal

Samples = npt.NDArray[np.complex64]
BLOCK = 1 << 17  # samples of the transmitted signal per transform
MARGIN = 4096  # read but not kept on either side, besides the longest echo; the outer quarter of it is faded
PASS_SHARE, STOP_SHARE = 0.46, 0.5  # of the sample rate: where the band filter begins and ends to close


@dataclass(frozen=True, kw_only=True)
class PhaseNoise:
    """Plateau of a locked oscillator, both sides of the carrier. Density L0 per side up to about ``corner_hz``."""

    plateau_dbc_hz: float
    corner_hz: float

    @property
    def variance_rad2(self) -> float:
        """Mean square of the angle, pi L0 fc. [rad^2]"""
        return float(np.pi * ratio_from_db(self.plateau_dbc_hz) * self.corner_hz)


@dataclass(frozen=True, kw_only=True)
class PracticeReceiver:
    """What a receiver does to the signal; the defaults are the 12-bit class after its own corrections.

    sample_rate_hz        flat to 0.46 of it on either side
    full_scale_dbm        level of a steady carrier that just fills the converter: the gain setting
    noise_figure_db       at this gain
    bits                  of the converter; None leaves the samples unrounded
    gain_imbalance_ratio  relative difference of the I and Q gains (0.002: image near -54 dB with 0.2 degrees)
    quadrature_error_rad  departure of I and Q from a right angle
    dc_dbfs               line at zero frequency, power relative to full scale; None for none
    phase_noise           None for an ideal oscillator
    """

    sample_rate_hz: float
    full_scale_dbm: float
    noise_figure_db: float = 7.0
    bits: int | None = 12
    gain_imbalance_ratio: float = 0.002
    quadrature_error_rad: float = float(np.radians(0.2))
    dc_dbfs: float | None = -55.0
    phase_noise: PhaseNoise | None = None

    def __post_init__(self) -> None:
        require_positive("sample_rate_hz", self.sample_rate_hz, unit="Hz")
        if self.bits is not None:
            require_between("bits", self.bits, 2, 24, unit="bit", source="converters of receivers")


def record(
    signal: TransmittedSignal,
    *,
    path: PracticePath,
    receiver: PracticeReceiver,
    width_hz: float,
    start_s: float,
    n_samples: int,
    seed: int,
    workers: int | None = None,
) -> Samples:
    """What the receiver writes down.

    width_hz    occupied width, over which the path's gain is averaged
    start_s     of the transmission, by the transmitter's clock, at the first sample
    returns     (n_samples,) complex64, full scale 1, the same for any number of workers
    raises      RangeError where the transmission does not last that long
    """
    step = signal.rate_hz / receiver.sample_rate_hz * (1 + 1e-6 * path.sample_clock_ppm)
    first = start_s * signal.rate_hz
    if first < 0 or first + n_samples * step > signal.n_samples:
        raise RangeError(
            f"The transmission lasts {signal.n_samples / signal.rate_hz:g} s; a recording of "
            f"{n_samples / receiver.sample_rate_hz:g} s from {start_s:g} s does not lie inside it."
        )
    front = _Front(signal, path=path, receiver=receiver, width_hz=width_hz, step=step)
    n_kept = front.n_kept
    angles = None if receiver.phase_noise is None else _angles(receiver, n_samples=n_samples, seed=seed)
    written = np.empty(n_samples, np.complex64)

    def work(number: int) -> None:
        begin = number * n_kept
        end = min(begin + n_kept, n_samples)
        heard: Samples = front.read(first + begin * step)[: end - begin]
        heard = heard + _noise(end - begin, receiver=receiver, seed=(seed, number))
        heard *= _turning(path.frequency_offset_hz / receiver.sample_rate_hz, begin, end)
        if angles is not None:
            heard *= np.exp(1j * angles[begin:end]).astype(np.complex64)
        written[begin:end] = _converted(heard, receiver)

    map_tasks(work, range(-(-n_samples // n_kept)), workers=workers)
    return written


class _Front:
    """The path and the band filter, and the signal read at the receiver's instants, block by block."""

    def __init__(
        self,
        signal: TransmittedSignal,
        *,
        path: PracticePath,
        receiver: PracticeReceiver,
        width_hz: float,
        step: float,
    ) -> None:
        self._signal, self._inverted = signal, path.inverted
        self._margin = MARGIN + _longest_echo(signal, path)
        self.n_kept = int((BLOCK - 2 * self._margin) / step)
        reach_hz = STOP_SHARE * receiver.sample_rate_hz + abs(path.frequency_offset_hz)
        half = min(int(reach_hz / signal.rate_hz * BLOCK) + 1, BLOCK // 2 - 1)
        frequency_hz = np.arange(-half, half + 1, dtype=np.float64) * (signal.rate_hz / BLOCK)
        seen_at_hz = frequency_hz if not path.inverted else -frequency_hz
        shape = roll_off(
            seen_at_hz + path.frequency_offset_hz,
            pass_edge=PASS_SHARE * receiver.sample_rate_hz,
            stop_edge=STOP_SHARE * receiver.sample_rate_hz,
        )
        mean = signal.mean_w * mean_power_gain(echoes=path.echoes, width_hz=width_hz)
        gain = np.sqrt(watts_from_dbm(path.level_dbm) / mean)
        self._response = (gain * shape * response(frequency_hz, echoes=path.echoes)).astype(np.complex64)
        self._half = half
        self._reader = ChirpReader(n_block=BLOCK, n_bins=2 * half + 1, step=step, n_out=self.n_kept)

    def read(self, first: float) -> Samples:
        """n_kept samples of the signal at the receiver's input from ``first`` on. sqrt(W)"""
        start = int(np.floor(first)) - self._margin
        piece = faded(self._signal.read(start, BLOCK), fade=MARGIN // 4)
        spectrum = scipy.fft.fft(piece)
        bins = np.concatenate([spectrum[-self._half :], spectrum[: self._half + 1]])
        heard = self._reader.read(bins * self._response, first=first - start)
        return np.asarray(np.conj(heard) if self._inverted else heard)


def _longest_echo(signal: TransmittedSignal, path: PracticePath) -> int:
    longest_s = max((abs(echo.delay_s) for echo in path.echoes), default=0.0)
    samples = int(np.ceil(longest_s * signal.rate_hz))
    if samples > BLOCK // 4:
        raise RangeError(
            f"The practice path takes echoes up to {BLOCK // 4 / signal.rate_hz * 1e6:.0f} us at this channel width "
            f"(its block of {BLOCK} samples), not {longest_s * 1e6:.0f} us."
        )
    return samples


def _noise(count: int, *, receiver: PracticeReceiver, seed: tuple[int, int]) -> Samples:
    generator = np.random.default_rng([0, *seed])
    deviation = np.sqrt(noise_w_hz(receiver.noise_figure_db) * receiver.sample_rate_hz / 2)
    pairs = generator.standard_normal((count, 2), dtype=np.float32) * np.float32(deviation)
    return np.asarray(pairs.view(np.complex64)[:, 0], dtype=np.complex64)


def _turning(cycles_per_sample: float, begin: int, end: int) -> Samples:
    cycles = cycles_per_sample * np.arange(begin, end)
    return np.asarray(np.exp(2j * np.pi * (cycles - np.floor(cycles))), dtype=np.complex64)


def _angles(receiver: PracticeReceiver, *, n_samples: int, seed: int) -> npt.NDArray[np.float64]:
    noise = receiver.phase_noise
    assert noise is not None
    return phase_angles(noise, sample_rate_hz=receiver.sample_rate_hz, n_samples=n_samples, seed=seed)


def phase_angles(noise: PhaseNoise, *, sample_rate_hz: float, n_samples: int, seed: int) -> npt.NDArray[np.float64]:
    """The oscillator's angle at each sample: first-order filtered white noise, steady from the start. (n,) [rad]"""
    keep = float(np.exp(-2 * np.pi * noise.corner_hz / sample_rate_hz))
    drive = np.random.default_rng([1, seed]).standard_normal(n_samples)
    deviation = np.sqrt(noise.variance_rad2)
    drive[0] *= deviation
    drive[1:] *= deviation * np.sqrt(1 - keep**2)
    return np.asarray(scipy.signal.lfilter([1.0], [1.0, -keep], drive))


def _converted(heard: Samples, receiver: PracticeReceiver) -> Samples:
    """Unequal I and Q, the line at zero, the gain and the converter."""
    scale = 1 / np.sqrt(watts_from_dbm(receiver.full_scale_dbm))
    gain, skew = receiver.gain_imbalance_ratio / 2, receiver.quadrature_error_rad / 2
    wanted, image = (1 + 1j * gain * np.tan(skew)) * np.cos(skew), (gain + 1j * np.tan(skew)) * np.cos(skew)
    mirrored = np.conj(heard)
    seen = np.asarray(np.complex64(scale * wanted) * heard + np.complex64(scale * image) * mirrored, dtype=np.complex64)
    if receiver.dc_dbfs is not None:
        seen += np.complex64(amplitude_from_db(receiver.dc_dbfs) * np.exp(1j * np.pi / 5))
    if receiver.bits is None:
        return seen
    largest = np.float32(2 ** (receiver.bits - 1) - 1)
    axes = seen.view(np.float32)
    np.clip(np.rint(axes * largest), -largest, largest, out=axes)
    axes /= largest
    return seen
