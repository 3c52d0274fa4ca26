"""One spectrum from many narrow recordings that overlap: least squares over what two of them saw.

Theory  Recording r shows, at x from its tuned frequency, D = g_r h(x) T(f) + F: T the spectrum at the converter's
        input side of the receiver, g_r its gain, h the shape of its filters (smooth, the same in every recording), F
        the converter's floor (flat, in steps^2 the same in all). T is free in every cell of frequency; where two
        recordings see one cell, what they say of it settles g, h and F. Weights follow from the number of averages and
        from the distance to a recording's edges. Recordings of one setting have one gain within 0.05 dB: that alone
        tells a slope of the receiver from one of the signal.
Source  Linear least squares with nuisance parameters eliminated: Golub and Pereyra 1973, SIAM J. Numer. Anal. 10,
        413-432; smooth curve as cubic splines: de Boor 1978. Nominal steps within 2 dB, equal settings within 0.05 dB:
        this program's limits.
Holds   One setting of what lies ahead of the receiver's distortion (pad, front-end gain) and a steady signal; where the
        overlaps contradict that, the contradiction is told. What the receiver's front end made is part of T.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.evidence.lost_shape import lost_floor_std, lost_gain_std
from tepui.evidence.narrow import NarrowSpectrum
from tepui.evidence.stitch_beliefs import EQUAL_STD_DB, NEPER
from tepui.evidence.stitch_fit import Fit, fit_without_folded_edges
from tepui.evidence.stitch_layout import (
    MODEL_STD,
    Elsewhere,
    Floats,
    KnownShape,
    Layout,
    Places,
    Seen,
    cells_seen,
    floor_units,
    is_outside,
    layout_of,
    model_std,
)
from tepui.evidence.stitch_set import (
    LEAST_OVERLAP_CELLS,
    Setting,
    ahead_of,
    bins_a_cell,
    what_is_missing,
)
from tepui.ground.doubt import Estimate, estimate
from tepui.ground.errors import RangeError

CHANGED_STD, CHANGED_DB = 5.0, 0.15
SEARCH_SHARE, SEARCH_HZ = 0.04, 200e3  # how far from its place an edge is looked for
LEAST_IN_BAND = 1e-4  # of what is seen: less, and a floor that takes it all, is no signal
END_SHARE = 5  # a fifth of that at either end is level


@dataclass(frozen=True, kw_only=True)
class Change:
    """Two recordings that contradict each other in what both saw.

    difference_db  later less earlier in the order given, what the fit explains taken off; std_db its doubt
    """

    first: str
    second: str
    difference_db: float
    std_db: float


@dataclass(frozen=True, kw_only=True)
class Droop:
    """Shape of the receiver's filters.

    offset_hz  (n,) from the tuned frequency
    gain_db, std_db   (n,) power gain over that at the tuned frequency, and its standard uncertainty
    """

    offset_hz: Floats
    gain_db: Floats
    std_db: Floats


@dataclass(frozen=True, kw_only=True)
class Stitched:
    """One spectrum; levels are powers relative to the in-band mean, zero of frequency the channel's centre.

    frequency_hz   (n,) ascending, less the channel's centre, the tuner's error taken off
    level          (n,) density over the mean density in band; the floor is taken off, so it may be negative
    std            (n,) standard uncertainty from averaging; common_std (n,) from gains, filter shape and floor
    floor          (n,) the converter's floor and the input's noise, as they were taken off
    source         (n,) which recording weighs most there, an index into ``names``; -1 where none saw it
    total          total power over in-band mean density [Hz]
    input_noise    of the receiver over the in-band mean; it is in ``floor``
    inband_density (m,) density that the in-band mean shows at the tuned frequency of each of ``names``
    inband_steps2  mean density in band over that of one step^2, at the gain of the first setting
    n_averages     (n,) independent averages that the scatter amounts to
    gain_db        of each setting, less that of the lowest recording's
    floor_lsb2     the converter's floor
    droop          the filter's shape
    tuning_error   of the receiver: true less shown frequency; None where no edge was seen
    misfit         root mean square of what the fit leaves, over what averaging and model allow; 1 is right
    """

    centre_hz: float
    occupied_width_hz: float
    names: tuple[str, ...]
    frequency_hz: Floats
    level: Floats
    std: Floats
    common_std: Floats
    floor: Floats
    source: Places
    n_averages: Floats
    total: float
    input_noise: Estimate
    inband_density: Floats
    inband_steps2: float
    resolution_bandwidth_hz: float
    gain_db: Mapping[Setting, Estimate]
    floor_lsb2: Estimate
    droop: Droop
    tuning_error: Estimate | None
    changes: tuple[Change, ...]
    misfit: float

    @property
    def bin_hz(self) -> float:
        """Distance between two points. [Hz]"""
        return float(self.frequency_hz[1] - self.frequency_hz[0])

    def of_total_power(self, *, resolution_bandwidth_hz: float = 4e3) -> Floats:
        """Power in this bandwidth over the total power. (n,) [1]"""
        return np.asarray(self.level * resolution_bandwidth_hz / self.total)


def stitch(
    spectra: Sequence[NarrowSpectrum],
    *,
    centre_hz: float,
    occupied_width_hz: float,
    find_tuning_error: bool = True,
    shared_floor: Estimate | None = None,
    known_shape: KnownShape | None = None,
    shared_noise: Estimate | None = None,
) -> Stitched:
    """One spectrum of everything the recordings show, by rising frequency.

    spectra            from one call of ``narrow_spectra``, all with one setting ahead of the receiver's distortion
    centre_hz          of the channel, as transmitted
    occupied_width_hz  from the lowest to the highest carrier
    find_tuning_error  from the channel's edges; False where the receiver's frequency is known to be right
    shared_floor       of the same converter from elsewhere, in steps^2: other sweeps, or a terminated input
    known_shape        of the receiver's filters from elsewhere: noise alone
    shared_noise       of the receiver's input from elsewhere, in steps^2 at the gain of the lowest recording
    raises             RangeError where the settings differ ahead of the distortion, or a recording is missing that
                       would tie the others together, saying which
    """
    if len({ahead_of(one) for one in spectra}) > 1:
        raise RangeError(
            "Recordings with different pads, front-end gains or drive do not show one spectrum, for the receiver's own "
            "products differ: stitch each by itself and compare them."
        )
    ordered = sorted(spectra, key=lambda one: one.tuned_hz)
    half_hz = occupied_width_hz / 2
    if (lacking := what_is_missing(ordered, low_hz=centre_hz - half_hz, high_hz=centre_hz + half_hz)) is not None:
        raise RangeError(lacking)
    seen, m, first_cell = cells_seen(ordered, centre_hz=centre_hz, occupied_width_hz=occupied_width_hz)
    layout = layout_of(ordered, seen, occupied_width_hz=occupied_width_hz)
    seen, fit = fit_without_folded_edges(
        seen, layout, ordered, Elsewhere(floor=shared_floor, shape=known_shape, noise=shared_noise)
    )
    middle_bin: Floats = np.asarray((np.arange(seen.n_cells) + first_cell) * m + (m - 1) / 2, dtype=np.float64)
    fine = _fine(ordered, seen, layout, fit, middle_bin, centre_hz=centre_hz)
    noise = fit.theta[layout.n_noise] * ordered[0].unit_density
    bin_hz = ordered[0].bin_hz
    frequency_hz = np.asarray((fine.first_bin + np.arange(len(fine.level))) * bin_hz - centre_hz, dtype=np.float64)
    error = _tuning_error(frequency_hz, fine.level, occupied_width_hz) if find_tuning_error else None
    shift_hz = 0.0 if error is None else error.value
    frequency_hz += shift_hz
    in_band = (np.abs(frequency_hz) <= half_hz) & fine.known
    mean = max(float(fine.level[in_band].mean()), LEAST_IN_BAND * float((fine.level + fine.floor)[in_band].mean()))
    cell_hz = middle_bin * bin_hz - centre_hz + shift_hz
    cell_known = np.bincount(seen.cell, minlength=seen.n_cells) > 0
    common = _common_std(fit, cell_known, np.abs(cell_hz) <= half_hz, layout.n_noise, ordered[0].unit_density)
    return Stitched(
        centre_hz=centre_hz,
        occupied_width_hz=occupied_width_hz,
        names=tuple(one.name for one in ordered),
        frequency_hz=frequency_hz,
        level=(fine.level - noise) / mean,
        std=fine.std / mean,
        common_std=np.interp(frequency_hz, cell_hz[cell_known], common[cell_known]),
        floor=(fine.floor + noise) / mean,
        source=fine.source,
        n_averages=np.maximum(fine.level / fine.std, 1e-3) ** 2,
        total=float(fine.level.sum() * bin_hz / mean),
        input_noise=_input_noise(fit, layout, ordered[0].unit_density / mean),
        inband_density=mean * _tuned_gains(layout, fit),
        inband_steps2=mean / ordered[0].unit_density,
        resolution_bandwidth_hz=ordered[0].resolution_bandwidth_hz,
        gain_db={
            key: estimate(fit.theta[i] / NEPER, overlaps=math.sqrt(fit.covariance[i, i]) / NEPER)
            for i, key in enumerate(layout.settings)
        },
        floor_lsb2=estimate(float(fit.theta[layout.n_log]), fit=math.sqrt(fit.covariance[layout.n_log, layout.n_log])),
        droop=_droop(layout, fit, ordered[0].rate_hz),
        tuning_error=error,
        changes=_changes(ordered, seen, fit, layout),
        misfit=fit.misfit,
    )


def _input_noise(fit: Fit, layout: Layout, unit: float) -> Estimate:
    at = layout.n_noise
    return estimate(float(fit.theta[at]) * unit, fit=math.sqrt(fit.covariance[at, at]) * unit)


def _limits(seen: Seen, spectra: Sequence[NarrowSpectrum]) -> list[tuple[float, float]]:
    """Lowest and highest distance from the tuned frequency that was kept of each recording, over the rate."""
    m = bins_a_cell(spectra[0])
    half = m / 2 * spectra[0].bin_hz / spectra[0].rate_hz
    return [
        (float(seen.x[seen.who == who].min()) - half, float(seen.x[seen.who == who].max()) + half)
        for who in range(len(spectra))
    ]


@dataclass(frozen=True, kw_only=True)
class _Fine:
    """Everything at every point of the common grid: level at the first setting's gain, its doubt, floor, source."""

    first_bin: int
    level: Floats
    std: Floats
    floor: Floats
    source: Places

    @property
    def known(self) -> npt.NDArray[np.bool_]:
        return np.asarray(self.source >= 0)


