"""The modulated waveform itself through a fitted amplifier: what confirms the closed form, or contradicts it.

Theory  Random packets are modulated in the mode, filtered to their carriers, oversampled four times and passed through
        the amplifier. Shoulders are read off the mean spectrum as drive_curve.py reads them, its scatter taken out of
        each side by a parabola in decibels; MER by comparing every carrier with what was sent, one gain for all. The
        closed form takes the waveform for Gaussian noise; this does not. Memory, where the sides differ because of it,
        is one echo of the distortion: d(t) + i v d(t - tau), a quarter turn at 500 kHz outside the channel, which
        raises one side by 20 log((1 + v)/(1 - v)) over the other; the higher side is left where it was.
Source  [EN300744] 4 by chain/waveform; [TR101290] 9.7 and 9.16. A check on closed_form.py, from the same amplifier.
Holds   A modulator that filters its side-lobes. The echo is the least that makes such sides, not a fitted amplifier.
        The doubt is the scatter of ``N_GROUPS`` parts.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft

from tepui.chain.amplifiers.closed_form import Complexes, Floats, expand
from tepui.chain.amplifiers.drive_curve import WaveformView, lifted_line_db, mer_of, shoulder_of
from tepui.chain.amplifiers.output_crest import PROBABILITY, output_crest_db
from tepui.chain.waveform.transmit import Transmitter
from tepui.ground.doubt import Estimate, estimate
from tepui.prediction.waveform_density import highest_in_band_db, view_of_mode
from tepui.signals.dvbt.mode import Mode

FACTOR = 4
UNFILLED = 8  # first symbols, while the interleavers still hold their empty beginning
BEYOND_HZ = 12e3  # outside the outermost carrier, where the modulator's filter ends
SAMPLES = 1 << 19  # of the elementary rate: scatter of 0.05 dB in 400 kHz
N_GROUPS = 8
FIT_HZ = (250e3, 750e3)
READ_HZ = 500e3


@dataclass(frozen=True, kw_only=True)
class Simulated:
    """One amplifier at one drive, by simulation, and the closed form of the very same.

    lower, upper, shoulder   [dB] relative to the highest value in band; shoulder from both sides together
    mer                      [dB]
    crest_before, crest_after   level over the mean passed one time in ten thousand [dB]
    *_closed_db              what the closed form says
    """

    lower: Estimate
    upper: Estimate
    shoulder: Estimate
    mer: Estimate
    crest_before_db: float
    crest_after_db: float
    shoulder_closed_db: float
    mer_closed_db: float
    crest_closed_db: float


def modulated(mode: Mode, *, seed: int) -> Complexes:
    """Whole symbols of random packets and nothing beyond their carriers, four times oversampled, mean power 1. (n,)"""
    n_symbols = max(2 * N_GROUPS, SAMPLES // mode.n_symbol) // N_GROUPS * N_GROUPS
    transmitter = Transmitter(mode)
    generator = np.random.default_rng([6, seed])
    packets = generator.integers(0, 256, (transmitter.packets_needed(n_symbols + UNFILLED), 188), dtype=np.uint8)
    packets[:, 0] = 0x47
    samples = transmitter.push(packets)[UNFILLED * mode.n_symbol : (UNFILLED + n_symbols) * mode.n_symbol]
    n, half = len(samples), len(samples) // 2
    spectrum = scipy.fft.fft(samples.astype(np.complex128))
    away = np.abs(scipy.fft.fftfreq(n, 1 / mode.sample_rate_hz))
    spectrum[away > mode.occupied_width_hz / 2 + BEYOND_HZ] = 0
    wide = np.zeros(n * FACTOR, np.complex128)
    wide[:half], wide[len(wide) - half :] = spectrum[:half], spectrum[n - half :]
    signal: Complexes = scipy.fft.ifft(wide)
    return np.asarray(signal / np.sqrt(np.mean(np.abs(signal) ** 2)))


def simulate_drive(
    mode: Mode,
    amplifier: Callable[[Complexes], npt.NDArray[np.complexfloating]],
    input_w: float,
    *,
    skew_db: float = 0.0,
    seed: int = 1,
) -> Simulated:
    """The amplifier at one mean input power, its input the modulated waveform.

    amplifier  envelope in sqrt(W) to envelope in sqrt(W)
    skew_db    upper less lower shoulder that its memory makes
    """
    waveform = modulated(mode, seed=seed) * np.sqrt(input_w)
    output = np.asarray(amplifier(waveform), dtype=np.complex128)
    if skew_db:
        output = _with_memory(waveform, output, mode, skew_db=skew_db)
    view = view_of_mode(mode)
    sides = np.array([_sides_db(group, mode, view) for group in np.split(output, N_GROUPS)])  # (groups, 3)
    levels = _sides_db(output, mode, view)
    scatter = sides.std(axis=0, ddof=1) / np.sqrt(N_GROUPS)
    mers = [
        _mer_db(sent, came, mode, view.data_ratio)
        for sent, came in zip(np.split(waveform, N_GROUPS), np.split(output, N_GROUPS), strict=True)
    ]
    coefficients = expand(amplifier, input_w)
    return Simulated(
        lower=estimate(float(levels[0]), scatter=float(scatter[0])),
        upper=estimate(float(levels[1]), scatter=float(scatter[1])),
        shoulder=estimate(float(levels[2]), scatter=float(scatter[2])),
        mer=estimate(float(np.mean(mers)), scatter=float(np.std(mers, ddof=1) / np.sqrt(N_GROUPS))),
        crest_before_db=_crest_db(waveform),
        crest_after_db=_crest_db(output),
        shoulder_closed_db=float(shoulder_of(coefficients, view)[0]),
        mer_closed_db=float(mer_of(coefficients, view)[0]),
        crest_closed_db=float(output_crest_db(amplifier, input_w)[0]),
    )


def _with_memory(waveform: Complexes, output: Complexes, mode: Mode, *, skew_db: float) -> Complexes:
    """The output with its distortion heard again a little later, so that one side falls below the other."""
    gain = np.vdot(waveform, output) / np.vdot(waveform, waveform)
    distortion = scipy.fft.fft(output - gain * waveform)
    frequency = scipy.fft.fftfreq(len(output), 1 / (FACTOR * mode.sample_rate_hz))
    echo = math.tanh(skew_db * math.log(10) / 40)
    quarter = (mode.occupied_width_hz / 2 + READ_HZ) * 4  # hertz of a whole turn
    distortion *= (1 + 1j * echo * np.exp(-2j * np.pi * frequency / quarter)) / (1 + abs(echo))
    return np.asarray(gain * waveform + scipy.fft.ifft(distortion))


def _sides_db(output: Complexes, mode: Mode, view: WaveformView) -> Floats:
    """Shoulder below, above and of both together, relative to the highest value in band. (3,) [dB]"""
    n = FACTOR * mode.n_fft
    weights = np.hanning(n)
    total = np.zeros(n)
    for at in range(0, len(output) - n + 1, n // 2):
        total += np.abs(scipy.fft.fft(output[at : at + n] * weights)) ** 2
    frequency = scipy.fft.fftfreq(n, 1 / (FACTOR * mode.sample_rate_hz))
    half = mode.occupied_width_hz / 2
    inside = total[np.abs(frequency) < half - 5 * mode.carrier_spacing_hz].mean()
    highest = inside * 10 ** (highest_in_band_db(mode) / 10)
    found = []
    for away in (-frequency - half, frequency - half, np.abs(frequency) - half):
        near = (away >= FIT_HZ[0]) & (away <= FIT_HZ[1])
        # The scatter of a single bin is exponential: its mean in decibels lies 2.5 dB low, so bins are joined first.
        bands = np.linspace(*FIT_HZ, 21)
        index = np.digitize(away[near], bands) - 1
        joined = np.array([total[near][index == number].mean() for number in range(len(bands) - 1)])
        middle = (bands[1:] + bands[:-1]) / 2
        curve = np.polyfit(middle, 10 * np.log10(joined / highest), 2)
        found.append(lifted_line_db(view.offset_hz, np.asarray(np.polyval(curve, view.offset_hz)[None, :]))[0])
    return np.array(found)


def _mer_db(sent: Complexes, came: Complexes, mode: Mode, data_ratio: float) -> float:
    """Data cells over the error among all carriers, guard intervals left out. [dB]"""
    first, n = FACTOR * mode.n_guard, FACTOR * mode.n_fft
    half = (mode.n_carriers - 1) // 2
    carriers = np.arange(-half, half + 1)
    one, other = (
        scipy.fft.fft(samples.reshape(-1, first + n)[:, first:], axis=1)[:, carriers] for samples in (sent, came)
    )
    gain = np.vdot(one, other) / np.vdot(one, one)
    error = other - gain * one
    wanted = abs(gain) ** 2 * np.vdot(one, one).real * data_ratio
    return float(10 * np.log10(wanted / np.vdot(error, error).real))


def _crest_db(samples: Complexes) -> float:
    power = np.abs(samples) ** 2
    return float(10 * np.log10(np.quantile(power, 1 - PROBABILITY) / power.mean()))
