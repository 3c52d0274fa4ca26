"""Shoulders: how far the spectrum just outside the channel lies below the signal.

Theory  Through the trace 300 and 700 kHz outside the outermost carrier goes a straight line (in decibels); moved up in
        parallel until no value between stands above it, it is read at 500 kHz, relative to the highest value in band.
        The trace passes a filter of ten carrier spacings. ``shown`` is that. ``corrected`` is what averaging without
        end would read with the recording's floor taken off as power: the same construction on the curves that lie
        beneath the scatter (shoulder_curves.py), pilots in band where the band shows them (band_pilots.py), and part of
        what highest values beside the channel add in a trace averaged as long as this one.
        Where something stands out of the smooth slope, a line say, that side is read as it is.
        The higher of two readings that scatter is too high where the sides are close. The worse side stands so far
        above the mean of both as their difference is more than scatter: d/2 (1 - 0.7 (s/d)^2), s the scatter of d.
Source  [TR101290] clause 9.7 (wording from memory): offsets, lifted line, highest value, worse side counts.
Holds   Levels are negative: lower is better. Picking highest values depends on resolution and averaging: the doubt
        holds the scatter ("averaging"), what highest values of a scattering trace add where any are read
        ("highest_of_trace"), a resolution filter a quarter wider or narrower ("window"), the floor, peaks that come
        rarely ("unrest"), the pilots' shape ("pilots"), and for the worse side which it is ("worse_of_two").
"""

import math
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tepui.evidence.band_pilots import Band, with_pilots
from tepui.evidence.floor import Floor
from tepui.evidence.shoulder_curves import BandFit, SlopeFit
from tepui.ground.doubt import Estimate, estimate
from tepui.ground.errors import RangeError
from tepui.signals.spectrum import Spectrum, smoothed

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.intp]

OFFSETS_HZ = (300e3, 500e3, 700e3)
FITTED_HZ = (250e3, 750e3)  # beside the outermost carrier, as far as the trace reaches: ends of a fit scatter most
PICKED, PICKED_STD = 0.25, 0.35  # how long to average is not laid down: a little of it, in doubt from none to all
APART_BY_SCATTER = 0.7  # so the worse of two sides errs as far either way, a quarter of one side's scatter at most
SPACINGS_OF_RESOLUTION = 10
DRAWS = 200
POINTS_PER_RESOLUTION = 8  # enough for the scatter of a trace through a Gaussian filter
STANDS_OUT = 4.5  # standard deviations
LEAST_PART_LEFT = 0.2  # of the shown power; a correction beyond 7 dB is a bound, not a value (this program's limit)
DECIBEL = 10 / math.log(10)  # of a small relative change
LEAST_READ = 1e-9  # of the highest value in band: where a floor was taken off, a point may lie below zero
MOST_STD_DB = 3.0  # so is one in more doubt than that
SMALLEST = 1e-6  # what is left of a value where the floor takes more than all


@dataclass(frozen=True, kw_only=True)
class Construction:
    """The lifted line on one side, for the drawing; offsets count outwards from the outermost carrier.

    offset_hz, level_db   (3,) the trace at 300, 500 and 700 kHz, relative to the highest value in band
    lift_db               how far the line through the outer two was moved up
    touch_hz, touch_db    the value it then touches
    read_db               the line at 500 kHz
    """

    offset_hz: tuple[float, float, float]
    level_db: tuple[float, float, float]
    lift_db: float
    touch_hz: float
    touch_db: float
    read_db: float


@dataclass(frozen=True, kw_only=True)
class Shoulder:
    """One side.

    shown      as the trace shows it, floor and all
    corrected  with the floor taken off; None where no floor is known or too little is left: the truth then lies
               below ``shown``
    stands_out whether something stands out of the smooth slope between 300 and 700 kHz, a line say
    """

    shown: Estimate
    corrected: Estimate | None
    construction: Construction
    stands_out: bool


@dataclass(frozen=True, kw_only=True)
class Shoulders:
    """Both sides and the worse of them, by the corrected level where there is one.

    worst              a little below the higher reading where scatter may have made the difference
    trace              what was read, in the resolution of the source
    reference_density  highest value of the trace in band, the zero of all levels
    """

    lower: Shoulder
    upper: Shoulder
    worst: Shoulder
    trace: Spectrum
    reference_density: float
    floor: Floor | None


@dataclass(frozen=True, kw_only=True)
class _View:
    """Which points of a trace count: in band, and on each side with their offsets from the outermost carrier.

    band, slopes  the smooth curves through them
    """

    in_band: Places
    sides: tuple[Places, Places]
    offsets_hz: tuple[Floats, Floats]
    band: BandFit
    slopes: tuple[SlopeFit, SlopeFit]


