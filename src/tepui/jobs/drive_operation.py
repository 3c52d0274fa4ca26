"""What holds at the setting a drive series points to: power, MER, compression, the next decibel, and the peaks.

Theory  All of it is read off the fitted amplifier at the crossing, or at the recommended setting where there is none.
        An amplifier that limits takes the peaks down: the level passed one time in ten thousand, before and after it.
Source  [TR101290] 9.16; chain/amplifiers; Rayleigh's envelope for the waveform before.
Holds   as drive_series.py.
"""

from dataclasses import replace

import numpy as np

from tepui.chain.amplifiers.output_crest import PROBABILITY, gaussian_crest_db
from tepui.evidence.drive import slope_words
from tepui.ground.doubt import COVERAGE_FACTOR, Estimate
from tepui.ground.findings import Finding
from tepui.jobs.drive_computed import CURVE, at_setting, computed, has_power
from tepui.jobs.drive_fit import SeriesFit
from tepui.jobs.drive_series import Series
from tepui.prediction.drive import slope_at

GAUSSIAN = "Rayleigh's law of the envelope of many carriers"
GAUSSIAN_STD_DB = 0.05  # OFDM of 1705 carriers and more beside the law: what simulated waveforms depart by


def operating_setting(result: SeriesFit) -> float | None:
    """The last setting that still meets the target at even odds; the recommended one where there is none."""
    return result.where.value if result.where.value is not None else result.where.recommended


def operation_findings(about: str, series: Series, result: SeriesFit) -> list[Finding]:
    """What holds at the operating setting."""
    where, setting = result.where, operating_setting(result)
    if setting is None:
        return []
    highest = max(reading.setting_dbm for reading in series.readings)
    slope = slope_at(result.fit, setting)
    findings = [
        computed(
            about,
            "mer_ceiling_db",
            at_setting(result.fit.mer, setting),
            "dB",
            remark=f"What distortion alone leaves at {setting:.2f} dBm; noise, phase noise and the modulator lower it.",
        ),
        computed(
            about,
            "compression_db",
            at_setting(result.fit.compression, setting),
            "dB",
            remark="Of the envelope's model at that setting; heat and a sagging supply add to it.",
        ),
        computed(
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
            computed(about, "drive_change_db", change, "dB", remark=f"From the highest setting read, {highest:g} dBm.")
        )
    if has_power(series):
        power = at_setting(result.fit.power, setting)
        findings.insert(0, computed(about, "power_crossing_dbm", power, "dBm", remark=f"Mean, at {setting:.2f} dBm."))
    return [*findings, *_peaks(about, result, setting), _model(about, result)]


def _slope_std(result: SeriesFit, setting: float) -> float:
    curve = result.fit.shoulder(np.array([setting - 1.0, setting + 1.0]))
    return float(np.hypot(*curve.std) / 2)


def _next_cost(result: SeriesFit, setting: float) -> float:
    curve = result.fit.shoulder(np.array([setting, setting + 1.0]))
    return float(curve.value[1] - curve.value[0])


def _model(about: str, result: SeriesFit) -> Finding:
    weights: dict[str, float] = {}
    for fit, weight in zip(result.fit.fits, result.fit.weights, strict=True):
        weights[fit.family.name] = weights.get(fit.family.name, 0.0) + float(weight)  # with a floor and without
    shares = ", ".join(
        f"{name} {100 * weights[name]:.0f} %" for name in sorted(weights, key=lambda name: -weights[name])
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


def _peaks(about: str, result: SeriesFit, setting: float) -> list[Finding]:
    """How far the envelope peaks above its mean one time in ten thousand, into the amplifier and out of it."""
    before = Estimate(value=gaussian_crest_db(PROBABILITY), std=GAUSSIAN_STD_DB)
    words = "Envelope power over its mean, passed one time in 10 000; add 3.01 dB for peaks of the voltage."
    after = at_setting(result.fit.crest, setting)
    taken = before.value - after.value
    return [
        replace(computed(about, "crest_before_db", before, "dB", remark=words), source=GAUSSIAN),
        computed(
            about,
            "crest_after_db",
            after,
            "dB",
            remark=f"The same behind the amplifier at {setting:.2f} dBm: it takes {taken:.1f} dB off the peaks. "
            "Parts behind it must bear what is left, parts before it all of it.",
        ),
    ]
