"""MER and error rates of rounds of symbols, against what was really sent wherever decoding succeeded.

Theory  MER = sum |X|^2 / sum |Y / H - X|^2 over data cells, X the point that was sent. A carrier's H is fitted to its
        own cells; fitting takes one degree of freedom of n, so its error power is raised by n / (n - 1).
Source  [TR101290] clause 9.18 (MER), 9.14 (BER before Viterbi).
Holds   Against nearest points instead, MER reads too high once points are mistaken; ``aided`` tells.
"""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.axes import AxesSums, Judged
from tepui.chain.reception.quality_kernels import gather_words, judge, nearest, regress, scatter
from tepui.ground.tasks import map_tasks
from tepui.signals.dvbt.carriers import data_carriers
from tepui.signals.dvbt.interleavers import coded_bit_order
from tepui.signals.dvbt.mapping import constellation_points, levels
from tepui.signals.dvbt.mode import Mode

Cells = npt.NDArray[np.complex64]
Floats = npt.NDArray[np.float64]
ONES = np.bitwise_count(np.arange(256, dtype=np.uint8))
# Bits of one axis, spread over every second place: innermost level outwards, positive side then negative.
WORDS = {
    1: np.array([0, 1], np.uint8),
    2: np.array([1, 0, 5, 4], np.uint8),
    4: np.array([4, 5, 1, 0, 20, 21, 17, 16], np.uint8),
}
DENSITY_BINS = 192
DENSITY_REACH = 1.6
JUDGED_ROWS = 64


@dataclass(frozen=True, kw_only=True)
class Alphabet:
    """What the kernels need to know of a mode: points, levels of an axis and their bits, data carriers, bit places."""

    points: npt.NDArray[np.complex64]
    axis: npt.NDArray[np.float32]
    words: npt.NDArray[np.uint8]
    per_axis: int
    carriers: npt.NDArray[np.int32]
    order: npt.NDArray[np.int32]
    data: npt.NDArray[np.float32]

    def looks(self, n: int, phase: int, *, stride: int = 1) -> npt.NDArray[np.int64]:
        """How often each carrier is a data cell in every ``stride``-th of n symbols from ``phase`` on. (K,)"""
        count = np.bincount((phase + np.arange(0, n, stride)) % 4, minlength=4)
        return np.asarray(count @ self.data, dtype=np.int64)


def alphabet(mode: Mode) -> Alphabet:
    """Tables of one mode."""
    level = np.sort(levels(mode.constellation, mode.alpha))
    gap = level[1] - level[0] if level.size > 1 else 2 * level[0]
    carriers = np.stack([data_carriers(mode.n_fft, phase) for phase in range(4)]).astype(np.int32)
    width = mode.bits_per_cell_hp
    orders = np.stack([coded_bit_order(mode.n_fft, width, parity) for parity in (0, 1)])
    data = np.zeros((4, mode.n_carriers), np.float32)
    for phase in range(4):
        data[phase, carriers[phase]] = 1
    return Alphabet(
        data=data,
        points=np.array(constellation_points(mode.constellation, mode.alpha), dtype=np.complex64),
        axis=np.array([level[0], gap], np.float32),
        words=WORDS[level.size],
        per_axis=level.size,
        carriers=carriers,
        order=np.ascontiguousarray(orders, dtype=np.int32),
    )


def indices_of_bits(coded: npt.NDArray[np.uint8], *, first_parity: int, letters: Alphabet) -> npt.NDArray[np.uint8]:
    """Constellation indices of every data cell from coded bits. coded (n, n_coded) -> (n, n_data)."""
    index = np.empty((coded.shape[0], letters.order.shape[1]), np.uint8)
    gather_words(coded, letters.order, first_parity, index)
    return index


def nearest_points(cells: Cells, inverse: Cells, *, phase: int, letters: Alphabet) -> npt.NDArray[np.uint8]:
    """Indices of the nearest points of all data cells. (n, n_data)"""
    index = np.empty((cells.shape[0], letters.carriers.shape[1]), np.uint8)
    nearest(cells, inverse, letters.carriers, phase, letters.axis, letters.per_axis, letters.words, index)
    return index


def scatter_by_carrier(
    cells: Cells, inverse: Cells, *, phase: int, letters: Alphabet, stride: int
) -> tuple[Floats, Floats]:
    """Mean squared error per carrier against nearest points, before anything is decoded, of every ``stride``-th symbol.

    returns  error (K,) in equalised units, looks (K,) how many cells it is the mean of
    """
    n_carriers = cells.shape[1]
    error, power = np.zeros(n_carriers), np.zeros(n_carriers)
    scatter(cells, inverse, letters.data, phase, letters.axis, letters.per_axis, error, power, stride)
    looks = letters.looks(cells.shape[0], phase, stride=stride).astype(float)
    excess = power / np.maximum(looks, 1) - 1.0
    mean = np.maximum(error / np.maximum(looks, 1), excess - 3.0 / np.sqrt(np.maximum(looks, 1)))
    return mean, looks


