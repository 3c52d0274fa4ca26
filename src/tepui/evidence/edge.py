"""Both shoulders from two or three narrow recordings of one gain, each near an edge of the channel.

Theory  The recordings stand on one grid of frequencies, their lines at zero and images taken off. Each edge is found
        where the density falls through the middle between signal and surroundings: half the sum of the two is the
        channel's centre by the receiver's own scale. What was not seen of the band is filled with what was seen
        beside it, with pilots where the mode is known, and the one shoulder procedure reads both sides. One gain, one
        converter: one floor.
Source  shoulders.py for [TR101290] 9.7; floor.py for the floor from the guard interval.
Holds   The highest value in band is that of the parts seen: a band that is higher in the middle makes the shoulders
        look worse than they are. What the receiver's front end makes is in it (instrument.py).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tepui.evidence.floor import MOST_SAMPLES, Floor, floor_from_guard
from tepui.evidence.narrow import NarrowSpectrum
from tepui.evidence.shoulders import OFFSETS_HZ, Shoulder, Shoulders, shoulders
from tepui.ground.doubt import Estimate, estimate
from tepui.ground.errors import RangeError
from tepui.signals.dvbt.pilot_rise import pilot_shape
from tepui.signals.recording import Recording
from tepui.signals.spectrum import Spectrum

Floats = npt.NDArray[np.float64]

SEARCH_HZ = 120e3  # how far from its place an edge is looked for: 90 ppm at 1.3 GHz
BESIDE_HZ = (60e3, 200e3)  # from the edge, where signal and surroundings are judged
LEAST_STEP_DB = 6.0
UNSEEN_STD_DB = 0.2  # the part of the band that was not seen may be higher (this program's limit)
SHAPE_STD_DB = 0.15  # of the receiver's gain between signal and shoulder, a few hundred kHz apart
FALL_STD_DB = 1.0  # of its filter at the end of the usable band, going with the fourth power (this program's limit)
MOST_SIGNAL_HZ = 600e3  # of the signal beside an edge that counts
MARGIN_HZ = 60e3
GUARD_BAND = 0.8  # of the sample rate: the floor falls with the filter beyond


@dataclass(frozen=True, kw_only=True)
class EdgeShoulders:
    """Both sides.

    centre_hz     of the channel, by the receiver's own scale; told where no edge was seen
    lower, upper  corrected for the floor; None where no floor is known or too little is left
    inband_db     (lower, upper) density of the signal beside each edge over full scale, in the occupied width; of the
                  third recording where there is one
    floor_db      noise density over that of the signal; None where not known
    step_db       how far the signal stands above the higher of what lies 300 to 700 kHz beside it
    """

    centre_hz: Estimate
    lower: Estimate | None
    upper: Estimate | None
    shown_lower: Estimate
    shown_upper: Estimate
    inband_db: tuple[float, float]
    floor_db: float | None
    step_db: float
    shape: Shoulders


def find_edge_hz(spectrum: NarrowSpectrum, *, expected_hz: float, side: str) -> float | None:
    """Where the signal ends, by the receiver's own scale; None where no step is seen near ``expected_hz``. [Hz]"""
    sign = -1.0 if side == "lower" else 1.0
    outwards = sign * (spectrum.frequency_hz - expected_hz)
    width = max(1, round(8e3 / spectrum.bin_hz))
    density = np.convolve(spectrum.density, np.ones(width) / width, mode="same")
    clean = spectrum.usable
    inside = clean & (outwards > -BESIDE_HZ[1] - SEARCH_HZ / 2) & (outwards < -BESIDE_HZ[0] - SEARCH_HZ / 2)
    beyond = clean & (outwards > BESIDE_HZ[0] + SEARCH_HZ / 2) & (outwards < BESIDE_HZ[1] + SEARCH_HZ / 2)
    if not inside.any() or not beyond.any():
        return None
    high, low = float(np.median(density[inside])), float(np.median(density[beyond]))
    if high < low * 10 ** (LEAST_STEP_DB / 10):
        return None
    near = np.flatnonzero(np.abs(outwards) < SEARCH_HZ)
    near = near[np.argsort(outwards[near])]
    above = density[near] > (high + low) / 2
    if not above.any() or above[-1]:
        return None
    last = int(np.flatnonzero(above)[-1])
    return expected_hz + sign * float(outwards[near[last]] + outwards[near[min(last + 1, len(near) - 1)]]) / 2


def _centre(
    seen: Sequence[tuple[str, NarrowSpectrum]], *, centre_hz: float, half_hz: float, tuning_std_hz: float
) -> Estimate:
    """The centre from both edges, or from the one that was found; as told where none was."""
    found = []
    for side, spectrum in seen:
        sign = {"lower": -1, "upper": 1}.get(side, 0)
        edge_hz = find_edge_hz(spectrum, expected_hz=centre_hz + sign * half_hz, side=side) if sign else None
        if edge_hz is not None:
            found.append(edge_hz - sign * half_hz)
    if not found:
        return estimate(centre_hz, tuning=tuning_std_hz)
    apart = float(np.ptp(found)) / 2
    return estimate(float(np.mean(found)), edges=max(apart, 2 * seen[0][1].bin_hz))


