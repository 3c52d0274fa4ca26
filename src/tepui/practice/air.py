"""What is on the air, as one turn of a loop: a modulated waveform, an amplifier with or without memory, a filter.

Theory  Symbols follow each other without a seam, so a whole number of them closes on itself: filters and delays are
        then exact on the circle, and the loop may be listened to for as long as one likes. At F times the elementary
        rate a product of order m folds back no nearer than F f_s - m B/2 from the centre, as in transmitter.py.
        An amplifier with memory: y(n) = sum over delays q and orders k of a[q, k] x(n - q) |x(n - q)|^(2 k).
Source  sampling theorem. Memory polynomial: common practice (no published source) for transistors with slow supplies.
Holds   The spectrum does not know that the loop repeats; a decoder does, and loses packets where it closes.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt
import scipy.fft

from tepui.chain.waveform.transmit import Transmitter
from tepui.ground.checks import require_positive
from tepui.ground.decibels import amplitude_from_db
from tepui.ground.errors import RangeError
from tepui.practice.blocks import roll_off
from tepui.signals.dvbt.mode import Mode
from tepui.signals.recording import Recording, recording_from_samples

Samples = npt.NDArray[np.complex64]
Amplifier = Callable[[Samples], npt.NDArray[np.complexfloating]]
Response = Callable[[npt.NDArray[np.float64]], npt.NDArray[np.complexfloating] | npt.NDArray[np.float64]]
UNFILLED = 8  # first symbols of a transmission, while the interleavers still hold their empty beginning
MASK_HZ = (12e3, 260e3)  # beyond the outermost carrier: where a modulator's filter begins and ends to close
ELEMENTARY_EDGES = (0.43, 0.5)  # of the elementary rate: the smoothing filter of a modulator without a mask filter


@dataclass(frozen=True, kw_only=True, eq=False)
class LoopWaveform:
    """A modulator's output, one turn of it, mean power 1.

    samples  (n,) at ``rate_hz``, a whole multiple of the elementary rate
    """

    mode: Mode
    samples: Samples
    rate_hz: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Air:
    """What leaves the transmitter, one turn of it.

    samples    (n,) sqrt(W), zero frequency at ``centre_hz``
    mean_w     mean power, lines included
    """

    mode: Mode
    samples: Samples
    rate_hz: float
    centre_hz: float
    mean_w: float = field(init=False)

    def __post_init__(self) -> None:
        require_positive("centre_hz", self.centre_hz, unit="Hz")
        mean = float(np.vdot(self.samples, self.samples).real) / len(self.samples)
        require_positive("The power of a transmission", mean, unit="W")
        self.samples.flags.writeable = False
        object.__setattr__(self, "mean_w", mean)

    @property
    def period_s(self) -> float:
        """Length of one turn. [s]"""
        return len(self.samples) / self.rate_hz

    def recording(self, name: str) -> Recording:
        """One turn as an ideal receiver would record it, mean power 1/16 of full scale: the truth of a comparison."""
        scale = np.float32(0.25 / np.sqrt(self.mean_w))
        return recording_from_samples(
            name, self.samples * scale, sample_rate_hz=self.rate_hz, frequency_hz=self.centre_hz, practice=True
        )


def loop_waveform(
    mode: Mode, *, n_symbols: int, seed: int, factor: int = 4, mask_hz: tuple[float, float] | None = MASK_HZ
) -> LoopWaveform:
    """Random packets modulated, ``n_symbols`` of them cut out and closed to a loop.

    factor   oversampling, at least 2
    mask_hz  beyond the outermost carrier: first and last frequency of the mask filter's slope; None without a filter
    """
    if factor < 2 or n_symbols < 1:
        raise RangeError(f"A loop needs a symbol and an oversampling of 2 or more, not {n_symbols} and {factor}.")
    transmitter = Transmitter(mode)
    generator = np.random.default_rng([2, seed])
    packets = generator.integers(0, 256, (transmitter.packets_needed(n_symbols + UNFILLED), 188), dtype=np.uint8)
    packets[:, 0] = 0x47
    samples = transmitter.push(packets)[UNFILLED * mode.n_symbol : (UNFILLED + n_symbols) * mode.n_symbol]
    n, half = len(samples), len(samples) // 2
    frequency = scipy.fft.fftfreq(n, 1 / mode.sample_rate_hz)
    if mask_hz is None:
        begin, end = (edge * mode.sample_rate_hz for edge in ELEMENTARY_EDGES)
    else:
        begin, end = (mode.occupied_width_hz / 2 + edge for edge in mask_hz)
    spectrum = scipy.fft.fft(samples) * roll_off(frequency, pass_edge=begin, stop_edge=end).astype(np.float32)
    wide = np.zeros(n * factor, np.complex64)
    wide[:half], wide[len(wide) - half :] = spectrum[:half], spectrum[n - half :]
    loop = scipy.fft.ifft(wide)
    loop *= np.float32(1 / np.sqrt(np.mean(np.abs(loop) ** 2)))
    return LoopWaveform(mode=mode, samples=loop, rate_hz=factor * mode.sample_rate_hz)


def send_loop(
    waveform: LoopWaveform,
    *,
    amplifier: Amplifier,
    drive_w: float,
    centre_hz: float,
    output_filter: Response | None = None,
    lines: Mapping[float, float] | None = None,
) -> Air:
    """The waveform through an amplifier and the filter behind it.

    amplifier      envelope in sqrt(W) to envelope in sqrt(W), given one whole turn: a delay is ``np.roll``
    drive_w        mean power at the amplifier's input
    output_filter  offset from the centre (n,) in Hz to amplitude, real or complex
    lines          discrete lines behind the filter: offset from the centre in Hz to dB relative to the signal
    """
    require_positive("drive_w", drive_w, unit="W")
    output = np.asarray(amplifier(waveform.samples * np.float32(np.sqrt(drive_w))), dtype=np.complex64)
    n = len(output)
    if output_filter is not None:
        frequency = scipy.fft.fftfreq(n, 1 / waveform.rate_hz)
        output = scipy.fft.ifft(scipy.fft.fft(output) * np.asarray(output_filter(frequency), dtype=np.complex64))
    rms = float(np.sqrt(np.mean(np.abs(output) ** 2)))
    for offset_hz, level_dbc in (lines or {}).items():
        turns = round(offset_hz * n / waveform.rate_hz) * np.arange(n) / n  # a whole number a turn, so that it closes
        output = output + (rms * amplitude_from_db(level_dbc) * np.exp(2j * np.pi * turns)).astype(np.complex64)
    return Air(mode=waveform.mode, samples=output, rate_hz=waveform.rate_hz, centre_hz=centre_hz)


def memory_polynomial(x: Samples, *, coefficients: npt.ArrayLike, delay_samples: int) -> npt.NDArray[np.complex64]:
    """An amplifier with memory, on one turn of a loop.

    x             (n,)
    coefficients  (n_delays, n_orders): row q for the signal q ``delay_samples`` earlier, column k for |x|^(2 k) x
    """
    table = np.atleast_2d(np.asarray(coefficients, dtype=np.complex64))
    total = np.zeros_like(x)
    for number, row in enumerate(table):
        late = np.roll(x, number * delay_samples)
        power = late.real**2 + late.imag**2
        gain = np.full(x.shape, row[-1], np.complex64)
        for coefficient in row[-2::-1]:
            gain = gain * power + coefficient
        total += late * gain
    return total
