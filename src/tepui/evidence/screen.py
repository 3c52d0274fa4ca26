"""Levels read off a display made ratios and powers: what the detector, the filter and the floor did is taken back.

Theory  All levels of one reading come through one detector, which moves every noise-like level alike: of a ratio of two
        densities nothing is left of it, of a power all. Shoulder: level beside over the highest in band, floor and
        what the filter passes of the channel taken off as powers first. The highest value is brought to a filter of ten
        carrier spacings, for pilots make less of it through a wider one. What the modulator alone shows may be products
        that add to the amplifier's as voltages: amplitudes then lie between difference and sum, a - b to a + b.
        The middle of a trace of N values a point, read in decibels, lies 10 lg(e) (psi(N) - ln N) off a mean of powers.
        Power of the channel: mean level + 10 lg(width / noise bandwidth) less the detector's offset.
Source  [TR101290] 9.7 (wording from memory); signals/detected.py, signals/resolution.py; the interval of two
        voltages is that of evidence/instrument.py, |B| <= 2 sqrt(S C).
Holds   Densities that are smooth over the filter. What less than half of is left is a bound: the truth lies below what
        was shown. Products of the display's own front end are in every reading; other pads tell (instrument.py).
"""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from scipy.special import digamma

from tepui.evidence.drive import LEAST_ABOVE_BASELINE_DB
from tepui.ground.doubt import COVERAGE_FACTOR, Estimate, estimate
from tepui.signals.detected import DECIBEL, LINEAR_DB, LOG_DB, SCATTER_DB, peak_offset_db
from tepui.signals.dvbt.mode import Mode
from tepui.signals.dvbt.pilot_rise import RISE_STD_DB, pilot_rise_db, scattered_rise_db
from tepui.signals.resolution import Resolution

DETECTORS = ("power", "log", "linear", "peak")
OFFSETS_HZ = (300e3, 500e3, 700e3)
OFFSET_STD_DB = 0.1  # of a detector that is told: as prediction/detectors.py has it
PEAK_STD_DB = 0.5  # of crossings counted through a filter of another shape (this program's limit)
BURSTS_STD_DB = 1.0  # of a shoulder's peaks against the channel's: its products come in bursts (this program's limit)
MOST_RESOLUTIONS = 1e6  # of a peak detector nothing is known of: higher peaks than in these nobody waits for
SMALLEST = 1e-3
LEAST_POINT_LEFT = 0.2  # of one of three points, as for recordings (shoulders.py)
LEAST_LEFT = 1 - 10 ** (-LEAST_ABOVE_BASELINE_DB / 10)


@dataclass(frozen=True, kw_only=True)
class Display:
    """How the display was set.

    detector   one of DETECTORS; None where not told: power, log or linear then
    averages   independent values in one point of the trace; None for a trace that looks smooth
    resolutions, held   of a peak detector: noise bandwidth times the time for one point, and sweeps of which the
               highest was kept; None where not told
    """

    detector: str | None = None
    resolution: Resolution | None = None
    averages: float | None = None
    resolutions: float | None = None
    held: int = 1

    @property
    def offset(self) -> Estimate | None:
        """What it shows of a noise-like level, less its mean power; None where that is not known. [dB]"""
        if self.detector is None:
            return estimate(LOG_DB / 2, detector=-LOG_DB / math.sqrt(12))
        if self.detector == "peak":
            if self.resolutions is None:
                return None
            middle, _ = peak_offset_db(resolutions=self.resolutions, times=self.held)
            return estimate(middle, detector=PEAK_STD_DB)
        return estimate(self._smooth_db(self.detector), detector=OFFSET_STD_DB)

    def _smooth_db(self, detector: str) -> float:
        """Middle of the trace in decibels, less the mean power; few values a point leave powers below their mean."""
        if detector == "log":
            return LOG_DB
        if detector == "power":
            return 0.0 if self.averages is None else DECIBEL * float(digamma(self.averages) - math.log(self.averages))
        return LINEAR_DB + (0.0 if self.averages is None else (LOG_DB - LINEAR_DB) / self.averages)

    @property
    def scatter_db(self) -> float:
        """Standard deviation of one point of the trace; 0 where it is smooth or not known."""
        if self.averages is None or self.detector == "peak":
            return 0.0
        return SCATTER_DB[self.detector or "log"] / math.sqrt(self.averages)


