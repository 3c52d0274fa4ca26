"""Guard interval against tail in a narrow slice of a channel: noise, fine frequency, clock and phase, each by itself.

Theory  A carrier k spacings from a centre f_c turns by 2 pi f_c T_U between the guard and the tail it copies, whatever
        k is. Over a lag L near T_U the phase is a straight line in frequency: its slope is 2 pi (L - T_U), which tells
        the clock, and what is left at L = T_U tells where the carriers stand. What prefix and tail do not share is
        noise: half the mean of |tail - prefix|^2, however an amplifier without memory has bent both. The phase common
        to one pair wanders with the oscillators; it is taken out first and told.
        The edges of a guard are soft: filters and echoes smear the symbols before and behind into it. The clean part
        in its middle is found from where the difference stops falling.
Source  van de Beek, Sandell, Boerjesson 1997, IEEE Trans. Signal Processing 45 (likeness of guard and tail); common
        practice (no published source) for the rest.
Holds   8 symbols and more; of the slice what lies inside the channel counts. Phase noise faster than a guard, images,
        lines and signals of others count as noise. Memory is unseen where it is shorter than the soft edge.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import stdtrit

from tepui.chain.reception.search import quietest
from tepui.evidence.slice_carriers import centre_by_pilots
from tepui.evidence.slice_pairs import Pairs, clean_pairs, later, transformed, without_lines
from tepui.ground.doubt import Estimate, estimate

Samples = npt.NDArray[np.complex64]
Cells = npt.NDArray[np.complex128]
Floats = npt.NDArray[np.float64]

LEAST_SYMBOLS = 8
MOST_PPM = 120.0
PARTS_OF_GUARD = 4  # to which a drift is searched
METHOD_DB = 0.05  # noise that is not quite flat over the slice; ours
BATCHES = 12
PARTS_TELL_LESS = 1.2  # seen in simulated slices: parts agree better than slices of one truth
LEAST_SURE_DB = 0.5  # else a bound
CLOSE_PPM = 0.02  # to which the lag is set
CEILING_DB = 75.0  # beyond: arithmetic of single precision


@dataclass(frozen=True, kw_only=True)
class SlicePrefix:
    """What one slice tells.

    snr_db        signal over noise inside the slice, discrete lines left out
    is_clean      whether part of the guard is proven to be clean: else the signal over noise may be higher
    clock_ppm     how much faster the transmitter's clock runs than the receiver's
    carrier_hz    a carrier nearest to ``reference_hz``, from the tuned frequency
    reference_hz  the channel's centre where it is known, else the slice's middle; from the tuned frequency
    spacing_hz    of the carriers, as the receiver counts
    centre_hz     the channel's centre from the tuned frequency; None where pilots do not tell the carriers apart
    phase_rad     rms change of the common phase over a useful symbol, noise off; None where it is not above that
    phase_most_rad   what it does not exceed
    pairs, clean_s   how many guards, and how much of each was compared
    """

    snr_db: Estimate
    is_clean: bool
    clock_ppm: Estimate
    carrier_hz: Estimate
    reference_hz: float
    spacing_hz: float
    centre_hz: float | None
    phase_rad: float | None
    phase_most_rad: float
    pairs: int
    clean_s: float


def compare_slice(
    samples: Samples,
    *,
    rate_hz: float,
    useful_s: float,
    guard_s: float,
    usable_hz: float,
    channel_hz: tuple[float, float] = (-math.inf, math.inf),
    n_fft: int | None = None,
) -> SlicePrefix | None:
    """Guards against tails of one slice; None where it shows too few symbols, or too little of the guard or channel.

    samples     (n,), mean and image taken off
    usable_hz   width around the tuned frequency that the receiver shows truly
    channel_hz  lowest and highest carrier from the tuned frequency, as far as known
    n_fft       size of the transform, to look which carrier is which
    """
    if len(samples) / rate_hz / (useful_s + guard_s) < LEAST_SYMBOLS + 1:
        return None
    band_hz = max(channel_hz[0], -usable_hz / 2), min(channel_hz[1], usable_hz / 2)
    found = _aligned(samples, rate_hz=rate_hz, useful_s=useful_s, guard_s=guard_s, band_hz=band_hz)
    if found is None:
        return None
    lag_s, pairs, guards, tails = found
    line = _line(guards, tails, pairs)
    snr, ratio, free = _snr(samples, guards, tails, line, pairs)
    if snr is None:
        return None
    reference_hz = sum(channel_hz) / 2 if math.isfinite(sum(channel_hz)) else line.middle_hz
    phase, most = _phase(line.turns, ratio * free)
    slope_std, place_std = _batches(guards, tails, line, pairs, away_hz=reference_hz - line.middle_hz)
    true_s = lag_s - line.slope_s
    turn = line.angle + 2 * math.pi * line.slope_s * (reference_hz - line.middle_hz)
    off = turn / (2 * math.pi) - reference_hz * lag_s
    carrier_hz = estimate(reference_hz + (off - round(off)) / lag_s, readings=place_std / (2 * math.pi * lag_s))
    centre_hz = None
    if n_fft is not None:
        centre_hz = centre_by_pilots(
            samples,
            pairs.start,
            rate_hz=rate_hz,
            band_hz=band_hz,
            carrier_hz=carrier_hz.value,
            spacing_hz=1 / true_s,
            n_fft=n_fft,
            is_near=math.isfinite(sum(channel_hz)),
        )
    return SlicePrefix(
        snr_db=snr,
        is_clean=pairs.proven and snr.std < LEAST_SURE_DB,
        clock_ppm=estimate(1e6 * (useful_s / true_s - 1), readings=1e6 * slope_std / useful_s),
        carrier_hz=carrier_hz,
        reference_hz=reference_hz,
        spacing_hz=1 / true_s,
        centre_hz=centre_hz,
        phase_rad=phase,
        phase_most_rad=most,
        pairs=len(pairs.start),
        clean_s=pairs.length / rate_hz,
    )


def _aligned(
    samples: Samples, *, rate_hz: float, useful_s: float, guard_s: float, band_hz: tuple[float, float]
) -> tuple[float, Pairs, Cells, Cells] | None:
    """The lag at which guard and tail lie on one another, the pairs, and their transforms at it."""
    lag_s: float = useful_s
    ppm: float | None = None
    for turn in range(3):  # to find the lag, then with it
        start = _guards(samples, rate_hz=rate_hz, useful_s=useful_s, guard_s=guard_s, ppm=ppm)
        late = later(samples, lag_s * rate_hz)
        pairs = clean_pairs(samples, late, start, rate_hz=rate_hz, guard_s=guard_s, band_hz=band_hz, search=turn > 0)
        if pairs is None:
            return None
        guards, tails = transformed(samples, pairs), transformed(late, pairs)
        apart_s = _line(guards, tails, pairs).slope_s
        if turn == 2 or (turn and abs(apart_s) < CLOSE_PPM * 1e-6 * useful_s):
            return lag_s, pairs, guards, tails
        lag_s -= apart_s
        ppm = 1e6 * (useful_s / lag_s - 1)
    return None


def _guards(samples: Samples, *, rate_hz: float, useful_s: float, guard_s: float, ppm: float | None) -> Floats:
    """Where each guard begins, in samples; ``ppm`` of the clock where it is known already."""
    lag, guard = useful_s * rate_hz, guard_s * rate_hz
    whole = round(lag)
    product = samples[:-whole] * np.conj(samples[whole:])
    period = lag + guard
    if ppm is None:
        drift = len(product) * 2 * MOST_PPM * 1e-6
        count = 2 * math.ceil(drift * PARTS_OF_GUARD / guard / 2) + 1
        choices = np.linspace(-MOST_PPM, MOST_PPM, count) if count > 1 else np.zeros(1)
        size = max(1, int(guard / 6))
        rough = product[: len(product) // size * size].reshape(-1, size).sum(axis=1)
        scores = [_bump(rough, period=period / size * (1 - 1e-6 * one), guard=guard / size)[1] for one in choices]
        ppm = float(choices[int(np.argmax(scores))])
    period *= 1 - 1e-6 * ppm
    begin, _ = _bump(product, period=period, guard=guard)
    whole_periods = int((len(samples) - whole - guard - begin) / period) + 1
    return np.asarray(begin + np.arange(max(whole_periods, 0)) * period)


def _bump(product: npt.NDArray[np.complexfloating], *, period: float, guard: float) -> tuple[float, float]:
    """Where the likeliest guard begins within a period, and how high it stands."""
    size, width = int(period), max(1, round(guard))
    place = np.minimum((np.arange(product.size) % period).astype(np.int64), size - 1)
    folded = np.bincount(place, product.real, size) + 1j * np.bincount(place, product.imag, size)
    sums = np.concatenate([[0], np.cumsum(np.concatenate([folded, folded[:width]]))])
    box = np.abs(sums[width : width + size] - sums[:size] - quietest(sums[width : width + size] - sums[:size])[0])
    # The middle of what stands near the top: the top itself is broad where edges are soft.
    best = int(np.argmax(box))
    ring = np.roll(box, size // 2 - best)
    reach = max(2, width // 2)
    near = ring[size // 2 - reach : size // 2 + reach + 1] - 0.7 * box[best]
    weights = np.maximum(near, 0.0)
    shift = float((weights * np.arange(-reach, reach + 1)).sum() / weights.sum())
    return (best + shift) % period, float(box[best])


@dataclass(frozen=True, kw_only=True)
class _Line:
    """The phase of tails over guards: at ``middle_hz``, and its change per hertz over 2 pi; common phase of each."""

    middle_hz: float
    angle: float
    slope_s: float
    turns: Floats


def _line(guards: Cells, tails: Cells, pairs: Pairs) -> _Line:
    cross = np.conj(guards) * tails
    power = np.abs(cross.sum(axis=0))
    frequency = pairs.frequency_hz
    middle = float((power * frequency).sum() / power.sum())
    slope = 0.0
    step_hz = float(frequency[1] - frequency[0])
    for turn in range(3):
        level = cross * np.exp(-2j * np.pi * slope * (frequency - middle))
        turns = np.angle(level.sum(axis=1))
        mean = (level * np.exp(-1j * turns[:, None])).sum(axis=0)
        if turn == 0:
            slope += float(np.angle((mean[1:] * np.conj(mean[:-1])).sum())) / (2 * math.pi * step_hz)
        else:
            away = frequency - middle
            weight = np.abs(mean)
            slope += float((weight * away * np.angle(mean)).sum() / (weight * away**2).sum()) / (2 * math.pi)
    level = cross * np.exp(-2j * np.pi * slope * (frequency - middle))
    sums = level.sum(axis=1)
    angle = float(np.angle(sums.sum()))
    return _Line(middle_hz=middle, angle=angle, slope_s=slope, turns=np.angle(sums * np.exp(-1j * angle)))


def _snr(
    samples: Samples, guards: Cells, tails: Cells, line: _Line, pairs: Pairs
) -> tuple[Estimate | None, float, float]:
    """Signal over noise [dB], noise over signal, and one over the independent values in a pair."""
    away = pairs.frequency_hz - line.middle_hz
    turned = np.exp(1j * (line.angle + line.turns[:, None] + 2 * np.pi * line.slope_s * away))
    apart = np.abs(tails - turned * guards) ** 2
    kept = without_lines(apart)
    free = 1 / max(pairs.independent, 1.0)
    noise = apart[:, kept].sum(axis=1) / 2 / (1 - free / 2)  # the phase took one of them
    mean = float(noise.mean())
    total, scatter = pairs.power_of(samples, kept)
    signal = total - mean
    if signal <= 0 or mean <= 0:
        return None, math.inf, free
    value = 10 * math.log10(signal / mean)
    own = 4.343 * (1 + mean / signal) * float(noise.std(ddof=1)) / mean / math.sqrt(len(noise))
    told = estimate(
        value,
        noise=own,
        signal=4.343 * scatter * total / signal,
        edges=4.343 * pairs.excess / 2,
        window=4.343 * pairs.leaks * signal / mean,
        method=METHOD_DB,
    )
    return told, mean / signal, free


def _phase(turns: Floats, noise: float) -> tuple[float | None, float]:
    """Rms of the change of phase without what noise adds, or None; and what it does not exceed. [rad]"""
    at = np.arange(len(turns))
    left = turns - np.polyval(np.polyfit(at, turns, 1), at)
    seen = float((left**2).sum()) / max(len(turns) - 2, 1)
    doubt = 2 * math.sqrt(2 / max(len(turns) - 2, 1)) * seen
    most = math.sqrt(max(seen + doubt - noise, 0.25 * doubt))
    return (math.sqrt(seen - noise) if seen - noise > doubt else None), most


def _batches(guards: Cells, tails: Cells, line: _Line, pairs: Pairs, *, away_hz: float) -> tuple[float, float]:
    """Standard uncertainty of the slope [s] and of the phase ``away_hz`` from the middle [rad], from parts in turn."""
    count = min(BATCHES, len(guards) // 2)
    slopes, places = [], []
    for part in np.array_split(np.arange(len(guards)), count):
        one = _line(guards[part], tails[part], pairs)
        slopes.append(one.slope_s)
        turn = one.angle + 2 * math.pi * one.slope_s * (line.middle_hz + away_hz - one.middle_hz)
        whole = line.angle + 2 * math.pi * line.slope_s * away_hz
        places.append(float(np.angle(np.exp(1j * (turn - whole)))))
    factor = PARTS_TELL_LESS * float(stdtrit(count - 1, 0.975)) / 2 / math.sqrt(count)
    return float(np.std(slopes, ddof=1)) * factor, float(np.std(places, ddof=1)) * factor
