"""Drive: a series of settings in; where the shoulder meets the target, what to set, and what the next dB costs.

Theory  Each reading is reduced to the amplifier's own shoulder (evidence/drive.py), an amplifier is fitted to all of
        them (chain/amplifiers/fit.py) and the curve is read where it crosses the target (prediction/drive.py).
Source  the modules it joins; ``drive_findings`` and ``drive_tables`` say what was found.
Holds   One amplifier, one mode, one instrument; settings in dBm at any one place whose changes reach the amplifier.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from tepui.chain.amplifiers.families import FAMILIES
from tepui.chain.amplifiers.fit import AmplifierFit, DriveData, fit_amplifier
from tepui.evidence.drive import (
    Baseline,
    DriveReading,
    FilterCurve,
    FilterEffect,
    SideLevel,
    asymmetry_of,
    filter_effect,
    of_recording,
    without_baseline,
)
from tepui.evidence.floor import floor_from_guard
from tepui.evidence.shoulders import Shoulders, shoulders
from tepui.ground.errors import FormatError, RangeError
from tepui.ground.findings import Finding, Outcome, Value, finding_named
from tepui.jobs.receive import receive_recording
from tepui.prediction.drive import crossing
from tepui.prediction.waveform_density import view_of_mode
from tepui.signals.dvbt.mode import Mode
from tepui.signals.recording import Recording
from tepui.signals.spectrum import Spectrum, spectrum_of_recording

READING_DOUBT_DB = 0.3  # 95 %, of a display that is read twice; this program's assumption where none is given
POWER_STD_DB = 0.1  # of a power reading, from one to the next; this program's assumption
STEP_DB = 0.1
FLAT_SLOPE, SURELY_FLAT = 1.2, 1.6  # dB of shoulder a dB of drive: less is no product of the stage that is driven
FLOOR_SAMPLES = 1 << 22


@dataclass(frozen=True, kw_only=True)
class Measured:
    """A recording of the series, reduced."""

    name: str
    setting_dbm: float | None
    mode: Mode
    sides: Shoulders
    mer_db: float | None
    findings: tuple[Finding, ...]
    practice: bool


@dataclass(frozen=True, kw_only=True)
class SeriesRow:
    """One row of a table of readings, or one recording with its setting; None where it says nothing."""

    setting_dbm: float | None
    values: Mapping[str, float] = field(default_factory=dict)
    recording: Measured | None = None


@dataclass(frozen=True, kw_only=True)
class DriveQuestion:
    """What is asked of a series, everything in SI or dB.

    doubt_db  95 % doubt of a reading that states none; None takes READING_DOUBT_DB
    mode      of readings without a recording; None takes 8 MHz, 8K
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


NOMINAL_MODE = Mode(
    width_hz=8e6, n_fft=8192, guard=Fraction(1, 32), constellation="QPSK", code_rate=Fraction(2, 3)
)


def measure(recording: Recording, *, workers: int | None = None) -> Measured:
    """Mode, offset and both shoulders of one recording.

    raises  FormatError where it holds no DVB-T signal; RangeError where it is too narrow or too short
    """
    received = receive_recording(recording, workers=workers)
    about = f"recording:{recording.name}"
    found = {finding.key: finding for finding in received.findings}
    if "fft_size" not in found:
        raise FormatError(
            f"{recording.name} holds no DVB-T signal that could be received, so its shoulders have no reference. "
            f"{found['dvbt_found'].remark}"
        )
    mode = Mode(
        width_hz=_number(found, "channel_width_hz"),
        n_fft=int(_number(found, "fft_size")),
        guard=Fraction(str(found["guard_fraction"].value)),
        constellation=str(found["constellation"].value),
        code_rate=Fraction(str(found["code_rate"].value)),
    )
    sides = recording_shoulders(
        recording,
        mode=mode,
        offset_hz=_number(found, "frequency_offset_hz"),
        clock_ppm=_number(found, "sample_clock_ppm"),
        workers=workers,
    )[1]
    mer = found.get("mer_db")
    setting = recording.stretches[0].settings.get("setting_dbm")
    kept = tuple(finding_named(received.findings, key) for key in ("frequency_offset_hz", "mer_db") if key in found)
    return Measured(
        name=recording.name,
        setting_dbm=None if setting is None else float(setting),
        mode=mode,
        sides=sides,
        mer_db=float(mer.value) if mer is not None and mer.is_number else None,  # type: ignore[arg-type]
        findings=tuple(replace(finding, about=about) for finding in kept),
        practice=recording.practice,
    )


