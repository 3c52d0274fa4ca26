"""Findings about a signal that was held: mode, carrier and clock, MER, error rates, echoes.

Theory  As jobs/receive.py.
Source  [EN300744] for the mode; [TR101290] for what is measured.
Holds   The mode held longest speaks; runs of the same mode are joined.
"""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.quality import Quality
from tepui.chain.reception.receive import Reception
from tepui.chain.reception.runs import Run
from tepui.evidence.reception import Rate, error_rate, hit_carriers, paths_of, weighted
from tepui.ground.findings import Finding, Outcome
from tepui.jobs.receive_mer import mer_findings
from tepui.jobs.receive_tables import carrier_table, echo_table, locks_table, pictures, symbol_table
from tepui.jobs.statements import estimated, exact, text, unknown
from tepui.signals.dvbt.carriers import continual_carriers

MISTAKEN = 0.1  # of an error rate, where the decoder's word is not all true: by trial against theory
SIGNALLED = "TPS as decoded, [EN300744] 4.6"


def found(about: str, reception: Reception, *, service_name: str | None) -> Outcome:
    """Findings, tables and pictures of a reception that held a signal."""
    held = [run for run in reception.runs if run.mode is not None]
    longest = max(held, key=lambda run: run.symbols * (run.end_s - run.start_s))
    same = [run for run in held if run.mode is not None and _like(run, longest)]
    mode = longest.mode
    quality = _joined(same)
    if mode is None or quality is None:
        raise ValueError("a reception without a mode is not found")
    others = len(held) - len(same)
    findings = [
        text(
            about,
            "dvbt_found",
            True,
            source="guard interval, pilots and TPS, [EN300744] 4.4 to 4.6",
            remark=_held_remark(held, others),
        ),
        exact(
            about,
            "fft_size",
            mode.n_fft,
            "1",
            source=SIGNALLED,
            remark="4K is from memory of annex F and unverified." if mode.n_fft == 4096 else "",
        ),
        text(about, "guard_fraction", str(mode.guard), source=SIGNALLED),
        text(about, "constellation", mode.constellation, source=SIGNALLED),
        text(about, "code_rate", str(mode.code_rate), source=SIGNALLED),
        text(
            about,
            "hierarchy",
            str(mode.alpha) if mode.alpha else "none",
            source=SIGNALLED,
            remark="Only the high-priority stream is decoded." if mode.alpha else "",
        ),
        _cell_id(about, same),
        text(about, "inverted", longest.inverted, source="orientation of the pilots, [EN300744] 4.5"),
        exact(
            about,
            "channel_width_hz",
            mode.width_hz,
            "Hz",
            source="spacing of the carriers, [EN300744] 4.4",
            remark="" if mode.inside_standard else "Outside the standard: its clock is scaled to the width.",
        ),
    ]
    if not longest.proved:
        findings[0] = text(
            about,
            "dvbt_found",
            True,
            source=findings[0].source,
            remark=(
                "Less than a whole frame was seen: the TPS is read from its parts and its BCH code is not checked. "
                + findings[0].remark
            ).strip(),
        )
    paces = [pace for run in same for pace in run.paces]
    weights = np.array([float(pace.symbols) for pace in paces])
    offset = weighted(np.array([p.offset_hz for p in paces]), np.array([p.offset_std_hz for p in paces]), weights)
    clock = weighted(np.array([p.clock_ppm for p in paces]), np.array([p.clock_std_ppm for p in paces]), weights)
    findings += [
        estimated(about, "frequency_offset_hz", offset, "Hz", source="common phase of the pilots, tepui reception"),
        estimated(
            about,
            "sample_clock_ppm",
            clock,
            "ppm",
            source="phase slope of the pilots, tepui reception",
            remark="Against the recording's own clock, whose error adds to it.",
        ),
    ]
    channel = _channel(quality, longest)
    hits = hit_carriers(
        error_carrier=quality.error_carrier, count_carrier=quality.count_carrier, channel=np.abs(channel) ** 2
    )
    findings += mer_findings(about, same, quality, hits)
    findings += _rate_findings(about, same, quality)
    findings.append(
        exact(
            about,
            "net_bit_rate_bps",
            float(mode.net_bit_rate_bps),
            "bit/s",
            standing="computed",
            source="[EN300744] 4.7, exact fraction",
        )
    )
    if service_name:
        findings.append(text(about, "service_name", service_name, source="service description table, [EN300468]"))
    else:
        findings.append(
            unknown(
                about,
                "service_name",
                "",
                source="service description table, [EN300468]",
                remark="No service description came by whole: record 2 s or more.",
            )
        )
    echoes = paths_of(channel, n_fft=mode.n_fft, noise=_channel_noise(quality, channel))
    elementary_s = mode.elementary_period_s
    tables = (
        echo_table(echoes, elementary_s=elementary_s, guard_s=mode.guard_s),
        locks_table(held),
        carrier_table(quality, hits, longest),
        symbol_table(same),
    )
    drawn = pictures(
        quality=quality,
        hits=hits,
        run=longest,
        runs=same,
        channel=channel,
        echoes=echoes,
        findings={f.key: f for f in findings},
    )
    return Outcome(findings=tuple(findings), tables=tables, pictures=drawn)


def _like(run: Run, other: Run) -> bool:
    left, right = run.mode, other.mode
    if left is None or right is None:
        return False
    same = (left.width_hz, left.n_fft, left.guard, left.constellation, left.code_rate, left.alpha)
    return same == (right.width_hz, right.n_fft, right.guard, right.constellation, right.code_rate, right.alpha)


