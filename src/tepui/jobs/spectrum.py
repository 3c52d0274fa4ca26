"""Spectrum: one wide recording in; shoulders, width, peaks, ripple, lines and floor out.

Theory  The receiver's search tells where the channel lies and what its symbols are; the spectrum is read at half a
        carrier spacing and smoothed to ten for the shoulders; the guard interval tells the floor apart from distortion.
Source  [TR101290] 9.7 for the shoulders; [RR] 1.153 for the width; evidence/ for each measure.
Holds   A recording wide enough to show the channel; the shoulder needs 700 kHz beside it.
"""

import math
import re
from concurrent.futures import ThreadPoolExecutor
from fractions import Fraction

import numpy as np

from tepui.chain.reception.search import occupied_hz
from tepui.evidence.crest import PeakCounter, PeakStatistics
from tepui.evidence.floor import MOST_SAMPLES, Floor, floor_from_guard, floor_from_quiet_part, rounding_floor
from tepui.evidence.masks import published_mask
from tepui.evidence.receiver_axes import receiver_axes, without_axes
from tepui.evidence.shoulders import Shoulders, shoulders
from tepui.evidence.unrest import unrest_beside
from tepui.ground.doubt import Estimate
from tepui.ground.errors import RangeError
from tepui.ground.findings import Outcome
from tepui.jobs.slices import SliceOptions, repeats, with_slice
from tepui.jobs.spectrum_channel import LEAST_RATE, Channel, found_channel, measured_part, told_channel
from tepui.jobs.spectrum_findings import (
    axes_findings,
    clipping_findings,
    crest_finding,
    flatness_findings,
    floor_finding,
    mask_finding,
    nothing_findings,
    place_findings,
    shoulder_findings,
    sidelobe_findings,
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
    usable_hz: float | None = None,
    mer: Estimate | None = None,
) -> Outcome:
    """Everything the spectrum of one recording tells.

    width_hz   channel width, or None to find it
    centre_hz  where the channel's centre lies, with ``width_hz``, for a signal that is not found by itself
    mask       name of a published mask; None takes the one that fits the width, if any
    usable_hz, mer   of a slice of a wider channel: what the receiver shows truly, and MER of a wide recording
    raises     RangeError where what was given contradicts the recording
    """
    if mask is not None and width_hz is not None:
        published_mask(mask, channel_width_hz=width_hz)
    try:
        slices = SliceOptions(width_hz=width_hz, centre_hz=centre_hz, usable_hz=usable_hz, mer=mer)
        return _measured(recording, slices, mask=mask, workers=workers)
    except (ValueError, ArithmeticError):
        _counted(recording)  # samples that are no numbers explain it better
        raise


def _measured(recording: Recording, told: SliceOptions, *, mask: str | None, workers: int | None) -> Outcome:
    about = f"recording:{recording.name}"
    recording, remark = measured_part(recording)
    SampleScreen(recording).look(recording.read(0, BLOCK), start=0)
    found = _placed(recording, told)
    if isinstance(found, str):
        _counted(recording)
        nothing = nothing_findings(about, f"{found} {remark}".strip())
        return with_slice(Outcome(findings=nothing), recording, told)
    raw, channel = found
    axes = receiver_axes(raw, centre_offset_hz=channel.centre_offset_hz, occupied_width_hz=channel.occupied_hz)
    recording = without_axes(raw, axes)
    with ThreadPoolExecutor(max_workers=1) as side:
        counting = side.submit(_counted, raw)
        fine = spectrum_of_recording(
            recording,
            resolution_bandwidth_hz=SPACINGS_OF_RESOLUTION * channel.spacing_hz,
            window="hann",
            workers=workers,
        )
        peaks, counts = counting.result()
        floor = _floor(recording, fine, channel)
        sides = _shoulders(recording, fine, channel, floor)
        masked = mask_finding(about, recording, channel, floor, mask=mask, workers=workers)
    findings = (
        *place_findings(about, recording, channel, remark=remark),
        *shoulder_findings(about, sides, channel, fine),
        width_finding(about, fine, channel, floor),
        crest_finding(about, peaks, recording, channel),
        *flatness_findings(about, fine, channel),
        floor_finding(about, floor, inband_density(fine, channel)),
        masked,
        *axes_findings(about, axes),
        *sidelobe_findings(about, sides, channel),
        *clipping_findings(about, counts),
    )
    return Outcome(
        findings=findings,
        tables=(lines_table(fine, channel), spectrum_table(fine, channel)),
        pictures=pictures(
            findings=findings,
            sides=sides,
            fine=fine,
            channel=channel,
            floor=floor,
            peaks=peaks,
            tuned_hz=recording.centre_hz,
        ),
    )


