"""Tables of a drive series: the readings reduced, the curve in the modulator's steps, the next dB, the peaks.

Theory  Sides follow the fitted curve at a distance that is straight in drive, as their readings say.
Source  as drive_series.py.
Holds   The curve reaches 2 dB beyond the readings; rows there are marked.
"""

import math

import numpy as np
import numpy.typing as npt

from tepui.chain.amplifiers.fit import Curves
from tepui.evidence.drive import SideLevel, slopes_between
from tepui.ground.decibels import watts_from_dbm
from tepui.ground.doubt import COVERAGE_FACTOR
from tepui.ground.findings import Table, Value
from tepui.jobs.drive_fit import SeriesFit
from tepui.jobs.drive_peaks import peaks_table
from tepui.jobs.drive_series import Series
from tepui.prediction.drive import settings_between

Floats = npt.NDArray[np.float64]


def series_tables(series: Series) -> tuple[Table, ...]:
    """All tables of a series."""
    tables = [_readings(series)]
    if series.result is not None:
        tables.append(_curve(series, series.result))
        price = _price(series, series.result)
        tables += [price] if price is not None else []
        peaks = peaks_table(series.result)
        tables += [peaks] if peaks is not None else []
    return tuple(tables)


def _readings(series: Series) -> Table:
    columns = (
        ("setting_dbm", "dBm"),
        ("power_dbm", "dBm"),
        ("power_w", "W"),
        ("shoulder_worst_shown_db", "dB"),
        ("shoulder_worst_db", "dB"),
        ("shoulder_low_db", "dB"),
        ("shoulder_high_db", "dB"),
        ("standing", ""),
        ("shoulder_slope", "1"),
        ("compression_db", "dB"),
        ("mer_db", "dB"),
        ("dissipation_w", "W"),
        ("case_degc", "°C"),
    )
    slopes = _slopes(series)
    first = next((r for r in series.readings if r.power_dbm is not None), None)
    rows: list[tuple[Value, ...]] = []
    for number, (reading, level) in enumerate(zip(series.readings, series.levels, strict=True)):
        true = None if level is None else level.true
        compression = None
        if first is not None and first.power_dbm is not None and reading.power_dbm is not None:
            compression = (first.power_dbm - first.setting_dbm) - (reading.power_dbm - reading.setting_dbm)
        heat = None
        if series.question.supply_v is not None and reading.supply_a is not None and reading.power_dbm is not None:
            heat = series.question.supply_v * reading.supply_a - watts_from_dbm(reading.power_dbm)
        bound = None if reading.worst is None else reading.worst.shown_db
        rows.append(
            (
                reading.setting_dbm,
                reading.power_dbm,
                None if reading.power_dbm is None else watts_from_dbm(reading.power_dbm),
                bound,
                bound if true is None else true.value,
                None if true is None else true.low,
                bound if true is None else true.high,
                "unknown" if bound is None else "at_most" if true is None else "measured",
                slopes[number],
                None if series.axis_is_power else compression,
                reading.mer_db,
                heat,
                reading.case_c,
            )
        )
    return Table(name="drive_readings", columns=columns, rows=tuple(rows))


def _slopes(series: Series) -> list[float | None]:
    """Change per dB of drive from the exact reading below; None for bounds and the first."""
    known = [n for n, level in enumerate(series.levels) if level is not None and level.true is not None]
    values = [_value(series.levels[n]) for n in known]
    between = slopes_between([series.readings[n].setting_dbm for n in known], values)
    found: list[float | None] = [None] * len(series.readings)
    for n, slope in zip(known, between, strict=True):
        found[n] = slope
    return found


def _value(level: SideLevel | None) -> float:
    if level is None or level.true is None:
        raise ValueError("a bound has no value")
    return level.true.value


def _grid(series: Series, result: SeriesFit) -> Floats:
    return settings_between(result.where.first, result.where.last, step_db=series.question.step_db)


def side_curves(series: Series, curve: Curves, setting: Floats) -> tuple[Floats | None, Floats | None]:
    """Lower and upper shoulder as at the output, from the fitted curve; the higher of both lies on it."""
    if series.effect is not None:
        return curve.value - series.effect.lower_db, curve.value - series.effect.upper_db
    found: list[Floats | None] = []
    for side in ("lower", "upper"):
        away = [
            (r.setting_dbm, getattr(r, side).true.value - level.true.value)
            for r, level in zip(series.readings, series.levels, strict=True)
            if level is not None and level.true is not None and getattr(r, side) is not None and getattr(r, side).true
        ]
        if not away:
            found.append(None)
            continue
        at, distance = np.array(away).T
        degree = 1 if len(np.unique(at)) > 2 else 0
        found.append(np.asarray(np.polyval(np.polyfit(at, distance, degree), setting)))
    known = [side for side in found if side is not None]
    highest = np.max(known, axis=0) if len(known) == 2 else np.zeros(len(setting))
    lower, upper = (None if side is None else curve.value + side - highest for side in found)
    return lower, upper


