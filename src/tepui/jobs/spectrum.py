"""Spectrum: one wide recording in; shoulders, width, peaks, ripple, lines and floor out.

Theory  The receiver's search tells where the channel lies and what its symbols are; the spectrum is read at half a
        carrier spacing and smoothed to ten for the shoulders; the guard interval tells the floor apart from distortion.
Source  [TR101290] 9.7 for the shoulders; [RR] 1.153 for the width; evidence/ for each measure.
Holds   A recording wide enough to show the channel; the shoulder needs 700 kHz beside it.
"""

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

from tepui.evidence.crest import PeakCounter, PeakStatistics
from tepui.evidence.floor import MOST_SAMPLES, Floor, floor_from_guard, floor_from_quiet_part
from tepui.evidence.masks import published_mask
from tepui.evidence.shoulders import Shoulders, shoulders
from tepui.ground.errors import RangeError
from tepui.ground.findings import Finding, Outcome
from tepui.jobs.spectrum_channel import Channel, found_channel, measured_part, told_channel
from tepui.jobs.spectrum_findings import (
    clipping_findings,
    crest_finding,
    flatness_findings,
    floor_finding,
    mask_finding,
    nothing_findings,
    place_findings,
    shoulder_findings,
    width_finding,
)
from tepui.jobs.spectrum_tables import inband_density, lines_table, pictures, spectrum_table
from tepui.signals.recording import Recording, SampleCounts, SampleScreen
from tepui.signals.spectrum import Spectrum, spectrum_of_recording

BLOCK = 1 << 20
SPACINGS_OF_RESOLUTION = 0.5


def measure_spectrum(
    recording: Recording,
    *,
    width_hz: float | None = None,
    centre_hz: float | None = None,
    mask: str | None = None,
    workers: int | None = None,
) -> Outcome:
    """Everything the spectrum of one recording tells.

    width_hz   channel width, or None to find it
    centre_hz  where the channel's centre lies, with ``width_hz``, for a signal that is not found by itself
    mask       name of a published mask, then a limit; None compares with the usual one of the width, if any
    raises     RangeError where what was given contradicts the recording; ChoiceError for a mask that is not there;
               FormatError where its samples cannot be used
    """
    about = f"recording:{recording.name}"
    if mask is not None and width_hz is not None:
        published_mask(mask, channel_width_hz=width_hz)
    recording, remark = measured_part(recording)
    with ThreadPoolExecutor(max_workers=1) as side:
        counted = side.submit(_counted, recording)
        try:
            outcome = _measured(about, recording, counted.result, width_hz=width_hz, centre_hz=centre_hz, mask=mask,
                                workers=workers)  # fmt: skip
        except (ArithmeticError, ValueError):
            counted.result()  # samples that are no numbers explain it better
            raise
        _, counts = counted.result()
    findings = (*outcome.findings, *clipping_findings(about, counts))
    if remark:
        first, *rest = findings
        findings = (replace(first, remark=f"{first.remark} {remark}".strip()), *rest)
    return replace(outcome, findings=findings)
