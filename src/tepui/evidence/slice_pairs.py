"""Guards of a slice beside their tails: the part of each that is clean of its neighbours, and transforms of it.

Theory  Filters and echoes reach from the neighbouring symbols into a guard's ends. Going inwards the difference of
        guard and tail falls until only noise is left; what lies within is clean.
Source  common practice (no published source).
Holds   Neighbours that reach in by less than a third of the guard on either side.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import scipy.fft

Samples = npt.NDArray[np.complex64]
Cells = npt.NDArray[np.complex128]
Floats = npt.NDArray[np.float64]

MARGINS = (0.06, 0.09, 0.12, 0.16, 0.2, 0.25, 0.3, 0.36)  # of the guard, each side
LEAST_MARGIN = 2  # samples: guards begin between samples
LEAST_LENGTH = 5
LEAST_PAIRS = 8
LINE_STANDS_OUT = 1.6  # times the median of the noise
SOFT = 0.01  # of the noise: an excess at the edges that is let pass
INDEPENDENT = 2 / 3  # of the values under a sine window
LEAK_DB, SIDELOBE = 41.0, 1.9  # of the sine window: first side-lobe in lines, and what folded there shows; as seen
MOST_WINDOWS = 1 << 15
ENDS = 24  # samples at a recording's ends, where a reading between samples is false


@dataclass(frozen=True, kw_only=True)
class Pairs:
    """Guards that are compared.

    start, length   where each clean part begins, and how long all are; in samples
    inside          which lines of its transform lie in the band
    excess          relative: how much more may differ over this part than in its inmost
    proven          whether a part further out differs no more than this one's inmost, so that no edge reaches it
    """

    rate_hz: float
    start: npt.NDArray[np.int64]
    length: int
    inside: npt.NDArray[np.bool_]
    excess: float
    proven: bool

    @property
    def frequency_hz(self) -> Floats:
        """(n,) of the lines inside, ascending, from the tuned frequency. [Hz]"""
        return np.asarray(np.sort(scipy.fft.fftfreq(self.length, 1 / self.rate_hz)[self.inside]))

    @property
    def leaks(self) -> float:
        """Power that comes in from the ends of the sampled band, where it is folded, over the signal's."""
        away = self.length / 4  # lines from the middle of the band's half to where folding begins
        return float(10 ** -(LEAK_DB / 10 + 4 * math.log10(max(away / SIDELOBE, 1.0))))

    @property
    def independent(self) -> float:
        """Independent complex values in one guard."""
        return INDEPENDENT * self.length * float(self.inside.mean())

    def power_of(self, samples: Samples, kept: npt.NDArray[np.bool_]) -> tuple[float, float]:
        """Power in the lines kept, over the whole slice, in the units of ``transformed``; and its relative doubt."""
        places = np.arange(0, len(samples) - self.length, max(self.length, 1))
        if len(places) > MOST_WINDOWS:
            places = places[np.linspace(0, len(places) - 1, MOST_WINDOWS).astype(np.intp)]
        power = (np.abs(_lines(samples, places, self)[:, kept]) ** 2).sum(axis=1)
        return float(power.mean()), float(power.std(ddof=1) / power.mean()) / math.sqrt(len(power))


def later(samples: Samples, lag: float) -> Samples:
    """The samples ``lag`` later, read between them by their spectrum; (n,), zeros beyond the end."""
    whole = math.floor(lag)
    rest = samples[whole:]
    n = scipy.fft.next_fast_len(len(rest) + 2 * ENDS)
    shift = np.exp(2j * np.pi * scipy.fft.fftfreq(n) * (lag - whole)).astype(np.complex64)
    moved = scipy.fft.ifft(scipy.fft.fft(rest, n) * shift)[: len(rest)]
    return np.concatenate([moved, np.zeros(whole, np.complex64)])


