"""Shoulders: how far the spectrum just outside the channel lies below the signal.

Theory  Through the trace 300 and 700 kHz outside the outermost carrier goes a straight line (in decibels); moved up in
        parallel until no value between stands above it, it is read at 500 kHz, relative to the highest value in band.
        The trace passes a filter of ten carrier spacings. ``shown`` is that. For ``corrected`` the recording's floor is
        taken off as power and the scatter of the trace smoothed away first (a parabola in decibels on each side; in
        band a running mean, times what the pilots make of the band as far as the trace bears it out); it stands midway
        between what averaging without end and what this averaging would read.
        Where something stands out of the parabola, a line say, that side is read as it is.
Source  [TR101290] clause 9.7 (wording from memory): offsets, lifted line, highest value, worse side counts.
Holds   Levels are negative: lower is better. Picking highest values depends on resolution and averaging: the doubt
        holds the scatter ("averaging"), what highest values of a scattering trace add ("highest_of_trace"), a
        resolution filter a quarter wider or narrower ("window"), the floor, and peaks that come rarely ("unrest").
"""

import math
from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import numpy.typing as npt

from tepui.evidence.floor import Floor
from tepui.evidence.pilot_band import band_shape
from tepui.ground.doubt import Estimate, estimate
from tepui.ground.errors import RangeError
from tepui.signals.dvbt.pilot_rise import RISE_STD_DB
from tepui.signals.spectrum import Spectrum, smoothed

Floats = npt.NDArray[np.float64]
Places = npt.NDArray[np.intp]