def _held_remark(held: list[Run], others: int) -> str:
    parts = []
    if len(held) > 1:
        parts.append(f"Held {len(held)} times with gaps between: see table locks.")
    if others:
        parts.append(f"{others} of them in another mode; the findings speak of the mode held longest.")
    faded = sum(run.faded for run in held)
    if faded:
        parts.append(f"{faded} symbols faded and were left out.")
    return " ".join(parts)


def _cell_id(about: str, runs: list[Run]) -> Finding:
    known = [run.mode.cell_id for run in runs if run.mode is not None and run.mode.cell_id is not None]
    if known:
        return exact(about, "cell_id", known[0], "1", source=SIGNALLED)
    return unknown(
        about, "cell_id", "1", source=SIGNALLED, remark="Not sent, or not seen whole: two consecutive frames carry it."
    )


def _joined(runs: list[Run]) -> Quality | None:
    parts = [run.quality for run in runs if run.quality is not None]
    if not parts:
        return None
    total = Quality(parts[0].n_carriers)
    for part in parts:
        total.error_carrier += part.error_carrier
        total.count_carrier += part.count_carrier
        total.density += part.density
        total.symbol_error += part.symbol_error
        total.symbol_power += part.symbol_power
        total.aided_symbols += part.aided_symbols
        total.clean_symbols += part.clean_symbols
        total.pilot_error += part.pilot_error
        total.pilot_symbols += part.pilot_symbols
        total.symbols += part.symbols
        total.bit_errors += part.bit_errors
        total.bits += part.bits
    longest = max(parts, key=lambda part: part.symbols)
    total.response, total.response_looks = longest.response, longest.response_looks
    return total


def _channel(quality: Quality, run: Run) -> npt.NDArray[np.complex128]:
    """The mean channel on every carrier: data cells where there were any, the pilots' grid and lines between them."""
    n = quality.n_carriers
    known = quality.response_looks > 0
    value = np.where(known, quality.response / np.maximum(quality.response_looks, 1), 0)
    if run.grid is not None:
        always = continual_carriers(run.n_fft)
        value[always] = np.where(known[always], value[always], run.grid[always // 3])
        known[always] = True
    places = np.flatnonzero(known)
    carriers = np.arange(n)
    real = np.interp(carriers, places, value[places].real)
    imag = np.interp(carriers, places, value[places].imag)
    return np.asarray(real + 1j * imag)


def _channel_noise(quality: Quality, channel: npt.NDArray[np.complex128]) -> float:
    seen = quality.count_carrier > 0
    each = quality.error_carrier[seen] / quality.count_carrier[seen] * np.abs(channel[seen]) ** 2
    return float(np.median(each / quality.count_carrier[seen]))


def _rate_findings(about: str, runs: list[Run], quality: Quality) -> list[Finding]:
    packets = sum(run.counts.packets for run in runs)
    corrected = sum(run.counts.corrected for run in runs)
    uncorrectable = sum(run.counts.uncorrectable for run in runs)
    errors, bits = sum(run.counts.bit_errors for run in runs), sum(run.counts.bits for run in runs)
    before = "re-encoded against nearest points, [TR101290] 9.15"
    after = "bits the Reed-Solomon decoder corrected, [TR101290] 9.15"
    found = []
    if quality.bits:
        rate = error_rate(quality.bit_errors, quality.bits)
        remark = "Symbols that could not be decoded are not counted." if quality.aided_symbols < quality.symbols else ""
        if quality.clean_symbols < quality.aided_symbols:
            rate = replace(rate, low=rate.low * (1 - MISTAKEN), high=min(1.0, rate.high * (1 + MISTAKEN)))
            remark = "Against the Viterbi decoder's word, since not all packets could be corrected. " + remark
        found.append(_rated(about, "ber_before_viterbi", rate, source=before, remark=remark))
    else:
        found.append(
            unknown(
                about,
                "ber_before_viterbi",
                "1",
                source=before,
                remark="Nothing was decoded to compare with: a better signal or more of it.",
            )
        )
    if bits and uncorrectable == 0:
        rate = error_rate(errors, bits, burst=5.0)
        found.append(_rated(about, "ber_after_viterbi", rate, source=after, remark="Errors come in bursts."))
    elif bits:
        low = error_rate(errors, bits, burst=5.0).low
        value = max(low, errors / bits)
        found.append(
            Finding(
                about=about,
                key="ber_after_viterbi",
                value=value,
                unit="1",
                low=value,
                standing="at_least",
                source=after,
                remark="Uncorrectable packets hold more errors than can be counted.",
            )
        )
    else:
        found.append(
            unknown(
                about,
                "ber_after_viterbi",
                "1",
                source=after,
                remark="No packet could be corrected: a better signal or more of it.",
            )
        )
    source = "[EN300744] 4.3.2"
    found += [
        exact(about, "packets", packets, "1", source=source),
        exact(about, "packets_corrected", corrected, "1", source=source),
        exact(
            about,
            "packets_uncorrectable",
            uncorrectable,
            "1",
            source=source,
            remark="They stay in place with transport_error_indicator set." if uncorrectable else "",
        ),
    ]
    return found


def _rated(about: str, key: str, rate: Rate, *, source: str, remark: str) -> Finding:
    if rate.errors == 0:
        return Finding(
            about=about,
            key=key,
            value=rate.high,
            unit="1",
            high=rate.high,
            standing="at_most",
            source=source,
            remark=("No error seen. " + remark).strip(),
        )
    return Finding(
        about=about,
        key=key,
        value=rate.value,
        unit="1",
        low=rate.low,
        high=rate.high,
        standing="measured",
        source=source,
        remark=remark,
    )