@dataclass
class Quality:
    """Running sums over rounds; all in equalised cells, whose mean power is one."""

    n_carriers: int
    workers: int | None = None
    mode: Mode | None = None
    axes: AxesSums = field(default_factory=AxesSums)
    error_carrier: Floats = field(init=False)
    count_carrier: npt.NDArray[np.int64] = field(init=False)
    density: npt.NDArray[np.int64] = field(init=False)
    response: npt.NDArray[np.complex128] = field(init=False)
    response_looks: Floats = field(init=False)
    symbol_error: list[Floats] = field(default_factory=list)
    symbol_power: list[Floats] = field(default_factory=list)
    symbol_number: list[npt.NDArray[np.int64]] = field(default_factory=list)
    aided_symbols: int = 0
    symbols: int = 0
    bit_errors: int = 0
    bits: int = 0
    clean_symbols: int = 0
    pilot_error: float = 0.0
    pilot_symbols: int = 0

    def __post_init__(self) -> None:
        self.error_carrier = np.zeros(self.n_carriers)
        self.count_carrier = np.zeros(self.n_carriers, np.int64)
        self.density = np.zeros((DENSITY_BINS, DENSITY_BINS), np.int64)
        self.response = np.zeros(self.n_carriers, complex)
        self.response_looks = np.zeros(self.n_carriers)

    def add(
        self,
        cells: Cells,
        inverse: Cells,
        index: npt.NDArray[np.uint8],
        *,
        phase: int,
        number: int,
        letters: Alphabet,
        aided: bool,
        steady: bool,
        turn: Floats | None = None,
    ) -> None:
        """Judge a run of symbols.

        inverse  one over the channel as the receiver had it, (1, K) or (n, K)
        index    points sent (``aided``) or nearest
        number   of the first symbol, for the table over time
        steady   the channel stood still, so each carrier's own fit may replace the receiver's estimate
        turn     (n,) phase that was taken out of each symbol; with it and a mode the axes are judged too
        """
        n, n_carriers = cells.shape
        starts = range(0, n, JUDGED_ROWS)

        def fitted(start: int) -> tuple[npt.NDArray[np.complex128], Floats]:
            stop = start + JUDGED_ROWS
            cross, power = np.zeros(n_carriers, complex), np.zeros(n_carriers)
            regress(
                cells[start:stop],
                index[start:stop],
                letters.carriers,
                (phase + start) % 4,
                letters.points,
                cross,
                power,
            )
            return cross, power

        fits = map_tasks(fitted, starts, workers=self.workers)
        cross = np.sum([part[0] for part in fits], axis=0)
        power = np.sum([part[1] for part in fits], axis=0)
        looks = letters.looks(n, phase)
        fit = cross / np.maximum(power, 1e-30)
        raised = np.ones(n_carriers)
        if steady and n >= 8:
            usable = (looks >= 2) & (np.abs(fit) > 1e-12)
            inverse = np.where(usable, 1 / np.where(usable, fit, 1), inverse[0])[None, :].astype(np.complex64)
            raised = np.where(usable, looks / np.maximum(looks - 1, 1), 1.0)
        error_symbol, power_symbol = np.zeros(n), np.zeros(n)
        inverse = np.ascontiguousarray(inverse)

        def judged(start: int) -> tuple[int, Floats, npt.NDArray[np.int64]]:
            stop = start + JUDGED_ROWS
            error, density = np.zeros(n_carriers), np.zeros_like(self.density)
            rows = inverse if inverse.shape[0] == 1 else inverse[start:stop]
            differ = judge(
                cells[start:stop],
                rows,
                index[start:stop],
                letters.carriers,
                letters.data,
                (phase + start) % 4,
                letters.points,
                letters.axis,
                letters.per_axis,
                letters.words,
                ONES,
                error,
                error_symbol[start:stop],
                power_symbol[start:stop],
                density,
                DENSITY_REACH,
            )
            return int(differ), error, density

        parts = map_tasks(judged, starts, workers=self.workers)
        error = np.sum([part[1] for part in parts], axis=0)
        self.density += np.sum([part[2] for part in parts], axis=0)
        differ = sum(part[0] for part in parts)
        if aided:
            self.bit_errors += differ
            self.bits += index.size * int(letters.points.size).bit_length() - index.size
        if turn is not None and self.mode is not None:
            part = Judged(
                cells=cells,
                inverse=inverse,
                index=index,
                fit=fit,
                looks=looks,
                error=error * raised / np.maximum(looks, 1),
                phase=phase,
                turn=turn,
                steady=steady,
            )
            self.axes.add(part, mode=self.mode, points=letters.points, carriers=letters.carriers, workers=self.workers)
        overall = float((error * raised).sum() / max(error.sum(), 1e-300))
        self.error_carrier += error * raised
        self.count_carrier += looks
        self.symbol_error.append(error_symbol * overall)
        self.symbol_power.append(power_symbol)
        self.symbol_number.append(np.arange(number, number + n))
        self.response += fit * looks
        self.response_looks += looks
        self.symbols += n
        self.aided_symbols += n if aided else 0

    def add_pilots(self, channel: Cells, *, noise: float, symbols: int) -> None:
        """What the pilots' scatter says of the data cells, whether these are decoded or not.

        channel  (1 or n, K); noise  variance of a data cell before equalising; symbols  how many it stands for
        """
        power = np.abs(channel) ** 2
        self.pilot_error += symbols * float(np.mean(noise / np.maximum(power, 1e-6 * float(power.mean()))))
        self.pilot_symbols += symbols

    @property
    def power(self) -> float:
        """Power of the points sent, all data cells together."""
        return float(sum(part.sum() for part in self.symbol_power))
