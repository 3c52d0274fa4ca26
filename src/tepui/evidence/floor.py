"""The floor of a recording: the part of its spectrum that is noise and not the transmitter's.

Theory  The guard interval repeats the tail of its symbol, a little later or sooner by the receiver's clock than by the
        transmitter's, which is found first. Signal and distortion repeat with it, noise does not: half
        the squared difference of the two copies, transformed, is the noise density at every frequency, inside the
        channel and out. Where the copies are not to be had, the quietest part outside the channel is an upper bound,
        for the distortion may still reach there.
Source  van de Beek, Sandell and Börjesson 1997, IEEE Trans. Signal Process. 45, 1800-1805 (timing by the copy); its use
        on the out-of-band spectrum is common practice (no published source).
Holds   Distortion with a memory shorter than a third of the guard; phase that is steady over one symbol. A line that
        does not repeat is left out. The middle part of the guard is used, away from the echoes and filters of both
        symbols.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.optimize import minimize_scalar
from scipy.signal.windows import tukey

from tepui.ground.errors import RangeError
from tepui.signals.spectrum import Spectrum
from tepui.signals.windows import window_weights

Samples = npt.NDArray[np.complex64]
Floats = npt.NDArray[np.float64]

PART_OF_GUARD = (0.3, 0.95)
EASED = 0.3  # of a window's length falls at its ends, where a spectrum has no steep edge
BINS_AS_ONE_EASED = 1.2  # n sum w^4 / (sum w^2)^2 of that window
CLEAR_SAMPLES = 6  # of either end of the guard: ringing of the receiver's filters
MOST_SLIP = 1.0  # samples between the copies of one symbol: 100 ppm of 8K at 9 MS/s
MOST_SAMPLES = 1 << 22
QUIET_PARTS = 20
USABLE_BAND = 0.9  # of the sample rate; common practice: receivers roll off beyond
CLEAR_OF_EDGE_HZ = 300e3
LEAST_SHARE, MOST_APART = 20, 4.0  # a fifth of the symbols at least must fit; others differ no more than 6 dB from it
BINS_AS_ONE = 1 + 2 * ((2 / 3) ** 2 + (1 / 6) ** 2)  # Hann bins are correlated with their neighbours


@dataclass(frozen=True, kw_only=True)
class Floor:
    """Noise density of a recording.

    density   power per hertz, full scale = 1
    std       its standard uncertainty
    at_most   the truth lies between zero and ``high``; ``density`` is then the middle of that
    method    how it was found, for the remark
    """

    density: float
    std: float
    at_most: bool
    method: str

    @property
    def high(self) -> float:
        """Upper end of what it can be. [1/Hz]"""
        return 2 * self.density if self.at_most else self.density + 2 * self.std


def _mean_without_lines(values: Floats, n_averages: float) -> tuple[float, float]:
    """Mean of noise densities, and its relative doubt, without the few that stand out as lines do."""
    middle = float(np.median(values))
    kept = values[values < middle * (1 + 6 / math.sqrt(n_averages))]
    mean = float(kept.mean())
    return mean, max(float(kept.std()) / mean, 1 / math.sqrt(n_averages)) / math.sqrt(len(kept))


def floor_from_quiet_part(
    spectrum: Spectrum, *, centre_offset_hz: float, occupied_width_hz: float, usable_band: float = USABLE_BAND
) -> Floor:
    """Upper bound on the floor from the quietest part of the spectrum outside the channel.

    centre_offset_hz  signal centre less tuned frequency
    raises            RangeError where the recording shows nothing outside the channel
    """
    rate_hz = spectrum.bin_hz * len(spectrum.density)
    away_hz = np.abs(spectrum.frequency_hz - centre_offset_hz) - occupied_width_hz / 2
    outside = (away_hz > CLEAR_OF_EDGE_HZ) & (np.abs(spectrum.frequency_hz) < usable_band * rate_hz / 2)
    if np.count_nonzero(outside) < 10:
        needed_hz = (occupied_width_hz + 4 * CLEAR_OF_EDGE_HZ) / usable_band
        raise RangeError(
            f"The recording is {rate_hz / 1e6:g} MHz wide and shows too little outside the channel to judge its "
            f"floor: record at least {needed_hz / 1e6:.2f} MHz, or give the floor."
        )
    parts = np.array_split(spectrum.density[outside], max(1, min(QUIET_PARTS, int(outside.sum()) // 10)))
    means = [float(part.mean()) for part in parts]
    lowest = int(np.argmin(means))
    correlated = max(1.0, spectrum.resolution_bandwidth_hz / spectrum.bin_hz)
    scatter = math.sqrt(correlated / (len(parts[lowest]) * spectrum.n_averages))
    bound = means[lowest] * (1 + 2 * scatter)
    return Floor(density=bound / 2, std=bound / math.sqrt(12), at_most=True, method="quietest part outside the channel")


def symbol_start(samples: Samples, *, n_useful: float, n_guard: float) -> tuple[float, float]:
    """Where symbols begin, found from the copy in the guard interval.

    n_useful, n_guard  lengths in samples, whole or not
    returns            first start, samples from 0; and how alike the copies are there, 0 to 1
    """
    whole, guard, period = round(n_useful), round(n_guard), n_useful + n_guard
    n_symbols = int((len(samples) - whole) / period) - 1
    length = math.floor(period)
    product = np.zeros(length, np.complex128)
    energy = np.zeros(length)
    for symbol in range(n_symbols):
        at = round(symbol * period)
        first, second = samples[at : at + length], samples[at + whole : at + whole + length]
        product += first * np.conj(second)
        energy += (first.real**2 + first.imag**2 + second.real**2 + second.imag**2) / 2
    sums = np.abs(_ring_sums(product, guard)) / np.maximum(np.abs(_ring_sums(energy, guard)), 1e-300)
    best = int(np.argmax(sums))
    return float(best), float(sums[best])


def _ring_sums(values: npt.NDArray[np.complex128] | Floats, length: int) -> npt.NDArray[np.complex128]:
    """Sums over ``length`` values beginning at each place of a ring."""
    running = np.concatenate([[0], np.cumsum(np.concatenate([values, values[:length]]))])
    return np.asarray(running[length : length + len(values)] - running[: len(values)], dtype=np.complex128)


def _alike(apart: npt.NDArray[np.floating]) -> npt.NDArray[np.bool_]:
    """Symbols whose copies differ no more than most do; where samples were lost, the symbols after it do not fit.

    apart  (n_symbols, n) squared differences
    """
    each = apart.sum(axis=1, dtype=np.float64)
    return np.asarray(each <= MOST_APART * np.percentile(each, LEAST_SHARE))


def _turn_of_clock(
    copy: npt.NDArray[np.complexfloating],
    tail: npt.NDArray[np.complexfloating],
    *,
    cycles: npt.NDArray[np.floating],
    used: npt.NDArray[np.bool_],
) -> npt.NDArray[np.complex128]:
    """Turn of the copy over the tail at each frequency: that of the carrier, and a delay that the clocks leave. (n,)

    Two crystals 30 ppm apart let an 8K symbol of 2.4 MS/s slip by a twelfth of a sample, and part of a signal far from
    the strongest would pass for noise. All frequencies count alike: the strongest lie close together.

    copy, tail  (n_symbols, n) transforms; cycles (n,) frequency over the sample rate; used (n,) which are in the band
    """
    power = np.sum(np.abs(copy) ** 2, axis=0) + np.sum(np.abs(tail) ** 2, axis=0)
    alike = np.where(used, np.sum(copy * np.conj(tail), axis=0) / np.maximum(power, 1e-300), 0.0)

    def held(slip: float) -> float:
        return -float(np.abs(np.sum(alike * np.exp(-2j * np.pi * cycles * slip))))

    slip = float(minimize_scalar(held, bounds=(-MOST_SLIP, MOST_SLIP), method="bounded", options={"xatol": 1e-4}).x)
    turn = np.exp(2j * np.pi * cycles * slip)
    return np.asarray(turn * np.exp(1j * np.angle(np.sum(alike * np.conj(turn)))), dtype=np.complex128)


def rounding_floor(*, step: float, sample_rate_hz: float) -> Floor:
    """Upper bound on the floor where only the rounding of the stored samples is left: it may repeat with the guard.

    step  between two codes, full scale = 1; an error even within it has a variance of step^2 / 12 on each axis
    """
    bound = step**2 / 6 / sample_rate_hz
    return Floor(density=bound / 2, std=bound / math.sqrt(12), at_most=True, method="rounding of the stored samples")


def floor_from_guard(
    samples: Samples,
    *,
    sample_rate_hz: float,
    useful_s: float,
    guard_s: float,
    centre_offset_hz: float,
    occupied_width_hz: float,
    usable_band: float = USABLE_BAND,
) -> Floor:
    """Noise density outside the channel (inside where nothing else was recorded), from the guard interval's copies.

    samples       (n,), at least some twenty symbols; the first four million are used
    useful_s, guard_s   as the recording's own clock counts them
    raises        RangeError for too few symbols or a guard of too few samples
    """
    samples = samples[:MOST_SAMPLES]
    n_useful, n_guard = useful_s * sample_rate_hz, guard_s * sample_rate_hz
    period, whole = n_useful + n_guard, round(n_useful)
    first = max(PART_OF_GUARD[0] * n_guard, CLEAR_SAMPLES)
    length = int(min(PART_OF_GUARD[1] * n_guard, n_guard - CLEAR_SAMPLES) - first)
    n_symbols = int((len(samples) - whole) / period) - 2
    if length < 8 or n_symbols < 8:
        raise RangeError(
            f"{max(n_symbols, 0)} symbols with {length} usable guard samples are too few for the noise floor "
            "(this program's limit: 8 and 8); record longer, or wider, or give the floor."
        )
    start, _ = symbol_start(samples, n_useful=n_useful, n_guard=n_guard)
    at = np.rint(start + first + period * np.arange(n_symbols)).astype(np.int64)
    rows = at[:, None] + np.arange(length)
    # Beside a channel that is in sight leakage must fall fast; where it is not, most samples are to count.
    in_sight = occupied_width_hz == 0 or abs(centre_offset_hz) - occupied_width_hz / 2 < sample_rate_hz / 2
    weights = window_weights("hann", length) if in_sight else tukey(length, EASED, sym=False)
    copy = np.fft.fft(samples[rows] * weights, axis=-1)
    frequency_hz = np.fft.fftfreq(length, 1 / sample_rate_hz)
    turn = np.exp(2j * np.pi * frequency_hz / sample_rate_hz * (whole - n_useful))
    tail = np.fft.fft(samples[rows + whole] * weights, axis=-1) / turn
    usable = np.abs(frequency_hz) < usable_band * sample_rate_hz / 2
    tail *= _turn_of_clock(copy, tail, cycles=frequency_hz / sample_rate_hz, used=usable)
    apart = np.abs(copy - tail) ** 2
    kept = _alike(apart)
    noise: Floats = np.mean(apart[kept], axis=0, dtype=np.float64)
    noise = noise / (2 * float(np.sum(weights**2)) * sample_rate_hz)
    away_hz = np.abs(frequency_hz - centre_offset_hz) - occupied_width_hz / 2
    outside = usable & (away_hz > min(CLEAR_OF_EDGE_HZ, 3 * sample_rate_hz / length))
    chosen = outside if np.count_nonzero(outside) >= 4 else usable
    mean, relative = _mean_without_lines(noise[chosen], int(kept.sum()))
    return Floor(
        density=mean,
        std=mean * relative * math.sqrt(BINS_AS_ONE if in_sight else BINS_AS_ONE_EASED),
        at_most=False,
        method="guard interval less tail",
    )
