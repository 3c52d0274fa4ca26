"""One narrow recording made ready for stitching: its line at zero, its image, its spectrum on a common grid.

Theory  Unequal I and Q turn y into y + r y*; a signal that does not repeat itself in mirror image has E[y^2] = 0, so
        that r = E[z^2] / (2 E|z|^2). It belongs to the receiver: where the recordings of a set agree, one r holds for
        all. Spectra are taken on one grid of frequencies: each recording is turned by less than half a bin first.
        What rounding did to a weak signal's gain is taken back.
Source  common practice (no published source); the floor from the guard interval as in floor.py.
Holds   An image that does not change over the band. Mirrored carriers that carry the same data would be taken for an
        image: tune off the channel's centre. A recording of a signal below a few steps cannot show its own image.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tepui.evidence.converter import BLOCK, Converter, SampleSums, converter_from, sums_of_recording
from tepui.evidence.floor import floor_from_guard
from tepui.ground.checks import require_positive
from tepui.ground.doubt import Estimate, estimate
from tepui.ground.errors import RangeError
from tepui.signals.recording import Recording
from tepui.signals.spectrum import SpectrumEstimator, points_for_resolution

Floats = npt.NDArray[np.float64]

IMAGE_STEPS = 4.0  # rms of both axes; below, rounding of the axes looks like an image
DC_SEARCH = 0.05  # of the sample rate, on each side
DC_LEAST_BINS = 4
STANDS_OUT = 6.0  # standard deviations
MIDDLE = 0.8  # of the sample rate, from which the converter's floor is judged
CLEAR_HZ = 300e3  # of the channel, where its slope and the tuner's error matter no more
LEAST_BESIDE = 0.12  # of the sample rate, seen beside the channel, to judge the floor there
GUARD_LEAVES = 0.004  # of the power beside the channel: how much of it does not repeat with the guard
IMAGE_DOUBT = 1.5  # over that of white noise, for signals that fill a part of the band (this program's limit)


@dataclass(frozen=True, kw_only=True)
class NarrowSpectrum:
    """A narrow recording's spectrum, image and mean taken off, on the common grid.

    first_bin       number of the first point: its frequency is first_bin * bin_hz
    density         (n,) power per hertz, full scale = 1, ascending
    usable          (n,) within the usable part of the band and clear of the line at zero
    n_averages      independent averages of each point
    settings        of the receiver, as the recording names them
    image           r of y + r y*, as it was taken off; image_std its doubt (of the modulus)
    dc_half_width_hz  left out on each side of the tuned frequency
    floor           of converter and input noise, from the guard interval, in steps^2; None where not judged
    """

    name: str
    tuned_hz: float
    rate_hz: float
    settings: Mapping[str, float | bool]
    first_bin: int
    bin_hz: float
    density: Floats
    usable: npt.NDArray[np.bool_]
    n_averages: float
    resolution_bandwidth_hz: float
    n_samples: int
    converter: Converter
    image: complex
    image_std: float
    dc_half_width_hz: float
    floor: Estimate | None

    @property
    def frequency_hz(self) -> Floats:
        """(n,) absolute, by the receiver's own scale. [Hz]"""
        return np.asarray((self.first_bin + np.arange(len(self.density))) * self.bin_hz)

    @property
    def unit_density(self) -> float:
        """Density of one step^2 spread over the sampled band; of full scale^2 where steps are unknown. [1/Hz]"""
        return (self.converter.step or 1.0) ** 2 / self.rate_hz


@dataclass(frozen=True, kw_only=True)
class _Part:
    recording: Recording
    sums: SampleSums
    converter: Converter
    own_image: complex
    own_std: float
    judged: bool


