"""Following phase, carrier, clock and timing on the pilots, and settling them before a lock is used.

Theory  Against a known channel the pilots of one symbol show a common phase (carrier, phase noise) and a slope over
        the carriers (timing). Straight lines through both over many symbols are the errors of carrier and clock.
Source  [EN300744] clause 4.5; M. Speth et al., optimum receiver design for OFDM-based broadband transmission, part II,
        IEEE Trans. Communications 49 (2001).
Holds   A steady or slowly changing channel; errors small enough that a symbol's phase slope is not ambiguous.
"""

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.channel import interpolator
from tepui.chain.reception.impulse import Response, arcs, extent, place_window, response_of_grid
from tepui.chain.reception.pilot_kernels import moments, turn_pilots
from tepui.chain.reception.search import CARRIERS, Lock
from tepui.chain.reception.symbol_kernels import straighten
from tepui.chain.reception.symbols import (
    PilotSet,
    PilotTables,
    SymbolReader,
    Timebase,
    pilot_cells,
    pilot_sets,
    pilot_tables,
    ramp,
    timebase_of,
)
from tepui.signals.dvbt.carriers import tps_carriers

Grid = npt.NDArray[np.complex128]
Pilots = npt.NDArray[np.complex64]
STEEP = 0.15
COHERENT = 0.08
ARC_LEAD = 0.1
LEAST_OF_PHASE = 16
SCATTER_FLOOR = 1e-6
SETTLE_SYMBOLS = (8, 24, 72)


@dataclass(frozen=True, kw_only=True)
class Track:
    """What the pilots of consecutive symbols say against a reference channel.

    phase      (n,) common phase [rad]
    slope      (n,) phase per carrier [rad]
    coherence  (n,) share of the pilots' power that agrees with the reference, 0 to 1
    """

    phase: npt.NDArray[np.float64]
    slope: npt.NDArray[np.float64]
    coherence: npt.NDArray[np.float64]

    @cached_property
    def slope_line(self) -> tuple[float, float]:
        """Straight line through the slopes: intercept, and change per symbol."""
        return straight_line(self.slope, self.coherence)

    @property
    def slopes(self) -> npt.NDArray[np.float64]:
        """The straight line's value at every symbol."""
        return np.asarray(self.slope_line[0] + self.slope_line[1] * np.arange(self.slope.size), dtype=np.float64)


def track(
    cells: Pilots,
    reference: Grid,
    sets: tuple[PilotSet, ...],
    tables: PilotTables,
    *,
    first_phase: int,
    weight: npt.NDArray[np.float64],
) -> Track:
    """Phase, slope and coherence of each symbol's pilots against a reference channel on the grid.

    cells      (n, n_pilots) from pilot_cells(); ``first_phase`` is the pattern's phase in row 0
    reference  (n_grid,) channel on every third carrier
    weight     (n_grid,) how much each place counts, 0 to 1: little where it scatters more than the rest
    """
    n = cells.shape[0]
    shares = np.stack([weight[one.grid] for one in sets])
    plain = np.stack([reference[one.grid] for one in sets])
    known = plain * shares
    power = np.abs(plain) ** 2 * shares
    total = power.sum(axis=1)
    # counted from the centre of the pilots' power, so that phase and slope do not mix
    offset = (power * tables.centred).sum(axis=1) / total
    centred = (tables.centred - offset[:, None]).astype(np.float32)
    scale = (power * centred**2).sum(axis=1)
    scaled = (known / np.sqrt(total.mean())).astype(np.complex64)
    sums, received = np.empty((n, 3), complex), np.empty(n)
    moments(cells, scaled, shares.astype(np.float32), centred, first_phase, sums, received)
    which = (first_phase + np.arange(n)) % 4
    sums *= np.sqrt(total.mean())
    straight = sums * np.exp(-1j * np.angle(sums[:, :1]))
    bend = np.where(straight[:, 2].real > 0.05 * scale[which], straight[:, 2].real, np.inf)
    slope = straight[:, 1].imag / bend
    common = sums[:, 0].copy()
    steep = np.flatnonzero(np.abs(slope) * np.abs(centred).max() > STEEP)
    for row in steep:
        agree = cells[row] * np.conj(known[which[row]])
        common[row], slope[row] = _steep(agree, centred[which[row]].astype(float), float(scale[which[row]]), slope[row])
    near = np.ones(n, bool)
    near[steep] = False
    # the slope's own effect on the sum, to second order
    common[near] += -1j * slope[near] * sums[near, 1] - 0.5 * slope[near] ** 2 * sums[near, 2]
    coherence = np.abs(common) ** 2 / np.maximum(received * total[which], 1e-300)
    return Track(phase=np.angle(common * np.exp(-1j * slope * offset[which])), slope=slope, coherence=coherence)


