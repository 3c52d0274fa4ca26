"""Looking through a recording until a signal is found, and saying what was there instead where none is.

Theory  One look takes the spectrum of a short piece and tries the bands that stand out of it, the clearest first.
        Looks follow each other closely at first and spread out when nothing is found; a lock found late is followed
        back to where it began.
Source  common practice (no published source).
Holds   A signal shorter than the distance of two looks may be missed; ``Nothing.longest_gap_s`` tells the distance.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.search import Band, GuardPeak, chunk_samples, look, looks
from tepui.chain.reception.symbols import SymbolReader, pilot_cells, pilot_sets, pilot_tables, ramp
from tepui.chain.reception.tracking import Settled, settle, track
from tepui.signals.recording import Recording

SPECTRUM_SAMPLES = 1 << 18
LONGEST_HOP_S = 0.25
BACK = 32
HELD = 0.12


@dataclass(frozen=True, kw_only=True)
class Acquired:
    """A settled lock; ``resume`` is the sample where the next look would start if it comes to nothing."""

    settled: Settled
    width_hz: float
    resume: int


@dataclass(frozen=True, kw_only=True)
class Nothing:
    """What was seen where no DVB-T signal was.

    bands      the places that stood out of the spectrum of the first look
    peak       a guard interval that repeats, without the pilots that DVB-T has with it
    line_hz, line_share   the strongest discrete line and its share of the power
    longest_gap_s  distance between looks
    """

    bands: tuple[Band, ...]
    peak: GuardPeak | None
    peak_width_hz: float | None
    line_hz: float
    line_share: float
    longest_gap_s: float


def acquire(
    recording: Recording, *, begin: int, end: int, floor: int, widths_hz: tuple[float, ...]
) -> Acquired | Nothing:
    """Find the next signal in samples begin..end.

    floor  the first sample that may belong to it, when it is followed back
    """
    rate_hz = recording.sample_rate_hz
    size = min(SPECTRUM_SAMPLES, end - begin)
    position, hop = begin, max(1, min(size // 2, int(0.02 * rate_hz)))
    first: tuple[Band, ...] | None = None
    seen: GuardPeak | None = None
    seen_width: float | None = None
    line = (0.0, 0.0)
    tried = 0
    longest = 0
    while end - position >= 2048:
        piece = recording.read(position, min(size, end - position))
        if not np.any(piece):
            position += max(hop, piece.size // 2)
            continue
        bands = tuple(looks(piece, rate_hz=rate_hz, widths_hz=widths_hz)) if piece.size >= 4096 else ()
        if first is None:
            first, line = bands, strongest_line(piece, rate_hz=rate_hz)
        for band in bands:
            count = min(chunk_samples(band.width_hz, rate_hz), end - position)
            samples = piece[:count] if count <= piece.size else recording.read(position, count)
            lock, peak = look(samples, first=position, rate_hz=rate_hz, band=band)
            if peak is not None and seen is None:
                seen, seen_width = peak, band.width_hz
            if lock is None:
                continue
            reader = SymbolReader(recording, width_hz=lock.width_hz)
            settled = settle(reader, lock, begin=position, end=end)
            if settled is not None:
                settled = followed_back(reader, settled, floor=floor)
                return Acquired(settled=settled, width_hz=lock.width_hz, resume=position + hop)
        tried += 1
        longest = max(longest, hop)
        position += hop
        if tried > 8:
            hop = min(int(hop * 1.5), int(LONGEST_HOP_S * rate_hz))
    return Nothing(
        bands=first or (),
        peak=seen,
        peak_width_hz=seen_width,
        line_hz=line[0],
        line_share=line[1],
        longest_gap_s=longest / rate_hz,
    )


def followed_back(reader: SymbolReader, settled: Settled, *, floor: int) -> Settled:
    """The same lock counted from the earliest symbol, not before ``floor``, whose pilots still agree."""
    base = settled.base
    sets = pilot_sets(base.n_fft, inverted=base.inverted)
    tables = pilot_tables(sets)
    low, _ = reader.available(base, begin=floor, end=reader.recording.n_samples)
    earliest = 0
    while earliest > low:
        count = min(BACK, earliest - low)
        start = earliest - count
        spectra = reader.spectra(base, symbol=start, count=count)
        cells = pilot_cells(spectra, tables, base=base, symbol=start, turn=ramp(base))
        found = track(
            cells, settled.reference, sets, tables, first_phase=(base.phase + start) % 4, weight=settled.weight
        )
        bad = np.flatnonzero(found.coherence < HELD)
        if bad.size:
            earliest = start + int(bad[-1]) + 1
            break
        earliest = start
    return replace(settled, base=replace(base, first=base.begin(earliest), phase=(base.phase + earliest) % 4))


def strongest_line(samples: npt.NDArray[np.complex64], *, rate_hz: float) -> tuple[float, float]:
    """Frequency of the strongest discrete line from the tuned frequency, and its share of all power."""
    size = 1 << int(np.log2(min(samples.size, 1 << 16)))
    window = np.hanning(size)
    power = np.abs(np.fft.fftshift(np.fft.fft(samples[:size] * window))) ** 2
    place = int(np.argmax(power))
    share = power[max(0, place - 3) : place + 4].sum() / max(power.sum(), 1e-300)
    return (place - size // 2) * rate_hz / size, float(share)
