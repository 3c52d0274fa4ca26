"""Where the channel lies in a set of narrow recordings, before stitching: a rough joined spectrum and its edges.

Theory  Short spectra at their nominal gains, or at the gains their overlaps tell, side by side on one grid: the channel
        is what stands highest, its edges are where that falls by 10 dB. With the useful symbol only three widths are
        possible, a factor of two apart, and the edges say which.
Source  [EN300744] 4.4 for the widths. The 10 dB: this program's own, below it shoulders and floors are met.
Holds   One channel in the set, both edges seen by it, shoulders 12 dB down or more; good to some tens of kHz, as
        stitching finds the centre anew.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.search import OCCUPIED_SHARE, WIDTHS_HZ
from tepui.evidence.slice_symbols import SliceSymbols
from tepui.evidence.stitch_set import nominal_gain_of
from tepui.signals.recording import Recording
from tepui.signals.spectrum import periodogram_average

Floats = npt.NDArray[np.float64]

POINTS = 256
LOOK_SAMPLES = 1 << 16
USABLE, DC_SHARE = 0.78, 0.02  # of the sample rate
FALL_DB = 10.0
BRIDGE_HZ = 300e3  # a gap in the channel no wider than this is the channel's
WIDTH_AGREES = 0.04
MOST_OFF_PPM, EDGE_HZ = 100.0, 60e3  # of a receiver's crystal; how well a rough edge is known


@dataclass(frozen=True, kw_only=True)
class RoughEdges:
    """Where what stands highest ends, by the receiver's own scale; None where the set does not show it."""

    lower_hz: float | None
    upper_hz: float | None


@dataclass(frozen=True, kw_only=True)
class NarrowChannel:
    """The channel of a set.

    centre_hz   by the receiver's own scale, roughly, unless told
    symbols     None where nothing repeated; the size of the transform is then not known
    """

    centre_hz: float
    width_hz: float
    occupied_hz: float
    n_fft: int | None
    symbols: SliceSymbols | None

    @property
    def spacing_hz(self) -> float:
        """Distance of the carriers; of 2K where that is not known, the wider choice for the resolution. [Hz]"""
        return 1 / self.symbols.useful_s if self.symbols is not None else 8 * self.width_hz / (7 * 2048)


@dataclass(frozen=True, kw_only=True)
class _Look:
    frequency_hz: Floats
    density: Floats
    gain_db: float | None


def _look(recording: Recording, start: int, count: int, frequency_hz: float, gain_db: float | None) -> _Look:
    samples = recording.read(start, min(count, LOOK_SAMPLES))
    power = periodogram_average(samples - samples.mean(dtype=np.complex128).astype(np.complex64), POINTS)
    offset = np.fft.fftshift(np.fft.fftfreq(POINTS, 1 / recording.sample_rate_hz))
    kept = (np.abs(offset) < USABLE / 2 * recording.sample_rate_hz) & (
        np.abs(offset) > DC_SHARE * recording.sample_rate_hz
    )
    return _Look(frequency_hz=offset[kept] + frequency_hz, density=power[kept], gain_db=gain_db)


def _looks(recordings: Sequence[Recording]) -> list[_Look]:
    found = [
        _look(one, part.start, part.count, part.frequency_hz, nominal_gain_of(part.settings))
        for one in recordings
        for part in one.stretches
        if part.frequency_hz is not None and part.count >= POINTS and not part.settings.get("terminated")
    ]
    return sorted(found, key=lambda look: float(look.frequency_hz[0]))


def rough_edges(recordings: Sequence[Recording]) -> RoughEdges:
    """The ends of what stands highest."""
    looks = _looks(recordings)
    if not looks:
        return RoughEdges(lower_hz=None, upper_hz=None)
    bin_hz = recordings[0].sample_rate_hz / POINTS
    named = all(look.gain_db is not None for look in looks)
    first = math.floor(float(looks[0].frequency_hz[0]) / bin_hz)
    size = math.ceil(max(float(look.frequency_hz[-1]) for look in looks) / bin_hz) - first + 2
    total, count = np.zeros(size), np.zeros(size)
    for look in looks:
        place = np.rint(look.frequency_hz / bin_hz).astype(np.intp) - first
        gain = 1.0
        if named and look.gain_db is not None:
            gain = 10 ** (look.gain_db / 10)
        elif (both := count[place] > 0).sum() >= 3:
            gain = float(np.median(look.density[both] / (total[place[both]] / count[place[both]])))
        # The lower of two counts: what rises above is a floor that a gain has lifted.
        level = look.density / gain
        old = count[place] > 0
        level[old] = np.minimum(level[old], total[place[old]] / count[place[old]])
        total[place], count[place] = level, 1.0
    seen = np.flatnonzero(count)
    return _ends(np.asarray((seen + first) * bin_hz, dtype=np.float64), total[seen], bin_hz)


