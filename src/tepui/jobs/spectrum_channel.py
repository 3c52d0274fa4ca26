"""Where the channel lies in a recording: found by the receiver's search, or told by the operator.

Theory  Pilots and guard interval give the place to a fraction of a hertz, and with the symbol's length the recording's
        own floor can be told from distortion; a channel that was only told has its place and width.
Source  [EN300744] 4.4 and 4.5, through chain/reception.
Holds   The longest stretch of one tuning, from where the signal begins in it.
"""

from dataclasses import dataclass

import numpy as np

from tepui.chain.reception.acquire import Acquired, acquire
from tepui.chain.reception.carrier import carrier_offset
from tepui.chain.reception.search import CARRIERS, WIDTHS_HZ, occupied_hz
from tepui.chain.reception.slices import wider_channel
from tepui.evidence.floor import USABLE_BAND
from tepui.evidence.shoulders import OFFSETS_HZ
from tepui.ground.doubt import Estimate, estimate
from tepui.ground.errors import RangeError
from tepui.signals.recording import Recording

LATE_S = 0.02
LEAST_FFT = 2048
LEAST_RATE = 1.04  # of the occupied width, as in reception


@dataclass(frozen=True, kw_only=True)
class Symbols:
    """What the guard interval told: size of the transform, useful part and guard as the recording's clock counts."""

    n_fft: int
    useful_s: float
    guard_s: float

    @property
    def guard_text(self) -> str:
        """The guard fraction as [EN300744] writes it."""
        return f"1/{round(self.useful_s / self.guard_s)}"


@dataclass(frozen=True, kw_only=True)
class Channel:
    """The channel's place and width.

    offset_hz   centre less tuned frequency
    looked_s    time over which the centre was looked at; 0 where it was told
    symbols     None where only the place was told
    """

    offset_hz: Estimate
    width_hz: float
    occupied_hz: float
    looked_s: float = 0.0
    symbols: Symbols | None = None

    @property
    def centre_offset_hz(self) -> float:
        """Centre less tuned frequency. [Hz]"""
        return self.offset_hz.value

    @property
    def spacing_hz(self) -> float:
        """Distance of the carriers; of 2K where the size is not known, the wider choice for the resolution. [Hz]"""
        if self.symbols is not None:
            return 1 / self.symbols.useful_s
        return 8 * self.width_hz / 7 / LEAST_FFT

    @property
    def text(self) -> str:
        """In words, for a picture's foot."""
        if self.symbols is None:
            return f"{self.width_hz / 1e6:g} MHz, as told"
        return f"{self.width_hz / 1e6:g} MHz {self.symbols.n_fft // 1024}K guard {self.symbols.guard_text}"


def measured_part(recording: Recording) -> tuple[Recording, str]:
    """The longest stretch of one tuning as a recording of its own, and a remark where that is not the whole."""
    longest = max(recording.stretches, key=lambda stretch: stretch.count)
    if longest.count == recording.n_samples:
        return recording, ""
    seconds = longest.count / recording.sample_rate_hz
    remark = (
        f"Only the longest of {len(recording.stretches)} stretches is measured: {seconds:.3g} s from sample "
        f"{longest.start} on."
        if len(recording.stretches) > 1
        else f"Measured from sample {longest.start} on, where its description begins."
    )
    return recording.part(longest.start, longest.count), remark


def told_channel(recording: Recording, *, width_hz: float | None, centre_hz: float) -> Channel:
    """The channel the operator named.

    raises  RangeError where it cannot be placed in the recording
    """
    if width_hz is None or recording.centre_hz is None:
        what = "--width beside it" if width_hz is None else "to know what the receiver was tuned to (--frequency)"
        raise RangeError(f"{recording.name}: --centre needs {what}, to place the channel in the recording.")
    offset_hz, half_hz = centre_hz - recording.centre_hz, occupied_hz(width_hz) / 2
    if abs(offset_hz) + half_hz > recording.sample_rate_hz / 2:
        reach_hz = recording.sample_rate_hz / 2
        raise RangeError(
            f"{recording.name} shows {(recording.centre_hz - reach_hz) / 1e6:.6g} to "
            f"{(recording.centre_hz + reach_hz) / 1e6:.6g} MHz; a {width_hz / 1e6:g} MHz channel centred on "
            f"{centre_hz / 1e6:.6g} MHz does not lie wholly within: correct --centre or --width, or record wider."
        )
    return Channel(offset_hz=estimate(offset_hz), width_hz=width_hz, occupied_hz=2 * half_hz)


def found_channel(recording: Recording, *, width_hz: float | None) -> tuple[Recording, Channel] | str:
    """The recording from where a signal begins, and its channel; or a sentence that says why there is none.

    raises  RangeError where its rate cannot hold the width told
    """
    rate_hz = recording.sample_rate_hz
    if width_hz is not None and rate_hz < LEAST_RATE * occupied_hz(width_hz):
        raise RangeError(
            f"{recording.name} has {rate_hz / 1e6:g} MS/s, too low for the channel told, "
            f"{occupied_hz(width_hz) / 1e6:.3g} MHz of carriers; record at {_needed_hz(width_hz) / 1e6:.3g} MS/s or "
            "more to see its shoulders."
        )
    widths = WIDTHS_HZ if width_hz is None else (width_hz,)
    with np.errstate(all="ignore"):  # samples that are no numbers are told by the screen
        found = acquire(recording, begin=0, end=recording.n_samples, floor=0, widths_hz=widths)
    if not isinstance(found, Acquired):
        return _why_nothing(recording)
    base = found.settled.base
    first = int(base.first)
    if first > LATE_S * rate_hz:
        recording = recording.part(first, recording.n_samples - first)
        again = acquire(recording, begin=0, end=recording.n_samples, floor=0, widths_hz=(found.width_hz,))
        found = again if isinstance(again, Acquired) else found
        base = found.settled.base
    offset_hz, looked_s = carrier_offset(recording, found)
    elementary_s = base.step / rate_hz
    channel = Channel(
        offset_hz=offset_hz,
        width_hz=found.width_hz,
        occupied_hz=(CARRIERS[base.n_fft] - 1) / (base.n_fft * elementary_s),
        looked_s=looked_s,
        symbols=Symbols(n_fft=base.n_fft, useful_s=base.n_fft * elementary_s, guard_s=base.n_guard * elementary_s),
    )
    return recording, channel


def _why_nothing(recording: Recording) -> str:
    wide = wider_channel(recording)
    if wide is not None:
        return (
            f"It shows {recording.sample_rate_hz / 1e6:g} MHz of a wider signal, whose symbols repeat after "
            f"{wide.useful_s * 1e6:.0f} us as in a {wide.width_hz / 1e6:g} MHz channel: record at "
            f"{_needed_hz(wide.width_hz) / 1e6:.3g} MS/s or more."
        )
    return "No DVB-T signal was found in it: tell --centre and --width, or record the channel whole and stronger."


def _needed_hz(width_hz: float) -> float:
    """Rate that shows 700 kHz beside the channel ([TR101290] 9.7) within what a receiver passes truly."""
    return (occupied_hz(width_hz) + 2 * OFFSETS_HZ[-1]) / USABLE_BAND