def power_curve(series: Series, result: SeriesFit, setting: Floats) -> Curves | None:
    """Fitted output; None where no power was read, or where it is the axis."""
    if series.axis_is_power or not any(r.power_dbm is not None for r in series.readings):
        return None
    return result.fit.power(setting)


def _curve(series: Series, result: SeriesFit) -> Table:
    setting = _grid(series, result)
    shoulder, mer, compression = (c(setting) for c in (result.fit.shoulder, result.fit.mer, result.fit.compression))
    lower, upper = side_curves(series, shoulder, setting)
    apart = 0.0 if series.skew is None else series.skew.level.std
    power = power_curve(series, result, setting)
    heat = _dissipation(series, setting, power)
    columns = (
        ("setting_dbm", "dBm"),
        ("shoulder_worst_db", "dB"),
        ("shoulder_low_db", "dB"),
        ("shoulder_high_db", "dB"),
        ("shoulder_lower_db", "dB"),
        ("shoulder_upper_db", "dB"),
        ("side_std_db", "dB"),
        ("power_dbm", "dBm"),
        ("power_std_db", "dB"),
        ("mer_ceiling_db", "dB"),
        ("mer_ceiling_std_db", "dB"),
        ("compression_db", "dB"),
        ("compression_std_db", "dB"),
        ("dissipation_w", "W"),
        ("dissipation_std_w", "W"),
        ("extrapolated", ""),
    )
    rows = []
    for n, at in enumerate(setting):
        half = COVERAGE_FACTOR * float(shoulder.std[n])
        rows.append(
            (
                round(float(at), 6),
                float(shoulder.value[n]),
                float(shoulder.value[n]) - half,
                float(shoulder.value[n]) + half,
                None if lower is None else float(lower[n]),
                None if upper is None else float(upper[n]),
                None if lower is None and upper is None else math.hypot(float(shoulder.std[n]), apart),
                None if power is None else float(power.value[n]),
                None if power is None else float(power.std[n]),
                float(mer.value[n]),
                float(mer.std[n]),
                float(compression.value[n]),
                float(compression.std[n]),
                *_heat_cells(heat, power, n),
                bool(at < result.first - 1e-9 or at > result.last + 1e-9),
            )
        )
    return Table(name="drive_curve", columns=columns, rows=tuple(rows))


def _dissipation(series: Series, setting: Floats, power: Curves | None) -> Floats | None:
    """Supply less output, the current straight between readings; not a number beyond them. (n,) [W]"""
    read = [(r.setting_dbm, r.supply_a) for r in series.readings if r.supply_a is not None]
    if power is None or series.question.supply_v is None or len(read) < 2:
        return None
    at, current = np.array(read, dtype=np.float64).T
    between = np.interp(setting, at, current, left=np.nan, right=np.nan)
    return np.asarray(series.question.supply_v * between - 1e-3 * 10 ** (power.value / 10))


def _heat_cells(heat: Floats | None, power: Curves | None, n: int) -> tuple[float | None, float | None]:
    """Dissipation and its standard uncertainty from the output's; the current is taken as read."""
    if heat is None or power is None or not np.isfinite(heat[n]):
        return None, None
    return float(heat[n]), watts_from_dbm(float(power.value[n])) * math.log(10) / 10 * float(power.std[n])


def _price(series: Series, result: SeriesFit) -> Table | None:
    """Now and one decibel more: what moves."""
    now = result.where.recommended if result.where.recommended is not None else result.where.value
    if now is None:
        return None
    setting = np.array([now, now + 1.0])
    shoulder, mer, compression = (c(setting) for c in (result.fit.shoulder, result.fit.mer, result.fit.compression))
    power = power_curve(series, result, setting)
    rows = []
    for n in (0, 1):
        rows.append(
            (
                float(setting[n]),
                None if power is None else float(power.value[n]),
                None if power is None else watts_from_dbm(float(power.value[n])),
                float(shoulder.value[n]),
                float(mer.value[n]),
                float(compression.value[n]),
                series.question.target_db - float(shoulder.value[n]),
                bool(setting[n] > result.last + 1e-9),
            )
        )
    columns = (
        ("setting_dbm", "dBm"),
        ("power_dbm", "dBm"),
        ("power_w", "W"),
        ("shoulder_worst_db", "dB"),
        ("mer_ceiling_db", "dB"),
        ("compression_db", "dB"),
        ("target_margin_db", "dB"),
        ("extrapolated", ""),
    )
    return Table(name="price_of_next", columns=columns, rows=tuple(rows))
