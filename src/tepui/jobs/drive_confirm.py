"""A drive curve confirmed: the modulated waveform itself through the fitted amplifier, beside the closed form.

Theory  Both take the same amplifier at the same setting; what they differ by is what taking the waveform for Gaussian
        noise costs. Where the sides part with drive, the simulation gives its distortion the memory that parts them so.
Source  prediction/drive_simulation.py; [TR101290] 9.7 and 9.16.
Holds   It confirms the arithmetic and not the readings: a wrong reading is wrong in both.
"""

from tepui.ground.doubt import Estimate
from tepui.ground.findings import Finding
from tepui.jobs.drive_fit import SeriesFit
from tepui.jobs.drive_operation import operating_setting
from tepui.jobs.drive_series import Series
from tepui.jobs.statements import unknown

SIMULATED = "modulated waveform through the fitted amplifier, simulated"
AGREE_DB = 0.2


def wants_confirming(series: Series) -> bool:
    """Whether it was asked for, or memory makes the closed form doubtful."""
    return series.question.confirm or (series.skew is not None and series.skew.cause == "memory")


def confirm_findings(about: str, series: Series, result: SeriesFit) -> list[Finding]:
    """Shoulders and MER of the simulation at the operating setting, and the distance to the closed form."""
    setting = operating_setting(result)
    if setting is None:
        remark = "No setting meets the target, so there is none to simulate at: read lower settings."
        return [unknown(about, "closed_form_difference_db", "dB", source=SIMULATED, remark=remark)]
    from tepui.prediction.drive_simulation import simulate_drive

    best = result.fit.best
    size = len(best.family.centre)
    drive = 10 ** ((setting - result.fit.problem.data.reference_db) / 10)
    skew_db = _skew_db(series, setting)
    found = simulate_drive(series.mode, lambda x: best.family.envelope(best.z[:size], x), drive, skew_db=skew_db)
    higher = found.shoulder if not skew_db else max((found.lower, found.upper), key=lambda side: side.value)
    difference = Estimate(value=higher.value - found.shoulder_closed_db, std=higher.std)
    words = (
        f"At {setting:.2f} dBm, {best.family.name} amplifier: {higher.value:.2f} dB simulated, "
        f"{found.shoulder_closed_db:.2f} dB in closed form"
    )
    verdict = "they agree." if abs(difference.value) <= AGREE_DB + 2 * difference.std else "they do not agree: tell us."
    memory = (
        ""
        if not skew_db
        else f" The distortion was given an echo that parts the sides by {skew_db:+.1f} dB, as they are."
    )
    heard = found.mer.value - found.mer_closed_db
    mer_words = f"The closed form, without memory, says {found.mer_closed_db:.2f} dB: {heard:+.2f} dB."
    return [
        _finding(about, "closed_form_difference_db", difference, remark=f"{words}; {verdict}{memory}"),
        _finding(about, "shoulder_lower_simulated_db", found.lower, remark="Before any filter."),
        _finding(about, "shoulder_upper_simulated_db", found.upper, remark="Before any filter."),
        _finding(about, "mer_simulated_db", found.mer, remark=mer_words),
    ]


def _skew_db(series: Series, setting: float) -> float:
    """Upper less lower shoulder that memory makes at a setting."""
    skew = series.skew
    if skew is None or skew.cause != "memory" or skew.slope is None:
        return 0.0
    level = skew.level if skew.left is None else skew.left
    return level.value + skew.slope.value * (setting - skew.middle_dbm)


def _finding(about: str, key: str, value: Estimate, *, remark: str) -> Finding:
    return Finding(about=about, key=key, value=value.value, unit="dB", low=value.low, high=value.high,
                   standing="computed", source=SIMULATED, remark=remark)  # fmt: skip
