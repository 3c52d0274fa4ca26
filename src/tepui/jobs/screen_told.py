"""What was told of a look at a display, checked and made a reading: levels, filter, detector, how long was averaged.

Theory  A trace whose video filter is narrower than its resolution filter B averages sqrt(2) B / (pi V) independent
        values in each point; a detector of mean power those of the time it spends there. Levels told as ratios stand
        over the top of the trace.
Source  integral of a Gaussian filter's squared correlation against a single pole; [GUM] 5.1.
Holds   Video filters of one pole. Less than ten values a point: the trace's highest point says little, its middle does.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction

from tepui.evidence.screen import DETECTORS, Display, ScreenReading
from tepui.ground.checks import require_between, require_one_of, require_positive
from tepui.ground.doubt import COVERAGE_FACTOR, Estimate, estimate
from tepui.ground.errors import FormatError, RangeError
from tepui.signals.dvbt.mode import Mode
from tepui.signals.resolution import Resolution, resolution

READING_DOUBT_DB = 0.3  # 95 %, how well a display repeats, as for a drive series
USUAL_FFT = 8192
LEAST_AVERAGES = 10.0
PILOT_SPACINGS = 5.0  # a trace through less has pilots for its top, which are lines and no noise (this program's limit)
WIDEST_SHARE = 0.25  # of the occupied width: through a wider filter the trace's top is no density
LEVEL_RANGE_DB = (-200.0, 100.0)
SIDES = ("lower", "upper", "worst")
RATIO, LEVEL = "dB", "dBm"


@dataclass(frozen=True, kw_only=True)
class Told:
    """A level as told: its number, half width of its 95 % doubt where one was told, dB or dBm."""

    value: float
    half_db: float | None = None
    unit: str = LEVEL


@dataclass(frozen=True, kw_only=True)
class LookTold:
    """One look at one signal, as told.

    top, middle   of the trace in band, one of them; neither: all levels are ratios over the top
    shoulders     by side, one level (500 kHz outside) or three (300, 500, 700 kHz)
    sweep_s, points, held   time of a sweep, points of the trace, sweeps of which the highest was kept
    pad_db        between the signal and the display's input; None where not told
    doubt_db      95 % doubt of a level that tells none
    """

    name: str
    top: Told | None = None
    middle: Told | None = None
    noise: Told | None = None
    baseline: Told | None = None
    shoulders: Mapping[str, tuple[Told, ...]] = field(default_factory=dict)
    line: Told | None = None
    beside: Told | None = None
    width_hz: float | None = None
    n_fft: int | None = None
    rbw_hz: float | None = None
    shape: str | None = None
    vbw_hz: float | None = None
    detector: str | None = None
    averages: float | None = None
    sweep_s: float | None = None
    points: int | None = None
    held: int | None = None
    pad_db: float | None = None
    setting_dbm: float | None = None
    doubt_db: float = READING_DOUBT_DB


@dataclass(frozen=True, kw_only=True)
class Look:
    """A look that can be reckoned with.

    reading    for powers
    ratios     the same for ratios: where all levels were told over the top, its doubt is no part of them
    is_level   whether the levels are dBm
    """

    told: LookTold
    reading: ScreenReading
    ratios: ScreenReading
    is_level: bool

    @property
    def about(self) -> str:
        """How findings call it."""
        return f"screen:{self.told.name}"


def look_of(told: LookTold) -> Look:
    """Check and convert.

    raises  RangeError, FormatError, ChoiceError: one sentence
    """
    if told.top is not None and told.middle is not None:
        raise FormatError("the height of the trace is told twice; give its top or its middle, not both.")
    require_positive("the doubt of a level", told.doubt_db, unit="dB")
    height = told.top or told.middle
    levels = _levels(told)
    if not levels and height is None:
        raise FormatError("no level is told; give the top of the trace, and a shoulder, a line or both.")
    is_level = height is not None and height.unit == LEVEL
    if not is_level and any(one.unit == LEVEL for one in levels.values()):
        raise FormatError("levels in dBm need the trace's top in dBm as well; or give all as dB over the top.")
    zero = 0.0 if height is None else height.value
    top = estimate(zero, reading=_std(height, told) if is_level and height is not None else 0.0)
    mode = _mode(told)
    filter_ = None if told.rbw_hz is None else resolution(width_hz=told.rbw_hz, shape=told.shape)
    if filter_ is not None and mode is not None:
        _check_filter(filter_, mode, by_top=told.middle is None)
    reading = ScreenReading(
        display=_display(told, filter_),
        top=top,
        is_middle=told.middle is not None,
        noise=_at(told.noise, told, zero),
        baseline=_at(told.baseline, told, zero),
        shoulders={
            side: tuple(_at_sure(one, told, zero) for one in parts) for side, parts in told.shoulders.items() if parts
        },
        line=_at(told.line, told, zero),
        beside=_at(told.beside, told, zero),
        mode=mode,
    )
    _check_heights(reading, LEVEL if is_level else RATIO)
    over_top = all(one.unit == RATIO for one in levels.values())
    ratios = replace(reading, top=estimate(zero)) if over_top else reading
    return Look(told=told, reading=reading, ratios=ratios, is_level=is_level)


def _levels(told: LookTold) -> dict[str, Told]:
    """Every level but the trace's own, by what it is."""
    named = {"the noise": told.noise, "the baseline": told.baseline, "the line": told.line, "beside": told.beside}
    found = {name: one for name, one in named.items() if one is not None}
    for side, parts in told.shoulders.items():
        if len(parts) not in (0, 1, 3):
            raise FormatError(
                f"the {side} shoulder is one level, 500 kHz outside the outermost carrier, or three, at 300, 500 and "
                f"700 kHz; {len(parts)} were given."
            )
        found |= {f"{side} {n}": one for n, one in enumerate(parts)}
    for name, one in [*found.items(), ("the trace", told.top or told.middle)]:
        if one is not None:
            require_between(name, one.value, *LEVEL_RANGE_DB, unit=one.unit, source="this program's limit")
    return found


