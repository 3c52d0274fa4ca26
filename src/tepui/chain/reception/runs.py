"""What is kept of a stretch of time in which a signal was held.

Theory  Carrier and clock of a round come from straight lines through phase and slope; what scatters about the lines
        tells how well they are known.
Source  see tracking.py; for random walks D. W. Allan, Proc. IEEE 54 (1966).
Holds   Rounds of a dozen symbols and more; a shorter one says so by its doubt.
"""

from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np
import numpy.typing as npt
import scipy.fft

from tepui.chain.reception.phase import PhaseSums
from tepui.chain.reception.quality import Quality
from tepui.chain.reception.rounds import Round
from tepui.chain.reception.stream import PacketCounts
from tepui.chain.reception.symbols import Timebase
from tepui.chain.reception.tracking import straight_line
from tepui.signals.dvbt.mode import Mode

Floats = npt.NDArray[np.float64]
LOW_ORDERS = 10  # of the cosine transform, in which a walk shows above white noise


@dataclass(frozen=True, kw_only=True)
class Pace:
    """Carrier and clock over one round, with standard uncertainties from the scatter of its symbols."""

    start_s: float
    symbols: int
    offset_hz: float
    offset_std_hz: float
    clock_ppm: float
    clock_std_ppm: float


@dataclass
class Run:
    """One stretch of time in which a signal was held.

    mode      None where the TPS could not be read
    proved    the TPS word's BCH code agreed
    faded     symbols inside the run whose pilots did not agree
    base      timebase of the first round, its corrections in it: symbol 0 is the run's first
    cell_power  mean power of its cells, all carriers alike, noise included
    """

    start_s: float
    end_s: float
    width_hz: float
    n_fft: int
    guard: Fraction
    inverted: bool
    first_sample: float
    mode: Mode | None = None
    proved: bool = False
    symbols: int = 0
    faded: int = 0
    first_in_superframe: int = 0
    paces: list[Pace] = field(default_factory=list)
    counts: PacketCounts = field(default_factory=PacketCounts)
    quality: Quality | None = None
    phase: PhaseSums = field(default_factory=PhaseSums)
    base: Timebase | None = None
    cell_power: float = 0.0
    centre: float = 0.0
    steady: bool = True
    grid: npt.NDArray[np.complex128] | None = None
    noise: float = 0.0
    uncertain_symbols: int = 0


def pace_of(item: Round, *, rate_hz: float, width_hz: float) -> Pace:
    """Carrier and clock as one round shows them."""
    n = item.cells.shape[0]
    base, after, found = item.base, item.after, item.track
    seconds = base.period / rate_hz
    lever = np.sqrt(12.0) / max(n, 2) ** 1.5
    tilt = float(np.std(found.slope - found.slopes))
    return Pace(
        start_s=base.begin(0) / rate_hz,
        symbols=n,
        offset_hz=after.offset_hz,
        offset_std_hz=turn_std(np.unwrap(found.phase)) / (2 * np.pi * seconds),
        clock_ppm=_clock_ppm(after, rate_hz=rate_hz, width_hz=width_hz),
        clock_std_ppm=tilt * lever * base.n_fft / (2 * np.pi * base.n_symbol) * 1e6,
    )


def turn_std(phase: Floats) -> float:
    """Standard uncertainty of the slope of a straight line through phases, per step.

    White noise of variance w leaves 12 w / n^3; a random walk (phase noise) of variance q a step leaves 6 q / (5 n),
    taken half as large again for what few values tell of q. In the cosine transform of what the line leaves, white
    noise is w in every coefficient k and the walk q n^2 / (pi k)^2; q is the most likely one of the lowest few.
    """
    n = phase.size
    if n < 12:
        return 1.0
    start, step = straight_line(phase)
    power = scipy.fft.dct(phase - start - step * np.arange(n), norm="ortho")[2:] ** 2
    white = float(power[power.size // 2 :].mean())
    low = power[:LOW_ORDERS]
    walk_gain = (n / (np.pi * np.arange(2, 2 + low.size))) ** 2
    walk = max(float(((low - white) / walk_gain).mean()), 0.0)
    for _ in range(10):
        weight = (walk_gain / (white + walk * walk_gain)) ** 2
        walk = max(float((weight * (low - white) / walk_gain).sum() / weight.sum()), 0.0)
    return float(np.sqrt(12 * white / n**3 + 1.5 * 1.2 * walk / n))


def _clock_ppm(base: Timebase, *, rate_hz: float, width_hz: float) -> float:
    """How much faster than nominal the transmitter's clock is, against the recording's. [ppm]"""
    return (rate_hz * 7 / (8 * width_hz) / base.step - 1) * 1e6