@dataclass(frozen=True, kw_only=True)
class ScreenReading:
    """Levels of one look at one signal, all in decibels over one zero, with their doubt.

    top          highest value of the trace in band, or with ``is_middle`` its middle height there
    noise        what is shown with the signal off or the input terminated, nothing else changed
    baseline     what the modulator alone shows 500 kHz outside, at the same level on the display
    shoulders    by side: one level 500 kHz outside the outermost carrier, or those at 300, 500 and 700 kHz
    line, beside   top of a discrete line, and the trace next to it
    mode         of the signal; None where its width was not told
    """

    display: Display
    top: Estimate
    is_middle: bool = False
    noise: Estimate | None = None
    baseline: Estimate | None = None
    shoulders: Mapping[str, Sequence[Estimate]] = field(default_factory=dict)
    line: Estimate | None = None
    beside: Estimate | None = None
    mode: Mode | None = None


@dataclass(frozen=True, kw_only=True)
class Band:
    """The channel as the detector shows it, floor off.

    mean     over the occupied band
    highest  through a filter of ten carrier spacings: the zero of shoulders
    """

    mean: Estimate
    highest: Estimate


@dataclass(frozen=True, kw_only=True)
class Side:
    """One shoulder over the highest value in band.

    shown     as read
    true      with all that is not the transmitter's off; None where that leaves less than half
    low_db, high_db   95 % of ``true``; high_db alone bounds it where there is no value
    hidden_by  what takes the most where there is no value: noise, filter or baseline
    off_db    by how much each part lowered the level: noise, filter, baseline
    """

    shown: Estimate
    true: Estimate | None
    low_db: float | None
    high_db: float
    hidden_by: str | None
    off_db: Mapping[str, float]


def band_of(reading: ScreenReading) -> Band:
    """The channel's mean and highest level, as the detector shows them."""
    top, noise_share = reading.top.value, 0.0
    if reading.noise is not None:
        noise_share = min(10 ** ((reading.noise.value - top) / 10), LEAST_LEFT)
    clean = top + 10 * math.log10(1 - noise_share)
    parts = {"top": reading.top.std}
    mean, rise = clean, 0.0
    mode, display = reading.mode, reading.display
    if mode is not None:
        rise = pilot_rise_db(mode.n_fft)
    if not reading.is_middle and mode is not None and display.resolution is not None:
        spacings = display.resolution.noise_bandwidth_hz / mode.carrier_spacing_hz
        picked, spread = scattered_rise_db(mode.n_fft, spacings=round(spacings, 3), scatter_db=display.scatter_db)
        mean = clean - picked
        parts |= {"pilots": RISE_STD_DB, "scatter": spread}
    elif not reading.is_middle:
        mean = clean - rise
        parts |= {"pilots": 2 * RISE_STD_DB}
    return Band(mean=estimate(mean, **parts), highest=estimate(mean + rise, **parts))


