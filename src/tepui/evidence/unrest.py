"""How far the power beside the channel varies with time, beyond what averaging noise would leave.

Theory  Far below its limit an amplifier distorts only the rare peaks, so the products of a short recording depend on
        which peaks it holds. The recording is cut into parts; how the power beside the channel scatters between them
        tells how well their mean is known. Noise of that bandwidth alone scatters by 1 / sqrt(2 B T) a side; the rest
        is unrest, common to both sides.
Source  batch means, common practice (no published source).
Holds   Parts of a few segments and more; with fewer it is not known and not counted. Peaks rarer than one in the
        recording cannot be seen in it.
"""

import math

import numpy as np
import numpy.typing as npt

from tepui.evidence.shoulders import OFFSETS_HZ
from tepui.signals.spectrum import periodogram_average

PARTS = 16
LEAST_SEGMENTS = 4
RESOLUTION_HZ = 25e3


def unrest_beside(
    samples: npt.NDArray[np.complex64], *, sample_rate_hz: float, centre_offset_hz: float, occupied_width_hz: float
) -> float:
    """Relative standard uncertainty that unrest leaves in the mean power 300 to 700 kHz beside the channel.

    samples  (n,)
    returns  0 where nothing beyond averaging is seen, or the recording is too short to tell. [1]
    """
    n_fft = max(64, round(1.5 * sample_rate_hz / RESOLUTION_HZ))
    size = len(samples) // PARTS
    if size < LEAST_SEGMENTS * n_fft:
        return 0.0
    offset_hz = (np.arange(n_fft) - n_fft // 2) * sample_rate_hz / n_fft - centre_offset_hz
    away_hz = np.abs(offset_hz) - occupied_width_hz / 2
    beside = (away_hz >= OFFSETS_HZ[0]) & (away_hz <= OFFSETS_HZ[-1])
    if not beside.any():
        return 0.0
    powers = np.array(
        [periodogram_average(samples[part * size : (part + 1) * size], n_fft)[beside].sum() for part in range(PARTS)]
    )
    width_hz = np.count_nonzero(beside) * sample_rate_hz / n_fft
    seen = float(powers.var(ddof=1)) / PARTS / float(powers.mean()) ** 2
    expected = sample_rate_hz / (width_hz * size * PARTS)
    return math.sqrt(max(seen - expected, 0.0))
