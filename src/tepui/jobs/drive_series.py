"""A drive series brought into order: every reading reduced to the amplifier's own shoulder, then the curve through all.

Theory  evidence/drive.py reduces, drive_fit.py fits and finds the crossing.
Source  the modules it joins. The doubts assumed where none is given are this program's own.
Holds   One amplifier, one mode, one instrument; settings in dBm at any place whose changes all reach the amplifier.
"""

import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tepui.evidence.crest import PeakStatistics
from tepui.evidence.drive import (
    Asymmetry,
    Baseline,
    DriveReading,
    FilterCurve,
    FilterEffect,
    SideLevel,
    asymmetry_of,
    filter_effect,
    without_baseline,
)
from tepui.ground.errors import RangeError
from tepui.ground.findings import Finding
from tepui.jobs.drive_fit import FitQuestion, SeriesFit, fitted
from tepui.jobs.drive_slopes import falls, flat_names
from tepui.signals.dvbt.mode import Mode

Floats = npt.NDArray[np.float64]
READING_DOUBT_DB = 0.3  # 95 %, how well a display repeats; assumed where none is given
STEP_DB = 0.1
NOMINAL_MODE = Mode(width_hz=8e6, n_fft=8192, guard=Fraction(1, 32), constellation="QPSK", code_rate=Fraction(2, 3))


@dataclass(frozen=True, kw_only=True, eq=False)
class Measured:
    """A recording of the series, or a set of narrow ones, reduced; ``findings`` are handed on.

    about      recording:NAME or set:NAME
    is_held    whether the mode was read off its signalling: else constellation and code rate are anybody's
    sides      lower, upper, worst
    is_open    whether the receiver's own products may be in them, which only other pads would tell
    trace      offset from the signal's centre and level over the highest in band, for the picture; None where parts
               of the channel were not seen
    peaks      None of narrow recordings
    """

    about: str
    setting_dbm: float | None
    mode: Mode
    is_held: bool
    sides: Mapping[str, SideLevel]
    is_open: bool
    trace: tuple[Floats, Floats] | None
    peaks: PeakStatistics | None
    findings: tuple[Finding, ...]

    @property
    def name(self) -> str:
        """Without what kind it is."""
        return self.about.partition(":")[2]


@dataclass(frozen=True, kw_only=True)
class SeriesRow:
    """One row of a table of readings, or one recording; ``values`` by column name of files/readings.py."""

    values: Mapping[str, float] = field(default_factory=dict)
    recording: Measured | None = None


@dataclass(frozen=True, kw_only=True)
class DriveQuestion:
    """What is asked of a series.

    doubt_db  95 % doubt of a reading that states none; None takes READING_DOUBT_DB
    mode      of readings without a recording; None takes NOMINAL_MODE and says so
    model     a family's name, or auto
    confirm   whether the modulated waveform is to be simulated too
    """

    name: str
    target_db: float
    confidence: float
    baseline: Baseline | None = None
    curve: FilterCurve | None = None
    doubt_db: float | None = None
    step_db: float = STEP_DB
    model: str = "auto"
    mode: Mode | None = None
    supply_v: float | None = None
    confirm: bool = False


@dataclass(frozen=True, kw_only=True, eq=False)
class Series:
    """A series reduced; ``result`` None where no curve could be fitted.

    levels   what is known of each reading: the worse side, before the filter where its curve is known; None where
             only a bound is known
    flat     names of readings that do not follow the drive
    is_sent  whether a floor in the readings is the transmitter's: recordings have the receiver's taken off
    falling  whether the shoulder falls as the setting rises, which no drive does: then there is no curve
    """

    question: DriveQuestion
    mode: Mode
    readings: tuple[DriveReading, ...]
    levels: tuple[SideLevel | None, ...]
    effect: FilterEffect | None
    skew: Asymmetry | None
    flat: tuple[str, ...]
    is_sent: bool
    falling: bool
    axis_is_power: bool
    receiver_level_dbm: tuple[float, ...]
    result: SeriesFit | None