@dataclass(frozen=True, kw_only=True)
class _Parts:
    """Those points of many traces, one a row: densities in band (n, m) and on each side (n, k)."""

    in_band: Floats
    sides: tuple[Floats, Floats]

    def less(self, floor_density: float) -> "_Parts":
        """With the floor taken off."""
        return _Parts(
            in_band=np.maximum(self.in_band - floor_density, SMALLEST * self.in_band),
            sides=(
                np.maximum(self.sides[0] - floor_density, SMALLEST * self.sides[0]),
                np.maximum(self.sides[1] - floor_density, SMALLEST * self.sides[1]),
            ),
        )


def _view(trace: Spectrum, channel: Band, *, stride: int = 1) -> _View:
    offset_hz = trace.frequency_hz - channel.centre_offset_hz
    half_hz, step_hz = channel.occupied_width_hz / 2, stride * trace.bin_hz
    sides, offsets = [], []
    for sign in (-1, 1):
        away_hz = sign * offset_hz - half_hz
        index = np.flatnonzero((away_hz >= FITTED_HZ[0] - 1.5 * step_hz) & (away_hz <= FITTED_HZ[1] + 1.5 * step_hz))
        index = index[np.argsort(away_hz[index])][::stride]
        if len(index) < 5 or away_hz[index[0]] > OFFSETS_HZ[0] or away_hz[index[-1]] < OFFSETS_HZ[2]:
            raise RangeError(
                f"The recording does not reach {OFFSETS_HZ[2] / 1e3:.0f} kHz outside the channel on both sides "
                f"([TR101290] 9.7): record at least {(channel.occupied_width_hz + 2 * OFFSETS_HZ[2]) / 0.9e6:.2f} MHz "
                "wide, or stitch narrow recordings."
            )
        sides.append(index)
        offsets.append(away_hz[index])
    lower, upper = (
        SlopeFit(offset_hz=side_hz, resolution_hz=trace.resolution_bandwidth_hz, n_averages=trace.n_averages)
        for side_hz in offsets
    )
    in_band, band = channel.fit(trace, stride=stride)
    return _View(
        in_band=in_band,
        sides=(sides[0], sides[1]),
        offsets_hz=(offsets[0], offsets[1]),
        band=band,
        slopes=(lower, upper),
    )


def _cut(densities: Floats, view: _View) -> _Parts:
    lower, upper = view.sides
    return _Parts(in_band=densities[:, view.in_band], sides=(densities[:, lower], densities[:, upper]))


def _decibels(density: Floats) -> Floats:
    return np.asarray(10 * np.log10(np.maximum(density, 1e-300)))


def _at(offsets_hz: Floats, rows_db: Floats, where_hz: float) -> Floats:
    """Linear interpolation of each row at one offset."""
    right = int(np.searchsorted(offsets_hz, where_hz))
    part = (where_hz - offsets_hz[right - 1]) / (offsets_hz[right] - offsets_hz[right - 1])
    return np.asarray(rows_db[:, right - 1] * (1 - part) + rows_db[:, right] * part)


def _lifted(offsets_hz: Floats, rows_db: Floats) -> tuple[Floats, Floats, Places]:
    """The construction on each row (n, k): reading at 500 kHz, lift, and which value is touched."""
    near_hz, read_hz, far_hz = OFFSETS_HZ
    near, far = _at(offsets_hz, rows_db, near_hz), _at(offsets_hz, rows_db, far_hz)
    slope = (far - near) / (far_hz - near_hz)
    between = np.flatnonzero((offsets_hz >= near_hz) & (offsets_hz <= far_hz))
    above = rows_db[:, between] - (near[:, None] + slope[:, None] * (offsets_hz[between] - near_hz))
    touched = np.argmax(above, axis=1)
    lift = np.maximum(above[np.arange(len(above)), touched], 0.0)
    return near + slope * (read_hz - near_hz) + lift, lift, between[touched]


def _readings(parts: _Parts, view: _View) -> Floats:
    """Lower, upper and worse level re the highest value in band, of each row; (n, 3)."""
    highest = parts.in_band.max(axis=1)
    reference = _decibels(highest)
    sides = [
        _lifted(offsets, _decibels(np.maximum(rows, LEAST_READ * highest[:, None])))[0] - reference
        for rows, offsets in zip(parts.sides, view.offsets_hz, strict=True)
    ]
    return np.stack([*sides, np.maximum(*sides)], axis=1)


def _smooth(parts: _Parts, view: _View) -> _Parts:
    """Rows without their scatter."""
    lower, upper = (slope.smooth(rows) for slope, rows in zip(view.slopes, parts.sides, strict=True))
    return _Parts(in_band=view.band.smooth(parts.in_band), sides=(lower, upper))


