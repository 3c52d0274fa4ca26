"""What is said of the oscillator: its settings, the reference's error, phase noise by FFT size, and the MER it leaves.

Theory  Settings: conversion/synthesiser.py. Phase noise: conversion/phase_noise.py with the exact weighting, and beside
        it the trade's quick integral from one carrier spacing to half the channel.
Source  As each finding says.
Holds   Phase noise of the oscillator alone, raised by its multiplier; the modulator's own is in its MER.
"""

from dataclasses import dataclass
from fractions import Fraction

from tepui.chain.conversion.phase_noise import PhaseNoiseProfile
from tepui.chain.conversion.synthesiser import Setting, SynthesiserLimits, settings_for
from tepui.ground.doubt import COVERAGE_FACTOR
from tepui.ground.findings import Finding, Table, Value
from tepui.jobs.frequencies_lines import line_findings
from tepui.jobs.statements import bound, exact
from tepui.prediction.oscillator import (
    COMMON_REFERENCES_HZ,
    PROFILE_STD_DB,
    PhaseNoiseAtChannel,
    distortion_ceiling_db,
    joined_mer_db,
    multiplication_penalty_db,
    phase_noise_by_size,
    rest_mer_db,
    wrong_reference_hz,
)
from tepui.prediction.plan_question import PlanQuestion
from tepui.signals.dvbt.mode import FFT_NAMES, Mode

ABOUT = "stage:oscillator"
WEIGHTED = "P. Robertson and S. Kaiser 1995, weighting 1 - sinc^2"
SETTING_COLUMNS = (
    ("rank", "1"), ("integer", "1"), ("frac", "1"), ("mod", "1"), ("r_divider", "1"), ("output_divider", "1"),
    ("pfd_hz", "Hz"), ("vco_hz", "Hz"), ("frequency_error_hz", "Hz"), ("boundary_offset_hz", "Hz"),
    ("riskiest_fraction", ""), ("riskiest_offset_hz", "Hz"), ("line_risk_dbc", "dB"),
)  # fmt: skip
NOISE_COLUMNS = (
    ("fft_size", "1"), ("carrier_spacing_hz", "Hz"), ("common_phase_error_db", "dB"), ("interference_db", "dB"),
    ("phase_noise_mer_db", "dB"), ("phase_noise_quick_mer_db", "dB"),
)  # fmt: skip
REFERENCE_COLUMNS = (("entered_hz", "Hz"), ("actual_hz", "Hz"), ("ratio", "1"), ("lo_made_hz", "Hz"))
SETTINGS_SHOWN = 10
PROFILE_DOUBT_DB = COVERAGE_FACTOR * PROFILE_STD_DB
QUIETER_DB = 0.5  # FFT sizes that differ by less in their MER leave the oscillator as the only cure


@dataclass(frozen=True, kw_only=True)
class OscillatorQuestion:
    """What is known of the oscillator and of what is measured through another.

    mode            for carrier spacings and the channel's half width
    reference_ppm   error of the reference, 95 %; None where unknown
    limits          of the synthesiser; None where its settings are not asked for
    profile         phase noise before the multiplier; None where unknown
    modulator_mer_db, shoulder_db   of the rest of the transmitter
    measured_mer_db through a converter whose own noise is in it
    receiver_to_hz  highest frequency the receiver in use can see directly
    """

    mode: Mode
    reference_ppm: float | None = None
    limits: SynthesiserLimits | None = None
    profile: PhaseNoiseProfile | None = None
    modulator_mer_db: float | None = None
    shoulder_db: float | None = None
    measured_mer_db: float | None = None
    receiver_to_hz: float | None = None

    def error_hz(self, lo_hz: float) -> float:
        """How far the channel may be off because of the reference, 95 %. [Hz]"""
        return lo_hz * (self.reference_ppm or 0.0) * 1e-6


def oscillator_findings(
    question: OscillatorQuestion, plan: PlanQuestion, *, lo_hz: float
) -> tuple[list[Finding], list[Table]]:
    """Findings and tables of the oscillator behind one plan."""
    findings: list[Finding] = []
    tables: list[Table] = []
    if plan.multiplied > 1:
        findings.append(
            exact(
                ABOUT,
                "multiplication_penalty_db",
                round(multiplication_penalty_db(plan.multiplied), 2),
                "dB",
                source="20 lg M of an ideal multiplier",
                standing="computed",
                remark="Phase noise and lines of the oscillator rise by this at the least.",
            )
        )
    if question.limits is not None:
        more, table = _settings(question.limits, plan, lo_hz)
        findings += more
        tables += table
    findings += _reference(question, lo_hz)
    if question.profile is not None:
        more, table = _phase_noise(question, plan)
        findings += more
        tables += table
    return findings, tables


