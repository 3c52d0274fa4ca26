"""Discrete lines of a set, and whose they are: a line that moves with the receiver's tuning is the receiver's own.

Theory  A line of the transmitter keeps its absolute frequency from recording to recording; one of the receiver keeps
        its distance from the tuned frequency, or is gone at another tuning. A line that another recording covers and
        does not show, though it would stand out there, is the receiver's.
Source  common practice (no published source); lines.py for what a line is.
Holds   Steady lines. One that only one recording covers has no owner yet.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.evidence.lines import Line, discrete_lines
from tepui.evidence.narrow import NarrowSpectrum
from tepui.evidence.stitch import Stitched
from tepui.signals.spectrum import Spectrum

Floats = npt.NDArray[np.float64]

LEAST_EXCESS_DB, LEAST_EXCESS_IN_BAND_DB = 3.0, 5.0  # continual pilots stand 2.5 dB out of the band
SAME_BINS = 2.5
WOULD_SHOW = 2.0  # times the least power that another recording could have shown
MOST = 40


@dataclass(frozen=True, kw_only=True)
class OwnedLine:
    """One line.

    frequency_hz  from the channel's centre
    level_dbc, std_db   power over the signal's total power
    names         recordings that show it
    tuned_offset_hz   from the tuned frequency, in the first of them
    owner         "signal", "receiver" or "unknown"
    """

    frequency_hz: float
    level_dbc: float
    std_db: float
    names: tuple[str, ...]
    tuned_offset_hz: float
    owner: str


@dataclass(frozen=True, kw_only=True)
class _Found:
    who: int
    line: Line
    absolute_hz: float
    level: float


def owned_lines(spectra: Sequence[NarrowSpectrum], stitched: Stitched) -> tuple[OwnedLine, ...]:
    """All lines of one sweep with their owners, strongest first.

    spectra   of the sweep, in the order of ``stitched.names``
    """
    shift_hz = 0.0 if stitched.tuning_error is None else stitched.tuning_error.value
    found = [one for who, spectrum in enumerate(spectra) for one in _lines_of(who, spectrum, stitched, shift_hz)]
    found.sort(key=lambda one: -one.level)
    same_hz = SAME_BINS * spectra[0].bin_hz
    owned, taken = [], set[int]()
    for number, one in enumerate(found):
        if number in taken:
            continue
        group = [
            k for k, other in enumerate(found) if k not in taken and abs(other.absolute_hz - one.absolute_hz) < same_hz
        ]
        taken.update(group)
        seen_by = {found[k].who for k in group}
        offset_hz = one.absolute_hz - spectra[one.who].tuned_hz
        owned.append(
            OwnedLine(
                frequency_hz=one.absolute_hz - stitched.centre_hz + shift_hz,
                level_dbc=10 * math.log10(one.level),
                std_db=one.line.level_dbc.std,
                names=tuple(spectra[who].name for who in sorted(seen_by)),
                tuned_offset_hz=offset_hz,
                owner=_owner(one, seen_by, found=found, spectra=spectra, stitched=stitched, same_hz=same_hz),
            )
        )
    return tuple(owned[:MOST])


def _lines_of(who: int, one: NarrowSpectrum, stitched: Stitched, shift_hz: float) -> list[_Found]:
    offset_hz = one.frequency_hz - one.tuned_hz
    spectrum = Spectrum(
        frequency_hz=offset_hz,
        density=one.density.copy(),
        std=one.density / math.sqrt(one.n_averages),
        resolution_bandwidth_hz=one.resolution_bandwidth_hz,
        window="hann",
        n_averages=one.n_averages,
        n_samples=one.n_samples,
    )
    found = []
    for line in discrete_lines(spectrum, reference_power=1.0, least_excess_db=LEAST_EXCESS_DB, ignore_hz=[0.0]):
        at_hz = float(line.frequency_hz.value)
        place = int(np.argmin(np.abs(offset_hz - at_hz)))
        in_band = abs(one.tuned_hz + at_hz + shift_hz - stitched.centre_hz) < stitched.occupied_width_hz / 2
        if not one.usable[place] or (in_band and line.excess_db < LEAST_EXCESS_IN_BAND_DB):
            continue
        level = line.power / _scale(who, at_hz, stitched) / stitched.total
        found.append(_Found(who=who, line=line, absolute_hz=one.tuned_hz + at_hz, level=level))
    return found


def _scale(who: int, offset_hz: float, stitched: Stitched) -> float:
    """Density that the in-band mean shows in a recording, at this distance from the tuned frequency."""
    droop_db = float(np.interp(offset_hz, stitched.droop.offset_hz, stitched.droop.gain_db))
    return float(stitched.inband_density[who]) * 10 ** (droop_db / 10)


def _owner(
    one: _Found,
    seen_by: set[int],
    *,
    found: Sequence[_Found],
    spectra: Sequence[NarrowSpectrum],
    stitched: Stitched,
    same_hz: float,
) -> str:
    if len(seen_by) > 1:
        return "signal"
    offset_hz = one.absolute_hz - spectra[one.who].tuned_hz
    twins = {
        other.who
        for other in found
        if other.who != one.who and abs(other.absolute_hz - spectra[other.who].tuned_hz - offset_hz) < same_hz
    }
    if twins:
        return "receiver"
    for who, other in enumerate(spectra):
        if who == one.who:
            continue
        near = np.abs(other.frequency_hz - one.absolute_hz) < same_hz
        if not near.any() or not other.usable[near].all():
            continue
        expected = one.level * stitched.total * _scale(who, one.absolute_hz - other.tuned_hz, stitched)
        least = float(np.median(other.density[near])) * other.resolution_bandwidth_hz
        if expected > WOULD_SHOW * least:
            return "receiver"
    return "unknown"
