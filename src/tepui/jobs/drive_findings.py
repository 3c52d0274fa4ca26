"""What a drive series says as a whole: where the target is crossed, what to set, what the sides and the filter mean.

Theory  The curve and its doubt come from the fit; even odds where it crosses, the recommended step where enough odds
        are with the operator. What cannot be known is said to be so, with the reading that would settle it.
Source  [GUM-S1] for the interval; [TR101290] 9.7 and 9.16; each finding names its own.
Holds   as drive_series.py.
"""

from collections.abc import Callable

import numpy as np
import numpy.typing as npt

from tepui.chain.amplifiers.fit import Curves
from tepui.evidence.drive import slope_words
from tepui.ground.doubt import COVERAGE_FACTOR, Estimate
from tepui.ground.findings import Contribution, Finding
from tepui.jobs.drive_asymmetry import asymmetry_findings
from tepui.jobs.drive_series import NOMINAL_MODE, Series, SeriesFit
from tepui.jobs.statements import exact, unknown
from tepui.prediction.drive import crossing, slope_at
from tepui.prediction.waveform_density import sidelobe_db

CURVE = "curve fitted to the series, Bussgang expansion of the amplifier"
GUARD_DB = 1.0
MISFIT = 3.0  # times what the doubts explain
LEVEL_HELD_DB = 0.6
OPERATOR = "the operator's target"


def series_findings(series: Series) -> list[Finding]:
    """Findings about the whole series."""
    about = f"set:{series.question.name}"
    findings = [_target(about, series)]
    if series.result is None:
        findings += _without_curve(about, series)
    else:
        findings += _crossing(about, series, series.result)
        findings += _guarded(about, series, series.result)
        findings += _at_crossing(about, series, series.result)
    findings += asymmetry_findings(about, series)
    findings += _baseline(about, series)
    findings.append(_sidelobe(about, series))
    if series.result is not None:
        findings += _cautions(about, series, series.result)
    return findings


def _target(about: str, series: Series) -> Finding:
    question = series.question
    return exact(
        about,
        "shoulder_target_db",
        question.target_db,
        "dB",
        source=OPERATOR,
        standing="given",
        remark=f"To be met with a confidence of {100 * question.confidence:g} %.",
    )


def _without_curve(about: str, series: Series) -> list[Finding]:
    exact_levels = sum(level is not None for level in series.levels)
    remark = (
        f"{exact_levels} reading(s) give an exact shoulder and a curve needs two settings: read one or two dB higher, "
        "where the shoulder stands clear of the baseline."
    )
    return [unknown(about, key, "dBm", source=CURVE, remark=remark) for key in ("drive_crossing_dbm",
            "drive_recommended_dbm")]  # fmt: skip


def _crossing(about: str, series: Series, result: SeriesFit) -> list[Finding]:
    where, question = result.where, series.question
    settings = f"Read from {result.first:g} to {result.last:g} dBm."
    findings = [_crossing_finding(about, series, result)]
    if where.recommended is None:
        findings.append(
            unknown(
                about,
                "drive_recommended_dbm",
                "dBm",
                source=CURVE,
                remark=f"No setting looked at meets {question.target_db:g} dB with {100 * question.confidence:g} % "
                f"confidence. {settings} Read lower settings, with less receiver floor.",
            )
        )
        return findings
    best = Estimate(value=where.recommended, std=0.0)
    shoulder = _at(result.fit.shoulder, where.recommended)
    findings.append(
        exact(
            about,
            "drive_recommended_dbm",
            best.value,
            "dBm",
            source=f"{CURVE}; steps of {question.step_db:g} dB",
            standing="computed",
            remark=f"The highest step that meets {question.target_db:g} dB with {100 * question.confidence:g} % "
            f"confidence: {_beyond(where.recommended, result)}{settings}",
        )
    )
    findings.append(
        _computed(about, "shoulder_recommended_db", shoulder, "dB", limit=question.target_db, remark="At that setting.")
    )
    if series.axis_is_power or not _has_power(series):
        return findings
    findings.append(_computed(about, "power_recommended_dbm", _at(result.fit.power, where.recommended), "dBm"))
    return findings


def _beyond(setting: float, result: SeriesFit) -> str:
    return (
        "beyond the highest reading, carried on by theory. "
        if setting > result.last + 1e-9
        else "within the readings. "
    )