def _steep(
    agree: npt.NDArray[np.complexfloating], centred: npt.NDArray[np.float64], scale: float, slope: float
) -> tuple[complex, float]:
    """Sum and slope of one symbol whose slope is too steep for a short series, by a few more steps."""
    for _ in range(3):
        turned = agree * np.exp(-1j * slope * centred)
        mean = turned.sum()
        size = max(abs(mean) * float((centred**2).mean()), 0.05 * scale)
        slope += float((turned * np.conj(mean / max(abs(mean), 1e-300))).imag @ centred) / size
    return complex((agree * np.exp(-1j * slope * centred)).sum()), slope


def straight_line(
    values: npt.NDArray[np.float64], weights: npt.NDArray[np.float64] | None = None
) -> tuple[float, float]:
    """Weighted least-squares line through values one step apart: intercept and step; no step below six values."""
    n = values.size
    weight = np.ones(n) if weights is None else weights + 1e-12
    total = float(weight.sum())
    place = np.arange(n) - float(weight @ np.arange(n)) / total
    mean = float(weight @ values) / total
    if n < 6:
        return mean, 0.0
    step = float((weight * place) @ values) / float((weight * place) @ place)
    return mean + step * float(place[0]), step


def grid_mean(
    cells: Pilots, sets: tuple[PilotSet, ...], *, first_phase: int, n_grid: int
) -> tuple[Grid, npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Mean channel on the grid, how many looks each place had, and the variance of one look.

    returns  mean (n_grid,), looks (n_grid,), variance (n_grid,), zero where there were fewer than two looks
    """
    total = np.zeros(n_grid, complex)
    square = np.zeros(n_grid)
    looks = np.zeros(n_grid)
    for number, pilots in enumerate(sets):
        rows = cells[(number - first_phase) % 4 :: 4]
        total[pilots.grid] += rows.sum(axis=0, dtype=complex)
        square[pilots.grid] += (np.abs(rows) ** 2).sum(axis=0, dtype=float)
        looks[pilots.grid] += rows.shape[0]
    mean = total / np.maximum(looks, 1)
    spread = np.maximum(square - looks * np.abs(mean) ** 2, 0.0) / np.maximum(looks - 1, 1)
    return np.asarray(mean, dtype=np.complex128), looks, np.where(looks > 1, spread, 0.0)


def straightened(
    cells: Pilots,
    phase: npt.NDArray[np.float64],
    slope: npt.NDArray[np.float64],
    tables: PilotTables,
    *,
    first_phase: int,
) -> Pilots:
    """Pilot cells with each symbol's common phase and slope taken out, in place of what was given."""
    turn_pilots(cells, tables.centred, first_phase, np.ascontiguousarray(phase), np.ascontiguousarray(slope))
    return cells


def joined(parts: list[Track]) -> Track:
    """Tracks of consecutive runs of symbols as one."""
    slope = np.concatenate([part.slope for part in parts])
    coherence = np.concatenate([part.coherence for part in parts])
    phase = np.concatenate([part.phase for part in parts])
    return Track(phase=phase, slope=slope, coherence=coherence)


def cut(found: Track, count: int) -> Track:
    """The first ``count`` symbols of a track."""
    slope, coherence = found.slope[:count], found.coherence[:count]
    return Track(phase=found.phase[:count], slope=slope, coherence=coherence)


def corrected(base: Timebase, found: Track, *, rate_hz: float, symbol: int = 0) -> Timebase:
    """The timebase with the carrier, clock and timing errors of a track taken out.

    symbol   number of the track's first symbol
    """
    n = found.phase.size
    turn = 0.0
    if n >= 3:
        unwrapped = np.unwrap(found.phase)
        turn = straight_line(unwrapped, found.coherence)[1]
    sign = -1.0 if base.inverted else 1.0
    offset_hz = base.offset_hz + sign * turn / (2 * math.pi) * rate_hz / base.period
    clock = found.slope_line[1] * base.n_fft / (2 * math.pi * base.n_symbol)
    delay = -(found.slope_line[0] - symbol * found.slope_line[1]) * base.n_fft / (2 * math.pi)
    first = base.first + delay * base.step
    return replace(base, offset_hz=offset_hz, step=base.step / (1 + clock), first=first)


def _straight_cells(
    spectra: npt.NDArray[np.complex64], found: Track, *, base: Timebase, turn: npt.NDArray[np.complex64]
) -> npt.NDArray[np.complex64]:
    cells = np.empty((spectra.shape[0], turn.size), np.complex64)
    straighten(spectra, turn, found.phase, np.ascontiguousarray(found.slopes), base.inverted, cells)
    return cells


def _likeliest_arc(
    candidates: list[tuple[float, float]],
    cells: npt.NDArray[np.complex64],
    reference: Grid,
    *,
    n_fft: int,
    noise: float,
) -> tuple[float, float]:
    """The arc of delays under which the TPS carriers, between the pilots, turn out to be real: they are BPSK."""
    if len(candidates) == 1:
        return candidates[0]
    carriers = tps_carriers(n_fft)
    centred = 3 * np.arange(reference.size) - (CARRIERS[n_fft] - 1) // 2
    snr = float(np.mean(np.abs(reference) ** 2)) / max(noise, 1e-30)
    scores = []
    for first, last in candidates:
        middle = 0.5 * (first + last)
        turned = reference * np.exp(2j * np.pi * centred * middle / n_fft)
        channel = interpolator(n_fft=n_fft, delay_spread=last - first + 0.01 * n_fft, snr=snr)(turned[None, :])[0]
        back = np.exp(-2j * np.pi * (carriers - (CARRIERS[n_fft] - 1) // 2) * middle / n_fft)
        known = channel[carriers] * back
        product = (cells[:, carriers] * np.conj(known)[None, :]).astype(complex)
        scores.append(float((product**2).sum().real / (np.abs(product) ** 2).sum()))
    best = int(np.argmax(scores))
    return candidates[best] if scores[best] > scores[0] + ARC_LEAD else candidates[0]


@dataclass(frozen=True, kw_only=True)
class Settled:
    """A lock made exact: timebase, channel on the grid, impulse response, places hit by a line."""

    base: Timebase
    reference: Grid
    good: npt.NDArray[np.bool_]
    weight: npt.NDArray[np.float64]
    response: Response
    noise: float


def _usual(mean: Grid, variance: npt.NDArray[np.float64], known: npt.NDArray[np.bool_]) -> npt.NDArray[np.float64]:
    """Usual variance at every place, each of the pattern's four phases by itself. (n_grid,)

    Unequal I and Q lay carrier -k upon k: where that is a pilot too the looks repeat, where it is data they scatter.
    One median over all would take two whole phases for places hit by lines. Scatter 60 dB down is none: there rounding
    and interpolation of the samples show, and differ from place to place.
    """
    usual = np.full(variance.size, float(np.median(variance[known])))
    for phase in range(4):
        own = variance[phase::4][known[phase::4]]
        if own.size >= LEAST_OF_PHASE:
            usual[phase::4] = max(float(np.median(own)), 0.1 * float(usual[phase]))
    return np.asarray(np.maximum(usual, SCATTER_FLOOR * float(np.median(np.abs(mean[known]) ** 2)) + 1e-30))


def good_places(mean: Grid, variance: npt.NDArray[np.float64], looks: npt.NDArray[np.float64]) -> npt.NDArray[np.bool_]:
    """Places on the grid that no line has hit: their scatter is not far above that of their phase's rest.

    A place without a second look, or all of them in a short run, counts as good.
    """
    known = looks > 1
    if not known.any():
        return np.ones(mean.size, bool)
    limit = _usual(mean, variance, known) * (1 + 6 * np.sqrt(2.0 / np.maximum(looks, 2)) + 1.5)
    return ~(known & (variance > limit))


def weights_of(
    mean: Grid, variance: npt.NDArray[np.float64], looks: npt.NDArray[np.float64]
) -> npt.NDArray[np.float64]:
    """Weights of places on the grid: one where a place scatters like most of its phase, less where it does more."""
    known = looks > 1
    if not known.any():
        return np.ones(mean.size)
    usual = _usual(mean, variance, known)
    return np.asarray(np.where(known, np.clip(1.5 * usual / np.maximum(variance, 1e-30), 0.0, 1.0), 1.0))


def settle(reader: SymbolReader, lock: Lock, *, begin: int, end: int) -> Settled | None:
    """Make a lock exact over the first symbols of samples begin..end.

    returns  None where the pilots do not agree from symbol to symbol: the lock was false
    """
    base = timebase_of(lock)
    sets = pilot_sets(lock.n_fft, inverted=lock.inverted)
    tables = pilot_tables(sets)
    n_grid = (CARRIERS[lock.n_fft] + 2) // 3
    rate_hz = reader.recording.sample_rate_hz
    low, high = reader.available(base, begin=begin, end=end)
    if high - low < 5:
        return None
    base = replace(base, first=base.begin(low), phase=(base.phase + low) % 4)
    good, weight = np.ones(n_grid, bool), np.ones(n_grid)
    reference: Grid | None = None
    response: Response | None = None
    noise = 1.0
    steps = [min(count, high - low) for count in SETTLE_SYMBOLS]
    plan = [*steps, steps[-1], steps[-1]]
    for number, count in enumerate(plan):
        low, high = reader.available(base, begin=begin, end=end)
        shift = max(low, 0)
        base = replace(base, first=base.begin(shift), phase=(base.phase + shift) % 4)
        count = min(count, high - shift)  # noqa: PLW2901
        if count < 5:
            return None
        spectra = reader.spectra(base, symbol=0, count=count)
        cells = pilot_cells(spectra, tables, base=base, symbol=0, turn=ramp(base))
        if reference is None:
            reference, _, _ = grid_mean(cells[:4], sets, first_phase=base.phase, n_grid=n_grid)
        found = track(cells, reference, sets, tables, first_phase=base.phase, weight=weight)
        if number and float(np.median(found.coherence)) < COHERENT:
            return None
        straight = straightened(cells, found.phase, found.slopes, tables, first_phase=base.phase)
        mean, looks, variance = grid_mean(straight, sets, first_phase=base.phase, n_grid=n_grid)
        good = good_places(mean, variance, looks)
        weight = weights_of(mean, variance, looks) * good
        noise = float(np.median(variance[looks > 1])) if (looks > 1).any() else 0.0
        reference = np.where(good, mean, 0)
        if not np.any(reference * weight):
            return None
        before, base = base, corrected(base, found, rate_hz=rate_hz)
        if number == 0:
            continue
        response = response_of_grid(reference, n_fft=base.n_fft)
        if not response.paths().any():
            return None
        if number < len(plan) - 1:
            arc = extent(response)
            if number == 1:
                told = _straight_cells(spectra, found, base=before, turn=ramp(before))
                arc = _likeliest_arc(arcs(response), told, reference, n_fft=base.n_fft, noise=noise)
            window, centre = place_window(response, arc=arc, n_guard=base.n_guard, centre=base.centre)
            moved = centre - base.centre
            base = replace(base, window=window, centre=centre)
            carriers = 3 * np.arange(n_grid) - (CARRIERS[base.n_fft] - 1) // 2
            reference = reference * np.exp(2j * np.pi * carriers * moved / base.n_fft)
    if reference is None or response is None:
        return None
    return Settled(base=base, reference=reference, good=good, weight=weight, response=response, noise=noise)
