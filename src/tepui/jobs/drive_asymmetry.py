"""What the difference of the two shoulders means: a filter, which is the same at every drive, or memory, which grows.

Theory  A memoryless amplifier makes both shoulders alike. A filter behind it takes more from one side, by the same
        amount at every drive and no more than its curve says. What grows with drive is the amplifier's memory.
Source  evidence/drive.py; common practice (no published source).
Holds   Both sides read at the same settings.
"""

from tepui.evidence.drive import Asymmetry, FilterEffect
from tepui.ground.findings import Finding
from tepui.jobs.drive_series import Series
from tepui.jobs.statements import estimated, exact, text

SIDES = "upper less lower shoulder, [TR101290] 9.7"
CURVE = "the filter's curve as given"
NEAR_HZ = 50e3


def asymmetry_findings(about: str, series: Series) -> list[Finding]:
    """Difference of the sides, its cause, and what the filter does."""
    findings = []
    skew = series.skew
    if skew is not None:
        findings.append(estimated(about, "asymmetry_db", skew.level, "dB", source=SIDES, remark="Upper less lower."))
        if skew.slope is not None:
            findings.append(
                estimated(about, "asymmetry_slope", skew.slope, "1", source=SIDES, remark="dB a dB of drive.")
            )
        if skew.left is not None:
            findings.append(
                estimated(
                    about,
                    "asymmetry_before_filter_db",
                    skew.left,
                    "dB",
                    source=f"{SIDES}, {CURVE}",
                    remark="What the filter does not explain.",
                )
            )
        findings.append(text(about, "asymmetry_cause", skew.cause, source=SIDES, remark=_cause(series, skew)))
    if series.effect is not None:
        findings += _filter(about, series.effect)
    return findings


def _cause(series: Series, skew: Asymmetry) -> str:
    level = abs(skew.level.value)
    if skew.cause == "none":
        return "Both shoulders are alike within their doubt."
    if skew.cause == "memory":
        return (
            f"The difference changes with drive, by {skew.slope.value if skew.slope else 0:+.2f} dB a dB: the "
            "amplifier has memory (bias or drain supply, matching across the channel). The curve follows "
            "the worse side; the amplifier behind compression has none, the simulation behind mer_simulated_db has."
        )
    if skew.cause == "filter tilt" and series.effect is not None:
        return _filter_words(series, series.effect, level)
    return (
        f"The sides differ by {level:.1f} dB at every drive read: a tilt behind the amplifier, most often its filter, "
        "would do this; what an amplifier's memory does mostly grows with drive. Give the filter's curve with "
        "--filter, or sample before the filter."
    )


def _filter_words(series: Series, effect: FilterEffect, level: float) -> str:
    higher, lower = (
        ("lower", "upper") if series.skew is not None and series.skew.level.value < 0 else ("upper", "lower")
    )
    top = series.readings[-1]
    side = getattr(top, higher)
    by_db = effect.lower_db if higher == "lower" else effect.upper_db
    true = None if side is None or side.true is None else side.true.value + by_db
    at = "" if true is None else f", near {true:.1f} dB on both sides at {top.setting_dbm:g} dBm"
    retune = ""
    if effect.centre_offset_hz is not None and abs(effect.centre_offset_hz) > NEAR_HZ:
        way = "up" if effect.centre_offset_hz < 0 else "down"
        retune = f" Retune the filter {abs(effect.centre_offset_hz) / 1e6:.1f} MHz {way}: both sides then read alike."
    return (
        f"The {level:.1f} dB between the sides are the filter's, the same at every drive; the amplifier itself is "
        f"symmetric{at}. This speaks neither of a wrong bias nor of a faulty amplifier. The {lower} reading at the "
        f"output hides an amplifier that is worse than it looks.{retune} To confirm, sample before the filter: both "
        f"shoulders should then read alike{at.replace(' on both sides', '')}."
    )


def _filter(about: str, effect: FilterEffect) -> list[Finding]:
    findings = [
        exact(about, "filter_least_loss_db", effect.least_loss_db, "dB", source=CURVE, standing="computed"),
        exact(
            about,
            "filter_mean_loss_db",
            effect.mean_loss_db,
            "dB",
            source=f"{CURVE}, mean of the signal's power",
            standing="computed",
        ),
    ]
    for key, value in (
        ("filter_lower_edge_hz", effect.lower_3db_hz),
        ("filter_upper_edge_hz", effect.upper_3db_hz),
        ("filter_centre_offset_hz", effect.centre_offset_hz),
    ):
        if value is not None:
            findings.append(exact(about, key, value, "Hz", source=CURVE, standing="computed",
                                  remark="From the channel's centre."))  # fmt: skip
    return findings
