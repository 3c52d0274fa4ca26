"""MER and error rates of rounds of symbols, against what was really sent wherever decoding succeeded.

Theory  MER = sum |X|^2 / sum |Y / H - X|^2 over data cells, X the point that was sent. A carrier's H is fitted to its
        own cells; fitting takes one degree of freedom of n, so its error power is raised by n / (n - 1).
Source  [TR101290] clause 9.18 (MER), 9.14 (BER before Viterbi).
Holds   Against nearest points instead, MER reads too high once points are mistaken; ``aided`` tells.
"""

from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.quality_kernels import bit_differences, judge, nearest, regress
from tepui.signals.dvbt.carriers import data_carriers
from tepui.signals.dvbt.interleavers import coded_bit_order
from tepui.signals.dvbt.mapping import constellation_points, levels
from tepui.signals.dvbt.mode import Mode

Cells = npt.NDArray[np.complex64]
DENSITY_BINS = 192
DENSITY_REACH = 1.6


@dataclass(frozen=True, kw_only=True)
class Alphabet:
    """What the kernels need to know of a mode: points, decision limits and levels, data carriers, bit places."""

    points: npt.NDArray[np.complex64]
    limits: npt.NDArray[np.float32]
    per_axis: int
    carriers: npt.NDArray[np.int32]
    places: tuple[npt.NDArray[np.int64], npt.NDArray[np.int64]]


def alphabet(mode: Mode) -> Alphabet:
    """Tables of one mode."""
    level = np.sort(levels(mode.constellation, mode.alpha))
    limits = np.concatenate([(level[1:] + level[:-1]) / 2, level]).astype(np.float32)
    carriers = np.stack([data_carriers(mode.n_fft, phase) for phase in range(4)]).astype(np.int32)
    width = mode.bits_per_cell_hp
    orders = tuple(np.array(coded_bit_order(mode.n_fft, width, parity), dtype=np.int64) for parity in (0, 1))
    return Alphabet(
        points=np.array(constellation_points(mode.constellation, mode.alpha), dtype=np.complex64), limits=limits,
        per_axis=level.size, carriers=carriers, places=(orders[0], orders[1]),
    )


def indices_of_bits(coded: npt.NDArray[np.uint8], *, first_parity: int, letters: Alphabet) -> npt.NDArray[np.uint8]:
    """Constellation indices of every data cell from coded bits. coded (n, n_coded) -> (n, n_data)."""
    n_data, width = letters.places[0].shape
    out = np.empty((coded.shape[0], n_data), np.uint8)
    for row in range(coded.shape[0]):
        bits = coded[row][letters.places[(first_parity + row) % 2]]
        word = bits[:, 0].copy()
        for bit in range(1, width):
            word = (word << 1) | bits[:, bit]
        out[row] = word
    return out


@dataclass(frozen=True, kw_only=True)
class FirstLook:
    """Nearest points of a round and the scatter about them, before anything is decoded."""

    index: npt.NDArray[np.uint8]
    error: npt.NDArray[np.float64]
    looks: npt.NDArray[np.float64]


def first_look(cells: Cells, inverse: Cells, *, phase: int, letters: Alphabet, stride: int) -> FirstLook:
    """Nearest points of all data cells; mean squared error per carrier over every ``stride``-th symbol.

    returns  error (K,) in equalised units, looks (K,) how many cells it is the mean of
    """
    n_carriers = cells.shape[1]
    index = np.empty((cells.shape[0], letters.carriers.shape[1]), np.uint8)
    error, power, looks = np.zeros(n_carriers), np.zeros(n_carriers), np.zeros(n_carriers)
    nearest(cells, inverse, letters.carriers, phase, letters.limits, letters.per_axis, index, error, power, stride)
    for row in range(0, cells.shape[0], stride):
        looks[letters.carriers[(phase + row) % 4]] += 1
    excess = power / np.maximum(looks, 1) - 1.0
    mean = np.maximum(error / np.maximum(looks, 1), excess - 3.0 / np.sqrt(np.maximum(looks, 1)))
    return FirstLook(index=index, error=mean, looks=looks)


