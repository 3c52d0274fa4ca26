"""How a recording used its converter: clipping, bits used, and what rounding did to a weak signal.

Theory  Rounding adds 1/12 of a step squared on each axis and leaves the signal alone, as long as the signal spans a
        step or more. Below that its gain and its noise depend on where the mean falls between two codes; for a Gaussian
        both follow from mean and spread, and those from mean and variance of the codes.
Source  Bennett 1948, Bell Syst. Tech. J. 27, 446-472 (rounding noise); Bussgang 1952, MIT RLE report 216 (gain of a
        nonlinearity for a Gaussian signal). The gain of a row of steps is the sum of the density at the steps.
Holds   Signals near Gaussian. Distortion products are less so: below a step the noise may be off by a tenth. Integer
        samples of 8 and 16 bits; of floating point the steps are not known.
"""

import math
import re
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from tepui.evidence.bursts import bursty_use
from tepui.signals.recording import Recording

Floats = npt.NDArray[np.float64]

BLOCK = 1 << 18
FULLY_ROUNDED = 1.2  # steps of spread on an axis; beyond, rounding departs from Bennett's law by less than 1e-11
LEAST_SPREAD = 0.25  # steps; below, what is left of the signal depends on where the codes fall
IDEAL_LSB2 = 1 / 6  # rounding noise of both axes
FEWEST_CODES = 9  # used, for their ends to mean anything
HEAPED = 4  # times as often at the end as beside it: clipped before the file was scaled


@dataclass(frozen=True, kw_only=True)
class Converter:
    """How a recording used its converter; in steps (the distance between two codes it used).

    step          of one axis, full scale = 1; None for floating point, whose steps are unknown
    n_clipped     samples with an axis at the end of the range, or axes where codes heap at ends of their own
    used_bits     log2 of the codes between the lowest and the highest used; None as above
    mean, spread  (2,) of the axes, as the converter saw them, rounding taken off
    gain          of rounding for the signal's power; 1 where the signal spans its steps
    rounding      power of what rounding adds to both axes, referred to its input
    """

    step: float | None
    n_samples: int
    n_clipped: int
    used_bits: float | None
    mean: Floats
    spread: Floats
    gain: float
    rounding: float

    @property
    def clipped_share(self) -> float:
        """Part of the samples that were clipped. [1]"""
        return self.n_clipped / self.n_samples

    @property
    def is_starved(self) -> bool:
        """Whether the signal spans so little that rounding has destroyed part of it."""
        return self.step is not None and bool((self.spread < LEAST_SPREAD).any())


def rounded(mean: float, spread: float) -> tuple[float, float, float, float]:
    """What rounding to whole numbers makes of a Gaussian.

    mean, spread  of the input, in steps
    returns       mean and variance of the output, amplitude gain for the input, variance of what is not the input
    """
    if spread >= FULLY_ROUNDED:
        return mean, spread**2 + 1 / 12, 1.0, 1 / 12
    reach = math.ceil(9 * spread) + 1
    codes = np.arange(math.floor(mean) - reach, math.ceil(mean) + reach + 1)
    edges = (np.concatenate([codes - 0.5, [codes[-1] + 0.5]]) - mean) / spread
    share = np.diff(ndtr(edges))
    out_mean = float(share @ codes)
    out_variance = float(share @ (codes - out_mean) ** 2)
    bell = np.exp(-(edges**2) / 2) / math.sqrt(2 * math.pi)
    gain = float(bell[1:-1].sum()) / spread  # the derivative of rounding is a row of steps
    return out_mean, out_variance, gain, out_variance - gain**2 * spread**2


def unrounded(mean: float, variance: float) -> tuple[float, float]:
    """Mean and spread of the Gaussian whose rounding has this mean and variance, in steps."""
    spread = math.sqrt(max(variance - 1 / 12, 0.01))
    if spread >= FULLY_ROUNDED:
        return mean, spread
    middle = mean
    for _ in range(60):
        out_mean, out_variance, _, _ = rounded(middle, spread)
        middle += 0.7 * (mean - out_mean)
        spread = math.sqrt(max(spread**2 + 0.7 * (variance - out_variance), 0.01))
    return middle, spread


@dataclass(frozen=True, kw_only=True)
class SampleSums:
    """First pass over a stretch: moments, and how often each code occurs on each axis; None for floating point."""

    n: int
    mean: complex
    power: float
    square: complex
    spread: Floats
    counts: Floats | None
    code_scale: float
    n_at_end: int