def _stands_out(parts: _Parts, smooth: _Parts, view: _View, n_averages: float) -> tuple[bool, bool]:
    """Whether a value on each side lies further above the smooth slope than scatter explains."""
    limit = 1 + STANDS_OUT / math.sqrt(n_averages)
    found = []
    for rows, slope, offsets in zip(parts.sides, smooth.sides, view.offsets_hz, strict=True):
        between = (offsets >= OFFSETS_HZ[0]) & (offsets <= OFFSETS_HZ[2])
        found.append(bool((rows / slope)[:, between].max() > limit))
    return found[0], found[1]


def _where_plain(parts: _Parts, smooth: _Parts, stands_out: tuple[bool, bool]) -> _Parts:
    sides = [rows if odd else fit for rows, fit, odd in zip(parts.sides, smooth.sides, stands_out, strict=True)]
    return _Parts(in_band=smooth.in_band, sides=(sides[0], sides[1]))


def _smooth_where_plain(parts: _Parts, view: _View, stands_out: tuple[bool, bool]) -> _Parts:
    return _where_plain(parts, _smooth(parts, view), stands_out)


def _draws(trace: Spectrum, smooth: _Parts, view: _View) -> _Parts:
    """Traces that might have been seen: the smooth one with the scatter this averaging and this filter leave."""
    rng = np.random.default_rng(1)
    stride = int(view.in_band[1] - view.in_band[0])
    step_hz = stride * trace.bin_hz
    reach = math.ceil(1.2 * trace.resolution_bandwidth_hz / step_hz)
    response = np.exp(-np.pi * (np.arange(-reach, reach + 1) * step_hz / trace.resolution_bandwidth_hz) ** 2)
    response /= np.sqrt(np.sum(response**2))

    def scattered(row: Floats, count: float) -> Floats:
        n = row.shape[1]
        size = n + 4 * reach + 1
        noise = np.fft.irfft(
            np.fft.rfft(rng.standard_normal((DRAWS, n + 2 * reach)), size) * np.fft.rfft(response, size), size
        )[:, 2 * reach : 2 * reach + n]
        # A mean of `count` squared magnitudes follows a gamma law; its cube root is nearly Gaussian (Wilson, Hilferty).
        gain = np.maximum(1 - 1 / (9 * count) + noise / (3 * math.sqrt(count)), 1e-3) ** 3
        return np.asarray(row * gain)

    in_band = scattered(smooth.in_band, view.band.n_averages)
    lower, upper = (scattered(side, trace.n_averages) for side in smooth.sides)
    return _Parts(in_band=in_band, sides=(lower, upper))


def _construction(parts: _Parts, view: _View, side: int) -> Construction:
    highest = max(float(parts.in_band.max()), 1e-300)
    offsets = view.offsets_hz[side]
    rows = _decibels(np.maximum(parts.sides[side], LEAST_READ * highest)) - 10 * math.log10(highest)
    read, lift, touched = _lifted(offsets, rows)
    levels = [float(_at(offsets, rows, where)[0]) for where in OFFSETS_HZ]
    return Construction(
        offset_hz=OFFSETS_HZ,
        level_db=(levels[0], levels[1], levels[2]),
        lift_db=float(lift[0]),
        touch_hz=float(offsets[touched[0]]),
        touch_db=float(rows[0, touched[0]]),
        read_db=float(read[0]),
    )


def worse_of(lower_db: Floats, upper_db: Floats, scatter_db: float) -> Floats:
    """The worse of two levels whose difference scatters so much: above their mean by what scatter does not explain."""
    apart = np.maximum(np.abs(upper_db - lower_db), 1e-12)
    kept = apart * np.maximum(1 - APART_BY_SCATTER * (scatter_db / apart) ** 2, 0.0)
    return np.asarray((lower_db + upper_db + kept) / 2)


def _worst(sides: tuple[Shoulder, Shoulder], clean: Floats) -> Shoulder:
    """The worse side; clean (n, 3) are readings of traces that might have been seen."""
    worse = max(sides, key=lambda side: (side.corrected or side.shown).value)
    lower, upper = (side.corrected for side in sides)
    if worse.corrected is None or lower is None or upper is None or sides[0].stands_out or sides[1].stands_out:
        return worse
    scatter_db = float(np.std(clean[:, 1] - clean[:, 0]))
    value = float(worse_of(np.array(lower.value), np.array(upper.value), scatter_db))
    parts = dict(worse.corrected.contributions)
    parts["averaging"] = float(np.std(worse_of(clean[:, 0], clean[:, 1], scatter_db)))
    parts["worse_of_two"] = (worse.corrected.value - value) / math.sqrt(3)
    return replace(worse, corrected=estimate(value, **parts))