def recording_shoulders(
    recording: Recording, *, mode: Mode, offset_hz: float, clock_ppm: float, workers: int | None = None
) -> tuple[Spectrum, Shoulders]:
    """Spectrum and both shoulders of a recording whose mode and offset are known."""
    where = {"centre_offset_hz": offset_hz, "occupied_width_hz": mode.occupied_width_hz}
    spectrum = spectrum_of_recording(
        recording, resolution_bandwidth_hz=mode.carrier_spacing_hz / 2, workers=workers
    )
    samples = recording.read(0, min(recording.n_samples, FLOOR_SAMPLES))
    stretch = 1 - clock_ppm * 1e-6
    floor = floor_from_guard(
        samples,
        sample_rate_hz=recording.sample_rate_hz,
        useful_s=mode.useful_s * stretch,
        guard_s=mode.guard_s * stretch,
        **where,
    )
    return spectrum, shoulders(spectrum, carrier_spacing_hz=mode.carrier_spacing_hz, floor=floor, **where)


def _number(found: Mapping[str, Finding], key: str) -> float:
    value: Value = found[key].value
    if not found[key].is_number:
        raise RangeError(f"{found[key].about} has no {key}; record longer.")
    return float(value)  # type: ignore[arg-type]


def drive_series(rows: Sequence[SeriesRow], question: DriveQuestion) -> Outcome:
    """Everything a series tells.

    raises  RangeError or FormatError for a series that cannot be used
    """
    from tepui.jobs.drive_findings import series_findings
    from tepui.jobs.drive_tables import drive_picture, series_tables

    readings = _readings(rows, question)
    mode = _mode_of(rows, question)
    effect = None
    if question.curve is not None:
        effect = filter_effect(question.curve, occupied_width_hz=mode.occupied_width_hz)
    readings = before_filter(readings, effect) if effect is not None else readings
    readings, flat = _without_flat(readings) if question.baseline is None else (readings, False)
    skew = asymmetry_of(readings, effect=effect)
    settings = sorted({r.setting_dbm for r in readings if fitted_level(r, effect) is not None})
    result = None
    if len(settings) > 1:
        data = _fit_data(readings, question.baseline, effect)
        names = tuple(FAMILIES) if question.model == "auto" else (question.model,)
        fit = fit_amplifier(data, view_of_mode(mode), families=names)
        where = crossing(
            fit,
            target_db=question.target_db,
            confidence=question.confidence,
            first=settings[0],
            last=max(r.setting_dbm for r in readings),
            step_db=question.step_db,
        )
        result = SeriesFit(fit=fit, where=where, settings=tuple(settings))
    series = Series(
        question=question, mode=mode, readings=tuple(readings), effect=effect, skew=skew, flat=flat, result=result
    )
    measured = [finding for row in rows if row.recording is not None for finding in row.recording.findings]
    findings = series_findings(series)
    pictures = {"drive": drive_picture(series, findings)} if result is not None else {}
    return Outcome(findings=(*findings, *measured), tables=series_tables(series), pictures=pictures)


@dataclass(frozen=True, kw_only=True, eq=False)
class SeriesFit:
    """The fitted curve, where it crosses the target, and the settings behind it."""

    fit: AmplifierFit
    where: "object"
    settings: tuple[float, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Series:
    """A series reduced: what findings and tables are made from; ``result`` None where no curve could be fitted."""

    question: DriveQuestion
    mode: Mode
    readings: tuple[DriveReading, ...]
    effect: FilterEffect | None
    skew: object
    flat: bool
    result: SeriesFit | None
