"""Slices of a set, or one narrow recording, prepared and compared guard by guard.

Theory  Mean and image are the receiver's and come off first. Slices that lie deepest in the channel and fill their
        converter best come first.
Source  evidence/slice_prefix.py, evidence/narrow.py.
Holds   A slice that is clipped or starved is left out: its converter's errors are no noise of the signal's.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.search import CARRIERS, occupied_hz
from tepui.evidence.narrow import NarrowSpectrum
from tepui.evidence.slice_prefix import SlicePrefix, compare_slice
from tepui.evidence.slice_symbols import SliceSymbols, slice_symbols
from tepui.ground.doubt import Estimate, estimate
from tepui.ground.findings import Finding, Outcome
from tepui.jobs.set_sweeps import USABLE_SHARE, SetOptions, SetSeen
from tepui.jobs.slice_findings import GUARDS, Slice, centre_of, slice_findings, slices_table
from tepui.jobs.spectrum_findings import CLIPPED_SHARE
from tepui.jobs.statements import estimated, exact, text
from tepui.signals.recording import Recording

MOST_SLICES = 6
MOST_SAMPLES = 1 << 20
LEAST_INSIDE_HZ = 300e3
IMAGE_STANDS_OUT = 6.0  # standard deviations
STANDARD_HZ = (5e6, 8e6)
WIDTH_AGREES = 0.01
PILOTS = "pattern of the pilots in a narrow slice, [EN300744] 4.5"


def slices_of(recordings: Sequence[Recording], seen: SetSeen, options: SetOptions) -> list[Slice]:
    """The best placed slices of a set, compared; none where no symbols were found in it."""
    symbols = seen.channel.symbols
    if symbols is None:
        return []
    half_hz = seen.channel.occupied_hz / 2
    parts = {name: part for one in recordings for name, part in _parts(one)}
    placed: list[tuple[float, NarrowSpectrum, tuple[float, float], float]] = []
    for one in seen.spectra:
        usable_hz = USABLE_SHARE * one.rate_hz if options.usable_hz is None else options.usable_hz
        channel_hz = (seen.channel.centre_hz - half_hz - one.tuned_hz, seen.channel.centre_hz + half_hz - one.tuned_hz)
        inside_hz = min(channel_hz[1], usable_hz / 2) - max(channel_hz[0], -usable_hz / 2)
        used = one.converter
        if inside_hz < LEAST_INSIDE_HZ or used.is_starved or used.clipped_share > CLIPPED_SHARE:
            continue
        if one.settings.get("terminated") or one.name not in parts:
            continue
        filled = float(np.sum(used.spread**2)) if used.step is not None else 1.0
        placed.append((inside_hz * filled, one, channel_hz, usable_hz))
    placed.sort(key=lambda item: -item[0])
    found = []
    for _, one, channel_hz, usable_hz in placed[:MOST_SLICES]:
        samples = _clean(parts[one.name], image=one.image)
        told = _compared(
            samples, one.rate_hz, symbols, usable_hz=usable_hz, channel_hz=channel_hz, n_fft=seen.channel.n_fft
        )
        if told is not None:
            found.append(Slice(name=one.name, tuned_hz=one.tuned_hz, told=told))
    return found


def _compared(
    samples: npt.NDArray[np.complex64],
    rate_hz: float,
    symbols: SliceSymbols,
    *,
    usable_hz: float,
    channel_hz: tuple[float, float],
    n_fft: int | None,
) -> SlicePrefix | None:
    return compare_slice(
        samples,
        rate_hz=rate_hz,
        useful_s=symbols.useful_s,
        guard_s=symbols.guard_s,
        usable_hz=usable_hz,
        channel_hz=channel_hz,
        n_fft=n_fft,
    )


def _parts(recording: Recording) -> list[tuple[str, Recording]]:
    """As evidence/narrow.py names them."""
    if len(recording.stretches) == 1:
        return [(recording.name, recording)]
    return [
        (f"{recording.name} part {number + 1}", recording.part(stretch.start, stretch.count))
        for number, stretch in enumerate(recording.stretches)
    ]


def _clean(recording: Recording, *, image: complex | None) -> npt.NDArray[np.complex64]:
    """Samples without mean and image; None for the image takes the recording's own, where it stands out."""
    samples = recording.read(0, min(recording.n_samples, MOST_SAMPLES)).astype(np.complex64)
    samples = samples - np.complex64(samples.mean(dtype=np.complex128))
    if image is None:
        power = float(np.mean(np.abs(samples) ** 2)) + 1e-30
        image = complex(np.mean(samples.astype(np.complex128) ** 2)) / (2 * power)
        if abs(image) < IMAGE_STANDS_OUT / math.sqrt(2 * len(samples)):
            image = 0j
    return np.asarray(samples - np.complex64(image) * np.conj(samples), dtype=np.complex64)


@dataclass(frozen=True, kw_only=True)
class SliceOptions:
    """What was told about one recording.

    width_hz, centre_hz   of the channel
    usable_hz             width that the receiver shows truly
    mer                   of a wide recording of the same signal
    """

    width_hz: float | None = None
    centre_hz: float | None = None
    usable_hz: float | None = None
    mer: Estimate | None = None


