"""A wide receiver's own image and line at zero, found in a recording and taken off before anything is read.

Theory  Unequal I and Q turn z into z + r z*; a signal off the tuned frequency does not repeat itself in mirror image
        about it, so that E[z^2] / (2 E|z|^2) is r: where the image of the channel falls beside the channel, it looks
        like a shoulder. A transmitter's own image is mirrored about its own centre and averages away here. The line at
        zero is the mean.
Source  common practice (no published source); the same as in narrow.py.
Holds   Signals APART_HZ off the tuned frequency and more; nearer, an image lies on the channel itself, where it makes
        no shoulder, and mirrored pilots would be taken for one.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tepui.ground.doubt import Estimate, estimate
from tepui.signals.recording import Recording, SampleSource

APART_HZ = 50e3
MOST_SAMPLES = 1 << 22
BLOCK = 1 << 18
STANDS_OUT = 3.5  # standard deviations, as doubted below
DOUBT = 1.5  # over that of white noise, for signals that fill a part of the band (this program's limit)
NEAR_HZ, FAR_HZ = 200e3, 800e3  # outside the channel: where a line at zero would be read as a shoulder
DECIBEL = 20 / math.log(10)


@dataclass(frozen=True, kw_only=True)
class ReceiverAxes:
    """What was found.

    mean       of the samples, full scale 1; 0 where it harms nothing
    ratio      r of z + r z*; 0 where nothing stands out
    image_db, line_dbc   their levels over the signal; None where nothing is taken off
    """

    mean: complex
    ratio: complex
    image_db: Estimate | None
    line_dbc: Estimate | None


def receiver_axes(recording: Recording, *, centre_offset_hz: float, occupied_width_hz: float) -> ReceiverAxes:
    """Image and line at zero of the receiver that made a recording."""
    n = min(recording.n_samples, MOST_SAMPLES)
    total, square, power = 0j, 0j, 0.0
    for start in range(0, n, BLOCK):
        block = recording.read(start, min(BLOCK, n - start)).astype(np.complex128)
        total += block.sum()
        square += (block**2).sum()
        power += float(np.vdot(block, block).real)
    mean = total / n
    spread = max(power / n - abs(mean) ** 2, 1e-30)
    found = (square / n - mean**2) / (2 * spread)
    independent = max(n * occupied_width_hz / recording.sample_rate_hz, 1.0)
    std = DOUBT / math.sqrt(2 * independent)
    is_image = abs(centre_offset_hz) >= APART_HZ and abs(found) > STANDS_OUT * std
    away_hz = abs(centre_offset_hz) - occupied_width_hz / 2
    line_std = math.sqrt(spread / independent)
    is_line = NEAR_HZ < away_hz < FAR_HZ and abs(mean) > 0
    return ReceiverAxes(
        mean=mean if is_line else 0j,
        ratio=found if is_image else 0j,
        image_db=estimate(20 * math.log10(abs(found)), averaging=DECIBEL * std / abs(found)) if is_image else None,
        line_dbc=estimate(10 * math.log10(abs(mean) ** 2 / spread), averaging=DECIBEL * min(line_std / abs(mean), 0.5))
        if is_line
        else None,
    )


def without_axes(recording: Recording, axes: ReceiverAxes) -> Recording:
    """The recording without them; itself where there is nothing to take off."""
    if axes.mean == 0 and axes.ratio == 0:
        return recording
    return replace(recording, source=_Mended(recording.source, np.complex64(axes.mean), np.complex64(axes.ratio)))


@dataclass(frozen=True)
class _Mended:
    source: SampleSource
    mean: np.complex64
    ratio: np.complex64

    def read(self, start: int, count: int) -> npt.NDArray[np.complex64]:
        samples = self.source.read(start, count) - self.mean
        return np.asarray(samples - self.ratio * np.conj(samples), dtype=np.complex64)