def _fine(
    spectra: Sequence[NarrowSpectrum],
    seen: Seen,
    layout: Layout,
    fit: Fit,
    cell_middle_bin: Floats,
    *,
    centre_hz: float,
) -> _Fine:
    """Weighted mean of what all recordings say of each point; points nobody saw are bridged."""
    first = min(one.first_bin for one in spectra)
    n = max(one.first_bin + len(one.density) for one in spectra) - first
    places = np.arange(n)
    unit, extra = floor_units(spectra)
    known_cells = np.bincount(seen.cell, minlength=seen.n_cells) > 0
    expected = np.maximum(np.interp(places + first, cell_middle_bin[known_cells], fit.truth[known_cells]), 0.0)
    weights, values, floors = np.zeros((len(spectra), n)), np.zeros(n), np.zeros(n)
    lost = [(lost_gain_std(one), lost_floor_std(one)) for one in spectra]
    for who, (one, (low, high)) in enumerate(zip(spectra, _limits(seen, spectra), strict=True)):
        x = (one.frequency_hz - one.tuned_hz) / one.rate_hz
        used = np.flatnonzero(one.usable & (x >= low) & (x <= high))
        x, at = x[used], used + one.first_bin - first
        outside = is_outside(one.frequency_hz[used], centre_hz=centre_hz, occupied_width_hz=layout.occupied_width_hz)
        rows = np.concatenate([layout.gain_rows(np.full(len(used), who), outside), layout.shape(x)], axis=1)
        gain = np.exp(rows @ fit.theta[: layout.n_log])
        floor = unit[who] * (fit.theta[layout.n_log] + fit.theta[layout.n_log + 1 + who] + extra[who])
        model = expected[at] + max(floor, 0.0) / gain
        unknown = (lost[who][0] * expected[at]) ** 2 + (lost[who][1] * floor / gain) ** 2
        weight = 1 / (model**2 * (1 / one.n_averages + model_std(x, layout.x_limit) ** 2) + unknown)
        weights[who, at] = weight
        values[at] += weight * (one.density[used] - floor) / gain
        floors[at] += weight * floor / gain
    total = weights.sum(axis=0)
    seen_at = total > 0
    divisor = np.where(seen_at, total, 1.0)
    arrays = [values / divisor, 1 / np.sqrt(divisor), floors / divisor]
    for array in arrays:
        array[~seen_at] = np.interp(places[~seen_at], places[seen_at], array[seen_at])
    return _Fine(
        first_bin=first,
        level=arrays[0],
        std=arrays[1],
        floor=arrays[2],
        source=np.where(seen_at, np.argmax(weights, axis=0), -1),
    )


