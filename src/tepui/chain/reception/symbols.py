"""From samples to symbols: cut, resample and transform, with a timebase that can be corrected as one goes.

Theory  With the window starting w after the guard, a path of delay d puts exp(2 pi i k (w - G - d) / N) on carrier k.
        Turning that back by w - G - c leaves exp(-2 pi i k (d - c) / N): delays are counted from the centre c.
Source  [EN300744] clause 4.4.
Holds   The recording's own samples are used as they are (no interpolation) only where one sample is one elementary
        period and the clock error is too small to be seen against the noise.
"""

import math
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt
import scipy.fft

from tepui.chain.reception.pilot_kernels import gather_pilots
from tepui.chain.reception.search import CARRIERS, Lock, occupied_hz
from tepui.signals.dvbt.carriers import pilot_carriers, pilot_values
from tepui.signals.recording import Recording
from tepui.signals.resample import design_interpolator, read_rows, turned_back, whole_rows


@dataclass(frozen=True, kw_only=True)
class Timebase:
    """Where symbols lie in the recording. Times ``first`` and ``step`` in samples, the rest in elementary periods.

    first      beginning of symbol 0's guard, on the path that delays are counted from
    step       samples for one elementary period
    offset_hz  signal centre in the file's orientation
    window     start of the FFT window after the beginning of the guard
    centre     delay that the carriers' phases are counted from
    phase      pilot pattern of symbol 0
    direct     read samples as they are
    """

    n_fft: int
    n_guard: int
    inverted: bool
    first: float
    step: float
    offset_hz: float
    window: float
    centre: float
    phase: int
    direct: bool = False

    @property
    def n_symbol(self) -> int:
        """Elementary periods from symbol to symbol."""
        return self.n_fft + self.n_guard

    @property
    def period(self) -> float:
        """Samples of the recording from symbol to symbol."""
        return self.step * self.n_symbol

    def begin(self, symbol: int) -> float:
        """Beginning of a symbol's guard, in samples of the recording."""
        return self.first + symbol * self.period


def timebase_of(lock: Lock) -> Timebase:
    """The timebase a lock implies, its centre at the middle of the guard allowance."""
    return Timebase(
        n_fft=lock.n_fft,
        n_guard=lock.n_symbol - lock.n_fft,
        inverted=lock.inverted,
        first=lock.first,
        step=lock.step,
        offset_hz=lock.offset_hz,
        window=lock.window,
        centre=0.0,
        phase=lock.phase,
    )


class SymbolReader:
    """Reads spectra of symbols out of one recording of a known channel width."""

    def __init__(self, recording: Recording, *, width_hz: float) -> None:
        self.recording = recording
        self.width_hz = width_hz
        rate_hz = recording.sample_rate_hz
        half_hz = min(0.505 * occupied_hz(width_hz), 0.475 * rate_hz)
        self.interpolator = design_interpolator(rate_in_hz=rate_hz, rate_out_hz=8 * width_hz / 7, half_width_hz=half_hz)
        self.one_to_one = abs(rate_hz * 7 / (8 * width_hz) - 1) < 1e-12

    def available(self, base: Timebase, *, begin: int, end: int) -> tuple[int, int]:
        """First symbol, and one past the last, whose FFT windows lie in samples begin..end."""
        margin = self.interpolator.margin + 2
        low = (begin + margin - base.first - base.window * base.step) / base.period
        reach = (base.window + base.n_fft) * base.step
        high = (end - margin - base.first - reach) / base.period
        return math.ceil(low), math.floor(high) + 1

    def spectra(self, base: Timebase, *, symbol: int, count: int) -> npt.NDArray[np.complex64]:
        """FFT bins of consecutive symbols.

        returns  (count, n_fft) complex64 in the FFT's own order, in the orientation of the file
        """
        rate_hz = self.recording.sample_rate_hz
        direct = base.direct
        if direct:
            starts = np.rint(base.begin(0) + base.window) + np.arange(symbol, symbol + count) * float(base.n_symbol)
        else:
            starts = base.first + base.window * base.step + np.arange(symbol, symbol + count) * base.period
        margin = 0 if direct else self.interpolator.margin + 1
        begin = math.floor(starts[0]) - margin
        end = math.ceil(starts[-1] + (base.n_fft - 1) * base.step) + margin + 2
        cycles = base.offset_hz / rate_hz
        if direct:
            rows = whole_rows(
                self.recording,
                begin=begin,
                length=end - begin,
                starts=(starts - begin).astype(np.int64),
                count=base.n_fft,
                cycles_per_sample=cycles,
            )
        else:
            parts = turned_back(self.recording, begin=begin, count=end - begin, cycles_per_sample=cycles)
            rows = read_rows(
                parts, starts=starts - begin, step=base.step, count=base.n_fft, interpolator=self.interpolator
            )
        return np.asarray(scipy.fft.fft(rows, axis=1, overwrite_x=True, workers=1), dtype=np.complex64)


