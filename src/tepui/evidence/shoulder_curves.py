"""What averaging without end would show of a trace: the slopes beside the channel, and the band's own course.

Theory  A trace is a curve times scatter of known size, alike over about one width of the resolution filter. Beside the
        channel the curve is taken as a polynomial in decibels, in band as a cosine series times what pilots make of the
        band. Each term beyond the plain ones keeps what scatter does not explain of it, c (1 - (m s / c)^2) with s its
        own scatter, and nothing where that is negative: so the highest value is not one that scatter picked.
Source  Breiman 1995, Technometrics 37, 373-384 (the non-negative garrote); its m is this program's choice. Fits by the
        gamma law of averaged powers with logarithmic link (McCullagh, Nelder 1989, chapter 8).
Holds   Curves that ripple no more than 16 times across the band, and bend no more than a fourth power beside it.
"""

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
from scipy.special import erf

Floats = npt.NDArray[np.float64]

PLAIN_TERMS, ALL_TERMS = 3, 5  # of the polynomial: a parabola always, up to the fourth power where it shows
BAND_TERMS = 32  # half periods across the band
KEPT_BESIDE, KEPT_IN_BAND = 1.0, 3.0  # the garrote's m
BLOCKS, LEAST_BLOCK = 10, 1e-3  # whose means a fit begins with, and what is left of one over the mean of a side
STEPS = 3  # from the fit of logarithms to that of powers
MOST_STEP, MOST_NEPERS = 1.0, 40.0  # of power: in one step, and from the mean of a side
LEAST_MEAN = 1e-30  # of a side from which a floor was taken, and too much


def alike(points: int, step_hz: float, resolution_hz: float) -> Floats:
    """Correlation of the scatter from point to point through a Gaussian filter; (2 reach + 1,), 1 in the middle."""
    reach = min(math.ceil(1.7 * resolution_hz / step_hz), points - 1)
    return np.asarray(np.exp(-np.pi / 2 * (np.arange(-reach, reach + 1) * step_hz / resolution_hz) ** 2))


def scatter_of_terms(terms: Floats, likeness: Floats) -> Floats:
    """Standard deviation of each coefficient c = terms' . values, for values that scatter by 1; (terms,)."""
    spread = np.stack([np.convolve(column, likeness, "same") for column in terms.T], axis=1)
    return np.asarray(np.sqrt(np.maximum(np.sum(terms * spread, axis=0), 0.0)))


def _kept(coefficients: Floats, scatter: Floats, times: float) -> Floats:
    """What of each coefficient scatter does not explain."""
    return coefficients * np.maximum(1 - (times * scatter) ** 2 / np.maximum(coefficients**2, 1e-300), 0.0)


@dataclass(frozen=True, kw_only=True)
class SlopeFit:
    """Smooth slopes through the points of one side.

    offset_hz      (k,) evenly spaced
    resolution_hz  of the filter that the trace went through
    n_averages     of each point
    """

    offset_hz: Floats
    resolution_hz: float
    n_averages: float

    @cached_property
    def _terms(self) -> Floats:
        middle, half = (self.offset_hz[0] + self.offset_hz[-1]) / 2, np.ptp(self.offset_hz) / 2
        return np.asarray(np.linalg.qr(np.polynomial.legendre.legvander((self.offset_hz - middle) / half,
                                                                         ALL_TERMS - 1))[0])  # fmt: skip

    @cached_property
    def _scatter(self) -> Floats:
        step_hz = float(self.offset_hz[1] - self.offset_hz[0])
        likeness = alike(len(self.offset_hz), step_hz, self.resolution_hz)
        return scatter_of_terms(self._terms, likeness) / math.sqrt(self.n_averages)

    def smooth(self, rows: Floats) -> Floats:
        """Each row (n, k) of densities without its scatter."""
        terms = self._terms
        mean = np.maximum(rows.mean(axis=1, keepdims=True), LEAST_MEAN)
        points = len(self.offset_hz)
        starts = np.unique(np.arange(BLOCKS) * points // BLOCKS)
        sizes = np.diff(starts, append=points)
        blocks = np.add.reduceat(rows / mean, starts, axis=1) / sizes
        of_blocks = np.add.reduceat(terms, starts, axis=0) / sizes[:, None]
        found = np.log(np.maximum(blocks, LEAST_BLOCK)) @ np.linalg.pinv(of_blocks).T
        for _ in range(STEPS):
            off = rows / mean * np.exp(np.clip(-found @ terms.T, -MOST_NEPERS, MOST_NEPERS)) - 1
            found = found + np.clip(off, -MOST_STEP, MOST_STEP) @ terms
        found[:, PLAIN_TERMS:] = _kept(found[:, PLAIN_TERMS:], self._scatter[PLAIN_TERMS:], KEPT_BESIDE)
        return np.asarray(mean * np.exp(np.clip(found @ terms.T, -MOST_NEPERS, MOST_NEPERS)))


@dataclass(frozen=True, kw_only=True)
class BandFit:
    """The smooth course of the band.

    offset_hz    (m,) evenly spaced, from the channel's centre
    half_hz      half the occupied width
    pilots       (m,) what pilots make of the band, 1 where there are none
    n_averages   of each point
    """

    offset_hz: Floats
    half_hz: float
    resolution_hz: float
    pilots: Floats
    n_averages: float

    @cached_property
    def inside(self) -> npt.NDArray[np.bool_]:
        """Where the filter sees nothing beyond the band."""
        found = np.abs(self.offset_hz) < self.half_hz - self.resolution_hz
        return found if np.count_nonzero(found) >= 2 * BAND_TERMS else np.ones(len(found), np.bool_)

    @cached_property
    def _fall(self) -> Floats:
        """What the filter makes of the band's two ends."""
        within = (self.half_hz - np.abs(self.offset_hz)) / self.resolution_hz
        return np.asarray((1 + erf(math.sqrt(math.pi) * within)) / 2)

    @cached_property
    def _terms(self) -> Floats:
        """(m, terms): cosines over the inner part, held beyond it as at its ends."""
        ends = self.offset_hz[self.inside][[0, -1]]
        share = np.clip((self.offset_hz - ends[0]) / (ends[1] - ends[0]), 0, 1)
        return math.sqrt(2) * np.cos(np.pi * np.outer(share, np.arange(1, BAND_TERMS + 1)))

    @cached_property
    def _scatter(self) -> Floats:
        """Of each coefficient: the spectrum, at its period, of scatter that is alike over the filter's width."""
        share = self.resolution_hz / float(np.ptp(self.offset_hz[self.inside]))
        order = np.arange(1, BAND_TERMS + 1)
        return np.asarray(np.sqrt(math.sqrt(2) * share * np.exp(-np.pi / 2 * (order * share) ** 2) / self.n_averages))

    def smooth(self, rows: Floats) -> Floats:
        """Each row (n, m) of densities without its scatter."""
        even = rows[:, self.inside] / self.pilots[self.inside]
        mean = even.mean(axis=1, keepdims=True)
        found = (even / mean - 1) @ self._terms[self.inside] / np.count_nonzero(self.inside)
        course = np.maximum(1 + _kept(found, self._scatter, KEPT_IN_BAND) @ self._terms.T, 0.05)
        return np.asarray(mean * course * self.pilots * self._fall)
