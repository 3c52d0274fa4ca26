"""What each reading of a drive series says by itself: as shown, as true, or as no more than a bound.

Theory  A shoulder less than 3 dB above the baseline is given as a bound: the truth lies below what was shown.
Source  [TR101290] 9.7 for shoulders; evidence/drive.py for what is taken off.
Holds   as drive_series.py.
"""

from dataclasses import replace

from tepui.evidence.drive import LEAST_ABOVE_BASELINE_DB, DriveReading, SideLevel
from tepui.ground.doubt import Estimate
from tepui.ground.findings import Finding
from tepui.jobs.drive_series import Series
from tepui.jobs.statements import estimated

SHOULDER = "[TR101290] 9.7"
SAME_DB = 0.1  # to which a target and a level are the same
ON_A_DISPLAY = f"{SHOULDER}, as read from a display, baseline taken off as power"
ON_A_RECORDING = f"{SHOULDER} on the recording, floor from the guard interval taken off"


def reading_findings(series: Series) -> list[Finding]:
    """Shoulders of every reading, in order of setting."""
    return [finding for reading in series.readings for finding in _of(reading, series)]


def _of(reading: DriveReading, series: Series) -> list[Finding]:
    findings = []
    for side in ("lower", "upper", "worst"):
        level: SideLevel | None = getattr(reading, side)
        if level is None:
            continue
        key = f"shoulder_{side}"
        findings.append(_true(reading, series, level, f"{key}_db", worst=side == "worst"))
        shown = Estimate(value=level.shown_db, std=_shown_std(level), contributions={})
        findings.append(estimated(reading.name, f"{key}_shown_db", shown, "dB", source=SHOULDER))
        if series.effect is not None and side != "worst" and level.true is not None:
            by_db = series.effect.lower_db if side == "lower" else series.effect.upper_db
            before = Estimate(
                value=level.true.value + by_db, std=level.true.std, contributions=level.true.contributions
            )
            findings.append(
                estimated(
                    reading.name,
                    f"{key}_before_filter_db",
                    before,
                    "dB",
                    source=f"{SHOULDER} and the filter's curve",
                    remark=f"The filter changes this side by {by_db:.1f} dB against the signal.",
                )
            )
    return findings


def _shown_std(level: SideLevel) -> float:
    return float((level.own_std_db**2 + level.common_std_db**2) ** 0.5)


def _true(reading: DriveReading, series: Series, level: SideLevel, key: str, *, worst: bool) -> Finding:
    source = ON_A_RECORDING if reading.is_recording else ON_A_DISPLAY
    limit = {}
    if worst:
        margin_of = level.true.value if level.true is not None else level.shown_db
        limit = {
            "limit": series.question.target_db,
            "limit_sense": "at_most",
            "limit_source": "the operator's target",
            "margin": series.question.target_db - margin_of,
        }
    is_flat = reading.name in series.flat and not series.is_sent
    if level.true is None or is_flat:
        why = (
            "It no longer follows the drive, so it is not the amplifier's."
            if is_flat
            else f"Less than {LEAST_ABOVE_BASELINE_DB:g} dB above the baseline: what is left after taking that off is "
            "no figure one could trust."
        )
        if level.true is None and not level.on_baseline:
            why = "The recording's own floor hides it."
        return Finding(
            about=reading.name,
            key=key,
            value=level.shown_db,
            unit="dB",
            high=level.shown_db,
            standing="at_most",
            source=source,
            remark=f"Better than {level.shown_db:.1f} dB is all that can be said. {why}",
            **limit,  # type: ignore[arg-type]
        )
    shown_misses = worst and level.shown_db > series.question.target_db >= level.true.low
    remark = (
        f"The {level.shown_db:.1f} dB shown look like a miss; what is not the amplifier's is in them."
        if shown_misses and level.true.value <= series.question.target_db + SAME_DB
        else ""
    )
    found = estimated(reading.name, key, level.true, "dB", source=source, remark=remark)
    return replace(found, **limit)  # type: ignore[arg-type]