@dataclass
class Quality:
    """Running sums over rounds; all in equalised cells, whose mean power is one."""

    n_carriers: int
    error_carrier: npt.NDArray[np.float64] = field(init=False)
    count_carrier: npt.NDArray[np.int64] = field(init=False)
    density: npt.NDArray[np.int64] = field(init=False)
    response: npt.NDArray[np.complex128] = field(init=False)
    response_looks: npt.NDArray[np.float64] = field(init=False)
    symbol_error: list[npt.NDArray[np.float64]] = field(default_factory=list)
    symbol_power: list[npt.NDArray[np.float64]] = field(default_factory=list)
    symbol_number: list[npt.NDArray[np.int64]] = field(default_factory=list)
    aided_symbols: int = 0
    symbols: int = 0
    bit_errors: int = 0
    bits: int = 0

    def __post_init__(self) -> None:
        self.error_carrier = np.zeros(self.n_carriers)
        self.count_carrier = np.zeros(self.n_carriers, np.int64)
        self.density = np.zeros((DENSITY_BINS, DENSITY_BINS), np.int64)
        self.response = np.zeros(self.n_carriers, complex)
        self.response_looks = np.zeros(self.n_carriers)

    def add(
        self, cells: Cells, inverse: Cells, index: npt.NDArray[np.uint8], *, phase: int, number: int,
        letters: Alphabet, aided: bool, steady: bool,
    ) -> None:
        """Judge a run of symbols.

        inverse  one over the channel as the receiver had it, (1, K) or (n, K)
        index    points sent (``aided``) or nearest
        number   of the first symbol, for the table over time
        steady   the channel stood still, so each carrier's own fit may replace the receiver's estimate
        """
        n, n_carriers = cells.shape
        cross, power = np.zeros(n_carriers, complex), np.zeros(n_carriers)
        regress(cells, index, letters.carriers, phase, letters.points, cross, power)
        looks = np.zeros(n_carriers, np.int64)
        for row in range(n):
            looks[letters.carriers[(phase + row) % 4]] += 1
        fit = cross / np.maximum(power, 1e-30)
        raised = np.ones(n_carriers)
        if steady and n >= 8:
            usable = (looks >= 2) & (np.abs(fit) > 1e-12)
            inverse = np.where(usable, 1 / np.where(usable, fit, 1), inverse[0])[None, :].astype(np.complex64)
            raised = np.where(usable, looks / np.maximum(looks - 1, 1), 1.0)
        error = np.zeros(n_carriers)
        count = np.zeros(n_carriers, np.int64)
        error_symbol, power_symbol = np.zeros(n), np.zeros(n)
        judge(
            cells, np.ascontiguousarray(inverse), index, letters.carriers, phase, letters.points, error, count,
            error_symbol, power_symbol, self.density, np.float32(DENSITY_REACH),
        )
        overall = float((error * raised).sum() / max(error.sum(), 1e-300))
        self.error_carrier += error * raised
        self.count_carrier += count
        self.symbol_error.append(error_symbol * overall)
        self.symbol_power.append(power_symbol)
        self.symbol_number.append(np.arange(number, number + n))
        self.response += fit * looks
        self.response_looks += looks
        self.symbols += n
        self.aided_symbols += n if aided else 0

    def count_bits(self, sent: npt.NDArray[np.uint8], seen: npt.NDArray[np.uint8], *, width: int) -> None:
        """Count bit errors of nearest points against points sent, both (n, n_data)."""
        self.bit_errors += int(bit_differences(sent, seen, 0))
        self.bits += sent.size * width

    @property
    def power(self) -> float:
        """Power of the points sent, all data cells together."""
        return float(sum(part.sum() for part in self.symbol_power))