def reduce_series(rows: Sequence[SeriesRow], question: DriveQuestion) -> Series:
    """The readings in order of setting, and the curve through them.

    raises  RangeError for a series that cannot be used
    """
    readings, axis_is_power = _readings(rows, question)
    mode = _mode_of(rows, question)
    effect = None
    if question.curve is not None:
        _require_both_sides(readings)
        effect = filter_effect(question.curve, occupied_width_hz=mode.occupied_width_hz)
    levels: list[SideLevel | None] = [_level(reading, effect) for reading in readings]
    falling = falls(readings, levels)
    flat = flat_names(readings, levels) if question.baseline is None and not falling else ()
    is_sent = all(reading.is_recording for reading in readings if reading.worst is not None) and not any(
        row.recording is not None and row.recording.is_open for row in rows
    )
    known = [
        level if level is not None and level.true is not None and (is_sent or reading.name not in flat) else None
        for reading, level in zip(readings, levels, strict=True)
    ]
    held = [r.power_dbm - row.values["pad_db"] for r, row in _with_pads(readings, rows)]  # type: ignore[operator]
    return Series(
        question=question,
        mode=mode,
        readings=tuple(readings),
        levels=tuple(known),
        effect=effect,
        skew=asymmetry_of(readings, effect=effect),
        flat=flat,
        is_sent=is_sent,
        falling=falling,
        axis_is_power=axis_is_power,
        receiver_level_dbm=tuple(held),
        result=None
        if falling
        else fitted(
            readings,
            levels,
            FitQuestion(
                target_db=question.target_db,
                confidence=question.confidence,
                step_db=question.step_db,
                model=question.model,
                baseline=question.baseline,
                mode=mode,
                is_mode_known=mode is not NOMINAL_MODE,
                axis_is_power=axis_is_power,
                is_sent=is_sent,
            ),
            flat=flat,
        ),
    )


def _with_pads(readings: Sequence[DriveReading], rows: Sequence[SeriesRow]) -> list[tuple[DriveReading, SeriesRow]]:
    ordered = sorted(rows, key=lambda row: _setting(row, axis_is_power=_axis_is_power(rows)))
    return [
        (reading, row)
        for reading, row in zip(readings, ordered, strict=True)
        if reading.power_dbm is not None and "pad_db" in row.values
    ]


def _axis_is_power(rows: Sequence[SeriesRow]) -> bool:
    settled = [
        "setting_dbm" in row.values or (row.recording is not None and row.recording.setting_dbm is not None)
        for row in rows
    ]
    return not any(settled) and all("power_dbm" in row.values for row in rows)


def _setting(row: SeriesRow, *, axis_is_power: bool) -> float:
    if axis_is_power:
        return row.values["power_dbm"]
    if "setting_dbm" in row.values:
        return row.values["setting_dbm"]
    if row.recording is not None and row.recording.setting_dbm is not None:
        return row.recording.setting_dbm
    named = f" of {row.recording.name}" if row.recording is not None else ""
    raise RangeError(
        f"The drive setting{named} is not known: give it as setting_dbm in a table of readings whose column "
        "recording names the file, or as tepui:setting_dbm in its SigMF capture."
    )


def _readings(rows: Sequence[SeriesRow], question: DriveQuestion) -> tuple[list[DriveReading], bool]:
    if not rows:
        raise RangeError("A drive series needs readings: give recordings, or a table with --readings.")
    axis_is_power = _axis_is_power(rows)
    ordered = sorted(rows, key=lambda row: _setting(row, axis_is_power=axis_is_power))
    seen: Counter[str] = Counter()
    readings = []
    for row in ordered:
        setting = _setting(row, axis_is_power=axis_is_power)
        name = f"set:{question.name} at {setting:+g} dBm"
        if row.recording is not None:
            name = row.recording.about
        seen[name] += 1
        if seen[name] > 1:
            name = f"{name} ({seen[name]})"
        readings.append(_reading(row, name=name, setting_dbm=setting, question=question))
    return readings, axis_is_power