def edge_shoulders(
    seen: Sequence[tuple[str, NarrowSpectrum]],
    *,
    centre_hz: float,
    occupied_width_hz: float,
    carrier_spacing_hz: float,
    floor: Floor | None,
    tuning_std_hz: float,
    unrest: float = 0.0,
    guard: Fraction | None = None,
) -> EdgeShoulders:
    """Both shoulders by the standard procedure.

    seen           sides ("lower", "upper", "middle") and their spectra, all on one grid and of one gain
    floor          of the recordings, at the converter; None where not known
    tuning_std_hz  standard uncertainty of the receiver's frequency, used where no edge is seen
    unrest         relative, of the power beside the channel (unrest.py)
    guard          over the useful part, where the signal's symbols are known: only then are pilots counted on
    raises         RangeError where the recordings do not show what is needed
    """
    half_hz = occupied_width_hz / 2
    centre = _centre(seen, centre_hz=centre_hz, half_hz=half_hz, tuning_std_hz=tuning_std_hz)
    offset_hz, density, known = _joined(seen, centre_hz=centre.value, half_hz=half_hz)
    pilots = np.ones(len(offset_hz))
    if guard is not None:
        pilots = pilot_shape(
            offset_hz,
            occupied_width_hz=occupied_width_hz,
            carrier_spacing_hz=carrier_spacing_hz,
            resolution_bandwidth_hz=seen[0][1].resolution_bandwidth_hz,
            guard=guard,
        )
    inband = _filled(offset_hz, density, known, pilots, half_hz=half_hz)
    n_averages = float(np.mean([spectrum.n_averages for _, spectrum in seen]))
    composite = Spectrum(
        frequency_hz=offset_hz,
        density=density,
        std=density / math.sqrt(n_averages),
        resolution_bandwidth_hz=seen[0][1].resolution_bandwidth_hz,
        window="hann",
        n_averages=n_averages,
        n_samples=round(n_averages * len(density)),
        centre_hz=centre.value,
    )
    found = shoulders(
        composite,
        centre_offset_hz=0.0,
        occupied_width_hz=occupied_width_hz,
        carrier_spacing_hz=carrier_spacing_hz,
        floor=floor,
        unrest=unrest,
        guard=guard,
        picked=0.0,
    )
    apart_db = abs(inband[1] - inband[0]) / 2
    sides = [
        _with_doubt(side, centre.std, apart_db, _fall_db(seen, at_hz=centre.value + sign * half_hz, sign=sign))
        for side, sign in ((found.lower, -1), (found.upper, 1))
    ]
    mean = float(10 ** (np.mean(inband) / 10))
    away_hz = np.abs(offset_hz) - half_hz
    beside = [
        float(density[(away_hz >= OFFSETS_HZ[0]) & (away_hz <= OFFSETS_HZ[2]) & (np.sign(offset_hz) == sign)].mean())
        for sign in (-1, 1)
    ]
    return EdgeShoulders(
        centre_hz=centre,
        lower=sides[0][1],
        upper=sides[1][1],
        shown_lower=sides[0][0],
        shown_upper=sides[1][0],
        inband_db=(inband[0] + 10 * math.log10(occupied_width_hz), inband[1] + 10 * math.log10(occupied_width_hz)),
        floor_db=None if floor is None else 10 * math.log10(max(floor.density, 1e-30) / mean),
        step_db=10 * math.log10(mean / max(*beside, 1e-30)),
        shape=found,
    )


def _fall_db(seen: Sequence[tuple[str, NarrowSpectrum]], *, at_hz: float, sign: int) -> float:
    """Standard uncertainty from the filter's fall at the reading point of one side, 500 kHz outside the edge."""
    name = "lower" if sign < 0 else "upper"
    spectrum = next(one for side, one in seen if side == name)
    reach_hz = float(np.abs(spectrum.frequency_hz[spectrum.usable] - spectrum.tuned_hz).max())
    return FALL_STD_DB * (abs(at_hz + sign * OFFSETS_HZ[1] - spectrum.tuned_hz) / reach_hz) ** 4


def _with_doubt(
    side: Shoulder, centre_std_hz: float, apart_db: float, fall_db: float
) -> tuple[Estimate, Estimate | None]:
    """The doubts of one side that a wide recording does not have."""
    near_db, _, far_db = side.construction.level_db
    slope_db_hz = abs(near_db - far_db) / (OFFSETS_HZ[2] - OFFSETS_HZ[0])
    more = {
        "band_unseen": math.hypot(UNSEEN_STD_DB, apart_db / 2),
        "receiver_shape": math.hypot(SHAPE_STD_DB, fall_db),
        "edge": slope_db_hz * centre_std_hz,
    }
    shown = estimate(side.shown.value, **{**side.shown.contributions, **more})
    if side.corrected is None:
        return shown, None
    return shown, estimate(side.corrected.value, **{**side.corrected.contributions, **more})


