"""The blind search: which width, FFT size, guard, carrier and orientation, if any, a stretch of samples holds.

Theory  A band of the right width stands out of the averaged spectrum. Its guard interval repeats the tail of each
        symbol, so x[n] x*[n + N], folded over the symbol length, shows where symbols begin. Continual pilots
        repeat from symbol to symbol, so the symbol-to-symbol product of each carrier adds up on them alone: their
        places tell the carrier's whole number of spacings, the orientation, and by its slope over the carriers the
        sample-clock error. Scattered pilots repeat after four symbols and tell the phase of the pattern.
Source  [EN300744] clauses 4.4 and 4.5; J.-J. van de Beek et al., ML estimation of time and frequency offset in OFDM
        systems, IEEE Trans. Signal Processing 45 (1997), for the guard-interval product.
Holds   Clock errors to 150 ppm, carriers anywhere inside the recording; 0 dB signal to noise and better.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt
import scipy.fft

from tepui.signals.dvbt.carriers import continual_carriers, scattered_carriers
from tepui.signals.resample import design_interpolator, read_rows, turn_back
from tepui.signals.spectrum import periodogram_average

WIDTHS_HZ = (8e6, 7e6, 6e6, 5e6, 4e6, 3e6, 2e6, 1.5e6, 1e6, 0.5e6, 0.333e6)
FFT_SIZES = (8192, 2048, 4096)
GUARDS = (Fraction(1, 32), Fraction(1, 16), Fraction(1, 8), Fraction(1, 4))
CARRIERS = {2048: 1705, 4096: 3409, 8192: 6817}
OCCUPIED_SHARE = 6816 / 8192 * 8 / 7
CHUNK = 27 * 10240 + 8192
SPECTRUM_BINS = 2048
LEAST_STEP_DB = 0.6
DEEPEST_DB, SHALLOW_DB = 120.0, 35.0
GUARD_SCORE = 6.0
PILOT_SCORE = 6.0


@dataclass(frozen=True, kw_only=True)
class Band:
    """A place in the spectrum where a channel of one width may lie; ``step_db`` is how far it stands out."""

    width_hz: float
    centre_hz: float
    step_db: float


@dataclass(frozen=True, kw_only=True)
class Lock:
    """The physical layer as found: enough to cut symbols out of the samples.

    first       time of the beginning of some symbol's guard interval, in samples of the recording
    step        samples of the recording for one elementary period T of the transmitter
    offset_hz   the signal's centre above the tuned frequency, as the recording stands
    phase       (symbol number) mod 4 of that symbol
    window      start of the FFT window after ``first``, in elementary periods
    """

    width_hz: float
    n_fft: int
    guard: Fraction
    inverted: bool
    offset_hz: float
    first: float
    step: float
    phase: int
    window: float

    @property
    def n_symbol(self) -> int:
        """Elementary periods in a symbol with its guard."""
        return self.n_fft + int(self.n_fft * self.guard)

    @property
    def period(self) -> float:
        """Samples of the recording from symbol to symbol."""
        return self.step * self.n_symbol


def occupied_hz(width_hz: float) -> float:
    """Distance of the outermost carriers, very nearly the same for all FFT sizes. [Hz]"""
    return OCCUPIED_SHARE * width_hz


def chunk_samples(width_hz: float, rate_hz: float) -> int:
    """Samples of the recording one look at this width takes: 27 of the longest symbols."""
    return int(CHUNK * 7 / (8 * width_hz) * rate_hz) + 1


def bands(
    samples: npt.NDArray[np.complex64],
    *,
    rate_hz: float,
    widths_hz: tuple[float, ...],
    deepest_db: float = DEEPEST_DB,
) -> list[Band]:
    """Places where channels of the given widths may lie, the clearest first.

    samples     (n,) of the recording; the spectrum is averaged over all of them
    deepest_db  what lies further below the highest counts as lying there
    """
    power = periodogram_average(samples, SPECTRUM_BINS)
    level = 10 * np.log10(np.maximum(power, power.max(initial=1e-30) * 10 ** (-deepest_db / 10) + 1e-37))
    level = _median5(level)
    sums = np.concatenate([[0.0], np.cumsum(level)])
    bin_hz = rate_hz / SPECTRUM_BINS
    found = []
    for width_hz in widths_hz:
        inside = round(occupied_hz(width_hz) / bin_hz)
        if occupied_hz(width_hz) > rate_hz / 1.04 or inside < 4:
            continue
        flank = max(2, round(0.12 * inside))
        starts = np.arange(0, SPECTRUM_BINS - inside + 1)
        mean = (sums[starts + inside] - sums[starts]) / inside
        left, right = np.maximum(starts - flank, 0), np.minimum(starts + inside + flank, SPECTRUM_BINS)
        outside = (sums[right] - sums[left]) - (sums[starts + inside] - sums[starts])
        count = (right - left) - inside
        step = np.where(count >= 2, mean - outside / np.maximum(count, 1), 0.0)
        best = int(np.argmax(step))
        centre = (starts[best] + (inside - 1) / 2 - SPECTRUM_BINS / 2) * bin_hz
        found.append(Band(width_hz=width_hz, centre_hz=centre, step_db=float(step[best])))
    return sorted(found, key=lambda band: -band.step_db)


def _median5(level: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    padded = np.pad(level, 2, mode="edge")
    return np.asarray(np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1), dtype=np.float64)


@dataclass(frozen=True, kw_only=True)
class GuardPeak:
    """Where folded guard intervals add up: ``start`` in elementary periods, ``turn`` in carrier spacings."""

    n_fft: int
    guard: Fraction
    start: int
    turn: float
    score: float


def guard_peaks(elementary: npt.NDArray[np.complex64]) -> list[GuardPeak]:
    """Every FFT size and guard, the most convincing first.

    elementary  (n,) samples at one per elementary period
    """
    peaks = []
    energy = float(np.mean(np.abs(elementary) ** 2)) + 1e-30
    for n_fft in FFT_SIZES:
        product = elementary[:-n_fft] * np.conj(elementary[n_fft:])
        for guard in GUARDS:
            n_guard = int(n_fft * guard)
            n_symbol = n_fft + n_guard
            rows = product.size // n_symbol
            if rows < 2:
                continue
            folded = product[: rows * n_symbol].reshape(rows, n_symbol).sum(axis=0, dtype=np.complex128)
            ring = np.concatenate([folded, folded[:n_guard]])
            sums = np.concatenate([[0], np.cumsum(ring)])
            box = sums[n_guard : n_guard + n_symbol] - sums[:n_symbol]
            level, spread = quietest(box)
            box -= level
            start = int(np.argmax(np.abs(box)))
            scale = max(energy * np.sqrt(n_guard * rows), 2 * spread)
            turn = -np.angle(box[start]) / (2 * np.pi)
            score = float(np.abs(box[start]) / scale)
            peaks.append(GuardPeak(n_fft=n_fft, guard=guard, start=start, turn=float(turn), score=score))
    return sorted(peaks, key=lambda peak: -peak.score)


def quietest(box: npt.NDArray[np.complex128]) -> tuple[complex, float]:
    """Mean and spread over the quarter of the circle that varies least: what is there without a guard interval.

    A discrete line puts the same value everywhere; two far echoes and a long guard may fill two thirds of the circle.
    """
    size = box.size // 4
    ring = np.concatenate([box, box[:size]])
    sums = np.concatenate([[0], np.cumsum(ring)])
    squares = np.concatenate([[0.0], np.cumsum(np.abs(ring) ** 2)])
    mean = (sums[size:-1] - sums[: -size - 1]) / size
    variance = (squares[size:-1] - squares[: -size - 1]) / size - np.abs(mean) ** 2
    place = int(np.argmin(variance))
    return complex(mean[place]), float(np.sqrt(max(variance[place], 0.0)))


@dataclass(frozen=True, kw_only=True)
class PilotPlace:
    """Where the pilots lie: whole spacings of carrier offset, orientation, clock slope, pattern phase.

    slope  phase that symbol-to-symbol products turn per carrier [rad]
    turn   the carrier's remaining fraction of a spacing
    """

    shift: int
    inverted: bool
    slope: float
    turn: float
    phase: int
    score: float


def find_pilots(rows: npt.NDArray[np.complex64], *, n_fft: int, n_symbol: int) -> PilotPlace | None:
    """Look for the pilot pattern in consecutive symbols, both orientations, all offsets.

    rows     (n_symbols, n_fft), time domain, windows inside the guard allowance
    returns  None where no pattern stands out
    """
    n_carriers = CARRIERS[n_fft]
    spectra = np.fft.fftshift(scipy.fft.fft(rows, axis=1), axes=1)
    power = np.mean(np.abs(spectra) ** 2, axis=0) + 1e-30
    near = spectra[:-1] * np.conj(spectra[1:])
    far = (spectra[:-4] * np.conj(spectra[4:])) if rows.shape[0] > 5 else near[:0]
    best: PilotPlace | None = None
    for inverted in (False, True):
        step1 = near.mean(axis=0) / power
        if inverted:
            # bin b of the turned-over spectrum is the conjugate of bin -b; fftshift puts -n/2 first
            step1 = np.conj(np.roll(step1[::-1], 1))
        place = _best_shift(step1, n_fft=n_fft, n_carriers=n_carriers, pairs=near.shape[0])
        if place is None:
            continue
        shift, slope, mean_turn, score = place
        if best is not None and score <= best.score:
            continue
        step4 = far / power[None, :]
        if inverted:
            step4 = np.conj(np.roll(step4[:, ::-1], 1, axis=1))
        phase, clear = _pattern_phase(step4, shift=shift, slope=slope, n_fft=n_fft, n_carriers=n_carriers)
        if clear:
            rest = -mean_turn / (2 * np.pi) - shift * n_symbol / n_fft
            turn = float(rest - np.round(rest)) * n_fft / n_symbol
            best = PilotPlace(shift=shift, inverted=inverted, slope=slope, turn=turn, phase=phase, score=score)
    return best


def _best_shift(
    product: npt.NDArray[np.complex64], *, n_fft: int, n_carriers: int, pairs: int
) -> tuple[int, float, float, float] | None:
    carriers = continual_carriers(n_fft)
    centred = carriers - (n_carriers - 1) // 2
    reach = (n_fft - n_carriers) // 2
    shifts = np.arange(-reach, reach + 1)
    places = (centred[None, :] + shifts[:, None] + n_fft // 2) % n_fft
    slopes = np.linspace(-8.0, 8.0, 33) / n_carriers
    turns = np.exp(-1j * np.outer(centred, slopes))
    sums = product[places] @ turns
    size = np.abs(sums)
    row, column = (int(place) for place in np.unravel_index(int(np.argmax(size)), size.shape))
    score = float(size[row, column] / np.sqrt(carriers.size / pairs))
    elsewhere = np.delete(size.max(axis=1), np.arange(max(0, row - 2), min(row + 3, shifts.size)))
    if score < PILOT_SCORE or size[row, column] < 1.25 * elsewhere.max():
        return None
    values = product[places[row]]
    slope = float(slopes[column])
    for _ in range(3):  # the tilt that remains about the best of the grid, by weighted least squares
        turned = values * np.exp(-1j * slope * centred)
        mean = turned.sum()
        tilt = np.imag(turned * np.conj(mean) / abs(mean))
        slope += float((tilt * centred).sum() / (np.abs(turned) * centred**2).sum())
    mean = (values * np.exp(-1j * slope * centred)).sum()
    return int(shifts[row]), slope, float(np.angle(mean)), score


def _pattern_phase(
    product: npt.NDArray[np.complex64], *, shift: int, slope: float, n_fft: int, n_carriers: int
) -> tuple[int, bool]:
    if product.shape[0] == 0:
        return 0, False
    centre = (n_carriers - 1) // 2
    sums = np.zeros((4, 4), complex)  # [carrier set, row mod 4]
    always = continual_carriers(n_fft)
    for group in range(4):
        carriers = np.setdiff1d(scattered_carriers(n_fft, group), always) - centre
        places = (carriers + shift + n_fft // 2) % n_fft
        values = product[:, places] @ np.exp(-4j * slope * carriers) / carriers.size
        for row in range(4):
            sums[group, row] = values[row::4].sum()
    totals = np.array([abs(sum(sums[(phase + row) % 4, row] for row in range(4))) for phase in range(4)])
    phase = int(np.argmax(totals))
    others = np.delete(totals, phase).max()
    return phase, bool(totals[phase] > 1.4 * others)


def look(
    samples: npt.NDArray[np.complex64], *, first: int, rate_hz: float, band: Band
) -> tuple[Lock | None, GuardPeak | None]:
    """Try one band: resample to its clock, look for guard intervals, then for pilots.

    samples  (n,) of the recording, the first of them being sample number ``first``
    returns  the lock, or None; and the best guard-interval peak where it is significant
    """
    elementary_s = 7 / (8 * band.width_hz)
    step = rate_hz * elementary_s
    interpolator = design_interpolator(
        rate_in_hz=rate_hz,
        rate_out_hz=1 / elementary_s,
        half_width_hz=min(0.53 * occupied_hz(band.width_hz), 0.475 * rate_hz),
    )
    parts = turn_back(samples, cycles_per_sample=band.centre_hz / rate_hz, first=first)
    margin = interpolator.margin
    count = min(CHUNK, int((samples.size - 2 * margin - 2) / step))
    if count < 3 * 2112:
        return None, None
    start = np.array([float(margin)])
    elementary = read_rows(parts, starts=start, step=step, count=count, interpolator=interpolator)[0]
    significant: GuardPeak | None = None
    for peak in guard_peaks(elementary)[:3]:
        if peak.score < GUARD_SCORE:
            break
        significant = significant or peak
        lock = _pilots_at(elementary, peak, band=band, first=first + margin, step=step)
        if lock is not None:
            return lock, peak
    return None, significant


def _pilots_at(
    elementary: npt.NDArray[np.complex64], peak: GuardPeak, *, band: Band, first: float, step: float
) -> Lock | None:
    n_guard = int(peak.n_fft * peak.guard)
    n_symbol = peak.n_fft + n_guard
    turned = elementary * np.exp(-2j * np.pi * peak.turn / peak.n_fft * np.arange(elementary.size)).astype(np.complex64)
    window = peak.start + n_guard - n_guard // 3
    count = (turned.size - window - peak.n_fft) // n_symbol + 1
    if count < 6:
        return None
    rows = np.lib.stride_tricks.sliding_window_view(turned, peak.n_fft)[window::n_symbol][:count]
    place = find_pilots(np.ascontiguousarray(rows), n_fft=peak.n_fft, n_symbol=n_symbol)
    if place is None:
        return None
    # a fast transmitter turns carrier k by 2 pi k e (N + G) / N from symbol to symbol; the product has the other sign
    clock = -place.slope / (2 * np.pi) * peak.n_fft / n_symbol
    spacing_hz = 8 * band.width_hz / 7 / peak.n_fft
    sign = -1.0 if place.inverted else 1.0
    offset_hz = band.centre_hz + (peak.turn + sign * (place.turn + place.shift)) * spacing_hz
    return Lock(
        width_hz=band.width_hz,
        n_fft=peak.n_fft,
        guard=peak.guard,
        inverted=place.inverted,
        offset_hz=offset_hz,
        first=first + peak.start * step,
        step=step / (1 + clock),
        phase=place.phase,
        window=float(n_guard - n_guard // 3),
    )


def looks(samples: npt.NDArray[np.complex64], *, rate_hz: float, widths_hz: tuple[float, ...]) -> Iterator[Band]:
    """Bands worth a look: those that stand out, then those whose flanks the recording does not show.

    Beside a signal without noise the spectrum falls without end and means of decibels favour the wrong place: places
    found with a floor not far below the signal are looked at too, where they differ.
    """
    found = bands(samples, rate_hz=rate_hz, widths_hz=widths_hz)
    near = bands(samples, rate_hz=rate_hz, widths_hz=widths_hz, deepest_db=SHALLOW_DB)
    deep = {band.width_hz: band.centre_hz for band in found}
    other = [band for band in near if abs(band.centre_hz - deep[band.width_hz]) > 2 * rate_hz / SPECTRUM_BINS]
    for some in (found, other):
        yield from (band for band in some if band.step_db >= LEAST_STEP_DB)
    for band in found:
        if occupied_hz(band.width_hz) > 0.85 * rate_hz and band.step_db < LEAST_STEP_DB:
            yield Band(width_hz=band.width_hz, centre_hz=0.0, step_db=0.0)
