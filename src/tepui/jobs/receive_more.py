"""Further findings of a reception: noise by the prefix, phase, axes, carrier, pilots, margin, time free of errors.

Theory  As jobs/receive.py; each quantity's own theory stands in evidence/{prefix,cells,margin}.py.
Source  [TR101290] for what is measured; [EN300744] annex A for what a mode requires.
Holds   The run held longest speaks; only the time free of errors joins all runs.
"""

from dataclasses import replace

import numpy as np

from tepui.chain.reception.prefix import compare_prefixes
from tepui.chain.reception.receive import Reception
from tepui.chain.reception.runs import Run
from tepui.evidence.cells import (
    Constant,
    carrier_suppression,
    gain_imbalance,
    image_ratio,
    phase_error,
    pilot_boost,
    quadrature_error,
    residual_carrier,
)
from tepui.evidence.margin import EDITION, margin_over_required
from tepui.evidence.prefix import CEILING_DB, left_by_distortion, prefix_snr
from tepui.evidence.reception import hit_carriers
from tepui.evidence.seconds import ErrorFree, Stretch, error_free
from tepui.ground.doubt import Estimate
from tepui.ground.findings import Finding, Outcome, finding_named
from tepui.jobs.statements import bound, estimated, exact, unknown
from tepui.signals.dvbt.carriers import PILOT_AMPLITUDE, pilot_carriers
from tepui.signals.recording import Recording

PREFIX = "likeness of guard interval and tail, tepui reception"
PHASE = "common phase of the pilots, [TR101290] 9.18"
AXES = "errors of known cells against the mirrored carrier, [TR101290] 9.18"
CARRIER = "constant on the centre carrier, [TR101290] 9.18"
PILOTS = "channel seen from scattered pilots over that from data cells, [EN300744] 4.5"
REQUIRED = f"[EN300744] {EDITION} annex A table A.1, Gaussian, from memory; capacity of the soft bits"
PACKETS = "packets the Reed-Solomon decoder could not correct, [EN300744] 4.3.2"
MOST_BROKEN = 0.1  # share of packets beyond which what was decoded does not tell what was sent; ours
NEEDED = "What was sent must be known: a signal that decodes, and twelve symbols of it or more."


def more_findings(outcome: Outcome, recording: Recording, reception: Reception) -> Outcome:
    """An outcome of a reception with these findings added."""
    about = outcome.findings[0].about
    held = [run for run in reception.runs if run.mode is not None]
    longest = max(held, key=lambda run: run.symbols * (run.end_s - run.start_s))
    noise = _prefix(about, recording, longest)
    added = (
        noise,
        *_distortion(about, finding_named(outcome.findings, "mer_db"), noise),
        _phase(about, longest),
        *_axes(about, longest),
        _boost(about, longest),
        _margin(about, longest, finding_named(outcome.findings, "mer_db")),
        *_error_free(about, held),
    )
    return replace(outcome, findings=outcome.findings + added)


def _prefix(about: str, recording: Recording, run: Run) -> Finding:
    key = "snr_prefix_db"
    sums = compare_prefixes(recording, run)
    value = None if sums is None or run.base is None else prefix_snr(sums, resampled=not run.base.direct)
    if sums is None or value is None or run.base is None:
        why = "Echoes leave too little of the guard interval to compare: a better aimed antenna or a longer guard."
        return unknown(about, key, "dB", source=PREFIX, remark=why)
    if value.value > CEILING_DB[run.base.direct]:
        why = "Prefix and tail are alike to the arithmetic's limit: a signal made, not received, or a limit of ours."
        return bound(about, key, CEILING_DB[run.base.direct], "dB", sense="at_least", source=PREFIX, remark=why)
    remark = (
        "Noise in the occupied width. Blind to distortion, which prefix and tail share; a receiver's image, its line "
        f"at zero and fast phase noise count as noise. {sums.length} samples of {sums.noise.size} guard intervals."
    )
    return estimated(about, key, value, "dB", source=PREFIX, remark=remark)