def _reading(row: SeriesRow, *, name: str, setting_dbm: float, question: DriveQuestion) -> DriveReading:
    values, measured = row.values, row.recording
    std = values.get("doubt_db", READING_DOUBT_DB if question.doubt_db is None else question.doubt_db) / 2
    sides: dict[str, SideLevel] = {}
    for side in ("lower", "upper", "worst"):
        shown = values.get(f"shoulder_{side}_db")
        if shown is not None:
            sides[side] = without_baseline(shown_db=shown, std_db=std, baseline=question.baseline)
        elif measured is not None and not any(f"shoulder_{other}_db" in values for other in ("lower", "upper")):
            level = measured.sides[side]
            if measured.is_open and question.baseline is not None:
                level = without_baseline(shown_db=level.shown_db, std_db=level.own_std_db, baseline=question.baseline)
            sides[side] = level
    both = [sides[side] for side in ("lower", "upper") if side in sides]
    worst = sides.get("worst") or (worse_of(both) if both else None)
    mer = next((f.value for f in measured.findings if f.key == "mer_db" and f.is_number), None) if measured else None
    return DriveReading(
        name=name,
        setting_dbm=setting_dbm,
        power_dbm=values.get("power_dbm"),
        lower=sides.get("lower"),
        upper=sides.get("upper"),
        worst=worst,
        mer_db=values.get("mer_db", None if mer is None else float(mer)),
        supply_a=values.get("supply_a"),
        case_c=values.get("case_c"),
        receiver_gain_db=values.get("receiver_gain_db"),
        is_recording=measured is not None and not any(key.startswith("shoulder") for key in values),
    )


def worse_of(sides: Sequence[SideLevel]) -> SideLevel:
    """The higher side; by what was shown where of one only a bound is known, for a bound is no level."""
    if all(side.true is not None for side in sides):
        return max(sides, key=_height)
    return max(sides, key=lambda side: side.shown_db)


def _height(side: SideLevel) -> float:
    return side.shown_db if side.true is None else side.true.value


def _require_both_sides(readings: Sequence[DriveReading]) -> None:
    for reading in readings:
        if reading.worst is not None and (reading.lower is None or reading.upper is None):
            raise RangeError(
                f"A filter changes each side differently: with --filter every reading needs shoulder_lower_db and "
                f"shoulder_upper_db, and the one at {reading.setting_dbm:g} dBm lacks one."
            )


def _level(reading: DriveReading, effect: FilterEffect | None) -> SideLevel | None:
    """The side that counts: the worse as read, or the worse before the filter."""
    if effect is None or reading.lower is None or reading.upper is None:
        return reading.worst
    moved = [_moved(reading.lower, effect.lower_db), _moved(reading.upper, effect.upper_db)]
    exact = [side for side in moved if side.true is not None]
    return max(exact or moved, key=_height)


def _moved(side: SideLevel, by_db: float) -> SideLevel:
    """A side before the filter; its baseline, if any, is off already."""
    if side.true is None:
        return replace(side, shown_db=side.shown_db + by_db, on_baseline=False)
    true = replace(side.true, value=side.true.value + by_db)
    own = math.sqrt(max(true.std**2 - side.common_std_db**2, 1e-6))
    return SideLevel(
        shown_db=true.value, own_std_db=own, common_std_db=side.common_std_db, true=true, on_baseline=False
    )


def _mode_of(rows: Sequence[SeriesRow], question: DriveQuestion) -> Mode:
    modes = [row.recording.mode for row in rows if row.recording is not None]
    widths = {(mode.width_hz, mode.n_fft) for mode in modes}
    if len(widths) > 1:
        raise RangeError("The recordings of a drive series must be of one mode, and these are of several: sort them.")
    return modes[0] if modes else question.mode or NOMINAL_MODE