def ramp(base: Timebase) -> npt.NDArray[np.complex64]:
    """What turns each carrier's phase to the timebase's centre. (n_carriers,)"""
    n_carriers = CARRIERS[base.n_fft]
    centred = np.arange(n_carriers) - (n_carriers - 1) // 2
    window = base.window
    if base.direct:
        window = float(np.rint(base.begin(0) + base.window)) - base.begin(0)
    turns = centred * ((window - base.n_guard - base.centre) / base.n_fft)
    return np.asarray(np.exp(-2j * np.pi * turns), dtype=np.complex64)


@dataclass(frozen=True, kw_only=True)
class PilotTables:
    """The four pilot sets side by side, as the kernels want them: bins, centred numbers and known values, (4, n)."""

    bins: npt.NDArray[np.int64]
    carriers: npt.NDArray[np.int64]
    centred: npt.NDArray[np.float32]
    values: npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class PilotSet:
    """The pilots of one phase of the pattern: carriers, their centred numbers, places on the grid, known values."""

    carriers: npt.NDArray[np.int64]
    centred: npt.NDArray[np.float64]
    grid: npt.NDArray[np.int64]
    bins: npt.NDArray[np.int64]
    values: npt.NDArray[np.float64]


def pilot_sets(n_fft: int, *, inverted: bool) -> tuple[PilotSet, ...]:
    """The four pilot sets; all pilots stand on carriers divisible by three, the grid."""
    centre = (CARRIERS[n_fft] - 1) // 2
    sets = []
    for phase in range(4):
        carriers = np.asarray(pilot_carriers(n_fft, phase), dtype=np.int64)
        centred = carriers - centre
        bins = (-centred if inverted else centred) % n_fft
        sets.append(
            PilotSet(
                carriers=carriers,
                centred=centred.astype(float),
                grid=carriers // 3,
                bins=bins,
                values=np.asarray(pilot_values(n_fft), dtype=float)[carriers],
            )
        )
    return tuple(sets)


def pilot_tables(sets: tuple[PilotSet, ...]) -> PilotTables:
    """The sets as tables."""
    return PilotTables(
        bins=np.stack([one.bins for one in sets]),
        carriers=np.stack([one.carriers for one in sets]),
        centred=np.stack([one.centred for one in sets]).astype(np.float32),
        values=np.stack([one.values for one in sets]),
    )


def pilot_cells(
    spectra: npt.NDArray[np.complex64],
    tables: PilotTables,
    *,
    base: Timebase,
    symbol: int,
    turn: npt.NDArray[np.complex64],
) -> npt.NDArray[np.complex64]:
    """Channel seen on the pilots of each symbol, in order of carriers; every phase has equally many.

    spectra  (n, n_fft); ``symbol`` is the number of the first; ``turn`` from ramp()
    returns  (n, n_pilots) received over sent
    """
    out = np.empty((spectra.shape[0], tables.bins.shape[1]), np.complex64)
    factor = (turn[tables.carriers] / tables.values).astype(np.complex64)
    gather_pilots(spectra, tables.bins, factor, (base.phase + symbol) % 4, base.inverted, out)
    return out


def guard_of(base: Timebase) -> Fraction:
    """The guard fraction of a timebase."""
    return Fraction(base.n_guard, base.n_fft)
