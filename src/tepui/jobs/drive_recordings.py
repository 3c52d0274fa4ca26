"""One recording of a drive series: its channel found blind, both shoulders read off it, its own floor taken off.

Theory  The receiver gives mode, offset and clock; where a recording is too short to be received, pilots and guard
        interval still place the channel. The guard interval gives the floor; evidence/shoulders.py reads.
Source  [TR101290] 9.7; the modules it joins.
Holds   Recordings at least 1.4 MHz wider than the carriers; narrower ones are sets (drive_sets.py).
"""

import math
from collections.abc import Mapping
from dataclasses import replace
from fractions import Fraction

import numpy as np

from tepui.evidence.clicks import clicks_of, with_clicks
from tepui.evidence.crest import PeakStatistics, crest_db, peaks_of_recording
from tepui.evidence.drive import of_recording
from tepui.evidence.floor import floor_from_guard
from tepui.evidence.receiver_axes import receiver_axes, without_axes
from tepui.evidence.shoulders import Shoulder, Shoulders, shoulders
from tepui.evidence.unrest import unrest_beside
from tepui.ground.errors import FormatError, RangeError
from tepui.ground.findings import Finding
from tepui.jobs.drive_series import NOMINAL_MODE, Floats, Measured, worse_of
from tepui.jobs.receive import receive_recording
from tepui.jobs.spectrum_channel import found_channel
from tepui.jobs.spectrum_findings import axes_findings
from tepui.jobs.statements import estimated, unknown
from tepui.signals.dvbt.mode import Mode
from tepui.signals.recording import Recording
from tepui.signals.spectrum import spectrum_of_recording

PICKED = 0.5  # of what highest values add: a drive is set to be read by others too, who may average no longer
FLOOR_SAMPLES = 1 << 22
CREST = "definition; common practice"
LEAST_TOLD_DB = 0.05
KEPT = ("frequency_offset_hz", "mer_db", "mer_ceiling_db", "snr_prefix_db")
TOO_SHORT = "The recording is too short to be received: record a whole frame (68 symbols) or more for MER."


def measure(recording: Recording, *, workers: int | None = None) -> Measured:
    """Mode, offset and both shoulders of one recording.

    raises  FormatError where it holds no DVB-T signal; RangeError where it is too narrow
    """
    about = f"recording:{recording.name}"
    received = receive_recording(recording, workers=workers)
    found = {finding.key: finding for finding in received.findings}
    is_held = "fft_size" in found
    if is_held:
        mode, offset_hz, symbols_s = _received(found)
        kept = [found[key] for key in KEPT if key in found]
    else:
        recording, mode, offset_hz, symbols_s = _glimpsed(recording, str(found["dvbt_found"].remark))
        kept = [unknown(about, "mer_db", "dB", source="tepui reception", remark=TOO_SHORT)]
    axes = receiver_axes(recording, centre_offset_hz=offset_hz, occupied_width_hz=mode.occupied_width_hz)
    recording = without_axes(recording, axes)
    spectrum = spectrum_of_recording(recording, resolution_bandwidth_hz=mode.carrier_spacing_hz / 2, workers=workers)
    looked = recording.read(0, min(recording.n_samples, FLOOR_SAMPLES))
    floor = floor_from_guard(
        looked,
        sample_rate_hz=recording.sample_rate_hz,
        useful_s=symbols_s[0],
        guard_s=symbols_s[1],
        centre_offset_hz=offset_hz,
        occupied_width_hz=mode.occupied_width_hz,
    )
    unrest = unrest_beside(
        looked,
        sample_rate_hz=recording.sample_rate_hz,
        centre_offset_hz=offset_hz,
        occupied_width_hz=mode.occupied_width_hz,
    )
    try:
        sides = shoulders(
            spectrum,
            centre_offset_hz=offset_hz,
            occupied_width_hz=mode.occupied_width_hz,
            carrier_spacing_hz=mode.carrier_spacing_hz,
            floor=floor,
            unrest=unrest * math.sqrt(len(looked) / recording.n_samples),
            guard=mode.guard if is_held else None,
            picked=PICKED,
        )
    except RangeError as problem:
        raise RangeError(f"{recording.name}: {problem}") from problem
    both = {"lower": sides.lower, "upper": sides.upper}
    clicks = (
        None
        if recording.n_samples > len(looked)
        else clicks_of(
            looked,
            sample_rate_hz=recording.sample_rate_hz,
            centre_offset_hz=offset_hz,
            mode=mode,
            symbols_s=symbols_s,
            floor_density=floor.density,
        )
    )
    if clicks is not None:
        moved = {name: with_clicks(side, own) for (name, side), own in zip(both.items(), clicks, strict=True)}
        kept += _moved(about, both, moved)
        both = moved
    levels = {name: of_recording(side) for name, side in both.items()}
    levels["worst"] = worse_of(list(levels.values()))
    peaks = peaks_of_recording(recording)
    setting = recording.stretches[0].settings.get("setting_dbm")
    return Measured(
        about=about,
        setting_dbm=None if setting is None else float(setting),
        mode=mode,
        is_held=is_held,
        sides=levels,
        is_open=False,
        trace=trace_of(sides, offset_hz=offset_hz),
        peaks=peaks,
        findings=(*kept, *axes_findings(about, axes), crest_finding(recording, peaks, mode)),
    )