def _std(one: Told, told: LookTold) -> float:
    half = told.doubt_db if one.half_db is None else one.half_db
    return half / COVERAGE_FACTOR


def _at_sure(one: Told, told: LookTold, zero_db: float) -> Estimate:
    return estimate(one.value + (zero_db if one.unit == RATIO else 0.0), reading=_std(one, told))


def _at(one: Told | None, told: LookTold, zero_db: float) -> Estimate | None:
    return None if one is None else _at_sure(one, told, zero_db)


def _mode(told: LookTold) -> Mode | None:
    if told.width_hz is None:
        return None
    return Mode(
        width_hz=told.width_hz,
        n_fft=told.n_fft or USUAL_FFT,
        guard=Fraction(1, 32),
        constellation="QPSK",
        code_rate=Fraction(2, 3),
    )


def _check_filter(filter_: Resolution, mode: Mode, *, by_top: bool) -> None:
    spacing, most = mode.carrier_spacing_hz, WIDEST_SHARE * mode.occupied_width_hz
    if not spacing <= filter_.width_hz <= most:
        raise RangeError(
            f"the resolution bandwidth must lie between one carrier spacing, {spacing / 1e3:.3g} kHz, below which "
            f"carriers show one by one, and a quarter of the signal's width, {most / 1e6:.3g} MHz (this program's "
            f"limit), not {filter_.width_hz / 1e3:g} kHz; 10 to 50 kHz serve shoulders well."
        )
    if by_top and filter_.noise_bandwidth_hz < PILOT_SPACINGS * spacing:
        raise RangeError(
            f"through {filter_.width_hz / 1e3:g} kHz, less than {PILOT_SPACINGS:g} carrier spacings of "
            f"{spacing / 1e3:.3g} kHz, the trace's top is a pilot and not the signal; give the middle height of "
            "the trace, or read through 10 to 50 kHz."
        )


def _display(told: LookTold, filter_: Resolution | None) -> Display:
    if told.detector is not None:
        require_one_of("detector", told.detector, DETECTORS, source="this program's list")
    if told.shape is not None and told.rbw_hz is None:
        raise FormatError("the shape of the resolution filter says nothing without its width: give the RBW too.")
    for name, value in (("the video bandwidth", told.vbw_hz), ("the sweep time", told.sweep_s)):
        if value is not None:
            require_positive(name, value, unit="Hz" if name == "the video bandwidth" else "s")
            if filter_ is None:
                raise FormatError(f"{name} says something beside the resolution bandwidth only: give the RBW too.")
    if (told.sweep_s is None) != (told.points is None):
        raise FormatError("sweep time and points of the trace go together: the time for one point is what counts.")
    if told.held is not None and told.detector != "peak":
        raise FormatError("sweeps of which the highest is held belong to the peak detector; tell that, or averages.")
    resolutions = None
    if filter_ is not None and told.sweep_s is not None and told.points:
        resolutions = filter_.noise_bandwidth_hz * told.sweep_s / told.points
    averages = _averages(told, filter_, resolutions)
    if averages is not None and averages < LEAST_AVERAGES and told.middle is None:
        raise RangeError(
            f"a point of this trace is the mean of about {averages:.2g} independent values, so that its highest point "
            f"is chance; average at least {LEAST_AVERAGES:g}, narrow the video filter, or give the middle height of "
            "the trace in place of its top."
        )
    return Display(
        detector=told.detector,
        resolution=filter_,
        averages=averages,
        resolutions=resolutions if told.detector == "peak" else None,
        held=told.held or 1,
    )


def _averages(told: LookTold, filter_: Resolution | None, resolutions: float | None) -> float | None:
    """Independent values in a point of the trace; None where nothing was told of it, or it shows peaks."""
    if told.detector == "peak":
        return None
    within = None
    if told.detector == "power":
        within = resolutions
    elif told.vbw_hz is not None and filter_ is not None:
        within = math.sqrt(2) * filter_.noise_bandwidth_hz / (math.pi * told.vbw_hz)
    if within is None and told.averages is None:
        return None
    return max(within or 1.0, 1.0) * (told.averages or 1.0)


def _check_heights(reading: ScreenReading, unit: str) -> None:
    top = reading.top.value
    below = [("noise", reading.noise), ("baseline", reading.baseline)]
    below += [("shoulder", one) for parts in reading.shoulders.values() for one in parts]
    for name, one in below:
        if one is not None and one.value >= top:
            raise RangeError(
                f"the {name}, {one.value:g} {unit}, must lie below the trace in band, {top:g} {unit}; "
                "a level below is written with a minus."
            )
    noise, line, beside = reading.noise, reading.line, reading.beside
    if line is not None and beside is not None and beside.value > line.value:
        raise RangeError(
            f"the line, {line.value:g} {unit}, must stand above what is beside it, {beside.value:g} {unit}."
        )
    if noise is None:
        return
    others = [one for parts in reading.shoulders.values() for one in parts]
    for one in [*others, *(one for one in (reading.baseline, beside) if one is not None)]:
        if noise.value > one.value + COVERAGE_FACTOR * math.hypot(noise.std, one.std):
            raise RangeError(
                f"the noise, {noise.value:g} {unit}, stands above what is shown beside the signal, {one.value:g} "
                f"{unit}: one of the two was read at another setting; read both with nothing changed but the signal."
            )
