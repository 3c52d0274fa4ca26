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

from tepui.chain.reception.quality import Quality
from tepui.chain.reception.rounds import Round
from tepui.chain.reception.stream import PacketCounts
from tepui.chain.reception.symbols import Timebase
from tepui.chain.reception.tracking import straight_line
from tepui.signals.dvbt.mode import Mode

Floats = npt.NDArray[np.float64]


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
    phase_rms_deg: float = 0.0
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

    White noise of variance w leaves 12 w / n^3; a random walk (phase noise) of variance q a step leaves 6 q / (5 n).
    Mean squared differences over a short and a long distance tell the two apart.
    """
    n = phase.size
    if n < 12:
        return 1.0
    start, step = straight_line(phase)
    rest = phase - start - step * np.arange(n)
    near, far = 1, max(4, n // 6)
    at_near = float(np.mean((rest[near:] - rest[:-near]) ** 2))
    at_far = float(np.mean((rest[far:] - rest[:-far]) ** 2))
    walk = max(at_far - at_near, 0.0) / (far - near)
    white = max(at_near - walk, 0.0) / 2
    return float(np.sqrt(12 * white / n**3 + 1.5 * 1.2 * walk / n))


def _clock_ppm(base: Timebase, *, rate_hz: float, width_hz: float) -> float:
    """How much faster than nominal the transmitter's clock is, against the recording's. [ppm]"""
    return (rate_hz * 7 / (8 * width_hz) / base.step - 1) * 1e6
