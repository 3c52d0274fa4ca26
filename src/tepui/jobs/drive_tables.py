"""Tables and picture of a drive series: the readings reduced, the curve in the modulator's steps, the next dB.

Theory  Sides follow the fitted curve at a distance that is straight in drive, as their readings say.
Source  as drive_series.py.
Holds   The curve reaches 2 dB beyond the readings; rows there are marked.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.chain.amplifiers.fit import Curves
from tepui.evidence.drive import SideLevel, slopes_between
from tepui.ground.decibels import watts_from_dbm
from tepui.ground.doubt import COVERAGE_FACTOR
from tepui.ground.findings import Finding, Table, Value
from tepui.jobs.drive_series import NOMINAL_MODE, Series, SeriesFit, SeriesRow
from tepui.prediction.drive import settings_between
from tepui.signals.spectrum import smoothed

Floats = npt.NDArray[np.float64]
DRAWN_STEP_DB = 0.05
DRAWN_SPECTRUM_REACH = 0.75  # of the occupied width, either side


def series_tables(series: Series) -> tuple[Table, ...]:
    """All tables of a series."""
    tables = [_readings(series)]
    if series.result is not None:
        tables.append(_curve(series, series.result))
        price = _price(series, series.result)
        tables += [price] if price is not None else []
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
        bound = reading.worst.shown_db
        rows.append(
            (
                reading.setting_dbm,
                reading.power_dbm,
                None if reading.power_dbm is None else watts_from_dbm(reading.power_dbm),
                reading.worst.shown_db,
                bound if true is None else true.value,
                None if true is None else true.low,
                bound if true is None else true.high,
                "at_most" if true is None else "measured",
                slopes[number],
                None if series.axis_is_power else compression,
                reading.mer_db,
                heat,
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


def _sides(series: Series, curve: Curves, setting: Floats) -> tuple[Floats | None, Floats | None]:
    """Lower and upper shoulder as at the output, from the fitted curve."""
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
        found.append(np.asarray(curve.value + np.polyval(np.polyfit(at, distance, degree), setting)))
    return found[0], found[1]


def _power(series: Series, result: SeriesFit, setting: Floats) -> Curves | None:
    if series.axis_is_power or not any(r.power_dbm is not None for r in series.readings):
        return None
    return result.fit.power(setting)


def _curve(series: Series, result: SeriesFit) -> Table:
    setting = _grid(series, result)
    shoulder, mer, compression = (c(setting) for c in (result.fit.shoulder, result.fit.mer, result.fit.compression))
    lower, upper = _sides(series, shoulder, setting)
    power = _power(series, result, setting)
    heat = _dissipation(series, setting, power)
    columns = (
        ("setting_dbm", "dBm"),
        ("shoulder_worst_db", "dB"),
        ("shoulder_low_db", "dB"),
        ("shoulder_high_db", "dB"),
        ("shoulder_lower_db", "dB"),
        ("shoulder_upper_db", "dB"),
        ("power_dbm", "dBm"),
        ("power_std_db", "dB"),
        ("mer_ceiling_db", "dB"),
        ("compression_db", "dB"),
        ("dissipation_w", "W"),
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
                None if power is None else float(power.value[n]),
                None if power is None else float(power.std[n]),
                float(mer.value[n]),
                float(compression.value[n]),
                None if heat is None or not np.isfinite(heat[n]) else float(heat[n]),
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


def _price(series: Series, result: SeriesFit) -> Table | None:
    """Now and one decibel more: what moves."""
    now = result.where.recommended if result.where.recommended is not None else result.where.value
    if now is None:
        return None
    setting = np.array([now, now + 1.0])
    shoulder, mer, compression = (c(setting) for c in (result.fit.shoulder, result.fit.mer, result.fit.compression))
    power = _power(series, result, setting)
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


def drive_picture(series: Series, rows: Sequence[SeriesRow], findings: Sequence[Finding]) -> dict[str, Any]:
    """The arrays that report/drive_picture draws."""
    result = series.result
    if result is None:
        raise ValueError("a series without a curve has no picture")
    named = {finding.key: finding for finding in findings}
    low = min([result.where.first, *(r.setting_dbm for r in series.readings)])
    setting = np.linspace(low, result.where.last, round((result.where.last - low) / DRAWN_STEP_DB) + 1)
    shoulder, mer, power = result.fit.shoulder(setting), result.fit.mer(setting), _power(series, result, setting)
    points = [
        (r.setting_dbm, r.worst.shown_db if level is None or level.true is None else level.true.value,
         None if level is None or level.true is None else COVERAGE_FACTOR * level.true.std)
        for r, level in zip(series.readings, series.levels, strict=True)
    ]  # fmt: skip
    return {
        "setting_dbm": setting,
        "shoulder_db": shoulder.value,
        "shoulder_std_db": shoulder.std,
        "mer_db": mer.value,
        "power_dbm": None if power is None else power.value,
        "read_between": (result.first, result.last),
        "points": points,
        "powers": [] if power is None else [(r.setting_dbm, r.power_dbm) for r in series.readings if r.power_dbm],
        "target_db": series.question.target_db,
        "recommended_dbm": result.where.recommended,
        "finding": named["drive_recommended_dbm"],
        "crossing": named["drive_crossing_dbm"],
        "at_recommended": [named[key] for key in ("shoulder_recommended_db", "power_recommended_dbm") if key in named],
        "spectra": _spectra(rows),
        "name": series.question.name,
        "mode": _mode_words(series, rows),
    }


def _mode_words(series: Series, rows: Sequence[SeriesRow]) -> str:
    """The mode as received, or what was taken for it."""
    if any(row.recording is not None for row in rows):
        return series.mode.text()
    return f"{series.mode.width_hz / 1e6:g} MHz {series.mode.n_fft // 1024}K" + (
        " assumed" if series.mode is NOMINAL_MODE else ""
    )


def _spectra(rows: Sequence[SeriesRow]) -> list[tuple[str, Floats, Floats]]:
    """Traces of the recordings, in dB below the highest value in band, over the offset from the signal's centre."""
    found = []
    for row in rows:
        if row.recording is None:
            continue
        measured, mode = row.recording, row.recording.mode
        trace = smoothed(measured.spectrum, resolution_bandwidth_hz=10 * mode.carrier_spacing_hz)
        offset = trace.frequency_hz - measured.offset_hz
        shown = np.abs(offset) < DRAWN_SPECTRUM_REACH * mode.occupied_width_hz
        level = 10 * np.log10(np.maximum(trace.density / measured.sides.reference_density, 1e-12))
        thin = max(1, int(np.count_nonzero(shown) // 1200))
        found.append((measured.name, offset[shown][::thin], level[shown][::thin]))
    return found
