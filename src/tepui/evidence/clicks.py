"""Side-lobes of a short recording put at their mean: what the carriers sent says of each click where symbols meet.

Theory  Where two symbols meet an unfiltered waveform jumps. Beside the channel each jump is a click, over in
        microseconds; all clicks together are the side-lobes. A recording of tens of symbols holds tens of clicks and
        misses their mean by tenths of a decibel, alike in all recordings of one piece of a clip. But the carriers are
        received, and with them each jump: its power at f is that of the sum over carriers of (next - last) /
        (2 pi i (f - f_k)), and its mean follows, data being independent and pilots known. As far as the clicks that
        are seen go with the jumps, click by click, their mean is corrected by what the jumps' mean misses. A signal
        that a modulator filtered has no clicks that would go with anything, and is left as it is; nor need it be
        known how high side-lobes stand behind a modulator's own interpolation.
Source  [EN300744] 4.4 and 4.5; spectrum of a jump by Fourier's integral; control variates (common practice).
Holds   Guards of 16 microseconds and more, a mode that is known, a channel that stands still.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import scipy.signal

from tepui.evidence.floor import symbol_start
from tepui.evidence.shoulders import DECIBEL, OFFSETS_HZ, Shoulder
from tepui.ground.doubt import estimate
from tepui.signals.dvbt.carriers import continual_carriers, mean_powers, pilot_carriers, pilot_values
from tepui.signals.dvbt.mode import Mode

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
Samples = npt.NDArray[np.complex64]
HALF_BAND_HZ = 150e3  # of the raised cosine around each place that is looked at: a click through it is over in 8 us
GATE_S = 8e-6
LEAST_SYMBOLS = 20
MOST_SYMBOLS = 600
PART_INTO_GUARD = 0.25  # where a symbol is cut, so that neighbours and filters stay out
LEAST_LIKENESS = 0.3  # of clicks and jumps: less may be chance, and little would be won


@dataclass(frozen=True, kw_only=True)
class Clicks:
    """What one side's clicks say.

    change_db  what the shoulder moves by
    taken_std  relative standard uncertainty that this takes from it
    likeness   correlation of clicks and jumps 500 kHz out; 0 where nothing goes together
    """

    change_db: float
    taken_std: float
    likeness: float


def with_clicks(shoulder: Shoulder, clicks: Clicks) -> Shoulder:
    """A shoulder with its side-lobes at their mean, and without the doubt that their scatter left."""
    if shoulder.corrected is None or clicks.likeness < LEAST_LIKENESS:
        return shoulder
    parts = dict(shoulder.corrected.contributions)
    parts["unrest"] = math.sqrt(max(parts.get("unrest", 0.0) ** 2 - (DECIBEL * clicks.taken_std) ** 2, 0.0))
    return replace(shoulder, corrected=estimate(shoulder.corrected.value + clicks.change_db, **parts))


def expected_jump(mode: Mode, offset_hz: float) -> float:
    """Mean power of a jump's spectrum, a data carrier's power being 1. [s^2]

    offset_hz  from the channel's centre, outside the channel
    """
    number = _numbers(mode)
    reach = 2j * np.pi * (offset_hz - number * mode.carrier_spacing_hz)
    turn = np.exp(-2j * np.pi * number * float(mode.guard))
    values, total = pilot_values(mode.n_fft), 0.0
    for phase in range(4):
        known = np.zeros((2, mode.n_carriers))
        for row in (0, 1):
            where = pilot_carriers(mode.n_fft, (phase + row) % 4)
            known[row, where] = values[where]
        free = np.count_nonzero(known == 0, axis=0)
        total += abs(np.sum((known[1] * turn - known[0]) / reach)) ** 2 + float(np.sum(free / np.abs(reach) ** 2))
    return total / 4


def expected_sidelobes(mode: Mode, offset_hz: float) -> float:
    """Mean density of an unfiltered signal's side-lobes, relative to its mean in the channel."""
    return expected_jump(mode, offset_hz) / (mode.symbol_s * float(mean_powers(mode.n_fft).mean()) * mode.useful_s)