def _parts(recordings: Sequence[Recording]) -> list[_Part]:
    found = []
    for recording in recordings:
        for number, stretch in enumerate(recording.stretches):
            if stretch.frequency_hz is None:
                raise RangeError(
                    f"{recording.name} does not say what it was tuned to, and stitching needs it: give the frequency "
                    "(core:frequency in SigMF, or a table of settings)."
                )
            part = recording if len(recording.stretches) == 1 else recording.part(stretch.start, stretch.count)
            name = recording.name if len(recording.stretches) == 1 else f"{recording.name} part {number + 1}"
            sums = sums_of_recording(part)
            if sums.power <= 0:
                raise RangeError(f"{name} holds one and the same value only; record it again.")
            converter = converter_from(sums)
            rms = math.sqrt(float(np.sum(converter.spread**2)))
            found.append(
                _Part(
                    recording=part if part.name == name else _renamed(part, name),
                    sums=sums,
                    converter=converter,
                    own_image=sums.square / (2 * sums.power),
                    own_std=IMAGE_DOUBT / math.sqrt(2 * sums.n),
                    judged=converter.step is None or rms >= IMAGE_STEPS,
                )
            )
    return found


def _renamed(recording: Recording, name: str) -> Recording:
    return replace(recording, name=name)


def _images(parts: Sequence[_Part]) -> list[tuple[complex, float]]:
    """One ratio for all where they agree within their doubt, else each its own; none where too little was seen."""
    judged = [part for part in parts if part.judged]
    if not judged:
        return [(0j, 0.0) for _ in parts]
    ratios = np.array([part.own_image for part in judged])
    stds = np.array([part.own_std for part in judged])
    weight = 1 / stds**2
    mean = complex((ratios * weight).sum() / weight.sum())
    agree = bool((np.abs(ratios - mean) ** 2 / stds**2).sum() < 3 * 2 * len(judged))
    if agree:
        return [(mean, float(weight.sum() ** -0.5)) for _ in parts]
    return [(part.own_image, part.own_std) if part.judged else (0j, 0.0) for part in parts]


def _dc_half_width_hz(offset_hz: Floats, density: Floats, n_averages: float, bin_hz: float, rate_hz: float) -> float:
    """How far from zero something still stands out of what lies around it."""
    near = np.abs(offset_hz) < DC_SEARCH * rate_hz
    around = float(np.median(density[near]))
    least = DC_LEAST_BINS * bin_hz
    high = near & (density > around * (1 + STANDS_OUT / math.sqrt(n_averages))) & (np.abs(offset_hz) < least * 3)
    return max(least, float(np.abs(offset_hz[high]).max()) + 2 * bin_hz) if high.any() else least


def narrow_spectra(
    recordings: Sequence[Recording],
    *,
    resolution_bandwidth_hz: float,
    usable_share: float,
    useful_s: float | None = None,
    guard_s: float | None = None,
    channel_hz: tuple[float, float] | None = None,
) -> tuple[NarrowSpectrum, ...]:
    """Spectra of a set of narrow recordings on one grid, each stretch by itself, in the order given.

    resolution_bandwidth_hz  wanted; what is got is told, at most a few per cent narrower
    usable_share   of the sample rate: the part of the band between the falling edges of the receiver's filter
    useful_s, guard_s   of the mode, if known: the converter's floor is then judged from the guard interval
    channel_hz     lowest and highest carrier: the floor is judged beside them
    raises         RangeError where a recording has no frequency, is too short, or the sample rates differ
    """
    require_positive("usable_share", usable_share, unit="of the sample rate")
    rates = sorted({recording.sample_rate_hz for recording in recordings})
    if len(rates) != 1:
        raise RangeError(
            "Recordings to be stitched must have one sample rate, not "
            f"{', '.join(f'{rate / 1e6:g}' for rate in rates) or 'none'} MHz; record the set at one rate."
        )
    parts = _parts(recordings)
    n_fft = points_for_resolution(
        resolution_bandwidth_hz=resolution_bandwidth_hz, sample_rate_hz=rates[0], window="hann"
    )
    return tuple(
        _spectrum(
            part,
            n_fft=n_fft,
            image=image,
            usable_share=usable_share,
            guard=None if useful_s is None or guard_s is None else (useful_s, guard_s),
            channel_hz=channel_hz,
        )
        for part, image in zip(parts, _images(parts), strict=True)
    )