def _moved(about: str, before: Mapping[str, Shoulder], after: Mapping[str, Shoulder]) -> list[Finding]:
    """By how much the shoulders of a short recording were moved, where one would see it."""
    changes = {
        name: after[name].corrected.value - before[name].corrected.value  # type: ignore[union-attr]
        for name in before
        if before[name].corrected is not None and after[name].corrected is not None
    }
    most = round(max(changes.values(), key=abs, default=0.0), 2)
    if abs(most) < LEAST_TOLD_DB:
        return []
    words = ", ".join(f"{name} {change:+.2f} dB" for name, change in changes.items())
    return [
        Finding(
            about=about,
            key="sidelobes_moved_db",
            value=most,
            unit="dB",
            low=most,
            high=most,
            standing="computed",
            source="[EN300744] 4.4, jumps where symbols meet, from the carriers received",
            remark=f"Shoulders moved by what this recording's side-lobes miss of their mean: {words}. The signal was "
            "not filtered, and so short a piece does not average its side-lobes out.",
        )
    ]


def _received(found: Mapping[str, Finding]) -> tuple[Mode, float, tuple[float, float]]:
    """Mode, offset, and the symbol's useful part and guard as the recording's clock counts."""
    mode = Mode(
        width_hz=_number(found, "channel_width_hz"),
        n_fft=int(_number(found, "fft_size")),
        guard=Fraction(str(found["guard_fraction"].value)),
        constellation=str(found["constellation"].value),
        code_rate=Fraction(str(found["code_rate"].value)),
    )
    stretch = 1 - _number(found, "sample_clock_ppm") * 1e-6
    return mode, _number(found, "frequency_offset_hz"), (mode.useful_s * stretch, mode.guard_s * stretch)


def _glimpsed(recording: Recording, why: str) -> tuple[Recording, Mode, float, tuple[float, float]]:
    """The same of a recording that is too short to be received, from where its signal begins.

    raises  FormatError where there is no signal in it either
    """
    seen = found_channel(recording, width_hz=None)
    if isinstance(seen, str) or seen[1].symbols is None:
        raise FormatError(
            f"{recording.name} holds no DVB-T signal that could be received, so its shoulders have no reference. {why}"
        )
    part, channel = seen
    assert channel.symbols is not None
    mode = replace(
        NOMINAL_MODE,
        width_hz=channel.width_hz,
        n_fft=channel.symbols.n_fft,
        guard=Fraction(channel.symbols.guard_text),
    )
    return part, mode, channel.centre_offset_hz, (channel.symbols.useful_s, channel.symbols.guard_s)


def trace_of(sides: Shoulders, *, offset_hz: float) -> tuple[Floats, Floats]:
    """Offset from the signal's centre, and level over the highest value in band. [Hz], [dB]"""
    level = 10 * np.log10(np.maximum(sides.trace.density / sides.reference_density, 1e-12))
    return np.asarray(sides.trace.frequency_hz - offset_hz), np.asarray(level)


def crest_finding(recording: Recording, peaks: PeakStatistics, mode: Mode) -> Finding:
    """Level passed one time in ten thousand, noise of the recording included; unknown where it is too short."""
    about, key = f"recording:{recording.name}", "crest_0_01pct_db"
    try:
        crest = crest_db(peaks, sample_rate_hz=recording.sample_rate_hz, occupied_width_hz=mode.occupied_width_hz)
    except RangeError as problem:
        return unknown(about, key, "dB", source=CREST, remark=str(problem))
    return estimated(about, key, crest, "dB", source=CREST)


def _number(found: Mapping[str, Finding], key: str) -> float:
    value = found[key].value
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise RangeError(f"{found[key].about} has no {key} that can be used; record longer.")
    return float(value)