def clicks_of(
    samples: Samples,
    *,
    sample_rate_hz: float,
    centre_offset_hz: float,
    mode: Mode,
    symbols_s: tuple[float, float],
    floor_density: float,
) -> tuple[Clicks, Clicks] | None:
    """Lower and upper side; None where the recording is too short or shows too little beside the channel.

    symbols_s      useful part and guard as the recording's clock counts
    floor_density  noise of the recording [1/Hz]
    """
    period_s = sum(symbols_s)
    samples = samples[: int((MOST_SYMBOLS + 3) * period_s * sample_rate_hz)]
    seconds = len(samples) / sample_rate_hz
    edge = mode.occupied_width_hz / 2
    reaches = abs(centre_offset_hz) + edge + OFFSETS_HZ[-1] + HALF_BAND_HZ < sample_rate_hz / 2
    if seconds < (LEAST_SYMBOLS + 3) * period_s or not reaches or symbols_s[1] < 2 * GATE_S:
        return None
    start, _ = symbol_start(samples, n_useful=symbols_s[0] * sample_rate_hz, n_guard=symbols_s[1] * sample_rate_hz)
    start_s = start / sample_rate_hz
    count = int((seconds - start_s) / period_s) - 1
    sent = _carriers(samples, start_s, count, symbols_s, sample_rate_hz=sample_rate_hz,
                     centre_offset_hz=centre_offset_hz, mode=mode)  # fmt: skip
    jump = sent[1:] * np.exp(-2j * np.pi * _numbers(mode) * float(mode.guard)) - sent[:-1]
    lines = np.fft.fft(samples)
    found = []
    for sign in (-1, 1):
        changes, taken, likeness = [], [], []
        for offset in OFFSETS_HZ:
            place = sign * (edge + offset)
            power, whole = _power(lines, centre_offset_hz + place, (start_s, period_s, seconds), count)
            reach = 2j * np.pi * (place - _numbers(mode) * mode.carrier_spacing_hz)
            model = np.abs(jump @ (1 / reach)) ** 2
            alike = float(np.corrcoef(power, model)[0, 1])
            slope = alike * float(power.std()) / float(model.std())
            missed = slope * (expected_jump(mode, place) - float(model.mean())) / (whole - floor_density)
            changes.append(10 * math.log10(max(1 + missed, 0.25)))
            taken.append(alike * float(power.std()) / math.sqrt(len(power)) / (whole - floor_density))
            likeness.append(alike)
        found.append(Clicks(change_db=(changes[0] + changes[2]) / 2, taken_std=max(taken[1], 0.0),
                            likeness=max(likeness[1], 0.0)))  # fmt: skip
    return found[0], found[1]


def _numbers(mode: Mode) -> npt.NDArray[np.int64]:
    """Of the carriers, 0 on the channel's centre."""
    return np.arange(mode.n_carriers) - (mode.n_carriers - 1) // 2


def _carriers(
    samples: Samples,
    start_s: float,
    count: int,
    symbols_s: tuple[float, float],
    *,
    sample_rate_hz: float,
    centre_offset_hz: float,
    mode: Mode,
) -> Complexes:
    """Carriers of each symbol, the channel taken off by the pilots. (count, K)"""
    useful, guard = (part * sample_rate_hz for part in symbols_s)
    early = PART_INTO_GUARD * guard
    at = np.rint(start_s * sample_rate_hz + np.arange(count) * (useful + guard) + guard - early).astype(np.int64)
    rows = samples[at[:, None] + np.arange(round(useful))]
    spacing = mode.carrier_spacing_hz * mode.useful_s / symbols_s[0] / sample_rate_hz
    number = _numbers(mode)
    first = centre_offset_hz / sample_rate_hz + number[0] * spacing
    seen = scipy.signal.czt(
        rows, m=mode.n_carriers, w=np.exp(-2j * np.pi * spacing), a=np.exp(2j * np.pi * first), axis=1
    )
    seen = seen * np.exp(2j * np.pi * number * spacing * early)
    values = pilot_values(mode.n_fft)
    power = np.abs(seen) ** 2
    marks = [np.zeros(mode.n_carriers, bool) for _ in range(4)]
    for phase, mark in enumerate(marks):
        mark[pilot_carriers(mode.n_fft, phase)] = True
    sums = [sum(float(power[row, marks[(row + shift) % 4]].sum()) for row in range(count)) for shift in range(4)]
    shift = int(np.argmax(sums))
    fixed = continual_carriers(mode.n_fft)
    known = seen[:, fixed] * values[fixed]
    turns = np.angle(known @ np.conj(known[0]))
    seen = seen * np.exp(-1j * turns)[:, None]
    total, times = np.zeros(mode.n_carriers, complex), np.zeros(mode.n_carriers)
    for row in range(count):
        mark = marks[(row + shift) % 4]
        total[mark] += seen[row, mark] / values[mark]
        times[mark] += 1
    there = np.flatnonzero(times)
    channel = np.interp(number, number[there], (total[there] / times[there]).real) + 1j * np.interp(
        number, number[there], (total[there] / times[there]).imag
    )
    return np.asarray(seen / channel)


def _power(
    lines: npt.NDArray[np.complexfloating], place_hz: float, times_s: tuple[float, float, float], count: int
) -> tuple[Floats, float]:
    """Density around one place: what each boundary's gate adds to the mean, (count - 1,), and the mean.

    times_s  the first symbol's begin, a symbol's length, the recording's
    """
    start_s, period_s, seconds = times_s
    first, last = (round((place_hz + side * HALF_BAND_HZ) * seconds) for side in (-1, 1))
    away = (np.arange(first, last + 1) / seconds - place_hz) / HALF_BAND_HZ
    weight = np.cos(np.pi / 2 * np.clip(away, -1, 1)) ** 2
    part = lines[np.arange(first, last + 1) % len(lines)] * np.sqrt(weight)
    size = 4 * len(part)  # four points in the shortest time that the band resolves
    power = np.abs(np.fft.ifft(part, size) * size / len(lines)) ** 2 / (float(weight.sum()) / seconds)
    since = np.arange(size) * seconds / size - start_s
    boundary = np.rint(since / period_s).astype(np.int64)
    near = (boundary >= 1) & (boundary < count) & (np.abs(since - boundary * period_s) <= GATE_S)
    gates = np.bincount(boundary[near], power[near], minlength=count)[1:count]
    return gates * seconds / size / period_s, float(power.mean())
