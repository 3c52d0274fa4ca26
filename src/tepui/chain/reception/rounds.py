"""Rounds of symbols: spectra in, straight cells with their channel out, the timebase corrected from round to round.

Theory  A round is long enough to average the channel over and short enough to follow it. Everything a round needs is
        known when it begins, so its parts can run side by side, and its outcome depends on no block size.
Source  [EN300744] clause 4.5; see tracking.py and channel.py.
Holds   A run of symbols whose pilots agree with the channel before; where they stop to, the run ends.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.channel import (
    WINDOWS,
    GridSums,
    added,
    averaging_window,
    fill,
    grid_sums,
    interpolator,
    joined_in_time,
    movement,
)
from tepui.chain.reception.impulse import extent, response_of_grid
from tepui.chain.reception.search import CARRIERS
from tepui.chain.reception.symbol_kernels import straighten
from tepui.chain.reception.symbols import SymbolReader, Timebase, pilot_cells, pilot_sets, pilot_tables, ramp
from tepui.chain.reception.tracking import (
    Settled,
    Track,
    corrected,
    cut,
    good_places,
    grid_mean,
    joined,
    straightened,
    track,
    weights_of,
)
from tepui.ground.tasks import map_tasks

ROUND = 512
BATCH = 64
PART = 32
LOST_COHERENCE = 0.12
GONE_COHERENCE = 0.2
LOST_RUN, LOST_OF_RUN = 14, 12
PILOT_POWER = 16 / 9
DIRECT_SHARE = 0.003
LEAST_NOISE = 1e-8  # over the signal: below it the numbers' own rounding shows
DIRECT_DRIFT = 0.2


def shortened(item: "Round", count: int) -> "Round":
    """The first ``count`` symbols of a round, as the last of its run."""
    per_symbol = item.channel.shape[0] > 1
    return replace(
        item,
        cells=item.cells[:count],
        channel=item.channel[:count] if per_symbol else item.channel,
        faded=item.faded[:count],
        lost=True,
        track=cut(item.track, count),
    )


@dataclass(frozen=True, kw_only=True)
class Round:
    """Consecutive symbols, straightened, and the channel they came through.

    symbol    number of the first, counted from the run's first
    phase     pilot pattern of the first
    cells     (n, K) complex64; channel (1 or n, K) complex64
    steady    one channel serves the whole round
    faded     (n,) True for a symbol whose pilots do not agree: nothing in it is to be believed
    noise     variance of a cell, in the units of ``cells``
    good      (n_grid,) pilots no line has hit
    track     phases and slopes that were taken out
    base      timebase before, ``after`` with this round's corrections
    lost      the run ends with this round
    """

    symbol: int
    phase: int
    cells: npt.NDArray[np.complex64]
    channel: npt.NDArray[np.complex64]
    steady: bool
    faded: npt.NDArray[np.bool_]
    noise: float
    good: npt.NDArray[np.bool_]
    grid: npt.NDArray[np.complex128]
    track: Track
    base: Timebase
    after: Timebase
    lost: bool


class RoundReader:
    """Reads one run of symbols round by round, from a settled lock to the end or the loss of it."""

    def __init__(self, reader: SymbolReader, settled: Settled, *, end: int, workers: int | None) -> None:
        self._reader = reader
        self._end = end
        self._workers = workers
        self._sets = pilot_sets(settled.base.n_fft, inverted=settled.base.inverted)
        self._tables = pilot_tables(self._sets)
        self._n_grid = (CARRIERS[settled.base.n_fft] + 2) // 3
        self._reference = settled.reference
        self._good = settled.good
        self._weight = settled.weight
        self._noise = max(settled.noise, 1e-30)
        self._base = settled.base
        self._symbol = 0
        self._history: GridSums | None = None
        self._response = settled.response

    def _is_direct(self, base: Timebase) -> bool:
        if not self._reader.one_to_one:
            return False
        clock = self._reader.recording.sample_rate_hz * 7 / (8 * self._reader.width_hz) / base.step - 1
        reach = CARRIERS[base.n_fft] / 2
        power = float(np.mean(np.abs(self._reference[self._good]) ** 2))
        leakage = (np.pi * clock * reach) ** 2 / 9
        drift = abs(clock) * ROUND * base.n_symbol
        noise = max(self._noise * PILOT_POWER / power, LEAST_NOISE)
        return bool(drift < DIRECT_DRIFT and leakage < DIRECT_SHARE * noise)

    def next(self) -> Round | None:
        """The next round, or None at the end."""
        base = self._base
        if self._is_direct(base):
            base = replace(base, direct=True, step=1.0)
        _, high = self._reader.available(base, begin=0, end=self._end)
        left = high
        if left < 4:
            return None
        n = left if left < ROUND * 3 // 2 else ROUND
        starts = list(range(0, n, BATCH))
        turn = ramp(base)
        cells = np.empty((n, CARRIERS[base.n_fft]), np.complex64)

        def read(start: int) -> tuple[npt.NDArray[np.complex64], Track]:
            """Symbols straightened by their own common phase; the timing is that of the round's beginning."""
            count = min(BATCH, n - start)
            spectra = self._reader.spectra(base, symbol=start, count=count)
            pilots = pilot_cells(spectra, self._tables, base=base, symbol=start, turn=turn)
            phase = (base.phase + start) % 4
            seen = track(pilots, self._reference, self._sets, self._tables, first_phase=phase, weight=self._weight)
            level = np.zeros(count)
            straighten(
                spectra, turn, np.ascontiguousarray(seen.phase), level, base.inverted, cells[start : start + count]
            )
            return straightened(pilots, seen.phase, level, self._tables, first_phase=phase), seen

        parts = map_tasks(read, starts, workers=self._workers)
        straight = np.concatenate([part[0] for part in parts])
        found = joined([part[1] for part in parts])
        keep = _held(found.coherence)
        lost = keep < n
        if keep < 4:
            return None
        if lost:
            n = keep
            straight, cells, found = straight[:n], cells[:n], cut(found, n)
        faded = found.coherence < LOST_COHERENCE
        channel, grid, steady = self._channel(straight, base)
        after = corrected(base, found, rate_hz=self._reader.recording.sample_rate_hz)
        moved = replace(after, direct=False, first=after.begin(n), phase=(after.phase + n) % 4)
        result = Round(
            symbol=self._symbol,
            phase=base.phase,
            cells=cells,
            channel=channel,
            steady=steady,
            faded=faded,
            noise=self._noise * PILOT_POWER,
            good=self._good,
            grid=grid,
            track=found,
            base=base,
            after=after,
            lost=lost,
        )
        self._base = moved
        self._symbol += n
        return result

    def _channel(
        self, straight: npt.NDArray[np.complex64], base: Timebase
    ) -> tuple[npt.NDArray[np.complex64], npt.NDArray[np.complex128], bool]:
        n = straight.shape[0]
        mean, looks, variance = grid_mean(straight[: PART * 2], self._sets, first_phase=base.phase, n_grid=self._n_grid)
        self._good = good_places(mean, variance, looks)
        self._weight = weights_of(mean, variance, looks) * self._good
        noise, moved = movement(straight, self._sets, first_phase=base.phase, good=self._weight > 0.9)
        self._noise = max(noise, 1e-30)
        window = averaging_window(look_noise=self._noise, moved=moved, n_symbols=n)
        everything = grid_sums(straight, self._sets, first_phase=base.phase, n_grid=self._n_grid)
        response = response_of_grid(np.where(self._good, everything.mean, 0), n_fft=base.n_fft)
        first, last = extent(response)
        reach = 2 * max(abs(first), abs(last)) + 0.01 * base.n_fft / 3 + 8
        power = float(np.mean(np.abs(everything.mean[self._good]) ** 2))
        self._response = response
        if window == WINDOWS[0]:
            held = everything
            if self._history is not None:
                share = min(1.0, ROUND / max(float(self._history.looks.max()), 1.0) / 2)
                held = GridSums(
                    total=everything.total + share * self._history.total,
                    looks=everything.looks + share * self._history.looks,
                )
            self._history = everything
            grids = held.mean[None, :]
            looks_each = n / 4
        elif window:
            self._history = None
            size = window // PART
            parts = [
                grid_sums(
                    straight[start : start + PART],
                    self._sets,
                    first_phase=(base.phase + start) % 4,
                    n_grid=self._n_grid,
                )
                for start in range(0, n, PART)
            ]
            means = [added(parts[max(0, i - size // 2) : i + size // 2 + 1]).mean for i in range(len(parts))]
            grids = np.stack(means)
            looks_each = window / 4
        else:
            self._history = None
            grids = joined_in_time(straight, self._sets, first_phase=base.phase, n_grid=self._n_grid)
            looks_each = 1.0
        snr = max(power / self._noise * looks_each, 1e-3)
        grids = fill(grids, self._good, n_fft=base.n_fft, delay_spread=reach, snr=snr)
        channel = interpolator(n_fft=base.n_fft, delay_spread=reach, snr=snr)(grids)
        smooth = channel[:, ::3].astype(np.complex128)
        if window and grids.shape[0] > 1:
            channel = np.repeat(channel, PART, axis=0)[:n]
        self._reference = smooth[-1] if window else smooth[-8:].mean(axis=0)
        return channel, everything.mean, grids.shape[0] == 1


def _held(coherence: npt.NDArray[np.float64]) -> int:
    """How many symbols stand before the first stretch in which hardly any symbol's pilots agree.

    A stretch that reaches the end of the round may be the beginning of a loss: it is left to the next round.
    """
    bad = np.concatenate([[0], np.cumsum(coherence < GONE_COHERENCE)])
    for place in range(coherence.size - LOST_RUN + 1):
        if coherence[place] < GONE_COHERENCE and bad[place + LOST_RUN] - bad[place] >= LOST_OF_RUN:
            return place
    return int(coherence.size)