def _codes_of(sample_type: str) -> tuple[float, float, int] | None:
    """Code that reads zero (counted from the lowest), codes from zero to +1, number of codes."""
    found = re.fullmatch(r"c([iu])(8|16)(_le|_be)?", sample_type)
    if not found:
        return None
    bits = int(found[2])
    if found[1] == "u":
        return (2**bits - 1) / 2, (2**bits - 1) / 2, 2**bits
    return 2.0 ** (bits - 1), 2.0 ** (bits - 1) - 1, 2**bits


def sums_of_recording(recording: Recording) -> SampleSums:
    """Moments and codes of a whole recording, block by block."""
    layout = _codes_of(recording.sample_type)
    counts = None if layout is None else np.zeros((2, layout[2]))
    total, square, n_at_end = 0j, 0j, 0
    powers = np.zeros(2)
    for block in recording.blocks(BLOCK):
        total += complex(block.sum(dtype=np.complex128))
        square += complex(np.dot(block, block))
        axes = np.ascontiguousarray(block).view(np.float32)
        powers += [float(np.square(axes[i::2], dtype=np.float64).sum()) for i in (0, 1)]
        if layout is not None and counts is not None:
            codes = np.rint(axes * np.float32(layout[1]) + np.float32(layout[0])).astype(np.int64)
            for i in (0, 1):
                counts[i] += np.bincount(codes[i::2], minlength=layout[2])
            n_at_end += int(((codes <= 0) | (codes >= layout[2] - 1)).reshape(-1, 2).any(axis=1).sum())
    n = recording.n_samples
    mean = total / n
    return SampleSums(
        n=n,
        mean=mean,
        power=float(powers.sum()) / n - abs(mean) ** 2,
        square=square / n - mean**2,
        spread=np.sqrt(np.maximum(powers / n - np.array([mean.real, mean.imag]) ** 2, 0.0)),
        counts=counts,
        code_scale=1.0 if layout is None else layout[1],
        n_at_end=n_at_end,
    )


def converter_from(sums: SampleSums) -> Converter:
    """How the converter was used, from a recording's moments and codes."""
    mean, spread = np.array([sums.mean.real, sums.mean.imag]), sums.spread
    if sums.counts is None:
        return Converter(
            step=None, n_samples=sums.n, n_clipped=0, used_bits=None, mean=mean, spread=spread, gain=1.0, rounding=0.0
        )
    both = sums.counts.sum(axis=0)
    used = np.flatnonzero(both)
    codes_a_step = max(1, int(np.gcd.reduce(np.diff(used)))) if len(used) > 1 else 1
    step = codes_a_step / sums.code_scale
    zero = both.size / 2 - 0.5 if sums.code_scale % 1 else both.size / 2
    at = (mean * sums.code_scale + zero - used[0]) / codes_a_step  # in steps from the lowest code
    axes = [unrounded(at[axis], (spread[axis] / step) ** 2) for axis in (0, 1)]
    middles, spreads = np.array([axis[0] for axis in axes]), np.array([axis[1] for axis in axes])
    laws = [rounded(middle, width) for middle, width in axes]
    gains, added = np.array([law[2] for law in laws]), sum(law[3] for law in laws)
    added /= float(np.mean(gains**2))
    if spreads.max() < FULLY_ROUNDED and spreads.min() > LEAST_SPREAD:
        reach = np.arange(used[0], used[-1] + 1, codes_a_step)
        steps = np.arange(len(reach), dtype=np.float64)
        found = bursty_use(steps, sums.counts[:, reach], mean=middles, spread=spreads)
        middles, spreads, gains, added = found.mean, found.spread, found.gain, found.added
    return Converter(
        step=step,
        n_samples=sums.n,
        n_clipped=sums.n_at_end or _heaped(both[used]),  # a file scaled after clipping heaps at its own ends
        used_bits=math.log2((used[-1] - used[0]) / codes_a_step + 1) if len(used) else 0.0,
        mean=middles + (used[0] - zero) / codes_a_step,
        spread=spreads,
        gain=float(np.mean(gains**2)),
        rounding=added,
    )


def _heaped(counts: Floats) -> int:
    """How many samples stand at the ends of the codes used, where they are far more than stand beside."""
    if len(counts) < FEWEST_CODES:
        return 0
    ends = ((counts[0], counts[1]), (counts[-1], counts[-2]))
    return int(sum(end for end, beside in ends if end > HEAPED * beside + 10))
