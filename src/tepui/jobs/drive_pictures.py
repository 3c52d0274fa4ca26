"""What the pictures of a drive series show, as arrays: report/ draws them.

Theory  Curves on a fine grid, readings as points with their doubt, spectra of the recordings over one another, and the
        peaks of the envelope before and behind the amplifier.
Source  as drive_series.py.
Holds   A series with a curve.
"""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.chain.amplifiers.output_crest import gaussian_crest_db
from tepui.ground.doubt import COVERAGE_FACTOR
from tepui.ground.findings import Finding
from tepui.jobs.drive_peaks import peak_curves
from tepui.jobs.drive_series import NOMINAL_MODE, Series, SeriesRow
from tepui.jobs.drive_tables import power_curve, side_curves

Floats = npt.NDArray[np.float64]
DRAWN_STEP_DB = 0.05
DRAWN_SPECTRUM_REACH = 0.75  # of the occupied width, either side


def drive_pictures(
    series: Series, rows: Sequence[SeriesRow], findings: Sequence[Finding]
) -> dict[str, Mapping[str, Any]]:
    """Every picture by name; none without a curve."""
    if series.result is None:
        return {}
    named = {finding.key: finding for finding in findings}
    pictures: dict[str, Mapping[str, Any]] = {"drive": drive_picture(series, rows, findings)}
    peaks = peak_curves(series.result)
    if peaks is not None and "crest_after_db" in named:
        pictures["drive_peaks"] = {
            **peaks,
            "recorded": [
                (row.recording.name, row.recording.peaks.level_db, row.recording.peaks.probability)
                for row in rows
                if row.recording is not None and row.recording.peaks is not None
            ],
            "before_db": gaussian_crest_db(1e-4),
            "finding": named["crest_after_db"],
            "mode": _mode_words(series, rows),
        }
    return pictures


def drive_picture(series: Series, rows: Sequence[SeriesRow], findings: Sequence[Finding]) -> dict[str, Any]:
    """The arrays that report/drive_picture draws."""
    result = series.result
    if result is None:
        raise ValueError("a series without a curve has no picture")
    named = {finding.key: finding for finding in findings}
    low = min([result.where.first, *(r.setting_dbm for r in series.readings)])
    setting = np.linspace(low, result.where.last, round((result.where.last - low) / DRAWN_STEP_DB) + 1)
    shoulder, mer, power = result.fit.shoulder(setting), result.fit.mer(setting), power_curve(series, result, setting)
    points = [
        (r.setting_dbm, r.worst.shown_db if level is None or level.true is None else level.true.value,
         None if level is None or level.true is None else COVERAGE_FACTOR * level.true.std)
        for r, level in zip(series.readings, series.levels, strict=True)
        if r.worst is not None
    ]  # fmt: skip
    return {
        "setting_dbm": setting,
        "shoulder_db": shoulder.value,
        "shoulder_std_db": shoulder.std,
        "mer_db": mer.value,
        "power_dbm": None if power is None else power.value,
        "read_between": (result.first, result.last),
        "points": points,
        "powers": [
            (r.setting_dbm, r.power_dbm) for r in series.readings if power is not None and r.power_dbm is not None
        ],
        "mers": [(r.setting_dbm, r.mer_db) for r in series.readings if r.mer_db is not None],
        "sides": side_curves(series, shoulder, setting) if _apart(series) else (None, None),
        "target_db": series.question.target_db,
        "recommended_dbm": result.where.recommended,
        "finding": named["drive_recommended_dbm"],
        "crossing": named["drive_crossing_dbm"],
        "at_recommended": [named[key] for key in ("shoulder_recommended_db", "power_recommended_dbm") if key in named],
        "spectra": _spectra(rows),
        "name": series.question.name,
        "mode": _mode_words(series, rows),
    }


def _apart(series: Series) -> bool:
    """Whether the two sides differ enough to be drawn each."""
    return series.skew is not None and series.skew.cause != "none"


def _mode_words(series: Series, rows: Sequence[SeriesRow]) -> str:
    """The mode as received, or what was taken for it."""
    measured = [row.recording for row in rows if row.recording is not None]
    if measured and all(one.is_held for one in measured):
        return series.mode.text()
    if measured:
        mode = series.mode
        return f"{mode.width_hz / 1e6:g} MHz {mode.n_fft // 1024}K guard {mode.guard}"
    return f"{series.mode.width_hz / 1e6:g} MHz {series.mode.n_fft // 1024}K" + (
        " assumed" if series.mode is NOMINAL_MODE else ""
    )


def _spectra(rows: Sequence[SeriesRow]) -> list[tuple[str, Floats, Floats]]:
    """Traces of the recordings, in dB below the highest value in band, over the offset from the signal's centre."""
    found = []
    for row in rows:
        if row.recording is None or row.recording.trace is None:
            continue
        measured, mode = row.recording, row.recording.mode
        offset, level = row.recording.trace
        shown = np.abs(offset) < DRAWN_SPECTRUM_REACH * mode.occupied_width_hz
        thin = max(1, int(np.count_nonzero(shown) // 1200))
        found.append((measured.name, offset[shown][::thin], level[shown][::thin]))
    return found
