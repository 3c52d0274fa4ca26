"""What to keep in mind about a drive series: its baseline, the waveform's own side-lobes, and what the readings betray.

Theory  Each caution names what was seen and the reading or setting that would cure it.
Source  each finding names its own.
Holds   as drive_series.py.
"""

from tepui.ground.doubt import COVERAGE_FACTOR
from tepui.ground.findings import Finding
from tepui.jobs.drive_computed import CURVE, OPERATOR
from tepui.jobs.drive_fit import SeriesFit
from tepui.jobs.drive_series import NOMINAL_MODE, Series
from tepui.prediction.waveform_density import sidelobe_db, sidelobe_shoulder_db

LEVEL_HELD_DB = 0.6
LIKELY = 0.7  # odds from which a floor is spoken of, and how well it must then be known
KNOWN_DB = 1.5


def caution_findings(about: str, series: Series) -> list[Finding]:
    """Baseline, side-lobes, and cautions about the fit and the readings."""
    findings = [*_baseline(about, series), _sidelobe(about, series)]
    if series.falling:
        findings.append(_falling(about))
    if series.flat:
        findings.append(_flat(about, is_sent=series.is_sent))
    if series.result is None:
        return findings
    return [*findings, *_floor(about, series, series.result), *_cautions(about, series.result)]


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


def _falling(about: str) -> Finding:
    return Finding(
        about=about,
        key="shoulder_falling",
        value=True,
        kind="caution",
        standing="measured",
        source="drive slope of third-order products, 2 dB a dB",
        remark="The shoulder falls as the setting rises. An attenuation or a back-off is written with a minus; else "
        "rows were exchanged, or the amplifier has a null of third order here and more settings are needed.",
    )


def _flat(about: str, *, is_sent: bool) -> Finding:
    words = (
        "there the signal itself has it, by the modulator or a stage before the one that was turned. Less drive will "
        "not take it down; a filter ahead of the amplifier will."
        if is_sent
        else "there it is a floor: the receiver, the modulator or a stage before. Those readings count as bounds, and "
        "crossing and advice go by what is shown; the interval reaches to where the amplifier alone would cross. "
        "Give a --baseline to use them."
    )
    return Finding(
        about=about,
        key="shoulder_not_following",
        value=True,
        kind="caution",
        standing="measured",
        source="drive slope of third-order products, 2 dB a dB",
        remark=f"Below some setting the shoulder no longer follows the drive: {words}",
    )


def _floor(about: str, series: Series, result: SeriesFit) -> list[Finding]:
    """The shoulder that the signal brings along, where the readings speak for one."""
    odds, floor = result.fit.floor
    if floor is None or odds < LIKELY or floor.std > KNOWN_DB:
        return []
    sidelobe = sidelobe_shoulder_db(series.mode)
    alike = (
        series.mode is not NOMINAL_MODE and abs(floor.value - sidelobe) < LEVEL_HELD_DB + COVERAGE_FACTOR * floor.std
    )
    whose = (
        f"The side-lobes of an unfiltered signal of this mode read {sidelobe:.1f} dB: filter the modulator's signal."
        if alike
        else "The modulator's own, or of a stage before the one that was turned."
    )
    receiver = "" if series.is_sent else " Or the receiver's: give a --baseline."
    return [
        Finding(
            about=about,
            key="shoulder_floor_db",
            value=floor.value,
            unit="dB",
            low=floor.low,
            high=floor.high,
            standing="computed",
            source=CURVE,
            remark=f"Part of the shoulder that stays whatever the drive. {whose}{receiver}",
        )
    ]


def _cautions(about: str, result: SeriesFit) -> list[Finding]:
    findings = []
    if result.strain > 1:
        findings.append(
            Finding(
                about=about,
                key="fit_poor",
                value=True,
                kind="caution",
                standing="computed",
                source=CURVE,
                remark=f"The readings scatter {result.strain:.1f} times as much as their doubts allow, which were "
                "widened by that: a setting written wrong, a gain that was changed between readings, or heat. Repeat "
                "one; if it moved, something drifts.",
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
    return findings