def _tuned_gains(layout: Layout, fit: Fit) -> Floats:
    """Gain of each recording at its tuned frequency, (n_recordings,)."""
    who = np.arange(layout.n_recordings)
    rows = layout.gain_rows(who, np.zeros(len(who), bool))
    return np.asarray(np.exp(rows @ fit.theta[: layout.n_gains]))


def _common_std(
    fit: Fit, cell_known: npt.NDArray[np.bool_], in_band: npt.NDArray[np.bool_], n_noise: int, unit: float
) -> Floats:
    """Doubt of each cell's level over the in-band mean that the unknowns of the fit leave. (n_cells,)"""
    mean = float(fit.truth[cell_known & in_band].mean())
    slope_of_mean = fit.slope[cell_known & in_band].mean(axis=0)
    relative = fit.slope / mean - (fit.truth / mean**2)[:, None] * slope_of_mean
    relative[:, n_noise] -= unit / mean  # the input's noise is taken off
    return np.asarray(np.sqrt(np.maximum(np.sum((relative @ fit.covariance) * relative, axis=1), 0.0)))


def _droop(layout: Layout, fit: Fit, rate_hz: float) -> Droop:
    at = layout.n_gains
    x = np.linspace(-layout.x_limit, layout.x_limit, 81)
    shape = layout.shape(x)
    variance = np.sum((shape @ fit.covariance[at : layout.n_log, at : layout.n_log]) * shape, axis=1)
    return Droop(
        offset_hz=x * rate_hz,
        gain_db=shape @ fit.theta[at : layout.n_log] / NEPER,
        std_db=np.sqrt(np.maximum(variance, 0.0)) / NEPER,
    )