def _distortion(about: str, mer: Finding, noise: Finding) -> list[Finding]:
    """MER that what is not noise would leave alone; nothing where either is not measured."""
    if any(one.standing != "measured" or one.low is None or one.high is None for one in (mer, noise)):
        return []
    both = [
        Estimate(value=float(one.value), std=(one.high - one.low) / 4)  # type: ignore[arg-type,operator]
        for one in (mer, noise)
    ]
    value, low, high = left_by_distortion(both[0], both[1])
    key, source = "mer_ceiling_db", "errors of mer_db less the noise of snr_prefix_db"
    if value is None or high is None:
        remark = "The noise explains all of the errors: distortion, phase noise and echoes lie below."
        return [bound(about, key, low, "dB", sense="at_least", source=source, remark=remark)]
    remark = "What is not noise, taken alone: distortion, slow phase noise, echoes beyond the guard."
    return [Finding(about=about, key=key, value=value, unit="dB", low=low, high=high, standing="measured",
                    source=source, remark=remark)]  # fmt: skip


def _phase(about: str, run: Run) -> Finding:
    key, unit = "phase_error_rms_deg", "°"
    found = phase_error(run.phase)
    if found is None or run.mode is None:
        return unknown(about, key, unit, source=PHASE, remark="Too few symbols: record a tenth of a second or more.")
    low_hz = 1 / (run.phase.longest * run.mode.symbol_s)
    high_hz = 0.5 / run.mode.symbol_s
    remark = (
        f"Of both oscillators, from {low_hz:.2g} Hz (a line was taken out of every {run.phase.longest} symbols) "
        f"to {high_hz:.3g} Hz (half the symbol rate); the pilots' noise is taken off."
    )
    if found.low is None:
        remark = "Not above the pilots' noise. " + remark
        return bound(about, key, found.value, unit, sense="at_most", source=PHASE, remark=remark)
    return Finding(
        about=about,
        key=key,
        value=found.value,
        unit=unit,
        low=found.low,
        high=found.high,
        standing="measured",
        source=PHASE,
        remark=remark,
    )


def _known(run: Run) -> bool:
    """Whether the points that were sent are known."""
    quality, counts = run.quality, run.counts
    if quality is None or run.mode is None or quality.aided_symbols == 0:
        return False
    return counts.uncorrectable <= MOST_BROKEN * counts.packets


def _axes(about: str, run: Run) -> list[Finding]:
    keys = (
        ("iq_gain_imbalance_db", "dB", AXES),
        ("iq_quadrature_error_deg", "°", AXES),
        ("carrier_suppression_db", "dB", CARRIER),
    )
    mode, quality = run.mode, run.quality
    offset_hz = float(np.mean([pace.offset_hz for pace in run.paces])) if run.paces else 0.0
    ratio = None
    if mode is not None and quality is not None and _known(run):
        ratio = image_ratio([quality.axes], offset_carriers=offset_hz / mode.carrier_spacing_hz)
    if mode is None or quality is None or ratio is None:
        return [unknown(about, key, unit, source=source, remark=NEEDED) for key, unit, source in keys]
    remark = _apart(ratio, "image", offset_hz)
    found = [
        estimated(about, "iq_gain_imbalance_db", gain_imbalance(ratio), "dB", source=AXES, remark=remark),
        estimated(about, "iq_quadrature_error_deg", quadrature_error(ratio), "°", source=AXES, remark=remark),
    ]
    key, unit, source = keys[2]
    carrier = residual_carrier([quality.axes], image=ratio, offset_carriers=offset_hz / mode.carrier_spacing_hz)
    if carrier is None:
        why = "The centre carrier is a continual pilot and the channel moves: a steady channel would tell."
        return [*found, unknown(about, key, unit, source=source, remark=why)]
    told = carrier_suppression(carrier, signal_power=_signal_power(mode.n_fft, mode.n_carriers))
    remark = _apart(carrier, "line at zero", offset_hz)
    if told.high is None:
        remark = "No carrier stands out of the noise. " + remark
        return [*found, bound(about, key, told.value, unit, sense="at_least", source=source, remark=remark)]
    statement = Finding(
        about=about,
        key=key,
        value=told.value,
        unit=unit,
        low=told.low,
        high=told.high,
        standing="measured",
        source=source,
        remark=remark,
    )
    return [*found, statement]


