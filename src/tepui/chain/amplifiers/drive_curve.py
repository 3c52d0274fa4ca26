"""A drive curve: shoulders, MER, output power and compression of an amplifier against drive, all at once.

Theory  All of them are linear in the |c_k|^2 of the closed form, so the few points of each term's spectrum that are
        read (side slope, middle of the channel, mean in channel) are kept as one small matrix per waveform.
        Shoulder: the line through 300 and 700 kHz outside the outermost carrier, lifted until no value between stands
        above it, read at 500 kHz, below the highest value in band. MER: data cells over the distortion among them.
        Compression: gain of a weak signal over that of the signal part, |c_0|^2.
Source  [TR101290] 9.7 and 9.16; closed_form.py for the terms.
Holds   What closed_form.py holds for. A memoryless amplifier gives equal shoulders on both sides.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.chain.amplifiers.closed_form import Amplifier, Complexes, Floats, Terms, expand
from tepui.ground.checks import require_positive
from tepui.ground.errors import RangeError

OFFSETS_HZ = (300e3, 500e3, 700e3)
SLOPE_STEP_HZ = 20e3
WEAK_DB = -60.0  # below any drive of interest, for the gain of weak signals


@dataclass(frozen=True, kw_only=True, eq=False)
class WaveformView:
    """What a screen shows of each term, seen once for a waveform.

    offset_hz     (m,) from 300 to 700 kHz outside the outermost carrier
    slope         (n_terms, m) power per hertz there, through the resolution filter
    highest       (n_terms,) power per hertz in the middle of the channel; term 0 at its highest
    in_channel    (n_terms,) mean power per hertz in the channel
    data_ratio    mean power of a data cell over that of all carriers
    """

    offset_hz: Floats
    slope: Floats
    highest: Floats
    in_channel: Floats
    data_ratio: float


@dataclass(frozen=True, kw_only=True, eq=False)
class DriveCurve:
    """All of (n,), one value a drive.

    points_db       (n, 3) level at 300, 500 and 700 kHz relative to the mean in band
    shoulder_db     relative to the highest value in band, negative
    mer_db          ceiling that distortion alone sets
    power_w         mean output
    compression_db  fall of the gain against a weak signal's
    """

    points_db: Floats
    shoulder_db: Floats
    mer_db: Floats
    power_w: Floats
    compression_db: Floats


def view_waveform(
    terms: Terms, *, occupied_width_hz: float, resolution_hz: float, highest_db: float, data_ratio: float
) -> WaveformView:
    """The few points of every term that a drive curve is read from.

    resolution_hz  noise bandwidth of a Gaussian resolution filter, at least the spectrum's step
    highest_db     highest value of the waveform's trace in band over its mean
    raises         RangeError where the spectrum does not reach 700 kHz beyond the channel
    """
    require_positive("resolution_hz", resolution_hz, unit="Hz")
    half = occupied_width_hz / 2
    offsets = np.arange(OFFSETS_HZ[0], OFFSETS_HZ[2] + SLOPE_STEP_HZ / 2, SLOPE_STEP_HZ)
    frequency = terms.frequency_hz
    if half + OFFSETS_HZ[2] + 2 * resolution_hz > frequency[-1]:
        raise RangeError(
            f"The spectrum reaches {frequency[-1] / 1e6:.3f} MHz; shoulders need "
            f"{(half + OFFSETS_HZ[2] + 2 * resolution_hz) / 1e6:.3f} MHz from the centre ([TR101290] 9.7)."
        )
    distance = np.abs(frequency[None, :] - (half + offsets)[:, None])
    seen = np.exp(-np.pi * (distance / resolution_hz) ** 2)
    seen /= seen.sum(axis=1, keepdims=True)
    inside = np.abs(frequency) < half - terms.step_hz
    in_channel = terms.density[:, inside].mean(axis=1)
    highest = terms.density[:, np.abs(frequency) < half / 10].mean(axis=1)
    highest[0] = in_channel[0] * 10 ** (highest_db / 10)
    return WaveformView(
        offset_hz=offsets,
        slope=np.ascontiguousarray(terms.density @ seen.T),
        highest=highest,
        in_channel=in_channel,
        data_ratio=data_ratio,
    )


def _decibels(ratio: Floats) -> Floats:
    return np.asarray(10 * np.log10(np.maximum(ratio, 1e-30)))


def lifted_line_db(offset_hz: Floats, level_db: Floats) -> Floats:
    """Reading at 500 kHz of the line through 300 and 700 kHz, lifted to the highest value between.

    offset_hz  (m,) from 300 to 700 kHz
    level_db   (n, m)
    returns    (n,)
    """
    near, read, far = OFFSETS_HZ
    line = level_db[:, :1] + (level_db[:, -1:] - level_db[:, :1]) * (offset_hz - near)[None, :] / (far - near)
    lift = np.maximum((level_db - line).max(axis=1), 0.0)
    middle = level_db[:, 0] + (level_db[:, -1] - level_db[:, 0]) * (read - near) / (far - near)
    return np.asarray(middle + lift)


def shoulder_of(coefficients: Complexes, view: WaveformView) -> Floats:
    """Shoulder alone, for fits that need nothing else. (n,) [dB]"""
    power = np.abs(coefficients) ** 2
    n = power.shape[1]
    level = _decibels((power @ view.slope[:n]) / (power @ view.highest[:n])[:, None])
    return lifted_line_db(view.offset_hz, level)


def mer_of(coefficients: Complexes, view: WaveformView) -> Floats:
    """MER that distortion alone leaves. (n,) [dB]"""
    power = np.abs(coefficients) ** 2
    n = power.shape[1]
    return _decibels(power[:, 0] * view.in_channel[0] * view.data_ratio / (power[:, 1:] @ view.in_channel[1:n]))


def drive_curve(amplifier: Amplifier, input_w: npt.ArrayLike, view: WaveformView) -> DriveCurve:
    """Everything against drive.

    amplifier  envelope in sqrt(W) to envelope in sqrt(W)
    input_w    (n,) mean power at the input
    """
    power_in = np.atleast_1d(np.asarray(input_w, dtype=np.float64))
    coefficients = expand(amplifier, power_in)
    power = np.abs(coefficients) ** 2
    slope = power @ view.slope
    at = [int(np.argmin(np.abs(view.offset_hz - offset))) for offset in OFFSETS_HZ]
    mean = power @ view.in_channel
    faint = np.array([power_in.min() * 10 ** (WEAK_DB / 10)])
    weak_gain = float(np.abs(expand(amplifier, faint)[0, 0]) ** 2 / faint[0])
    return DriveCurve(
        points_db=_decibels(slope[:, at] / mean[:, None]),
        shoulder_db=shoulder_of(coefficients, view),
        mer_db=mer_of(coefficients, view),
        power_w=np.asarray(power.sum(axis=1)),
        compression_db=np.asarray(10 * np.log10(weak_gain * power_in / power[:, 0])),
    )