def _ends(frequency_hz: Floats, level: Floats, bin_hz: float) -> RoughEdges:
    width = 9
    if len(level) < 2 * width:
        return RoughEdges(lower_hz=None, upper_hz=None)
    padded = np.pad(level, width // 2, mode="edge")
    smooth = np.median(np.lib.stride_tricks.sliding_window_view(padded, width), axis=1)
    top = float(np.median(smooth[smooth > smooth.max() / 4]))
    high = np.flatnonzero(smooth > top * 10 ** (-FALL_DB / 10))
    # Runs of high points, joined where what parts them is narrow or was not seen at all.
    parted = [k for k in range(1, len(high)) if (high[k] - high[k - 1] - 1) * bin_hz > BRIDGE_HZ]
    runs = np.split(high, parted)
    run = max(runs, key=lambda places: float(smooth[places].sum()))
    low, up = int(run[0]), int(run[-1])
    room = 3
    return RoughEdges(
        lower_hz=float(frequency_hz[low]) if low >= room else None,
        upper_hz=float(frequency_hz[up]) if up < len(level) - room else None,
    )


def strongest(recordings: Sequence[Recording], most: int) -> tuple[Recording, ...]:
    """Recordings that hold the most power at the receiver's input, as far as their settings tell."""

    def input_power(one: Recording) -> float:
        samples = one.read(0, LOOK_SAMPLES)
        gain_db = nominal_gain_of(one.stretches[0].settings)
        return float(np.var(samples)) / 10 ** ((gain_db or 0.0) / 10)

    live = [one for one in recordings if not one.stretches[0].settings.get("terminated")]
    return tuple(sorted(live, key=input_power, reverse=True)[:most])


def place_channel(
    edges: RoughEdges, symbols: SliceSymbols | None, *, width_hz: float | None, centre_hz: float | None
) -> NarrowChannel | str:
    """The channel that fits edges, symbols and what was told; or a sentence that says what is missing."""
    seen_hz = None if edges.lower_hz is None or edges.upper_hz is None else edges.upper_hz - edges.lower_hz
    choices = _choices(symbols, width_hz)
    if width_hz is None:
        if seen_hz is None:
            return (
                "The set does not show both edges of the channel: tell --centre and --width, or record from "
                "1 MHz below the channel to 1 MHz above."
            )
        off = [abs(occupied / seen_hz - 1) for _, _, occupied in choices]
        if min(off) > WIDTH_AGREES:
            return (
                f"What stands highest in the set is {seen_hz / 1e6:.3g} MHz wide, which no channel with these symbols "
                "is: tell --centre and --width."
            )
        choices = [choices[off.index(min(off))]]
    n_fft, width, occupied = choices[0]
    if (contradiction := _contradiction(edges, seen_hz, occupied, width_hz=width_hz, centre_hz=centre_hz)) is not None:
        return contradiction
    if centre_hz is None:
        found = [at + sign * occupied / 2 for at, sign in ((edges.lower_hz, 1), (edges.upper_hz, -1)) if at is not None]
        if not found:
            return "No edge of the channel is seen in the set: tell --centre beside --width."
        centre_hz = float(np.mean(found))
    return NarrowChannel(centre_hz=centre_hz, width_hz=width, occupied_hz=occupied, n_fft=n_fft, symbols=symbols)


def _contradiction(
    edges: RoughEdges, seen_hz: float | None, occupied_hz: float, *, width_hz: float | None, centre_hz: float | None
) -> str | None:
    """A sentence where what was told is not what is seen; None where it is, or cannot be judged."""
    if seen_hz is None or edges.lower_hz is None or edges.upper_hz is None:
        return None
    agrees = abs(occupied_hz / seen_hz - 1) < 2 * WIDTH_AGREES
    if width_hz is not None and centre_hz is None and not agrees:
        return (
            f"What stands highest in the set is {seen_hz / 1e6:.3g} MHz wide, and the carriers of a "
            f"{width_hz / 1e6:g} MHz channel fill {occupied_hz / 1e6:.3g}: correct --width, or tell --centre beside it."
        )
    middle_hz = (edges.lower_hz + edges.upper_hz) / 2
    if centre_hz is not None and agrees and abs(middle_hz - centre_hz) > MOST_OFF_PPM * 1e-6 * centre_hz + EDGE_HZ:
        return (
            f"The channel that is seen lies about {middle_hz / 1e6:.3f} MHz, too far from {centre_hz / 1e6:.3f} MHz "
            "for a receiver's error: correct --centre."
        )
    return None


def _choices(symbols: SliceSymbols | None, width_hz: float | None) -> list[tuple[int | None, float, float]]:
    if symbols is None:
        widths: Sequence[float] = WIDTHS_HZ if width_hz is None else (width_hz,)
        return [(None, width, OCCUPIED_SHARE * width) for width in widths]
    found: list[tuple[int | None, float, float]] = list(symbols.channels())
    if width_hz is not None:
        told = width_hz
        found.sort(key=lambda one: abs(one[1] / told - 1))
    return found


def settings_of(recording: Recording) -> Mapping[str, float | bool]:
    """The settings of a recording's first stretch."""
    return recording.stretches[0].settings
