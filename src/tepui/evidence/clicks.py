"""Side-lobes of a short recording put at their mean: what the carriers sent says of each click where symbols meet.

Theory  Where two symbols meet an unfiltered waveform jumps. Beside the channel each jump is a click, over in
        microseconds; all clicks together are the side-lobes. A recording of tens of symbols holds tens of clicks and
        misses their mean by tenths of a decibel, alike in all recordings of one piece of a clip. But the carriers are
        received, and with them each jump: its power at f is that of the sum over carriers of (next - last) /
        (2 pi i (f - f_k)), and its mean follows, data being independent and pilots known. As far as the clicks that
        are seen go with the jumps, click by click, their mean is corrected by what the jumps' mean misses. A signal
        that a modulator filtered has no clicks that would go with anything, and is left as it is; nor need it be
        known how high side-lobes stand behind a modulator's own interpolation. Of a waveform made at one sample an
        elementary period, 1 / (2 pi i d) becomes T / (1 - exp(-2 pi i d T)), aliases and all; the likelier one counts.
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
MOST_SAMPLES = 1 << 22  # a longer recording averages its side-lobes out
ROWS = 64  # symbols transformed at once, to keep memory small
LEAST_LEFT = 0.25  # of the power: no correction goes further
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


def _spectrum(mode: Mode, offset_hz: float, *, at_elementary_rate: bool) -> Complexes:
    """What a jump by 1 on each carrier adds at one place, of a waveform without steps or of elementary periods. (K,)"""
    apart = offset_hz - _numbers(mode) * mode.carrier_spacing_hz
    if at_elementary_rate:
        return np.asarray(1 / (mode.sample_rate_hz * (1 - np.exp(-2j * np.pi * apart / mode.sample_rate_hz))))
    return np.asarray(1 / (2j * np.pi * apart))


def _expected(mode: Mode, kernel: Complexes) -> float:
    """Mean power of a jump at the place that the kernel was made for, a data carrier's power being 1."""
    turn = np.exp(-2j * np.pi * _numbers(mode) * float(mode.guard))
    values, total = pilot_values(mode.n_fft), 0.0
    for phase in range(4):
        known = np.zeros((2, mode.n_carriers))
        for row in (0, 1):
            where = pilot_carriers(mode.n_fft, (phase + row) % 4)
            known[row, where] = values[where]
        free = np.count_nonzero(known == 0, axis=0)
        total += abs(np.sum((known[1] * turn - known[0]) * kernel)) ** 2 + float(np.sum(free * np.abs(kernel) ** 2))
    return total / 4


def expected_sidelobes(mode: Mode, offset_hz: float) -> float:
    """Mean density of an unfiltered signal's side-lobes, relative to its mean in the channel."""
    jump = _expected(mode, _spectrum(mode, offset_hz, at_elementary_rate=False))
    return jump / (mode.symbol_s * float(mean_powers(mode.n_fft).mean()) * mode.useful_s)


def clicks_of(
    samples: Samples,
    *,
    sample_rate_hz: float,
    centre_offset_hz: float,
    mode: Mode,
    symbols_s: tuple[float, float],
    floor_density: float,
) -> tuple[Clicks, Clicks] | None:
    """Lower and upper side; None where the recording is too short, too long or shows too little beside the channel.

    samples        the whole recording
    symbols_s      useful part and guard as the recording's clock counts
    floor_density  noise of the recording [1/Hz]
    """
    period_s = sum(symbols_s)
    if len(samples) > MOST_SAMPLES:
        return None
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
    sides = []
    for sign in (-1, 1):
        places = [sign * (edge + offset) for offset in OFFSETS_HZ]
        gates = [_power(lines, centre_offset_hz + place, (start_s, period_s, seconds), count) for place in places]
        sides.append((places, [(power, whole - floor_density) for power, whole in gates]))
    found = [
        max((_clicks(jump, places, gates, mode, at_elementary_rate=at_rate) for at_rate in (False, True)),
            key=lambda one: one.likeness)
        for places, gates in sides
    ]  # fmt: skip
    return found[0], found[1]


def _clicks(
    jump: Complexes, places_hz: list[float], gates: list[tuple[Floats, float]], mode: Mode, *, at_elementary_rate: bool
) -> Clicks:
    """One side, by one kernel. The shoulder is read off the line through 300 and 700 kHz, so both count alike."""
    changes, taken, likeness = [], [], []
    for place, (power, whole) in zip(places_hz, gates, strict=True):
        kernel = _spectrum(mode, place, at_elementary_rate=at_elementary_rate)
        model = np.abs(jump @ kernel) ** 2
        alike = max(float(np.corrcoef(power, model)[0, 1]), 0.0)
        slope = alike * float(power.std()) / float(model.std())
        missed = slope * (_expected(mode, kernel) - float(model.mean())) / whole
        changes.append(10 * math.log10(max(1 + missed, LEAST_LEFT)))
        taken.append(alike * float(power.std()) / math.sqrt(len(power)) / whole)
        likeness.append(alike)
    return Clicks(change_db=(changes[0] + changes[2]) / 2, taken_std=taken[1], likeness=likeness[1])


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
    inside = np.arange(round(useful))
    spacing = mode.carrier_spacing_hz * mode.useful_s / symbols_s[0] / sample_rate_hz
    number = _numbers(mode)
    first = centre_offset_hz / sample_rate_hz + number[0] * spacing
    seen = np.empty((count, mode.n_carriers), np.complex128)
    for begin in range(0, count, ROWS):
        rows = samples[at[begin : begin + ROWS, None] + inside]
        seen[begin : begin + ROWS] = scipy.signal.czt(
            rows, m=mode.n_carriers, w=np.exp(-2j * np.pi * spacing), a=np.exp(2j * np.pi * first), axis=1
        )
    seen *= np.exp(2j * np.pi * number * spacing * early)
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