def _settings(limits: SynthesiserLimits, plan: PlanQuestion, lo_hz: float) -> tuple[list[Finding], list[Table]]:
    output = Fraction(round(lo_hz)) / plan.multiplied
    settings = settings_for(output, limits, multiplied=plan.multiplied)
    best = settings[0]
    error = best.error_hz * plan.multiplied
    away = "none: N is whole" if best.boundary_hz is None else f"{best.boundary_hz / 1e3:.3f} kHz off"
    if best.riskiest is not None and best.riskiest.fraction != "0":
        away += f"; of the boundary at {best.riskiest.fraction} {best.riskiest.offset_hz / 1e3:.3f} kHz off, likelier"
    findings = [
        Finding(about=ABOUT, key="synthesiser_setting", value=_setting_text(best), standing="computed",
                source="f = f_ref / R (INT + FRAC / MOD) / D, exact",
                remark=f"Integer-boundary line: {away}. {len(settings)} settings reach the frequency."),
        exact(ABOUT, "frequency_error_hz", error, "Hz", source="exact fractions", standing="computed",
              remark="Of the setting alone, at the channel."),
    ]  # fmt: skip
    if best.boundary_hz is not None:
        findings.append(
            exact(
                ABOUT,
                "boundary_offset_hz",
                best.boundary_hz,
                "Hz",
                source="comparison frequency times the distance of N from a whole number",
                standing="computed",
                remark="A copy of the whole signal stands beside it by this much; look for it at the bench. Cures: "
                "another R, another divider, a neighbouring plan.",
            )
        )
    rows: list[tuple[Value, ...]] = [
        (rank, one.integer, one.frac, one.mod, one.r, one.divider, one.pfd_hz, one.vco_hz,
         one.error_hz * plan.multiplied, one.boundary_hz,
         None if one.riskiest is None else one.riskiest.fraction,
         None if one.riskiest is None else one.riskiest.offset_hz, one.risk_dbc)
        for rank, one in enumerate(settings[:SETTINGS_SHOWN], 1)
    ]  # fmt: skip
    entered = limits.reference_hz
    ratios: list[tuple[Value, ...]] = [
        (float(entered), float(true), float(true / entered),
         float(wrong_reference_hz(output * plan.multiplied, true_hz=true, entered_hz=entered)))
        for true in sorted({*COMMON_REFERENCES_HZ, entered})
    ]  # fmt: skip
    lines, table = line_findings(best, limits, plan)
    return [*findings, *lines], [
        *table,
        Table(name="synthesiser_settings", columns=SETTING_COLUMNS, rows=tuple(rows)),
        Table(name="wrong_reference", columns=REFERENCE_COLUMNS, rows=tuple(ratios)),
    ]


def _setting_text(setting: Setting) -> str:
    ratio = f"INT {setting.integer}, FRAC {setting.frac}, MOD {setting.mod}"
    return f"{ratio}, R {setting.r}, output divider {setting.divider}"


def _reference(question: OscillatorQuestion, lo_hz: float) -> list[Finding]:
    if question.reference_ppm is None:
        return []
    error, spacing = question.error_hz(lo_hz), question.mode.carrier_spacing_hz
    return [
        bound(ABOUT, "transmit_error_hz", error, "Hz", sense="at_most", source="reference error times the LO",
              remark=f"±{question.reference_ppm:g} ppm of {lo_hz / 1e6:g} MHz; the modulator's own error adds."),
        bound(ABOUT, "transmit_error_carriers", error / spacing, "1", sense="at_most",
              source="the same over the carrier spacing", remark=f"At {spacing:.0f} Hz, "
              f"{FFT_NAMES[question.mode.n_fft]}."),
    ]  # fmt: skip