def _signal_power(n_fft: int, n_carriers: int) -> float:
    """Power of all carriers together, data cells and TPS one, pilots 16/9."""
    pilots = pilot_carriers(n_fft, 0).size
    return n_carriers + pilots * (PILOT_AMPLITUDE**2 - 1)


def _apart(found: Constant, what: str, offset_hz: float) -> str:
    if found.apart:
        return f"Of the transmitter; with the signal {offset_hz:+.0f} Hz off the receiver's own {what} is told apart."
    return (
        f"Transmitter and receiver together: with the signal {abs(offset_hz):.0f} Hz off the tuned frequency their "
        f"{what} cannot be told apart; a few carrier spacings off, no whole number of them, would tell."
    )


def _boost(about: str, run: Run) -> Finding:
    key = "pilot_boost_db"
    value = None
    if run.quality is not None and _known(run):
        value = pilot_boost([run.quality.axes], amplitude=PILOT_AMPLITUDE)
    if value is None:
        why = NEEDED if not _known(run) else "The channel moves too fast to compare pilots with data cells."
        return unknown(about, key, "dB", source=PILOTS, remark=why)
    return estimated(about, key, value, "dB", source=PILOTS, remark="2.499 dB by the standard (amplitude 4/3).")


def _margin(about: str, run: Run, mer: Finding) -> Finding:
    key, mode, quality = "margin_db", run.mode, run.quality
    if mode is None or quality is None or mer.value is None:
        return unknown(about, key, "dB", source=REQUIRED, remark="MER is not known: record more than a frame.")
    if mode.alpha:
        why = "No published value for hierarchical modes is at hand."
        return unknown(about, key, "dB", source=REQUIRED, remark=why)
    value = float(mer.value)
    std = 0.0 if mer.low is None or mer.high is None else (mer.high - mer.low) / 4
    power = np.abs(quality.response / np.maximum(quality.response_looks, 1)) ** 2
    hits = hit_carriers(error_carrier=quality.error_carrier, count_carrier=quality.count_carrier, channel=power)
    found = margin_over_required(
        constellation=mode.constellation,
        code_rate=mode.code_rate,
        mer=Estimate(value=value, std=std),
        error_carrier=quality.error_carrier,
        count_carrier=quality.count_carrier,
        hit=bool(hits.any()),
    )
    remark = f"MER {value:.2f} dB + 0.33 dB (boosted pilots) less {found.required_db:.1f} dB required."
    if found.uneven:
        remark = (
            "The channel is uneven: by how much the noise of all carriers may grow until their soft bits carry no more "
            f"than those of an even channel at the {found.required_db:.1f} dB required."
        )
    if mer.standing == "at_most" or run.counts.uncorrectable > MOST_BROKEN * run.counts.packets:
        remark += " Decoding fails, which flatters MER: no more than this."
        return bound(about, key, found.margin.value, "dB", sense="at_most", source=REQUIRED, remark=remark)
    return estimated(about, key, found.margin, "dB", source=REQUIRED, remark=remark)


def _error_free(about: str, runs: list[Run]) -> list[Finding]:
    stretches = [
        Stretch(
            begin_s=run.start_s,
            end_s=run.end_s,
            good=np.concatenate([np.zeros(0, bool), *run.counts.flags]),
        )
        for run in sorted(runs, key=lambda run: run.start_s)
    ]
    found: ErrorFree | None = error_free(stretches)
    if found is None:
        why = "No packet came out: record a frame or more."
        return [
            unknown(about, key, "1", source=PACKETS, remark=why) for key in ("error_free_seconds", "error_free_share")
        ]
    share = exact(
        about,
        "error_free_share",
        found.share,
        "1",
        source=PACKETS,
        remark=f"Of {found.duration_s:.3g} s from the first lock to the end of the last; gaps count as errors.",
    )
    if found.whole_seconds == 0:
        why = "Shorter than a second: error_free_share tells of it; record 10 s or more."
        return [unknown(about, "error_free_seconds", "1", source=PACKETS, remark=why), share]
    seconds = exact(
        about,
        "error_free_seconds",
        found.clean_seconds,
        "1",
        source=PACKETS,
        remark=f"Of {found.whole_seconds} whole seconds, the first lock being the beginning.",
    )
    return [seconds, share]
