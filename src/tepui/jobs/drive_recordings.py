"""One recording of a drive series: received blind, then both shoulders read off it, its own floor taken off.

Theory  The receiver gives mode, offset and clock; the guard interval gives the floor; evidence/shoulders.py reads.
Source  [TR101290] 9.7; the modules it joins.
Holds   Recordings at least 1.4 MHz wider than the carriers; narrower ones must be stitched first.
"""

from collections.abc import Mapping
from fractions import Fraction

from tepui.evidence.crest import PeakStatistics, crest_db, peaks_of_recording
from tepui.evidence.floor import floor_from_guard
from tepui.evidence.shoulders import shoulders
from tepui.ground.errors import FormatError, RangeError
from tepui.ground.findings import Finding
from tepui.jobs.drive_series import Measured
from tepui.jobs.receive import receive_recording
from tepui.jobs.statements import estimated, unknown
from tepui.signals.dvbt.mode import Mode
from tepui.signals.recording import Recording
from tepui.signals.spectrum import spectrum_of_recording

FLOOR_SAMPLES = 1 << 22
CREST = "definition; common practice"
KEPT = ("frequency_offset_hz", "mer_db")


def measure(recording: Recording, *, workers: int | None = None) -> Measured:
    """Mode, offset and both shoulders of one recording.

    raises  FormatError where it holds no DVB-T signal; RangeError where it is too narrow or too short
    """
    received = receive_recording(recording, workers=workers)
    found = {finding.key: finding for finding in received.findings}
    if "fft_size" not in found:
        raise FormatError(
            f"{recording.name} holds no DVB-T signal that could be received, so its shoulders have no reference. "
            f"{found['dvbt_found'].remark}"
        )
    mode = Mode(
        width_hz=_number(found, "channel_width_hz"),
        n_fft=int(_number(found, "fft_size")),
        guard=Fraction(str(found["guard_fraction"].value)),
        constellation=str(found["constellation"].value),
        code_rate=Fraction(str(found["code_rate"].value)),
    )
    offset_hz = _number(found, "frequency_offset_hz")
    spectrum = spectrum_of_recording(recording, resolution_bandwidth_hz=mode.carrier_spacing_hz / 2, workers=workers)
    stretch = 1 - _number(found, "sample_clock_ppm") * 1e-6
    floor = floor_from_guard(
        recording.read(0, min(recording.n_samples, FLOOR_SAMPLES)),
        sample_rate_hz=recording.sample_rate_hz,
        useful_s=mode.useful_s * stretch,
        guard_s=mode.guard_s * stretch,
        centre_offset_hz=offset_hz,
        occupied_width_hz=mode.occupied_width_hz,
    )
    sides = shoulders(
        spectrum,
        centre_offset_hz=offset_hz,
        occupied_width_hz=mode.occupied_width_hz,
        carrier_spacing_hz=mode.carrier_spacing_hz,
        floor=floor,
    )
    peaks = peaks_of_recording(recording)
    setting = recording.stretches[0].settings.get("setting_dbm")
    return Measured(
        name=recording.name,
        setting_dbm=None if setting is None else float(setting),
        mode=mode,
        sides=sides,
        spectrum=spectrum,
        offset_hz=offset_hz,
        peaks=peaks,
        findings=(*(found[key] for key in KEPT if key in found), crest_finding(recording, peaks, mode)),
    )


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