def _phase_noise(question: OscillatorQuestion, plan: PlanQuestion) -> tuple[list[Finding], list[Table]]:
    assert question.profile is not None
    sizes = phase_noise_by_size(question.profile, mode=question.mode, multiplied=plan.multiplied)
    rows: list[tuple[Value, ...]] = [
        (one.n_fft, one.carrier_spacing_hz, one.effect.common_db, one.effect.interference_db,
         one.effect.mer_ceiling_db, -one.quick_db)
        for one in sizes
    ]  # fmt: skip
    own = next(one for one in sizes if one.n_fft == question.mode.n_fft)
    ceiling = own.effect.mer_ceiling_db
    plateau = question.profile.level_dbc_hz[0] + multiplication_penalty_db(plan.multiplied)
    findings = [
        exact(ABOUT, "phase_noise_at_channel_dbchz", round(plateau, 2), "dBc/Hz", source="20 lg M", standing="computed",
              remark=f"At {question.profile.offset_hz[0] / 1e3:g} kHz and, carried on flat, below."),
        _within(ABOUT, "common_phase_error_db", own.effect.common_db, PROFILE_DOUBT_DB,
                source="P. Robertson and S. Kaiser 1995", remark="The pilots take this away."),
        _within(ABOUT, "phase_noise_mer_db", ceiling, PROFILE_DOUBT_DB, source=WEIGHTED,
                remark=f"MER ceiling of {FFT_NAMES[own.n_fft]}. As good as the profile: its points are not checked."),
    ]  # fmt: skip
    findings += _budget(question, ceiling)
    findings += _size_caution(sizes)
    return findings, [Table(name="phase_noise", columns=NOISE_COLUMNS, rows=tuple(rows))]


def _budget(question: OscillatorQuestion, ceiling_db: float) -> list[Finding]:
    parts = {"phase noise": ceiling_db}
    findings = []
    if question.shoulder_db is not None:
        parts["distortion"] = distortion_ceiling_db(
            question.shoulder_db, signal_width_hz=question.mode.occupied_width_hz
        )
        findings.append(
            _within(
                "station",
                "mer_ceiling_db",
                parts["distortion"],
                PROFILE_DOUBT_DB,
                source="third order, threefold convolution",
                remark=f"That a shoulder of {question.shoulder_db:g} dB leaves.",
            )
        )
    if question.modulator_mer_db is not None:
        parts["modulator"] = question.modulator_mer_db
    total = joined_mer_db(*parts.values())
    worst = min(parts, key=lambda name: parts[name])
    findings.append(
        _within(
            "station",
            "transmitter_mer_db",
            total,
            PROFILE_DOUBT_DB,
            source="sum of powers of independent errors",
            remark=f"From {', '.join(parts)}; {worst} is the largest term.",
        )
    )
    if question.measured_mer_db is not None:
        rest = rest_mer_db(question.measured_mer_db, total)
        reach = question.receiver_to_hz
        sees = "The receiver" if reach is None else f"The receiver reaches {reach / 1e9:g} GHz and"
        findings.append(
            Finding(
                about="station",
                key="measuring_converter_caution",
                value=True,
                kind="caution",
                standing="computed",
                source="sum of powers of independent errors",
                remark=f"{sees} cannot see the channel directly, so {question.measured_mer_db:g} dB contains the "
                "converter it was measured through.",
            )
        )
        if rest is not None:
            findings.append(
                _within(
                    "station",
                    "measuring_converter_mer_db",
                    rest,
                    _rest_doubt_db(question.measured_mer_db, rest),
                    source="difference of powers",
                    remark="What the measuring converter alone leaves, if the transmitter is as computed.",
                )
            )
    return findings


def _within(about: str, key: str, value: float, half: float, *, source: str, remark: str) -> Finding:
    """A level in dB with half of its 95 %."""
    return Finding(about=about, key=key, value=value, unit="dB", low=value - half, high=value + half,
                   standing="computed", source=source, remark=remark)  # fmt: skip


def _rest_doubt_db(whole_db: float, rest_db: float) -> float:
    """The doubt of a difference of powers: that of the whole, grown as the rest is smaller."""
    return PROFILE_DOUBT_DB * 10 ** ((rest_db - whole_db) / 10)


def _size_caution(sizes: tuple[PhaseNoiseAtChannel, ...]) -> list[Finding]:
    by_size = {one.n_fft: one.effect.mer_ceiling_db for one in sizes}
    gain = by_size[2048] - by_size[8192]
    if gain >= QUIETER_DB:
        return []
    return [
        Finding(
            about=ABOUT,
            key="quieter_oscillator",
            value=True,
            kind="caution",
            standing="computed",
            source=WEIGHTED,
            remark=f"2K gains {gain:.2f} dB over 8K: the noise is wide beside the carrier spacing, so a smaller FFT "
            "does not help. Get a quieter oscillator, or one that is multiplied less.",
        )
    ]