def _tuning_error(frequency_hz: Floats, level: Floats, occupied_width_hz: float) -> Estimate | None:
    """True less shown frequency, from the width that the channel fills on either side; None if an edge is missing."""
    half_hz, bin_hz = occupied_width_hz / 2, float(frequency_hz[1] - frequency_hz[0])
    reach = min(SEARCH_SHARE * occupied_width_hz, SEARCH_HZ)
    if frequency_hz[0] > -half_hz - reach or frequency_hz[-1] < half_hz + reach:
        return None
    edges, doubts = [], []
    for sign in (-1, 1):
        near = np.flatnonzero(np.abs(sign * frequency_hz - half_hz) < reach)[::sign]  # from inside outwards
        levels, ends = level[near], max(2, len(near) // END_SHARE)
        inside, outside = float(levels[:ends].mean()), float(levels[-ends:].mean())
        if inside < 4 * max(outside, 0.0):
            return None
        filled = (levels - outside) / (inside - outside)
        edges.append(sign * float(frequency_hz[near[0]]) - bin_hz / 2 + bin_hz * float(filled.sum()))
        doubts.append(bin_hz * float(filled[: 2 * ends].std()) * math.sqrt(len(near)))
    return estimate((edges[0] - edges[1]) / 2, edges=math.hypot(*doubts) / 2)


def _changes(spectra: Sequence[NarrowSpectrum], seen: Seen, fit: Fit, layout: Layout) -> tuple[Change, ...]:
    """Pairs whose overlap is apart by more than scatter, model and equal settings explain.

    What the fit has given to the recordings' own gains counts: a step of level is no gain.
    """
    relative = fit.residual / seen.density
    own = fit.theta[len(layout.settings) : len(layout.settings) + len(spectra)]
    found = []
    for who in range(len(spectra)):
        for other in range(who + 1, len(spectra)):
            mine = {int(c): i for i, c in zip(np.flatnonzero(seen.who == who), seen.cell[seen.who == who], strict=True)}
            pairs = [
                (mine[int(c)], i)
                for i, c in zip(np.flatnonzero(seen.who == other), seen.cell[seen.who == other], strict=True)
                if int(c) in mine
            ]
            if len(pairs) < LEAST_OVERLAP_CELLS:
                continue
            first, second = (np.array(column, dtype=np.intp) for column in zip(*pairs, strict=True))
            apart = relative[second] - relative[first]
            variance = 1 / seen.n_averages[first] + 1 / seen.n_averages[second] + 2 * MODEL_STD**2
            weight = 1 / variance
            mean = float((apart * weight).sum() / weight.sum())
            mean += float(own[other] - own[who])
            std = math.hypot(float(weight.sum() ** -0.5) + MODEL_STD, math.sqrt(2) * EQUAL_STD_DB * NEPER)
            if abs(mean) > CHANGED_STD * std and abs(mean) / NEPER > CHANGED_DB:
                found.append(
                    Change(
                        first=spectra[who].name,
                        second=spectra[other].name,
                        difference_db=mean / NEPER,
                        std_db=std / NEPER,
                    )
                )
    return tuple(found)
