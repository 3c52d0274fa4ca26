"""The channel on every carrier from the pilots on every third, and how long to average them.

Theory  For delays spread evenly over D elementary periods about the centre, carriers d apart correlate by
        sinc(d D / N); the best linear estimate from T neighbours of signal-to-noise ratio s has the weights
        r (R + I / s)^-1. Averaging over symbols is right as long as the channel moves less than the noise that is
        left; when it moves faster, pilots are joined by straight lines in time.
Source  P. Hoeher, S. Kaiser, P. Robertson, two-dimensional pilot-symbol-aided channel estimation by Wiener
        filtering, IEEE ICASSP 1997.
Holds   Delays inside the spread given; beyond it the estimate fades.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.search import CARRIERS
from tepui.chain.reception.symbol_kernels import spread as spread_kernel
from tepui.chain.reception.symbols import PilotSet

TAPS = 24
COMB = 3
WINDOWS = (256, 64, 32)


@dataclass(frozen=True, kw_only=True)
class Interpolator:
    """Weights that carry the grid to all carriers; see ``interpolator``."""

    weights: npt.NDArray[np.float32]
    first: npt.NDArray[np.int64]
    n_carriers: int

    def __call__(self, grid: npt.NDArray[np.complex128]) -> npt.NDArray[np.complex64]:
        """Channel on all carriers. grid (n, n_grid) -> (n, n_carriers)."""
        out = np.empty((grid.shape[0], self.n_carriers), np.complex64)
        spread_kernel(np.ascontiguousarray(grid, dtype=np.complex64), self.weights, self.first, out)
        return out


def interpolator(*, n_fft: int, delay_spread: float, snr: float) -> Interpolator:
    """Weights for one delay spread and signal-to-noise ratio of the grid.

    delay_spread  total width of the delays, elementary periods, centred on the timebase's centre
    snr           power of the channel over variance of the grid's values, as a ratio
    """
    n_carriers = CARRIERS[n_fft]
    n_grid = (n_carriers + 2) // COMB
    edge = COMB * (TAPS // 2)
    inner = np.arange(3) + COMB * (TAPS // 2 - 1)  # places relative to the first neighbour
    left = np.arange(edge)
    right = COMB * (TAPS - 1) - np.arange(edge)[::-1]
    places = np.concatenate([inner, left, right])
    neighbours = COMB * np.arange(TAPS)
    density = min(delay_spread, 0.98 * n_fft / COMB) / n_fft
    among = np.sinc(density * (neighbours[:, None] - neighbours[None, :])) + np.eye(TAPS) / snr
    toward = np.sinc(density * (places[:, None] - neighbours[None, :]))
    weights = np.linalg.solve(among, toward.T).T
    carriers = np.arange(n_carriers)
    first = np.clip(carriers // COMB - (TAPS // 2 - 1), 0, n_grid - TAPS)
    return Interpolator(
        weights=np.ascontiguousarray(weights, dtype=np.float32), first=first.astype(np.int64), n_carriers=n_carriers
    )


def fill(
    grid: npt.NDArray[np.complex128], good: npt.NDArray[np.bool_], *, n_fft: int, delay_spread: float, snr: float
) -> npt.NDArray[np.complex128]:
    """Put the best estimate from good neighbours where a place of the grid cannot be used. grid (n, n_grid)."""
    bad = np.flatnonzero(~good)
    if bad.size == 0 or good.sum() < 4:
        return grid
    usable = np.flatnonzero(good)
    out = grid.copy()
    density = min(delay_spread, 0.98 * n_fft / COMB) / n_fft
    for place in bad:
        at = np.searchsorted(usable, place)
        near = usable[max(0, at - TAPS // 2) : at + TAPS // 2]
        apart = COMB * (near[:, None] - near[None, :])
        among = np.sinc(density * apart) + np.eye(near.size) / snr
        toward = np.sinc(density * COMB * (near - place))
        out[:, place] = grid[:, near] @ np.linalg.solve(among, toward)
    return out


@dataclass(frozen=True, kw_only=True)
class GridSums:
    """Sums of straightened pilots on the grid over a few symbols: they add, so windows are built from parts."""

    total: npt.NDArray[np.complex128]
    looks: npt.NDArray[np.float64]

    @property
    def mean(self) -> npt.NDArray[np.complex128]:
        """Mean channel; zero where nothing was seen."""
        return np.asarray(self.total / np.maximum(self.looks, 1), dtype=np.complex128)


def grid_sums(
    cells: npt.NDArray[np.complex64], sets: tuple[PilotSet, ...], *, first_phase: int, n_grid: int
) -> GridSums:
    """Sums over the rows given."""
    total = np.zeros(n_grid, complex)
    looks = np.zeros(n_grid)
    for number, pilots in enumerate(sets):
        rows = cells[(number - first_phase) % 4 :: 4]
        total[pilots.grid] += rows.sum(axis=0, dtype=complex)
        looks[pilots.grid] += rows.shape[0]
    return GridSums(total=total, looks=looks)


def added(parts: list[GridSums]) -> GridSums:
    """The sums of several parts together."""
    return GridSums(
        total=np.sum([part.total for part in parts], axis=0), looks=np.sum([part.looks for part in parts], axis=0)
    )


LAGS = (4, 8, 16, 32, 64, 128)


def movement(
    cells: npt.NDArray[np.complex64],
    sets: tuple[PilotSet, ...],
    *,
    first_phase: int,
    good: npt.NDArray[np.bool_],
) -> tuple[float, list[float]]:
    """Noise of one look at a pilot, and how far the channel moves over each of LAGS symbols beyond it.

    cells    (n, n_pilots) straightened; looks at one place are compared with looks at the same place later
    returns  variance of a look; mean |H(s + lag) - H(s)|^2 for every lag below n / 2
    """
    n = cells.shape[0]
    usable = np.stack([good[sets[(first_phase + row) % 4].grid] for row in range(4)])
    mask = usable[np.arange(n) % 4]
    moved = []
    for lag in (lag for lag in LAGS if lag < max(n / 2, 5)):
        apart = cells[lag::3] - cells[:-lag:3]
        square = apart.real**2 + apart.imag**2
        moved.append(float(square.mean(where=mask[lag::3], dtype=float)))
    common = [_places_of_both(sets[(first_phase + row) % 4], sets[(first_phase + row + 1) % 4]) for row in range(4)]
    next_door = []
    for row, (left, right) in enumerate(common):
        one, other = cells[row:-1:4], cells[row + 1 :: 4]
        pairs = min(one.shape[0], other.shape[0])
        keep = good[sets[(first_phase + row) % 4].grid[left]]
        apart = np.abs(one[:pairs, left[keep]] - other[:pairs, right[keep]]) ** 2
        next_door.append(float(apart.mean()))
    doubled = min([float(np.mean(next_door)), *moved[:1]])
    return doubled / 2, [max(value - doubled, 0.0) for value in moved]


@lru_cache(maxsize=64)
def _places_of_both(one: PilotSet, other: PilotSet) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]:
    _, left, right = np.intersect1d(one.grid, other.grid, return_indices=True)
    return left, right


def averaging_window(*, look_noise: float, moved: list[float], n_symbols: int) -> int:
    """How many symbols to average, or 0 to follow the channel from pilot to pilot.

    look_noise, moved   from ``movement``
    A window's error is the noise left in it plus half the mean movement between two of its symbols; joining pilots by
    straight lines leaves 2/3 of one look's noise on average.
    """
    best, least = 0, 0.66 * look_noise + 0.1 * (moved[0] if moved else 0.0)
    for window in WINDOWS:
        inside = [value for lag, value in zip(LAGS, moved, strict=False) if lag <= window / 2]
        widths = np.diff([0, *LAGS[: len(inside)]]) if inside else np.ones(1)
        centre = np.array(LAGS[: len(inside)]) - widths / 2 if inside else np.zeros(1)
        weight = widths * (1 - centre / window)
        mean = float((np.array(inside or [0.0]) * weight).sum() / weight.sum())
        error = look_noise * 4 / min(window, n_symbols) + mean / 2
        if error < least * (0.9 if best else 1.0):
            best, least = window, error
    return best


def joined_in_time(
    cells: npt.NDArray[np.complex64], sets: tuple[PilotSet, ...], *, first_phase: int, n_grid: int
) -> npt.NDArray[np.complex128]:
    """The grid at every symbol, straight lines between each place's looks, held beyond the first and the last.

    cells    (n, n_pilots) straightened, n of 8 or more
    returns  (n, n_grid)
    """
    n = cells.shape[0]
    out = np.zeros((n, n_grid), complex)
    for number, pilots in enumerate(sets):
        rows = np.arange((number - first_phase) % 4, n, 4)
        if rows.size == 0:
            continue
        time = np.arange(n)
        right = np.clip(np.searchsorted(rows, time), 1, max(rows.size - 1, 1)) if rows.size > 1 else np.zeros(n, int)
        left = np.maximum(right - 1, 0)
        span = np.maximum(rows[right] - rows[left], 1)
        weight = np.clip((time - rows[left]) / span, 0.0, 1.0)[:, None]
        out[:, pilots.grid] = (1 - weight) * cells[rows[left]] + weight * cells[rows[right]]
    always = np.intersect1d(np.intersect1d(sets[0].grid, sets[1].grid), np.intersect1d(sets[2].grid, sets[3].grid))
    if always.size:
        for number, pilots in enumerate(sets):
            rows = np.arange((number - first_phase) % 4, n, 4)
            columns = np.searchsorted(pilots.grid, always)
            out[np.ix_(rows, always)] = cells[np.ix_(rows, columns)]
    return out
