"""A set of narrow recordings: which belong together, and which one is missing.

Theory  What lies ahead of the receiver's distortion (pad, front-end gain) decides what the receiver adds; recordings
        that differ there do not show one spectrum. Gains are tied by an overlap or by an equal setting; a set in two
        parts that nothing ties has no common level.
Source  common practice (no published source); the setting names are those of recording.Stretch.
Holds   Settings as the recordings name them; a receiver that changes its gain by itself is not seen here.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from tepui.evidence.converter import IDEAL_LSB2
from tepui.evidence.narrow import NarrowSpectrum
from tepui.ground.doubt import Estimate, estimate

CELLS_A_BAND = 96  # of the sample rate
LEAST_OVERLAP_CELLS = 3
BINS_AS_ONE = HANN_BINS = 2.0  # bins that count as one: those of a Hann window are correlated
SHAPE_STD = 0.02  # of a floor that is not quite flat (this program's limit)
MOST_UNEVEN = 1.05  # of a floor of the converter alone
AHEAD = ("attenuator_db", "frontend_gain_db")
BEHIND = ("if_gain_db",)

Setting = tuple[tuple[str, float], ...]


def bins_a_cell(spectrum: NarrowSpectrum) -> int:
    """Points of a spectrum that are taken together where recordings are compared. [1]"""
    return max(1, round(len(spectrum.density) / CELLS_A_BAND))


def setting_of(spectrum: NarrowSpectrum) -> Setting:
    """What names the gain of a recording; equal settings have equal gains."""
    names = (*AHEAD, *BEHIND, "gain_db")
    return tuple((name, float(spectrum.settings[name])) for name in names if name in spectrum.settings)


def ahead_of(spectrum: NarrowSpectrum) -> tuple[tuple[str, float | None], ...]:
    """What lies ahead of the receiver's distortion, and what the transmitter was set to."""
    values = ((name, spectrum.settings.get(name)) for name in (*AHEAD, "setting_dbm"))
    return tuple((name, None if value is None else float(value)) for name, value in values)


def sweeps(spectra: Sequence[NarrowSpectrum]) -> tuple[tuple[NarrowSpectrum, ...], ...]:
    """The set parted by what lies ahead of the receiver's distortion, each part by rising frequency.

    Recordings of a terminated input show no signal and are left out (see ``terminated_floor``).
    """
    groups: dict[tuple[tuple[str, float | None], ...], list[NarrowSpectrum]] = {}
    for spectrum in spectra:
        if not spectrum.settings.get("terminated"):
            groups.setdefault(ahead_of(spectrum), []).append(spectrum)
    return tuple(tuple(sorted(group, key=lambda one: one.tuned_hz)) for group in groups.values())


def terminated_floor(spectra: Sequence[NarrowSpectrum]) -> Estimate | None:
    """The converter's floor in steps^2 from recordings of a terminated input; None where there are none.

    The quietest counts: at higher gains the receiver's input noise is in it too, so that the converter's share is less;
    where that shows by the shape of the filters, a recording does not count.
    """
    found = []
    for one in spectra:
        if one.settings.get("terminated") and _is_flat(one):
            level = float(np.median(one.density[one.usable])) / one.unit_density
            scatter = level / math.sqrt(one.n_averages * max(1.0, np.count_nonzero(one.usable) / BINS_AS_ONE))
            departs = one.converter.rounding - IDEAL_LSB2 if one.converter.step else 0.0
            found.append(
                estimate(level - departs, averaging=scatter, rounding=abs(departs) / 2, shape=SHAPE_STD * level)
            )
    return min(found, key=lambda one: one.value) if found else None


def _is_flat(one: NarrowSpectrum) -> bool:
    """Whether the middle of the band stands no higher than its ends, where the filters fall."""
    away = np.abs(one.frequency_hz - one.tuned_hz) / one.rate_hz
    middle = one.density[(away < 0.25) & (away * one.rate_hz > one.dc_half_width_hz)]
    ends = one.density[(away > 0.42) & (away < 0.49)]
    return float(np.median(middle)) < MOST_UNEVEN * float(np.median(ends))


def gain_ahead_db(settings: Mapping[str, float | bool]) -> float | None:
    """Gain known to lie ahead of the receiver's distortion: front end less pad; None where neither is named. [dB]

    A gain that is not told apart (``gain_db``) or lies behind (``if_gain_db``) does not count.
    """
    if not any(name in settings for name in AHEAD):
        return None
    return float(settings.get("frontend_gain_db", 0.0)) - float(settings.get("attenuator_db", 0.0))