def _crossing_finding(about: str, series: Series, result: SeriesFit) -> Finding:
    where, key = result.where, "drive_crossing_dbm"
    target = series.question.target_db
    if where.value is not None and where.low > where.first and where.high < where.last:
        std = float(result.fit.shoulder([where.value]).std[0])
        choice = result.fit.between(where.value)
        share = min(1.0, (choice / std) ** 2) if std > 0 else 0.0
        remark = f"Even odds at {target:g} dB. " + ("" if where.value <= result.last else "Carried on by theory. ")
        return Finding(
            about=about,
            key=key,
            value=where.value,
            unit="dBm",
            low=min(where.low, where.value),
            high=max(where.high, where.value),
            standing="measured",
            source=CURVE,
            remark=remark.strip(),
            contributions=(
                Contribution(name="readings", share=1 - share),
                Contribution(name="form of the amplifier", share=share),
            ),
        )
    if where.met_everywhere or (where.value is not None and where.low > where.first):
        value = min(where.low, result.last)
        words = f"The target of {target:g} dB is still met at {value:.2f} dBm; to find where it ends, read higher."
        return Finding(about=about, key=key, value=value, unit="dBm", low=value, standing="at_least", source=CURVE,
                       remark=words)  # fmt: skip
    value = max(where.high, where.first)
    words = f"The target of {target:g} dB is missed from {value:.2f} dBm on and below nothing is sure; read lower."
    return Finding(about=about, key=key, value=value, unit="dBm", high=value, standing="at_most", source=CURVE,
                   remark=words)  # fmt: skip


def _has_power(series: Series) -> bool:
    return any(reading.power_dbm is not None for reading in series.readings) and not series.axis_is_power


def _at(curve: Callable[[npt.ArrayLike], Curves], setting: float) -> Estimate:
    found = curve(np.array([setting]))
    return Estimate(value=float(found.value[0]), std=float(found.std[0]), contributions={"fit": float(found.std[0])})


def _computed(
    about: str, key: str, value: Estimate, unit: str, *, limit: float | None = None, remark: str = ""
) -> Finding:
    return Finding(
        about=about,
        key=key,
        value=value.value,
        unit=unit,
        low=value.low,
        high=value.high,
        standing="computed",
        source=CURVE,
        remark=remark,
        limit=limit,
        limit_sense=None if limit is None else "at_most",
        limit_source=None if limit is None else OPERATOR,
        margin=None if limit is None else limit - value.value,
    )


def _guarded(about: str, series: Series, result: SeriesFit) -> list[Finding]:
    """The setting that leaves one decibel of shoulder for a warm evening."""
    where = crossing(
        result.fit,
        target_db=series.question.target_db - GUARD_DB,
        confidence=series.question.confidence,
        first=result.first,
        last=result.last,
        step_db=series.question.step_db,
    )
    if where.value is None or where.low <= where.first or where.high >= where.last:
        return []
    setting = where.value
    guarded = Estimate(value=setting, std=max(where.high - setting, setting - where.low, 1e-6) / COVERAGE_FACTOR)
    findings = [
        _computed(
            about,
            "drive_guarded_dbm",
            guarded,
            "dBm",
            remark=f"Even odds at {series.question.target_db - GUARD_DB:g} dB: {GUARD_DB:g} dB below the target, kept "
            "for heat and supply.",
        )
    ]
    if _has_power(series):
        findings.append(_computed(about, "power_guarded_dbm", _at(result.fit.power, setting), "dBm"))
    return findings


def _at_crossing(about: str, series: Series, result: SeriesFit) -> list[Finding]:
    """What holds at the last setting that still meets the target at even odds: the recommended one if none."""
    where = result.where
    setting = where.value if where.value is not None else where.recommended
    if setting is None:
        return []
    highest = max(reading.setting_dbm for reading in series.readings)
    slope = slope_at(result.fit, setting)
    findings = [
        _computed(
            about,
            "mer_ceiling_db",
            _at(result.fit.mer, setting),
            "dB",
            remark=f"What distortion alone leaves at {setting:.2f} dBm; noise, phase noise and the modulator lower it.",
        ),
        _computed(
            about,
            "compression_db",
            _at(result.fit.compression, setting),
            "dB",
            remark="Of the envelope's model at that setting; heat and a sagging supply add to it.",
        ),
        _computed(
            about,
            "shoulder_slope",
            Estimate(value=slope, std=_slope_std(result, setting)),
            "1",
            remark=f"dB of shoulder a dB of drive there: {slope_words(slope)}. The next dB costs "
            f"{_next_cost(result, setting):.1f} dB.",
        ),
    ]
    if where.value is not None:
        change = Estimate(value=setting - highest, std=max(where.high - where.low, 2e-6) / (2 * COVERAGE_FACTOR))
        findings.append(
            _computed(about, "drive_change_db", change, "dB", remark=f"From the highest setting read, {highest:g} dBm.")
        )
    if _has_power(series):
        power = _at(result.fit.power, setting)
        findings.insert(0, _computed(about, "power_crossing_dbm", power, "dBm", remark=f"Mean, at {setting:.2f} dBm."))
    findings.append(_model(about, result))
    return findings


def _slope_std(result: SeriesFit, setting: float) -> float:
    curve = result.fit.shoulder(np.array([setting - 1.0, setting + 1.0]))
    return float(np.hypot(*curve.std) / 2)