def _spectrum(
    part: _Part,
    *,
    n_fft: int,
    image: tuple[complex, float],
    usable_share: float,
    guard: tuple[float, float] | None,
    channel_hz: tuple[float, float] | None,
) -> NarrowSpectrum:
    recording, rate_hz = part.recording, part.recording.sample_rate_hz
    stretch = recording.stretches[0]
    tuned_hz = float(stretch.frequency_hz or 0.0)
    bin_hz = rate_hz / n_fft
    middle_bin = round(tuned_hz / bin_hz)
    turn_hz = tuned_hz - middle_bin * bin_hz
    estimator = SpectrumEstimator(n_fft=n_fft, window="hann", sample_rate_hz=rate_hz, centre_hz=tuned_hz)
    mean, ratio = np.complex64(part.sums.mean), np.complex64(image[0])
    at = 0
    for block in recording.blocks(BLOCK):
        clean = block - mean
        clean -= ratio * np.conj(clean)
        cycles = turn_hz / rate_hz * np.arange(at, at + len(block))
        estimator.push(clean * np.exp(2j * np.pi * (cycles - np.floor(cycles))).astype(np.complex64))
        at += len(block)
    found = estimator.result()
    first_bin = middle_bin - n_fft // 2
    offset_hz: Floats = (first_bin + np.arange(n_fft, dtype=np.float64)) * bin_hz - tuned_hz
    density: Floats = found.density / part.converter.gain
    dc_hz = _dc_half_width_hz(offset_hz, density, found.n_averages, bin_hz, rate_hz)
    usable = (np.abs(offset_hz) <= usable_share * rate_hz / 2) & (np.abs(offset_hz) > dc_hz)
    channel = (math.inf, math.inf) if channel_hz is None else channel_hz
    beside = usable & ((offset_hz + tuned_hz < channel[0] - CLEAR_HZ) | (offset_hz + tuned_hz > channel[1] + CLEAR_HZ))
    floor = None
    if guard is not None and np.count_nonzero(beside) * bin_hz > LEAST_BESIDE * rate_hz:
        floor = _guard_floor(
            part, guard=guard, image=image[0], channel_offset_hz=(channel[0] - tuned_hz, channel[1] - tuned_hz)
        )
        if floor is not None:
            # Distortion that does not quite repeat with the guard adds a little of its own power.
            spread = float(density[beside].mean()) * rate_hz / (part.converter.step or 1.0) ** 2
            floor = estimate(floor.value, **floor.contributions, distortion=GUARD_LEAVES * spread)
    return NarrowSpectrum(
        name=recording.name,
        tuned_hz=tuned_hz,
        rate_hz=rate_hz,
        settings=stretch.settings,
        first_bin=first_bin,
        bin_hz=bin_hz,
        density=density,
        usable=usable,
        n_averages=found.n_averages,
        resolution_bandwidth_hz=found.resolution_bandwidth_hz,
        n_samples=found.n_samples,
        converter=part.converter,
        image=image[0],
        image_std=image[1],
        dc_half_width_hz=dc_hz,
        floor=floor,
    )


def _guard_floor(
    part: _Part, *, guard: tuple[float, float], image: complex, channel_offset_hz: tuple[float, float]
) -> Estimate | None:
    """Noise in steps^2, both axes, referred to the converter's input, judged beside the channel.

    channel_offset_hz  lowest and highest carrier, from the tuned frequency
    returns            None where the guard is too short for it
    """
    low_hz, high_hz = channel_offset_hz
    is_told = math.isfinite(low_hz)
    rate_hz = part.recording.sample_rate_hz
    samples = part.recording.read(0, min(part.recording.n_samples, 1 << 22)) - np.complex64(part.sums.mean)
    samples -= np.complex64(image) * np.conj(samples)
    try:
        found = floor_from_guard(
            samples,
            sample_rate_hz=rate_hz,
            useful_s=guard[0],
            guard_s=guard[1],
            centre_offset_hz=(low_hz + high_hz) / 2 if is_told else 0.0,
            occupied_width_hz=high_hz - low_hz if is_told else 0.0,
            usable_band=MIDDLE,
        )
    except RangeError:
        return None
    if not found.density > 0:
        return None
    unit = (part.converter.step or 1.0) ** 2 / rate_hz * part.converter.gain
    return estimate(found.density / unit, averaging=found.std / unit)
