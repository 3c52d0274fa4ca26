"""Spectrum of a set: recordings each too narrow for the channel in; the whole spectrum and both shoulders out.

Theory  evidence/narrow.py to evidence/stitch_shoulders.py make one spectrum of each sweep; evidence/instrument.py parts
        what was sent from what the receiver made, from sweeps at different pads.
Source  [TR101290] 9.7; [RR] 1.153; the receiver: evidence/instrument.py.
Holds   One channel, one drive setting. What a set does not show is unknown, and what would show it is named.
"""

from collections.abc import Sequence
from dataclasses import replace

from tepui.evidence.moving_lines import OwnedLine, owned_lines
from tepui.ground.findings import Finding, Outcome, Table
from tepui.jobs.set_contradictions import automatic_gain_findings, gain_step_findings, no_signal, width_findings
from tepui.jobs.set_findings import advice_findings, judged, shoulder_findings
from tepui.jobs.set_more import (
    caution_findings,
    channel_findings,
    floor_finding,
    inband_findings,
    mask_finding,
    missing_findings,
)
from tepui.jobs.set_picture import picture
from tepui.jobs.set_sweeps import SetOptions, find_channel, seen_of
from tepui.jobs.set_tables import (
    Trace,
    droop_table,
    gains_table,
    lines_table,
    readings_table,
    recordings_table,
    spectrum_table,
)
from tepui.jobs.slice_findings import slice_findings, slices_table
from tepui.jobs.slices import slices_of
from tepui.jobs.spectrum_findings import nothing_findings
from tepui.signals.recording import Recording


def measure_set(name: str, recordings: Sequence[Recording], options: SetOptions) -> Outcome:
    """Everything a set of narrow recordings tells.

    name        for ``set:NAME``
    raises      RangeError where recordings cannot be stitched for a reason of their own: no frequency, mixed rates
    """
    about = f"set:{name}"
    channel = find_channel(recordings, options)
    if isinstance(channel, str):
        return Outcome(findings=nothing_findings(about, channel))
    seen = seen_of(recordings, channel, options)
    if (nothing := no_signal(seen)) is not None:
        return Outcome(findings=nothing_findings(about, nothing))
    found = judged(seen)
    slices = slices_of(recordings, seen, options)
    findings = [*channel_findings(about, seen, slices), *shoulder_findings(about, seen, found)]
    tables: list[Table] = [recordings_table(seen), readings_table(seen, found), gains_table(seen)]
    pictures = {}
    sweep = found.reference
    lines: tuple[OwnedLine, ...] = ()
    if sweep is not None and sweep.stitched is not None:
        stitched = sweep.stitched
        order = {one: number for number, one in enumerate(stitched.names)}
        spectra = sorted(sweep.spectra, key=lambda one: order[one.name])
        lines = owned_lines(spectra, stitched)
        trace = Trace(stitched, channel.spacing_hz)
        findings += [
            *inband_findings(about, sweep),
            floor_finding(about, sweep),
            mask_finding(about, sweep, seen, found, mask=options.mask),
            *width_findings(about, seen, stitched),
        ]
        tables += [spectrum_table(trace, stitched), lines_table(lines), droop_table(stitched)]
    if sweep is None or sweep.stitched is None:
        findings += missing_findings(about, seen)
    if seen.channel.symbols is not None:
        findings += slice_findings(about, slices, mer=options.mer)
        tables.append(slices_table(slices))
    findings += [
        *advice_findings(about, found),
        *caution_findings(about, seen, lines),
        *gain_step_findings(about, seen),
        *automatic_gain_findings(about, recordings),
    ]
    if sweep is not None and sweep.stitched is not None:
        pictures = {"stitched": picture(findings, seen, found, trace)}
    return Outcome(findings=_once(findings), tables=tuple(tables), pictures=pictures)


def _once(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """As they are; a remark of many parts is cut to those that differ."""
    return tuple(replace(one, remark=one.remark.strip()) for one in findings)