def side_of(reading: ScreenReading, levels: Sequence[Estimate], band: Band) -> Side:
    """One shoulder, of one level or three."""
    values = [one.value for one in levels]
    shown = _line_read(values)
    reading_db = _moved(values, [one.std for one in levels], _line_read)
    over = estimate(shown - band.highest.value, reading=reading_db, **band.highest.contributions)
    mean = 10 ** (band.mean.value / 10)
    leaks = [_leak(reading, offset) for offset in (OFFSETS_HZ if len(levels) == 3 else OFFSETS_HZ[1:2])]
    passed = [mean * leak for leak, _ in leaks]
    noise = 0.0 if reading.noise is None else 10 ** (reading.noise.value / 10)

    def clean_read(told_db: Sequence[float], noise: float = noise, skirt: float = 0.0) -> float:
        taken = [noise + mean * (leak + skirt * std) for leak, std in leaks]
        return _line_read([_less_db(one, part) for one, part in zip(told_db, taken, strict=True)])

    read = clean_read(values)
    after_noise = _line_read([_less_db(one, noise) for one in values])
    left = [10 ** ((_less_db(one, noise + part) - one) / 10) for one, part in zip(values, passed, strict=True)]
    if 10 ** ((read - shown) / 10) < LEAST_LEFT or min(left) < LEAST_POINT_LEFT:
        worst = left.index(min(left))
        hidden = "noise" if noise >= passed[worst] else "filter"
        return Side(shown=over, true=None, low_db=None, high_db=over.high, hidden_by=hidden, off_db={})
    noise_db = 0.0
    if reading.noise is not None:
        noise_db = abs(clean_read(values, noise=noise * 10 ** (reading.noise.std / 10)) - read)
    clean = estimate(
        read - band.highest.value,
        reading=_moved(values, [one.std for one in levels], clean_read),
        noise=noise_db,
        filter=abs(clean_read(values, skirt=1.0) - read),
        bursts=BURSTS_STD_DB if reading.display.detector == "peak" else 0.0,
        **band.highest.contributions,
    )
    off = {"noise": shown - after_noise, "filter": after_noise - read}
    if reading.baseline is None:
        return Side(shown=over, true=clean, low_db=clean.low, high_db=clean.high, hidden_by=None, off_db=off)
    return _without_baseline(reading, over, clean, off, under=noise + passed[len(passed) // 2], band=band)


def _less_db(level_db: float, taken: float) -> float:
    """A level with a power taken off, never less than a thousandth of it."""
    power = 10 ** (level_db / 10)
    return 10 * math.log10(max(power - taken, SMALLEST * power))


def _moved(values: Sequence[float], stds: Sequence[float], read: Callable[[Sequence[float]], float]) -> float:
    """Standard uncertainty of what is read, each level moved by its own doubt."""
    middle = read(values)
    parts = []
    for n, (value, std) in enumerate(zip(values, stds, strict=True)):
        moved = [read([*values[:n], value + step, *values[n + 1 :]]) - middle for step in (std, -std)]
        parts.append(max(abs(one) for one in moved))
    return math.hypot(*parts)


def _without_baseline(
    reading: ScreenReading, shown: Estimate, clean: Estimate, off: Mapping[str, float], *, under: float, band: Band
) -> Side:
    """The baseline off: as powers for the value, as voltages either way for the interval.

    under  power of noise and filter, which the reading of the baseline holds as well
    """
    assert reading.baseline is not None
    power = 10 ** (reading.baseline.value / 10)
    own = max(power - under, power / 2) / 10 ** (band.highest.value / 10)
    zero_std = band.highest.std
    level_std = math.sqrt(max(clean.std**2 - zero_std**2, 0.0))
    root = math.sqrt(own / 10 ** (clean.value / 10))
    ends = []
    for sign in (-1, 1):
        if 1 + sign * root > 0:
            beyond = math.hypot(level_std, reading.baseline.std * root) / (1 + sign * root)
            end = clean.value + 20 * math.log10(1 + sign * root)
            ends.append(end + sign * COVERAGE_FACTOR * math.hypot(beyond, zero_std))
    left = 1 - root**2
    if left < LEAST_LEFT:
        return Side(shown=shown, true=None, low_db=None, high_db=ends[-1], hidden_by="baseline", off_db={})
    low, high = ends
    parts = dict(clean.contributions)
    known = sum(part**2 for part in parts.values())
    parts["baseline"] = math.sqrt(max(((high - low) / (2 * COVERAGE_FACTOR)) ** 2 - known, 0.0))
    by_powers = clean.value + 10 * math.log10(left)
    return Side(
        shown=shown,
        true=estimate(by_powers, **parts),
        low_db=low,
        high_db=high,
        hidden_by=None,
        off_db={**off, "baseline": clean.value - by_powers},
    )


def _line_read(levels: Sequence[float]) -> float:
    """One level as it is; of three the line through the outer two, lifted where the middle one stands over it."""
    if len(levels) == 1:
        return levels[0]
    near, middle, far = levels
    return max((near + far) / 2, middle)


def _leak(reading: ScreenReading, offset_hz: float) -> tuple[float, float]:
    """What the filter shows of the channel at this distance, over the channel's mean, and its standard uncertainty."""
    if reading.display.resolution is None or reading.mode is None:
        return 0.0, 0.0
    return reading.display.resolution.leak(offset_hz, channel_hz=reading.mode.occupied_width_hz)


def channel_power(reading: ScreenReading, band: Band) -> Estimate | None:
    """Mean power of the channel, over the zero of the levels; None where the detector's offset is not known. [dB]

    The width, the filter and the mode must be told.
    """
    offset, resolution, mode = reading.display.offset, reading.display.resolution, reading.mode
    assert resolution is not None
    assert mode is not None
    if offset is None:
        return None
    widths_db = 10 * math.log10(mode.occupied_width_hz / resolution.noise_bandwidth_hz)
    return estimate(
        band.mean.value - offset.value + widths_db,
        **{**band.mean.contributions, **offset.contributions, "filter": resolution.noise_std_db},
    )


def power_ends(reading: ScreenReading, band: Band) -> tuple[float, float]:
    """The same where nothing is known of a peak detector: least and most that it can be. [dB, dB]"""
    resolution, mode = reading.display.resolution, reading.mode
    assert resolution is not None
    assert mode is not None
    one = band.mean.value + 10 * math.log10(mode.occupied_width_hz / resolution.noise_bandwidth_hz)
    return one - peak_offset_db(resolutions=MOST_RESOLUTIONS)[0], one - LOG_DB