def _placed(recording: Recording, told: SliceOptions) -> tuple[Recording, Channel] | str:
    """The recording from where a signal begins and its channel; or why there is none, where a slice may still tell.

    raises  RangeError where what was told contradicts the recording, and no guard interval repeats in it
    """
    try:
        if told.centre_hz is None:
            return found_channel(recording, width_hz=told.width_hz)
        return recording, told_channel(recording, width_hz=told.width_hz, centre_hz=told.centre_hz)
    except RangeError as refusal:
        is_wide = told.width_hz is None or recording.sample_rate_hz > LEAST_RATE * occupied_hz(told.width_hz)
        if is_wide or not repeats(recording, told):
            raise
        return str(refusal)


def _counted(recording: Recording) -> tuple[PeakStatistics, SampleCounts]:
    """Peaks of the whole recording, and what a screen saw of it.

    raises  FormatError where a sample is no number, or all are the same
    """
    screen, peaks = SampleScreen(recording), PeakCounter()
    for number, block in enumerate(recording.blocks(BLOCK)):
        screen.look(block, start=number * BLOCK)
        peaks.push(block)
    return peaks.result(), screen.finish()


def _floor(recording: Recording, fine: Spectrum, channel: Channel) -> Floor | None:
    """The floor from the guard interval, else a bound from the quietest part; None where neither is to be had."""
    place = {"centre_offset_hz": channel.centre_offset_hz, "occupied_width_hz": channel.occupied_hz}
    if channel.symbols is not None:
        try:
            told = floor_from_guard(
                recording.read(0, MOST_SAMPLES),
                sample_rate_hz=recording.sample_rate_hz,
                useful_s=channel.symbols.useful_s,
                guard_s=channel.symbols.guard_s,
                **place,
            )
            least = rounding_floor(step=_step(recording.sample_type), sample_rate_hz=recording.sample_rate_hz)
            return least if told.density < least.high else told
        except RangeError:
            pass
    try:
        return floor_from_quiet_part(fine, **place)
    except RangeError:
        return None


def _step(sample_type: str) -> float:
    """Distance of two codes, full scale = 1: of whole numbers by their bits, of floating point by its digits."""
    if sample_type.startswith("cf"):
        return float(np.finfo(np.float32).eps)
    return 2.0 ** (1 - int(re.findall(r"\d+", sample_type)[0]))


def _shoulders(recording: Recording, fine: Spectrum, channel: Channel, floor: Floor | None) -> Shoulders | str:
    """The shoulders, or the sentence that says why the recording does not show them."""
    looked = recording.read(0, MOST_SAMPLES)
    unrest = unrest_beside(
        looked,
        sample_rate_hz=recording.sample_rate_hz,
        centre_offset_hz=channel.centre_offset_hz,
        occupied_width_hz=channel.occupied_hz,
    )
    try:
        return shoulders(
            fine,
            centre_offset_hz=channel.centre_offset_hz,
            occupied_width_hz=channel.occupied_hz,
            carrier_spacing_hz=channel.spacing_hz,
            floor=floor,
            unrest=unrest * math.sqrt(len(looked) / recording.n_samples),
            guard=None if channel.symbols is None else Fraction(channel.symbols.guard_text),
        )
    except RangeError as refusal:
        return str(refusal)
