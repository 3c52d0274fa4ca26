"""Where a drive series crosses the target, what to set, and what to set with a decibel kept.

Theory  Even odds where the curve crosses; the recommended step where enough odds are with the operator, never above the
        crossing. What cannot be known is said to be so, with the reading that would settle it.
Source  [GUM-S1] for the interval; prediction/drive.py.
Holds   as drive_series.py.
"""

from tepui.ground.doubt import COVERAGE_FACTOR, Estimate
from tepui.ground.findings import Contribution, Finding
from tepui.jobs.drive_computed import CURVE, OPERATOR, at_setting, computed, has_power
from tepui.jobs.drive_fit import SeriesFit
from tepui.jobs.drive_series import Series
from tepui.jobs.drive_slopes import LEAST_SPAN_DB
from tepui.jobs.statements import exact, unknown
from tepui.prediction.drive import crossing

GUARD_DB = 1.0


def setting_findings(about: str, series: Series) -> list[Finding]:
    """Target, crossing, recommended and guarded setting."""
    findings = [_target(about, series)]
    if series.result is None:
        return findings + _without_curve(about, series)
    return findings + _crossing(about, series, series.result) + _guarded(about, series, series.result)


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
    """Why there is no curve, and the reading that would give one."""
    exact_levels = [reading.setting_dbm for reading, level in zip(series.readings, series.levels, strict=True) if level]
    if series.falling:
        remark = (
            "The shoulder falls as the setting rises, which no drive does: give an attenuation or back-off with a "
            "minus, see that rows were not exchanged, and read again."
        )
    elif series.flat:
        remark = (
            "The shoulder does not follow the drive: 0 dB a dB. What makes it is not the stage whose drive moved but "
            "the modulator's side-lobes, a stage ahead of the place that was turned, or the receiver. Read higher, or "
            "the modulator alone, and give that as --baseline."
        )
    elif len(exact_levels) > 1:
        remark = (
            f"The exact readings lie between {min(exact_levels):g} and {max(exact_levels):g} dBm and a curve needs "
            f"settings {LEAST_SPAN_DB:g} dB apart or more: read one a dB or two away."
        )
    elif series.question.baseline is not None and all(
        reading.worst.shown_db < series.question.baseline.level_db
        for reading in series.readings
        if reading.worst is not None
    ):
        remark = (
            f"Every reading lies below the baseline of {series.question.baseline.level_db:g} dB, and nothing reads "
            "less than the modulator alone: read the baseline again at the same receiver level, or leave it away."
        )
    else:
        remark = (
            f"{len(exact_levels)} reading(s) give an exact shoulder and a curve needs two settings: read one or two dB "
            "higher, where the shoulder stands clear of the baseline."
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
    shoulder = at_setting(result.fit.shoulder, where.recommended)
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
        computed(about, "shoulder_recommended_db", shoulder, "dB", limit=question.target_db, remark="At that setting.")
    )
    if series.axis_is_power or not has_power(series):
        return findings
    findings.append(computed(about, "power_recommended_dbm", at_setting(result.fit.power, where.recommended), "dBm"))
    return findings


def _beyond(setting: float, result: SeriesFit) -> str:
    return (
        "beyond the highest reading, carried on by theory. "
        if setting > result.last + 1e-9
        else "within the readings. "
    )


def _crossing_finding(about: str, series: Series, result: SeriesFit) -> Finding:
    where, key, target = result.where, "drive_crossing_dbm", series.question.target_db
    if where.standing == "at_least":
        words = (
            f"The target of {target:g} dB is still met at {where.stated:.2f} dBm; to find where it ends, read higher."
        )
        return Finding(about=about, key=key, value=where.stated, unit="dBm", low=where.stated, standing="at_least",
                       source=CURVE, remark=words)  # fmt: skip
    if where.standing == "at_most":
        words = (
            f"The target of {target:g} dB is missed from {where.stated:.2f} dBm on, and below that nothing is sure; "
            "read lower."
        )
        return Finding(about=about, key=key, value=where.stated, unit="dBm", high=where.stated, standing="at_most",
                       source=CURVE, remark=words)  # fmt: skip
    std = float(result.fit.shoulder([where.stated]).std[0])
    choice = result.fit.between(where.stated)
    share = min(1.0, (choice / std) ** 2) if std > 0 else 0.0
    remark = f"Even odds at {target:g} dB. " + ("" if where.stated <= result.last else "Carried on by theory. ")
    return Finding(
        about=about,
        key=key,
        value=where.stated,
        unit="dBm",
        low=min(where.low, where.stated),
        high=max(where.high, where.stated),
        standing="measured",
        source=CURVE,
        remark=remark.strip(),
        contributions=(
            Contribution(name="readings", share=1 - share),
            Contribution(name="form of the amplifier", share=share),
        ),
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
        computed(
            about,
            "drive_guarded_dbm",
            guarded,
            "dBm",
            remark=f"Even odds at {series.question.target_db - GUARD_DB:g} dB: {GUARD_DB:g} dB below the target, kept "
            "for heat and supply.",
        )
    ]
    if has_power(series):
        findings.append(computed(about, "power_guarded_dbm", at_setting(result.fit.power, setting), "dBm"))
    return findings
