"""What a running receiver shows of itself on a short recording: bits, line at zero, image, noise, usable width.

Theory  Codes tell the step and the bits in use; the mean is the line at zero; E[z^2] over 2 E|z|^2 is the image of a
        signal that fills part of the band (narrow.py). On noise alone (input terminated) the spectrum is the filter's
        shape: the usable width ends where it leaves the middle by a decibel.
Source  narrow.py and converter.py; the decibel is this program's limit.
Holds   The image needs a signal that is not symmetrical about the tuned frequency; the width needs noise that is flat
        before the filter, and converter noise hides the filter where it is the larger part.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.evidence.converter import Converter, converter_from, sums_of_recording
from tepui.ground.doubt import Estimate, estimate
from tepui.signals.recording import Recording
from tepui.signals.spectrum import Spectrum, spectrum_of_recording

FALL_DB = 1.0
MIDDLE_SHARE = 0.25  # of the rate, on which the level of the noise is judged
IMAGE_RMS_STEPS = 4.0
IMAGE_STD_DB = 1.0
POINTS = 512
DC_BINS = 3
PLAIN_DB = 6.0  # a spectrum that varies more than this in its middle is no noise


@dataclass(frozen=True, kw_only=True)
class ReceiverCheck:
    """What was seen.

    level_db      mean power over a full-scale carrier
    dc_db         of the line at zero over a full-scale carrier; dc_width_hz both sides together, where it stands out
    image_db      power of the image over that of the signal; None where too little was seen
    usable_hz     width within a decibel; None where this was no noise, or it does not fall within the band
    """

    converter: Converter
    level_db: float
    dc_db: float
    dc_width_hz: float
    image_db: Estimate | None
    usable_hz: float | None


def check_recording(recording: Recording, *, terminated: bool) -> ReceiverCheck:
    """Everything one recording tells of the receiver."""
    sums = sums_of_recording(recording)
    converter = converter_from(sums)
    rate_hz = recording.sample_rate_hz
    spectrum = spectrum_of_recording(recording, resolution_bandwidth_hz=rate_hz / POINTS)
    rms = math.sqrt(float(np.sum(converter.spread**2)))
    image = None
    if not terminated and (converter.step is None or rms >= IMAGE_RMS_STEPS) and sums.power > 0:
        ratio = abs(sums.square) / (2 * sums.power)
        spread = 1 / math.sqrt(2 * sums.n)
        if ratio > 3 * spread:
            image = estimate(20 * math.log10(ratio), scatter=8.7 * spread / ratio, method=IMAGE_STD_DB)
    return ReceiverCheck(
        converter=converter,
        level_db=_decibels(sums.power),
        dc_db=_decibels(abs(sums.mean) ** 2),
        dc_width_hz=_dc_width_hz(spectrum),
        image_db=image,
        usable_hz=_usable_hz(spectrum, rate_hz) if terminated else None,
    )


def _decibels(power: float) -> float:
    return 10 * math.log10(max(power, 1e-15))


def _dc_width_hz(spectrum: Spectrum) -> float:
    """Width of what stands out around zero, both sides together."""
    zero = int(np.argmin(np.abs(spectrum.frequency_hz)))
    reach = 0
    for side in (spectrum.density[zero:], spectrum.density[zero::-1]):
        around = float(np.median(side[8:32]))
        high = side[:32] > around * (1 + 6 / math.sqrt(spectrum.n_averages))
        reach = max(reach, int(np.argmin(high)) if not high.all() else 32)
    return 2 * reach * spectrum.bin_hz


def _usable_hz(spectrum: Spectrum, rate_hz: float) -> float | None:
    """Width within which noise departs from its middle by less than a decibel."""
    width = max(1, len(spectrum.density) // 64)
    smooth: npt.NDArray[np.float64] = np.convolve(spectrum.density, np.ones(width) / width, mode="same")
    away = np.abs(spectrum.frequency_hz)
    clear = away > (DC_BINS + width) * spectrum.bin_hz
    middle = clear & (away < MIDDLE_SHARE * rate_hz)
    level = float(np.median(smooth[middle]))
    if float(np.ptp(10 * np.log10(np.maximum(smooth[middle], 1e-30)))) > PLAIN_DB:
        return None
    off = clear & (np.abs(10 * np.log10(np.maximum(smooth, 1e-30) / level)) > FALL_DB)
    off &= away < rate_hz / 2 - width * spectrum.bin_hz  # the running mean's own end
    return float(2 * away[off].min()) if off.any() else None