def nominal_gain_db(spectrum: NarrowSpectrum) -> float | None:
    """Gain as set, pad taken off; None where the recording names none. [dB]"""
    return nominal_gain_of(spectrum.settings)


def nominal_gain_of(settings: Mapping[str, float | bool]) -> float | None:
    """Gain as these settings name it, pad taken off; None where they name none. [dB]"""
    if "frontend_gain_db" in settings or "if_gain_db" in settings:
        gain = float(settings.get("frontend_gain_db", 0.0)) + float(settings.get("if_gain_db", 0.0))
    elif "gain_db" in settings:
        gain = float(settings["gain_db"])
    else:
        return None
    return gain - float(settings.get("attenuator_db", 0.0))


@dataclass(frozen=True, kw_only=True)
class Missing:
    """A recording without which the set is not one spectrum.

    tune_hz   where to tune it
    above, below   names of the recordings it must overlap; None at an end of the range
    reason    "gap" (a frequency nobody saw) or "gain" (nothing ties the gains together)
    """

    tune_hz: float
    below: str | None
    above: str | None
    reason: str


def missing_recordings(spectra: Sequence[NarrowSpectrum], *, low_hz: float, high_hz: float) -> tuple[Missing, ...]:
    """What must be recorded too, for one spectrum from ``low_hz`` to ``high_hz``; empty where nothing is missing."""
    ordered = sorted(spectra, key=lambda one: one.tuned_hz)
    if not ordered:
        return (Missing(tune_hz=(low_hz + high_hz) / 2, below=None, above=None, reason="gap"),)
    found = []
    reaches = [(float(one.frequency_hz[one.usable][0]), float(one.frequency_hz[one.usable][-1])) for one in ordered]
    width = float(np.median([high - low for low, high in reaches]))
    if reaches[0][0] > low_hz:
        found.append(Missing(tune_hz=low_hz + width / 2, below=None, above=ordered[0].name, reason="gap"))
    top, holder = reaches[0][1], ordered[0]
    for one, (low, high) in zip(ordered[1:], reaches[1:], strict=True):
        if low > top and top < high_hz and low > low_hz:
            found.append(Missing(tune_hz=(top + low) / 2, below=holder.name, above=one.name, reason="gap"))
        if high > top:
            top, holder = high, one
    if top < high_hz:
        found.append(Missing(tune_hz=high_hz - width / 2, below=holder.name, above=None, reason="gap"))
    if not found:
        found += _untied(ordered)
    return tuple(found)


def what_is_missing(spectra: Sequence[NarrowSpectrum], *, low_hz: float, high_hz: float) -> str | None:
    """A sentence on the first recording that is missing for one spectrum of this range; None where none is."""
    missing = missing_recordings(spectra, low_hz=low_hz, high_hz=high_hz)
    if not missing:
        return None
    first = missing[0]
    between = " and ".join(name for name in (first.below, first.above) if name is not None)
    why = "nobody saw part of the channel" if first.reason == "gap" else "nothing ties the gains together"
    return (
        f"The spectrum across the channel is unknown: {why} beside {between or 'the set'}. "
        f"Record once more, tuned to {first.tune_hz / 1e6:.3f} MHz with the same settings."
    )


def _untied(ordered: Sequence[NarrowSpectrum]) -> list[Missing]:
    """Neighbours whose gains nothing ties: no overlap worth the name, and not one setting."""
    bin_hz = ordered[0].bin_hz
    cell = bins_a_cell(ordered[0]) * bin_hz
    group = list(range(len(ordered)))
    for i, one in enumerate(ordered):
        for j in range(i):
            other = ordered[j]
            same = bool(setting_of(one)) and setting_of(one) == setting_of(other)
            shared = np.intersect1d(one.frequency_hz[one.usable] // cell, other.frequency_hz[other.usable] // cell)
            if same or len(shared) >= LEAST_OVERLAP_CELLS:
                old, new = group[i], group[j]
                group = [new if value == old else value for value in group]
    found = []
    for i in range(1, len(ordered)):
        if group[i] != group[i - 1]:
            below, above = ordered[i - 1], ordered[i]
            tune = (below.tuned_hz + above.tuned_hz) / 2
            found.append(Missing(tune_hz=tune, below=below.name, above=above.name, reason="gain"))
            group = [group[i - 1] if value == group[i] else value for value in group]
    return found
