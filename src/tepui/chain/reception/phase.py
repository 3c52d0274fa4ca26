"""The common phase of symbols: how much is left beside a straight line, and how much of that the pilots' noise makes.

Theory  A straight line through a round's phases is its carrier; what is left is the oscillators' phase noise, averaged
        over a symbol, and the noise of the pilots: sigma^2 / (2 P) for P pilots of power one and noise sigma^2.
Source  [TR101290] 9.18 (phase jitter); common practice (no published source) for taking the line out.
Holds   From one over a round's length up to half the symbol rate; faster phase noise appears as errors of the cells.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.rounds import PILOT_POWER, Round
from tepui.chain.reception.tracking import SETTLE_SYMBOLS, straight_line
from tepui.signals.dvbt.carriers import pilot_carriers

Floats = npt.NDArray[np.float64]
LEAST_LINE = 12
ENOUGH_CELLS = 1 << 19  # whose mean power is known to 0.01 dB; ours
FIRST_LOOKS = SETTLE_SYMBOLS[-1] / 4  # at a place, behind the channel that a first round is compared with


@dataclass
class PhaseSums:
    """Sums over rounds.

    squares  of the phase beside each round's line, ``noise`` what the pilots' noise adds to it on average [rad^2]
    cross    sum of noise squared, for the doubt of the sum [rad^4]
    symbols  counted; ``longest`` symbols of the longest round
    """

    squares: float = 0.0
    noise: float = 0.0
    cross: float = 0.0
    symbols: int = 0
    longest: int = 0

    def add(self, item: Round) -> None:
        """Take one round in; symbols that faded are left out."""
        held = np.flatnonzero(~item.faded)
        if held.size < LEAST_LINE:
            return
        turns = np.unwrap(item.track.phase[held])
        start, step = _line(held, turns)
        left = turns - start - step * held
        each = pilot_phase_variance(item)
        self.squares += float((left**2).sum())
        self.noise += each * (held.size - 2)  # the line takes two of its degrees of freedom
        self.cross += each**2 * (held.size - 2)
        self.symbols += int(held.size)
        self.longest = max(self.longest, int(held.size))


def _line(places: npt.NDArray[np.int64], values: Floats) -> tuple[float, float]:
    if places[-1] - places[0] + 1 == places.size:
        start, step = straight_line(values)
        return start - step * float(places[0]), step
    step, start = np.polyfit(places.astype(float), values, 1)
    return float(start), float(step)


def pilot_phase_variance(item: Round) -> float:
    """Variance of one symbol's common phase by the noise of its pilots and of the channel beside it. [rad^2]"""
    good = item.good
    power = float(np.mean(np.abs(item.grid[good]) ** 2)) if good.any() else 0.0
    if power <= 0:
        return 0.0
    pilots = float(good.mean()) * pilot_carriers(item.base.n_fft, 0).size
    looks = FIRST_LOOKS if item.symbol == 0 else item.cells.shape[0] / 4
    return item.noise / PILOT_POWER / (2 * pilots * power) * (1 + 1 / looks)


def cell_power(item: Round) -> float:
    """Mean power of the cells of symbols that did not fade, over all carriers, noise included.

    Where there are many, every third, fifth .. symbol is looked at: each of the four pilot patterns comes as often.
    """
    apart = max(1, item.cells.size // ENOUGH_CELLS - 1) | 1
    rows = [item.cells[row] for row in range(0, item.cells.shape[0], apart) if not item.faded[row]]
    total = float(sum(np.vdot(row, row).real for row in rows))
    return total / max(len(rows) * int(item.cells.shape[1]), 1)


def phase_taken_out(item: Round, *, rate_hz: float) -> Floats:
    """Phase taken out of each symbol at the middle of its FFT window, carrier and common phase together. (n,) [rad]"""
    base = item.base
    n = item.track.phase.size
    middle = base.first + (base.window + 0.5 * base.n_fft) * base.step + np.arange(n) * base.period
    sign = -1.0 if base.inverted else 1.0
    cycles = base.offset_hz / rate_hz * middle
    return np.asarray(sign * 2 * np.pi * (cycles - np.floor(cycles)) + item.track.phase, dtype=np.float64)