OFFSETS_HZ = (300e3, 500e3, 700e3)
SPACINGS_OF_RESOLUTION = 10
DRAWS = 200
POINTS_PER_RESOLUTION = 8  # enough for the scatter of a trace through a Gaussian filter
STANDS_OUT = 4.5  # standard deviations
LEAST_PART_LEFT = 0.2  # of the shown power; a correction beyond 7 dB is a bound, not a value (this program's limit)
DECIBEL = 10 / math.log(10)  # of a small relative change
SLOPE_ROUNDS = 60
LEAST_READ = 1e-9  # of the highest value in band: where a floor was taken off, a point may lie below zero
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

    pilots  what pilots alone make of the band through the filter (pilot_band.py), at the points in band
    """

    in_band: Places
    pilots: Floats
    sides: tuple[Places, Places]
    offsets_hz: tuple[Floats, Floats]


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


def _view(
    trace: Spectrum,
    *,
    centre_offset_hz: float,
    occupied_width_hz: float,
    carrier_spacing_hz: float,
    with_pilots: bool,
    stride: int = 1,
) -> _View:
    offset_hz = trace.frequency_hz - centre_offset_hz
    half_hz, step_hz = occupied_width_hz / 2, stride * trace.bin_hz
    sides, offsets = [], []
    for sign in (-1, 1):
        away_hz = sign * offset_hz - half_hz
        index = np.flatnonzero((away_hz >= OFFSETS_HZ[0] - 1.5 * step_hz) & (away_hz <= OFFSETS_HZ[2] + 1.5 * step_hz))
        index = index[np.argsort(away_hz[index])][::stride]
        if len(index) < 5 or away_hz[index[0]] > OFFSETS_HZ[0] or away_hz[index[-1]] < OFFSETS_HZ[2]:
            raise RangeError(
                f"The recording does not reach {OFFSETS_HZ[2] / 1e3:.0f} kHz outside the channel on both sides "
                f"([TR101290] 9.7): record at least {(occupied_width_hz + 2 * OFFSETS_HZ[2]) / 0.9e6:.2f} MHz wide, "
                "or stitch narrow recordings."
            )
        sides.append(index)
        offsets.append(away_hz[index])
    in_band = np.flatnonzero(np.abs(offset_hz) <= half_hz)[::stride]
    pilots = np.ones(len(in_band))
    if with_pilots:
        pilots = band_shape(
            offset_hz[in_band],
            occupied_width_hz=occupied_width_hz,
            carrier_spacing_hz=carrier_spacing_hz,
            resolution_bandwidth_hz=trace.resolution_bandwidth_hz,
        )
    return _View(in_band=in_band, pilots=pilots, sides=(sides[0], sides[1]), offsets_hz=(offsets[0], offsets[1]))


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
    """Rows without their scatter: a parabola of the logarithm on each side, a running mean times the pilots in band."""
    m = parts.in_band.shape[1]
    width = max(1, m // 16)
    running = np.cumsum(np.pad(parts.in_band, ((0, 0), (1, 0))), axis=1)
    first = np.clip(np.arange(m) - width // 2, 0, m - width)
    in_band = (running[:, first + width] - running[:, first]) / width
    uneven = view.pilots - 1
    if uneven.any():
        seen = (parts.in_band / in_band - 1) @ uneven / (uneven @ uneven)  # 1 for a whole band of DVB-T, 0 for noise
        in_band = in_band * (1 + np.clip(seen, 0, 1)[:, None] * uneven)
    sides = []
    for rows, offsets in zip(parts.sides, view.offsets_hz, strict=True):
        sides.append(_slope(rows, np.vander((offsets - OFFSETS_HZ[1]) / OFFSETS_HZ[1], 3)))
    return _Parts(in_band=in_band, sides=(sides[0], sides[1]))


def _slope(rows: Floats, powers: Floats) -> Floats:
    """Each row's course, exp of a parabola, by what a gamma law of any averaging makes likeliest. (n, k), (k, 3)

    The law counts powers, not decibels: what scatters about a floor, even below zero, pulls it by no more than its
    share.
    """
    solve = np.linalg.pinv(powers)
    course = np.zeros((len(rows), powers.shape[1]))
    course[:, -1] = np.log(np.maximum(rows.mean(axis=1), 1e-300))
    for _ in range(SLOPE_ROUNDS):
        slope = np.exp(course @ powers.T)
        step = (rows / slope - 1) @ solve.T
        course += np.clip(step, -1.0, 1.0)
        if np.abs(step).max() < 1e-6:
            break
    return np.asarray(np.exp(course @ powers.T))


def _stands_out(parts: _Parts, smooth: _Parts, n_averages: float) -> tuple[bool, bool]:
    """Whether a value on each side lies further above the smooth slope than scatter explains."""
    limit = 1 + STANDS_OUT / math.sqrt(n_averages)
    found = [bool((rows / slope).max() > limit) for rows, slope in zip(parts.sides, smooth.sides, strict=True)]
    return found[0], found[1]


def _smooth_where_plain(parts: _Parts, view: _View, stands_out: tuple[bool, bool]) -> _Parts:
    smooth = _smooth(parts, view)
    sides = [rows if odd else fit for rows, fit, odd in zip(parts.sides, smooth.sides, stands_out, strict=True)]
    return _Parts(in_band=smooth.in_band, sides=(sides[0], sides[1]))


def _draws(trace: Spectrum, smooth: _Parts, view: _View, inband_averages: float) -> _Parts:
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

    in_band = scattered(smooth.in_band, inband_averages)
    lower, upper = (scattered(side, trace.n_averages) for side in smooth.sides)
    return _Parts(in_band=in_band, sides=(lower, upper))


def _construction(parts: _Parts, view: _View, side: int) -> Construction:
    highest = float(parts.in_band.max())
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


def shoulders(
    spectrum: Spectrum,
    *,
    centre_offset_hz: float,
    occupied_width_hz: float,
    carrier_spacing_hz: float,
    floor: Floor | None,
    unrest: float = 0.0,
    inband_rise_db: float | None = None,
    inband_more: float = 1.0,
) -> Shoulders:
    """Lower, upper and worse shoulder of one wide recording.

    spectrum           fine: its resolution at most a third of ten carrier spacings; half a spacing is good
    centre_offset_hz   signal centre less tuned frequency
    occupied_width_hz  from the lowest to the highest carrier
    floor              of the recording; None leaves ``corrected`` None
    unrest             relative standard uncertainty of the power there from peaks that come rarely (unrest.py)
    inband_rise_db     how far the highest value in band stands over its surroundings without scatter (pilot_rise.py):
                       only the scatter beside the channel is then left in doubt; None where that is not known
    inband_more        how many times more averages the points in band have
    raises             RangeError where the recording is too narrow or the spectrum too coarse
    """
    resolution_hz = SPACINGS_OF_RESOLUTION * carrier_spacing_hz
    trace = smoothed(spectrum, resolution_bandwidth_hz=resolution_hz)
    look = partial(
        _view,
        centre_offset_hz=centre_offset_hz,
        occupied_width_hz=occupied_width_hz,
        carrier_spacing_hz=carrier_spacing_hz,
        with_pilots=not inband_rise_db,  # a rise that is told is that of the pilots: counted once, at the end
    )
    view = look(trace)
    parts = _cut(trace.density[None, :], view)
    stands_out = _stands_out(parts, _smooth(parts, view), trace.n_averages)
    shown = _readings(parts, view)[0]

    floor_density, floor_std = (floor.density, floor.std) if floor else (0.0, 0.0)
    best = [
        _readings(_smooth_where_plain(parts, view, stands_out).less(max(level, 0.0)), view)[0]
        for level in (floor_density, floor_density - floor_std, floor_density + floor_std)
    ]
    coarse = look(trace, stride=max(1, int(resolution_hz / trace.bin_hz) // POINTS_PER_RESOLUTION))
    smooth = _smooth_where_plain(_cut(trace.density[None, :], coarse), coarse, stands_out)
    drawn = _draws(trace, smooth, coarse, inband_more * trace.n_averages)
    raw = _readings(drawn, coarse)
    clean = _readings(_smooth_where_plain(drawn, coarse, stands_out).less(floor_density), coarse)
    still = _readings(smooth, coarse)[0]
    highest = raw.mean(axis=0) - still
    level_band = np.broadcast_to(smooth.in_band, drawn.in_band.shape)
    beside = _readings(replace(drawn, in_band=level_band), coarse).mean(axis=0) - still
    free = _readings(_smooth_where_plain(smooth, coarse, stands_out).less(floor_density), coarse)[0]
    smoothing = clean.mean(axis=0) - free
    filters = [
        _readings(_smooth_where_plain(_cut(other.density[None, :], view), look(other), stands_out), view)[0]
        for other in (smoothed(spectrum, resolution_bandwidth_hz=factor * resolution_hz) for factor in (0.75, 1.25))
    ]
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
        if floor is not None and best[0][i] - shown[i] > 10 * math.log10(LEAST_PART_LEFT):
            if inband_rise_db is None:  # what highest values of a scattering trace add lies between none and all
                picked, taken_db, doubt_of_picking = highest[i], highest[i] / 2, math.sqrt(1 / 3)
            else:  # nothing is picked from scatter
                picked, taken_db, doubt_of_picking = beside[i], -inband_rise_db, 1 / 3
            corrected = estimate(
                float(best[0][i] - smoothing[i] + taken_db),
                averaging=float(clean[:, i].std()),
                highest_of_trace=float(abs(picked) + abs(smoothing[i])) * doubt_of_picking,
                window=float(window[i]),
                floor=float(abs(best[2][i] - best[1][i]) / 2),
                unrest=DECIBEL * unrest * 10 ** (float(still[i] - free[i]) / 10),
                **({"pilots": RISE_STD_DB} if inband_rise_db is None else {}),
            )
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
        worst=max(sides, key=lambda side: (side.corrected or side.shown).value),
        trace=trace,
        reference_density=float(parts.in_band.max()),
        floor=floor,
    )
