"""Side-lobes of a modulator that does not filter: told from distortion by when they come, put at their known level.

Theory  Where two symbols meet the waveform jumps. Beside the channel each jump is a click, over in microseconds, and
        all clicks together are the side-lobes; distortion and noise come all the time. So the power beside the channel
        is folded over the symbol: what stands above the rest around the boundaries is side-lobes. Their mean follows
        from the carriers: a click's spectrum is the sum over them of (next - last) / (2 pi i (f - f_k)), where data
        are independent and pilots are known, so that the two sides differ. A recording of tens of symbols holds tens
        of clicks and misses that mean by tenths of a decibel, alike in all recordings of one piece of a clip. Where
        what is seen agrees with the unfiltered mean, the mean takes its place; where it does not, nothing is changed.
Source  [EN300744] 4.4 and 4.5; spectrum of a jump by Fourier's integral. The limits are this program's own.
Holds   Rectangular symbols, guards of 10 microseconds and more, a mode that is known.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tepui.evidence.floor import symbol_start
from tepui.evidence.shoulders import DECIBEL, Shoulder
from tepui.ground.doubt import estimate
from tepui.signals.dvbt.carriers import mean_powers, pilot_carriers, pilot_values
from tepui.signals.dvbt.mode import Mode

Floats = npt.NDArray[np.float64]
Samples = npt.NDArray[np.complex64]
BAND_HZ = (250e3, 750e3)  # outside the outermost carrier, weighed by a raised cosine around [TR101290]'s 500 kHz
GATE_S = 5e-6  # either side of a boundary: a click through that band is over
LEAST_SYMBOLS = 16
AGREES = 3.0  # standard uncertainties that seen and expected may differ by
SURE_SHARE = 0.25  # of the expected power: seen less surely, no agreement means anything
EXPECTED_STD_DB = 0.1  # of the expected mean: the amplifier's gain where a click comes, a receiver's slope
MOST_SAMPLES = 1 << 22


@dataclass(frozen=True, kw_only=True)
class Sidelobes:
    """One side; all relative to the mean density in the channel.

    seen, std    what stands above the rest where symbols meet
    expected     mean of an unfiltered signal
    whole        power of all that is there, noise taken off
    """

    seen: float
    std: float
    expected: float
    whole: float

    @property
    def is_unfiltered(self) -> bool:
        """Whether the signal is one that nobody filtered."""
        return self.std < SURE_SHARE * self.expected and abs(self.seen - self.expected) < AGREES * self.std

    @property
    def change_db(self) -> float:
        """What the shoulder moves by when the mean takes the place of what was seen."""
        return 10 * math.log10(max(1 + (self.expected - self.seen) / self.whole, 0.1))


def settled(shoulder: Shoulder, lobes: Sidelobes) -> Shoulder:
    """A shoulder with its side-lobes at their mean, and without the doubt that their scatter left."""
    if shoulder.corrected is None:
        return shoulder
    parts = dict(shoulder.corrected.contributions)
    scatter = DECIBEL * lobes.std / lobes.whole
    parts["unrest"] = math.sqrt(max(parts.get("unrest", 0.0) ** 2 - scatter**2, 0.0))
    parts["sidelobes"] = EXPECTED_STD_DB * lobes.expected / (lobes.whole + lobes.expected - lobes.seen)
    return replace(shoulder, corrected=estimate(shoulder.corrected.value + lobes.change_db, **parts))


def expected_sidelobes(mode: Mode, offset_hz: Floats) -> Floats:
    """Mean density of an unfiltered signal beside the channel, relative to its mean in the channel.

    offset_hz  (n,) from the channel's centre
    """
    power = mean_powers(mode.n_fft)
    number = np.arange(mode.n_carriers) - (mode.n_carriers - 1) // 2
    reach = 2j * np.pi * (offset_hz[:, None] - number * mode.carrier_spacing_hz)
    turn = np.exp(-2j * np.pi * number * float(mode.guard))
    values = pilot_values(mode.n_fft)
    total = np.zeros(len(offset_hz))
    for phase in range(4):
        last, following = (np.zeros(mode.n_carriers), np.zeros(mode.n_carriers))
        is_data = np.ones((2, mode.n_carriers))
        for row, (symbol, when) in enumerate(((last, phase), (following, (phase + 1) % 4))):
            where = pilot_carriers(mode.n_fft, when)
            symbol[where] = values[where]
            is_data[row, where] = 0
        known = np.abs((following * turn - last) @ (1 / reach).T) ** 2
        total += (known + is_data.sum(axis=0) @ (1 / np.abs(reach) ** 2).T) / 4
    return np.asarray(total / mode.symbol_s / (float(power.mean()) * mode.useful_s))


def sidelobes_of(
    samples: Samples,
    *,
    sample_rate_hz: float,
    centre_offset_hz: float,
    mode: Mode,
    symbols_s: tuple[float, float],
    floor_density: float,
) -> tuple[Sidelobes, Sidelobes] | None:
    """Lower and upper side; None where the recording is too short or shows too little beside the channel.

    symbols_s      useful part and guard as the recording's clock counts
    floor_density  noise of the recording [1/Hz]
    """
    samples = samples[:MOST_SAMPLES]
    n_useful, n_guard = symbols_s[0] * sample_rate_hz, symbols_s[1] * sample_rate_hz
    period = n_useful + n_guard
    half = mode.occupied_width_hz / 2
    reaches = abs(centre_offset_hz) + half + BAND_HZ[1] < sample_rate_hz / 2
    if len(samples) < (LEAST_SYMBOLS + 2) * period or not reaches or symbols_s[1] < 2 * GATE_S:
        return None
    start, _ = symbol_start(samples, n_useful=n_useful, n_guard=n_guard)
    lines = np.fft.fft(samples)
    n = len(samples)
    inside = np.abs(np.fft.fftfreq(n, 1 / sample_rate_hz) - centre_offset_hz) < half
    in_channel = float(np.mean(np.abs(lines[inside]) ** 2)) / (n * sample_rate_hz) - floor_density
    found = [_side(lines, sign, start / sample_rate_hz, period / sample_rate_hz, sample_rate_hz=sample_rate_hz,
                   centre_offset_hz=centre_offset_hz, mode=mode, floor_density=floor_density,
                   in_channel=in_channel) for sign in (-1, 1)]  # fmt: skip
    return found[0], found[1]


def _side(
    lines: npt.NDArray[np.complexfloating],
    sign: int,
    start_s: float,
    period_s: float,
    *,
    sample_rate_hz: float,
    centre_offset_hz: float,
    mode: Mode,
    floor_density: float,
    in_channel: float,
) -> Sidelobes:
    """Power beside the channel on one side, around the boundaries and away from them."""
    n = len(lines)
    seconds = n / sample_rate_hz
    edge = mode.occupied_width_hz / 2
    ends = sorted(sign * (edge + where) for where in BAND_HZ)
    first, last = (round((end + centre_offset_hz) * seconds) for end in ends)
    offset_hz = np.arange(first, last + 1) / seconds - centre_offset_hz
    weight = np.sin(np.pi * (offset_hz - ends[0]) / (ends[1] - ends[0])) ** 2
    part = lines[np.arange(first, last + 1) % n] * np.sqrt(weight)
    size = 4 * len(part)  # four points in the shortest time that the band resolves
    power = np.abs(np.fft.ifft(part, size) * size / n) ** 2  # of the band, over the recording's time
    step_s = seconds / size
    count = int((seconds - start_s) / period_s) - 1
    since = np.arange(size) * step_s - start_s
    number = np.rint(since / period_s).astype(np.int64)
    away = np.abs(since - number * period_s)
    whole = (number >= 1) & (number <= count - 1)
    near = whole & (away <= GATE_S)
    rest = float(power[whole & (away > 2 * GATE_S)].mean())
    clicks = np.bincount(number[near], power[near] - rest, minlength=count)[1:count] * step_s / period_s
    unit = float(weight.sum()) / seconds * in_channel  # power that the density in the channel would have in this band
    noise = float(weight.sum()) / seconds * floor_density
    seen, std = float(clicks.mean()) / unit, float(clicks.std(ddof=1)) / math.sqrt(len(clicks)) / unit
    total = float(power[whole].mean() - noise) / unit
    sparse = np.linspace(ends[0], ends[1], 41)
    weight = np.sin(np.pi * (sparse - ends[0]) / (ends[1] - ends[0])) ** 2
    expected = float(expected_sidelobes(mode, sparse) @ weight / weight.sum())
    return Sidelobes(seen=seen, std=std, expected=expected, whole=max(total, seen, 1e-12))
