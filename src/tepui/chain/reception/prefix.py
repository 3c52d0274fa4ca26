"""The guard interval beside the tail it copies: sums that tell noise from signal without knowing what was sent.

Theory  Where no echo of another symbol reaches, prefix p and tail t differ by noise alone: the mean of |t - p|^2 is
        twice its power, whatever the signal is and however an amplifier has bent it. The difference's spectrum tells
        the noise inside the occupied band from that beside it.
Source  J.-J. van de Beek, M. Sandell, P. O. Boerjesson, ML estimation of time and frequency offset in OFDM systems,
        IEEE Trans. Signal Processing 45 (1997), for the likeness; common practice (no published source) for the rest.
Holds   Noise that is flat over the occupied band. A discrete line that fits a whole number of times into the useful
        part repeats as the signal does; phase noise faster than a symbol counts as noise.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft

from tepui.chain.reception.impulse import extent, response_of_grid
from tepui.chain.reception.runs import Run
from tepui.chain.reception.search import CARRIERS
from tepui.chain.reception.symbols import SymbolReader, Timebase
from tepui.signals.recording import Recording
from tepui.signals.resample import read_rows, turned_back, whole_rows

Cells = npt.NDArray[np.complex64]
Floats = npt.NDArray[np.float64]
LEAST_LENGTH = 24  # of the clean part, elementary periods; ours
KEPT_LENGTH = 40  # to which the margin for filters shrinks a short guard's clean part; ours
FRONT_MARGIN = 2  # on either side for filters whose tail the pilots do not show; ours
ENOUGH = 60_000  # samples compared: the ratio is then known to 0.04 dB
LEAST_SYMBOLS, MOST_SYMBOLS = 48, 640
BATCH = 64


@dataclass(frozen=True, kw_only=True)
class PrefixSums:
    """What prefixes and tails tell, in the units of the cells; over ``length`` elementary periods of each guard.

    power    mean power of a carrier, noise included, over whole symbols: in a part of them the pilots, which repeat,
             make it more or less
    noise    (n,) noise on a carrier, from each symbol's prefix
    """

    power: float
    noise: Floats
    length: int


def clean_part(run: Run, base: Timebase, *, margin: int) -> tuple[int, int]:
    """First elementary period of the guard that no echo of the symbol before reaches, and how many there are."""
    response = response_of_grid(np.asarray(run.grid), n_fft=base.n_fft)
    first, last = extent(response)
    begin = math.ceil(base.centre + last)
    end = math.floor(base.centre + first) + base.n_guard
    spare = max(end - begin - KEPT_LENGTH, 0) // 2
    edge = max(min(margin, spare), FRONT_MARGIN)
    return begin + edge, end - begin - 2 * edge


def compare_prefixes(recording: Recording, run: Run) -> PrefixSums | None:
    """Compare prefixes with tails over the first symbols of a run, or None where echoes leave nothing to compare."""
    base = run.base
    if base is None or run.grid is None:
        return None
    reader = SymbolReader(recording, width_hz=run.width_hz)
    margin = 0 if base.direct else reader.interpolator.margin
    start, length = clean_part(run, base, margin=margin)
    if length < LEAST_LENGTH:
        return None
    wanted = int(np.clip(math.ceil(ENOUGH / length), LEAST_SYMBOLS, MOST_SYMBOLS))
    low, high = _reach(recording, base, margin=margin, start=start, length=length)
    count = min(wanted, high - low, run.symbols)
    if count < 4:
        return None
    pairs = [
        _read(recording, reader, base, symbol=symbol, count=min(BATCH, low + count - symbol), start=start, n=length)
        for symbol in range(low, low + count, BATCH)
    ]
    prefix = np.concatenate([pair[0] for pair in pairs]).astype(np.complex128)
    tail = np.concatenate([pair[1] for pair in pairs]).astype(np.complex128)
    noise = base.n_fft * noise_of(prefix, tail, n_fft=base.n_fft)
    return PrefixSums(power=run.cell_power, noise=noise, length=length)


def noise_of(prefix: npt.NDArray[np.complex128], tail: npt.NDArray[np.complex128], *, n_fft: int) -> Floats:
    """Variance that noise as dense as inside the occupied band gives a sample, from each symbol. (n,)

    prefix, tail  (n, length) at the elementary rate
    """
    length = prefix.shape[1]
    likeness = complex((np.conj(prefix) * tail).sum())
    prefix = prefix * (likeness / max(abs(likeness), 1e-300))  # what is left of the carrier
    apart = tail - prefix
    window = np.sin(np.pi * (np.arange(length) + 0.5) / length)
    density = np.abs(scipy.fft.fft(apart * window, axis=1)) ** 2 / (2 * float((window**2).sum()))
    share = (CARRIERS[n_fft] - 1) / n_fft
    inside = np.abs(scipy.fft.fftfreq(length)) <= 0.5 * share - 1.5 / length
    return np.asarray(density[:, inside].mean(axis=1))


def _reach(recording: Recording, base: Timebase, *, margin: int, start: int, length: int) -> tuple[int, int]:
    low = (margin + 2 - base.first - start * base.step) / base.period
    last = (start + base.n_fft + length) * base.step
    high = (recording.n_samples - margin - 3 - base.first - last) / base.period
    return max(0, math.ceil(low)), math.floor(high) + 1


def _read(
    recording: Recording, reader: SymbolReader, base: Timebase, *, symbol: int, count: int, start: int, n: int
) -> tuple[Cells, Cells]:
    """Prefixes and tails of consecutive symbols, (count, n) each."""
    cycles = base.offset_hz / recording.sample_rate_hz
    first = base.first + start * base.step + np.arange(symbol, symbol + count) * base.period
    if base.direct:
        first = np.rint(base.first) + start + np.arange(symbol, symbol + count) * float(base.n_symbol)
    margin = 0 if base.direct else reader.interpolator.margin + 1
    begin = math.floor(first[0]) - margin
    length = math.ceil(first[-1] + (base.n_fft + n) * base.step) + margin + 2 - begin
    starts = first - begin
    if base.direct:
        places = starts.astype(np.int64)
        return (
            whole_rows(recording, begin=begin, length=length, starts=places, count=n, cycles_per_sample=cycles),
            whole_rows(
                recording,
                begin=begin,
                length=length,
                starts=places + base.n_fft,
                count=n,
                cycles_per_sample=cycles,
            ),
        )
    parts = turned_back(recording, begin=begin, count=length, cycles_per_sample=cycles)
    table = reader.interpolator
    return (
        read_rows(parts, starts=starts, step=base.step, count=n, interpolator=table),
        read_rows(parts, starts=starts + base.n_fft * base.step, step=base.step, count=n, interpolator=table),
    )