def shoulders(
    spectrum: Spectrum,
    *,
    centre_offset_hz: float,
    occupied_width_hz: float,
    carrier_spacing_hz: float,
    floor: Floor | None,
    unrest: float = 0.0,
    inband_more: float = 1.0,
    guard: Fraction | None = None,
    picked: float = PICKED,
) -> Shoulders:
    """Lower, upper and worse shoulder of one wide recording.

    spectrum           fine: its resolution at most a third of ten carrier spacings; half a spacing is good
    centre_offset_hz   signal centre less tuned frequency
    occupied_width_hz  from the lowest to the highest carrier
    floor              of the recording; None leaves ``corrected`` None
    unrest             relative standard uncertainty of the power there from peaks that come rarely (unrest.py)
    inband_more        how many times more averages the points in band have
    guard              over the useful part; None where it is not known: the band then shows the likeliest
    picked             share of what highest values of a trace as long as this add, in ``corrected``; 0 for what
                       averaging without end shows
    raises             RangeError where the recording is too narrow or the spectrum too coarse
    """
    resolution_hz = SPACINGS_OF_RESOLUTION * carrier_spacing_hz
    trace = smoothed(spectrum, resolution_bandwidth_hz=resolution_hz)
    channel = Band(
        centre_offset_hz=centre_offset_hz,
        occupied_width_hz=occupied_width_hz,
        carrier_spacing_hz=carrier_spacing_hz,
        more=inband_more,
        guard=guard,
    )
    stride = max(1, int(resolution_hz / trace.bin_hz) // POINTS_PER_RESOLUTION)
    channel = with_pilots(trace, channel, stride=stride)
    view = _view(trace, channel)
    parts = _cut(trace.density[None, :], view)
    curves = _smooth(parts, view)
    stands_out = _stands_out(parts, curves, view, trace.n_averages)
    curves = _where_plain(parts, curves, stands_out)
    shown = _readings(parts, view)[0]

    floor_density, floor_std = (floor.density, floor.std) if floor else (0.0, 0.0)
    best = [
        _readings(curves.less(max(level, 0.0)), view)[0]
        for level in (floor_density, floor_density - floor_std, floor_density + floor_std)
    ]
    coarse = _view(trace, channel, stride=stride)
    smooth = _smooth_where_plain(_cut(trace.density[None, :], coarse), coarse, stands_out)
    drawn = _draws(trace, smooth, coarse)
    raw = _readings(drawn, coarse)
    clean = _readings(_smooth_where_plain(drawn, coarse, stands_out).less(floor_density), coarse)
    still = _readings(smooth, coarse)[0]
    free = _readings(smooth.less(floor_density), coarse)[0]
    highest = raw.mean(axis=0) - still
    level_band = np.broadcast_to(smooth.in_band, drawn.in_band.shape)
    beside = _readings(replace(drawn, in_band=level_band), coarse).mean(axis=0) - still
    filters = []
    for factor in (0.75, 1.25):
        other = smoothed(spectrum, resolution_bandwidth_hz=factor * resolution_hz)
        seen = _view(other, channel, stride=stride)
        filters.append(_readings(_smooth_where_plain(_cut(other.density[None, :], seen), seen, stands_out), seen)[0])
    window = np.abs(filters[1] - filters[0]) / math.sqrt(12)

    sides = []
    for i in (0, 1):
        parts_of_shown = {
            "averaging": float(raw[:, i].std()),
            "highest_of_trace": float(abs(highest[i])),
            "window": float(window[i]),
            "unrest": DECIBEL * unrest,
        }
        corrected = None
        nothing_taken = floor is not None and floor.density == 0
        if floor is not None and (nothing_taken or best[0][i] - shown[i] > 10 * math.log10(LEAST_PART_LEFT)):
            added = 0.0 if stands_out[i] else picked * float(beside[i])
            corrected = estimate(
                float(best[0][i]) + added,
                averaging=float(clean[:, i].std()),
                highest_of_trace=float(abs(beside[i])) * (math.sqrt(1 / 3) if stands_out[i] else PICKED_STD),
                window=float(window[i]),
                floor=float(abs(best[2][i] - best[1][i]) / 2),
                unrest=DECIBEL * unrest * 10 ** (float(still[i] - free[i]) / 10),
                pilots=channel.pilots_std_db(resolution_hz),
            )
            corrected = corrected if nothing_taken or corrected.std <= MOST_STD_DB else None
        sides.append(
            Shoulder(
                shown=estimate(float(shown[i]), **parts_of_shown),
                corrected=corrected,
                construction=_construction(parts, view, i),
                stands_out=stands_out[i],
            )
        )
    return Shoulders(
        lower=sides[0],
        upper=sides[1],
        worst=_worst((sides[0], sides[1]), clean),
        trace=trace,
        reference_density=float(parts.in_band.max()),
        floor=floor,
    )