def _joined(
    seen: Sequence[tuple[str, NarrowSpectrum]], *, centre_hz: float, half_hz: float
) -> tuple[Floats, Floats, npt.NDArray[np.bool_]]:
    """Offsets from the centre, densities, and which were seen, across the channel and 760 kHz beyond."""
    bin_hz = seen[0][1].bin_hz
    reach_hz = half_hz + OFFSETS_HZ[2] + MARGIN_HZ
    first = math.ceil((centre_hz - reach_hz) / bin_hz)
    n = math.floor((centre_hz + reach_hz) / bin_hz) - first + 1
    density = np.zeros(n)
    weight = np.zeros(n)
    for side, spectrum in seen:
        if abs(spectrum.bin_hz - bin_hz) > 1e-6 * bin_hz:
            raise RangeError("The recordings of an edge watch must have one sample rate; record them anew.")
        place = spectrum.first_bin + np.arange(len(spectrum.density)) - first
        offset_hz = spectrum.frequency_hz - centre_hz
        wanted = spectrum.usable & (place >= 0) & (place < n)
        if side != "middle":  # its own side only, and not so far into the band that the filter's fall counts
            outwards = (-1 if side == "lower" else 1) * offset_hz
            wanted &= outwards > half_hz - MOST_SIGNAL_HZ
        density[place[wanted]] += spectrum.density[wanted]
        weight[place[wanted]] += 1
    known = weight > 0
    density[known] /= weight[known]
    offsets: Floats = (first + np.arange(n, dtype=np.float64)) * bin_hz - centre_hz
    return offsets, density, known


def _filled(
    offset_hz: Floats, density: Floats, known: npt.NDArray[np.bool_], pilots: Floats, *, half_hz: float
) -> tuple[float, float]:
    """Fill what was not seen, in place; returns the signal's density beside each edge, pilots evened out, in decibels.

    In band with the mean of what was seen, from the lower part's to the upper's, times what pilots make of the band;
    outside by straight lines in decibels.
    """
    inside = np.abs(offset_hz) < half_hz - 20e3
    sides = []
    for below in (True, False):
        part = inside & known & ((offset_hz < 0) == below)
        sides.append(float((density[part] / pilots[part]).mean()) if part.any() else math.nan)
    if all(math.isnan(level) for level in sides):
        raise RangeError(
            "None of the recordings shows the signal in its channel: tune nearer to the edge, or see that the "
            "transmitter is on."
        )
    lower, upper = (level if not math.isnan(level) else other for level, other in zip(sides, sides[::-1], strict=True))
    open_band = ~known & (np.abs(offset_hz) <= half_hz)
    share = (offset_hz[open_band] + half_hz) / (2 * half_hz)
    density[open_band] = (lower * (1 - share) + upper * share) * pilots[open_band]
    rest = ~known & (np.abs(offset_hz) > half_hz)
    have = known | open_band
    density[rest] = 10 ** np.interp(offset_hz[rest], offset_hz[have], np.log10(np.maximum(density[have], 1e-30)))
    return 10 * math.log10(lower), 10 * math.log10(upper)


def edge_floor(
    seen: Sequence[tuple[Recording, NarrowSpectrum]],
    *,
    centre_hz: float,
    occupied_width_hz: float,
    useful_s: float,
    guard_s: float,
) -> Floor | None:
    """The floor of recordings of one gain, from the guard interval beside the channel; None where that is too short.

    The line at zero and the image turn otherwise than the signal from symbol to symbol, so they are taken off first.
    """
    found = []
    for recording, spectrum in seen:
        samples = recording.read(0, MOST_SAMPLES)
        samples = samples - samples.mean(dtype=np.complex128).astype(np.complex64)
        samples -= np.complex64(spectrum.image) * np.conj(samples)
        try:
            found.append(
                floor_from_guard(
                    samples,
                    sample_rate_hz=recording.sample_rate_hz,
                    useful_s=useful_s,
                    guard_s=guard_s,
                    centre_offset_hz=centre_hz - spectrum.tuned_hz,
                    occupied_width_hz=occupied_width_hz,
                    usable_band=GUARD_BAND,
                )
            )
        except RangeError:
            continue
    if not found:
        return None
    densities = np.array([one.density for one in found])
    std = math.hypot(math.sqrt(sum(one.std**2 for one in found)) / len(found), float(np.ptp(densities)) / 2)
    return Floor(density=float(densities.mean()), std=std, at_most=False, method=found[0].method)