def _next_cost(result: SeriesFit, setting: float) -> float:
    curve = result.fit.shoulder(np.array([setting, setting + 1.0]))
    return float(curve.value[1] - curve.value[0])


def _model(about: str, result: SeriesFit) -> Finding:
    shares = ", ".join(
        f"{fit.family.name} {100 * weight:.0f} %"
        for fit, weight in sorted(zip(result.fit.fits, result.fit.weights, strict=True), key=lambda pair: -pair[1])
    )
    best = result.fit.best
    size = len(best.family.centre)
    theta = np.asarray(best.family.centre) + np.asarray(best.family.spread) * best.z[:size]
    named = ", ".join(f"{name} {value:.3g}" for name, value in zip(best.family.parameters, theta, strict=True))
    return Finding(
        about=about,
        key="amplifier_model",
        value=best.family.name,
        standing="computed",
        source=CURVE,
        remark=f"Weights: {shares}. {named}, at the highest setting read.",
    )


def _baseline(about: str, series: Series) -> list[Finding]:
    baseline = series.question.baseline
    if baseline is None:
        if any(not reading.is_recording for reading in series.readings):
            return [
                Finding(
                    about=about,
                    key="baseline_missing",
                    value=True,
                    kind="caution",
                    standing="given",
                    source=OPERATOR,
                    remark="No baseline was given, so displayed shoulders are taken as the amplifier's own. Read the "
                    "modulator alone at the same receiver level and give it as --baseline.",
                )
            ]
        return []
    half = COVERAGE_FACTOR * baseline.std_db
    findings = [
        Finding(
            about=about,
            key="baseline_shoulder_db",
            value=baseline.level_db,
            unit="dB",
            low=baseline.level_db - half,
            high=baseline.level_db + half,
            standing="given",
            source="the modulator alone, as the operator read it",
            remark="Taken off every displayed shoulder as power. The held receiver level is what makes this table "
            "usable: the baseline is the same in every reading only while a step attenuator keeps the level at the "
            "receiver constant.",
        )
    ]
    levels = series.receiver_level_dbm
    if len(levels) > 1 and max(levels) - min(levels) > LEVEL_HELD_DB:
        spread = max(levels) - min(levels)
        findings.append(
            Finding(
                about=about,
                key="receiver_level_moved_db",
                value=spread,
                unit="dB",
                low=spread,
                high=spread,
                kind="caution",
                standing="computed",
                source="power_dbm less pad_db of the readings",
                remark="The receiver level was not held, so one baseline does not fit all readings: set the pad so "
                "that power less pad stays the same, and read again.",
            )
        )
    return findings


def _sidelobe(about: str, series: Series) -> Finding:
    mode = series.mode
    level = float(sidelobe_db([500e3], mode=mode)[0])
    assumed = " (assumed, no mode was given)" if mode is NOMINAL_MODE else ""
    return Finding(
        about=about,
        key="sidelobe_unfiltered_db",
        value=level,
        unit="dB",
        low=level - 0.5,
        high=level + 0.5,
        kind="caution",
        standing="computed",
        source="[EN300744] 4.4, spectrum of rectangular symbols",
        remark=f"An unfiltered {mode.n_fft // 1024}K signal of {mode.width_hz / 1e6:g} MHz{assumed} itself has "
        f"side-lobes near {level:.0f} dB at 500 kHz: below that a shoulder may be the modulator's and not the "
        "amplifier's.",
    )


def _cautions(about: str, series: Series, result: SeriesFit) -> list[Finding]:
    findings = []
    best = result.fit.best
    readings = result.fit.n_readings
    if best.misfit > MISFIT * readings:
        findings.append(
            Finding(
                about=about,
                key="fit_poor",
                value=True,
                kind="caution",
                standing="computed",
                source=CURVE,
                remark="The readings scatter more than their doubts allow. Repeat one; if it moved, something drifts.",
            )
        )
    setting = result.where.value
    if setting is not None and not result.first <= setting <= result.last:
        findings.append(
            Finding(
                about=about,
                key="extrapolated",
                value=True,
                kind="caution",
                standing="computed",
                source=CURVE,
                remark=f"The crossing at {setting:.2f} dBm lies outside the exact readings, {result.first:g} to "
                f"{result.last:g} dBm: no reading stands behind the curve there. Read one beyond it.",
            )
        )
    if series.flat:
        findings.append(
            Finding(
                about=about,
                key="shoulder_not_following",
                value=True,
                kind="caution",
                standing="measured",
                source="drive slope of third-order products, 2 dB a dB",
                remark="Below some setting the shoulder no longer follows the drive: there it is a floor, the "
                "receiver or a stage before. Those readings count as bounds. Give a --baseline to use them.",
            )
        )
    return findings