def clean_pairs(
    samples: Samples,
    late: Samples,
    start: Floats,
    *,
    rate_hz: float,
    guard_s: float,
    band_hz: tuple[float, float],
    search: bool,
) -> Pairs | None:
    """The guards' clean part; None where it, or the band, is too narrow to compare.

    start    (n,) where each guard begins, in samples
    band_hz  from the tuned frequency: what is inside the channel and shown truly
    search   False takes the inmost part: enough to find the lag
    """
    size = int(guard_s * rate_hz)
    begin = np.rint(start).astype(np.int64)
    filled = np.flatnonzero(late)
    lag = len(late) - (int(filled[-1]) if filled.size else 0)  # zeros at the end are no tails
    begin = begin[(begin >= ENDS) & (begin + size + ENDS < len(samples) - lag)]
    margins = [max(LEAST_MARGIN, math.ceil(part * size)) for part in MARGINS]
    margins = sorted({margin for margin in margins if size - 2 * margin >= LEAST_LENGTH})
    if not margins or len(begin) < LEAST_PAIRS:
        return None
    inmost = _pairs(begin, size, margins[-1], rate_hz, band_hz)
    if inmost is None or not search:
        return inmost
    passed, inmost_noise = [inmost], _noise(samples, late, inmost)
    least = float(inmost_noise.mean())
    for margin in reversed(margins[:-1]):
        wider = _pairs(begin, size, margin, rate_hz, band_hz)
        if wider is None:
            break
        more = _noise(samples, late, wider) - inmost_noise
        mean, doubt = float(more.mean()), float(more.std(ddof=1)) / math.sqrt(len(more))
        if mean > 2 * doubt + SOFT * least:
            break
        passed.append(replace(wider, excess=math.hypot(max(mean, 0.0), doubt) / least))
    # One step further in than what just passes.
    return passed[0] if len(passed) == 1 else replace(passed[-2], proven=True)


def _pairs(
    begin: npt.NDArray[np.int64], size: int, margin: int, rate_hz: float, band_hz: tuple[float, float]
) -> Pairs | None:
    length = size - 2 * margin
    frequency = scipy.fft.fftfreq(length, 1 / rate_hz)
    line_hz = rate_hz / length
    inside = (frequency >= band_hz[0] + 0.75 * line_hz) & (frequency <= band_hz[1] - 0.75 * line_hz)
    if np.count_nonzero(inside) < 2:
        return None
    return Pairs(rate_hz=rate_hz, start=begin + margin, length=length, inside=inside, excess=0.0, proven=False)


def _noise(samples: Samples, late: Samples, pairs: Pairs) -> Floats:
    """Noise in each pair, alike for parts of any length. (n,)"""
    guards, tails = transformed(samples, pairs), transformed(late, pairs)
    turn = np.angle((np.conj(guards) * tails).sum(axis=1))
    apart = np.abs(tails - guards * np.exp(1j * turn)[:, None]) ** 2
    return np.asarray(apart[:, without_lines(apart)].mean(axis=1) / pairs.length / (1 - 0.5 / pairs.independent))


def without_lines(apart: Floats) -> npt.NDArray[np.bool_]:
    """Which lines of the transforms hold no more than noise: a discrete line of the receiver is no noise. (m,)

    apart  (n, m) squared differences
    """
    level = apart.mean(axis=0)
    limit = float(np.median(level)) * (LINE_STANDS_OUT + 6 / math.sqrt(len(apart)))
    near = level > limit
    near = near | np.append(near[1:], False) | np.insert(near[:-1], 0, False)
    return np.asarray(~near if np.count_nonzero(near) <= len(near) / 2 else np.ones(len(near), bool))


def transformed(samples: Samples, pairs: Pairs) -> Cells:
    """Lines inside the band of every clean part, by ascending frequency. (n, m)"""
    return _lines(samples, pairs.start, pairs)


def _lines(samples: Samples, start: npt.NDArray[np.int64], pairs: Pairs) -> Cells:
    n = pairs.length
    window = np.sin(np.pi * (np.arange(n) + 0.5) / n)
    lines = scipy.fft.fft(samples[start[:, None] + np.arange(n)] * window, axis=1)[:, pairs.inside]
    order = np.argsort(scipy.fft.fftfreq(n)[pairs.inside])
    return np.asarray(lines[:, order], dtype=np.complex128)