def repeats(recording: Recording, told: SliceOptions) -> bool:
    """Whether guard intervals are seen in a recording that cannot hold the whole channel told."""
    return slice_symbols([recording], width_hz=told.width_hz) is not None


def with_slice(outcome: Outcome, recording: Recording, told: SliceOptions) -> Outcome:
    """What one recording too narrow for its channel tells by its guard intervals, added; as it is where none repeat."""
    symbols = slice_symbols([recording], width_hz=told.width_hz)
    if symbols is None:
        return outcome
    about = f"recording:{recording.name}"
    usable_hz = USABLE_SHARE * recording.sample_rate_hz if told.usable_hz is None else told.usable_hz
    channel_hz = (-math.inf, math.inf)
    if told.centre_hz is not None and told.width_hz is not None and recording.centre_hz is not None:
        offset_hz, half_hz = told.centre_hz - recording.centre_hz, occupied_hz(told.width_hz) / 2
        channel_hz = (offset_hz - half_hz, offset_hz + half_hz)
    samples, rate_hz = _clean(recording, image=None), recording.sample_rate_hz
    seen, size = None, None
    for n_fft, _ in _sizes(symbols, told.width_hz, all_of_them=True):
        seen = _compared(samples, rate_hz, symbols, usable_hz=usable_hz, channel_hz=channel_hz, n_fft=n_fft)
        if seen is None:
            break
        if seen.centre_hz is not None:
            size = n_fft
            half_hz = (CARRIERS[n_fft] - 1) * seen.spacing_hz / 2
            inside_hz = (seen.centre_hz - half_hz, seen.centre_hz + half_hz)
            seen = _compared(samples, rate_hz, symbols, usable_hz=usable_hz, channel_hz=inside_hz, n_fft=n_fft) or seen
            break
    slices = [] if seen is None else [Slice(name=recording.name, tuned_hz=recording.centre_hz or 0.0, told=seen)]
    added = (
        *_symbols(about, symbols, told.width_hz, size),
        *_centre(about, recording, slices, told),
        *slice_findings(about, slices, mer=told.mer),
    )
    tables = (slices_table(slices),) if slices else ()
    return replace(outcome, findings=(*outcome.findings, *added), tables=(*outcome.tables, *tables))


def _centre(about: str, recording: Recording, slices: Sequence[Slice], told: SliceOptions) -> list[Finding]:
    """The channel's centre by the pilots in the slice, and with a centre told the tuner's error."""
    centre = centre_of(slices, None)
    if centre is None or recording.centre_hz is None:
        return []
    remark = "By the receiver's own reference, whose error adds to it."
    found = [estimated(about, "centre_frequency_hz", centre, "Hz", source=PILOTS, remark=remark)]
    if told.centre_hz is None:
        return found
    error = estimate(told.centre_hz - centre.value, **centre.contributions)
    ppm = estimate(1e6 * error.value / told.centre_hz, slices=1e6 * error.std / told.centre_hz)
    remark = "True less stated frequency of the receiver, taking the centre told as true."
    return [
        *found,
        estimated(about, "tuner_error_hz", error, "Hz", source=PILOTS, remark=remark),
        estimated(about, "tuner_error_ppm", ppm, "ppm", source=PILOTS, remark=remark),
    ]


def _sizes(symbols: SliceSymbols, width_hz: float | None, *, all_of_them: bool = False) -> list[tuple[int, float]]:
    """Sizes of the transform and widths that fit such symbols, the standard's own first."""
    sizes = [(n_fft, width) for n_fft, width, _ in symbols.channels()]
    if width_hz is not None:
        return [one for one in sizes if abs(one[1] / width_hz - 1) < WIDTH_AGREES]
    usual = [one for one in sizes if STANDARD_HZ[0] - 1 <= one[1] <= STANDARD_HZ[1] + 1]
    return usual + [one for one in sizes if one not in usual] if all_of_them else usual


def _symbols(about: str, symbols: SliceSymbols, width_hz: float | None, size: int | None) -> list[Finding]:
    """Size of the transform and guard; the size rests on the width, or on the pilots where ``size`` is known."""
    guard = f"{symbols.guard.numerator}/{symbols.guard.denominator}"
    found: list[Finding] = [text(about, "guard_fraction", guard, source=GUARDS)]
    choices = [one for one in _sizes(symbols, width_hz, all_of_them=True) if size in (None, one[0])]
    if size is not None:
        width = exact(about, "channel_width_hz", choices[0][1], "Hz", source=PILOTS)
        return [width, exact(about, "fft_size", size, "1", source=PILOTS), *found]
    if not choices:
        return found
    n_fft, width_seen = choices[0]
    remark = (
        f"As told, {width_seen / 1e6:g} MHz."
        if width_hz is not None
        else f"In a channel of {width_seen / 1e6:g} MHz: with half the carriers in half the width the symbols are as "
        "long. --width settles it, or a longer recording in which the pilots stand out."
    )
    return [exact(about, "fft_size", n_fft, "1", source=GUARDS, remark=remark), *found]
