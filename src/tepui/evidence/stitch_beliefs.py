"""What is known of a stitching's unknowns beforehand, and what the guard interval tells of its floors.

Theory  Nominal steps and equal settings tie the gains; a filter is smooth in the middle of its band; distortion comes
        in bursts, so that its power over one recording departs from its mean everywhere outside the channel alike. The
        guard interval shows a recording's noise, its converter's floor and the input's, gain times: F + d + N g. Of a
        strong signal not quite all repeats with the guard, which adds and never takes away.
Source  Steps within 2 dB of nominal and equal settings within 0.05 dB: this program's limits. Noise behind gains: H. T.
        Friis 1944, Proc. IRE 32.
Holds   A floor that is flat over the sampled band, an input noise that is flat over the set.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tepui.evidence.converter import IDEAL_LSB2
from tepui.evidence.narrow import MIDDLE, NarrowSpectrum
from tepui.evidence.stitch_layout import Elsewhere, Floats, Layout, floor_units
from tepui.evidence.stitch_set import nominal_gain_db

NEPER = math.log(10) / 10  # natural logarithm of a power ratio, per dB
NOMINAL_STD_DB = 1.0  # of a gain step as set: 2 dB at 95 %
EQUAL_STD_DB = 0.025  # between recordings of one setting: 0.05 dB at 95 %
UNKNOWN_STD_DB = 40.0  # of a setting that names no gain
REFERENCE_STD_DB, ANY_DB = 1e-4, 20.0
BEND_STD_DB, EDGE_BEND_STD_DB = 0.03, 3.0  # second difference between coefficients of the shape, middle and edge
STARVED_GAIN_SHARE = 0.2  # of what rounding changes of a gain: what the law of bursts may miss
STARVED_SHARE = 0.4  # of what rounding of a signal below a step changes: what that law may miss of the floor
STARVED_REPEATS = 0.5  # of what rounding such a signal departs from the ideal: it repeats with the guard, in part
STARVED_LAW = 0.25  # of the same: what the law of bursts may miss of the floor besides
NOISE_UNTOLD, NOISE_SHAPE = 0.1, 0.05  # of the quietest place; of the noise, for the band it is judged in
LEAKS = 4.0  # times what distortion may leave, at most, of what does not repeat (this program's limit)
CUBE_UNREST = 19.0  # (E y^2 - (E y)^2) / (E y)^2 for y = |x|^6 of a Gaussian x, (6! - 3!^2) / 3!^2
FLOOR_LIES = 0.5  # of the quietest place of all: the floor lies below, and no further is known beforehand


def beliefs(layout: Layout, spectra: Sequence[NarrowSpectrum], elsewhere: Elsewhere) -> tuple[Floats, Floats, Floats]:
    """What is known beforehand: precision (n, n), precision times value (n,), and a start (n,)."""
    n_set, n_rec, n_shape, n_log = len(layout.settings), layout.n_recordings, layout.n_shape, layout.n_log
    precision, pull, start = np.zeros((layout.n, layout.n)), np.zeros(layout.n), np.zeros(layout.n)
    nominal = {int(index): nominal_gain_db(one) for index, one in zip(layout.setting_index, spectra, strict=True)}
    reference = nominal[0]
    for index in range(n_set):
        value, std = nominal[index], NOMINAL_STD_DB if index else REFERENCE_STD_DB
        if index and (value is None or reference is None):
            std = UNKNOWN_STD_DB
        start[index] = 0.0 if value is None or reference is None else (value - reference) * NEPER
        precision[index, index] = 1 / (std * NEPER) ** 2
    equal, unrest, at = np.arange(n_set, n_set + n_rec), np.arange(n_set + n_rec, n_set + 2 * n_rec), layout.n_gains
    lost_db = STARVED_GAIN_SHARE * np.array([abs(one.converter.gain - 1) for one in spectra]) / NEPER
    precision[equal, equal] = 1 / (np.hypot(EQUAL_STD_DB, lost_db) * NEPER) ** 2
    independent = np.array([one.n_samples / one.rate_hz for one in spectra]) * layout.occupied_width_hz
    precision[unrest, unrest] = independent / CUBE_UNREST
    places = np.abs(np.linspace(-1, 1, n_shape)[1:-1])
    bend_std = (BEND_STD_DB + EDGE_BEND_STD_DB * places**4) * NEPER
    bends = np.diff(np.eye(n_shape), n=2, axis=0) / bend_std[:, None]
    precision[at:n_log, at:n_log] = bends.T @ bends + np.eye(n_shape) / (ANY_DB * NEPER) ** 2
    known = elsewhere.shape
    shape_pull = np.zeros(n_shape)
    if known is not None:
        within = np.abs(known.x) <= layout.x_limit
        shape, log, weight = layout.shape(known.x[within]), known.log[within], known.weight[within]
        shape = shape - weight @ shape / weight.sum()  # its zero is free
        log = log - weight @ log / weight.sum()
        precision[at:n_log, at:n_log] += shape.T @ (weight[:, None] * shape)
        shape_pull = shape.T @ (weight * log)
    start[n_log] = 2 * IDEAL_LSB2 if spectra[0].converter.step else 0.0
    pull += precision @ start
    pull[at:n_log] += shape_pull
    quietest = min(float(np.percentile(one.density[one.usable], 2)) / one.unit_density for one in spectra)
    lies = max(FLOOR_LIES * quietest, IDEAL_LSB2) if spectra[0].converter.step else quietest
    precision[n_log, n_log] += 1 / max(lies, 1e-12) ** 2
    pull[n_log] += start[n_log] / max(lies, 1e-12) ** 2
    for number, one in enumerate(spectra):
        own = n_log + 1 + number
        rounding = STARVED_LAW * (one.converter.rounding - IDEAL_LSB2) if one.converter.step else 0.0
        departs = math.hypot(STARVED_SHARE * (one.converter.gain - 1) * 2 * IDEAL_LSB2, rounding)
        precision[own, own] += 1 / max(departs, 1e-4) ** 2
    # Where no guard interval tells it, the input's noise may be a tenth of the quietest place there is.
    quiet = [
        float(np.percentile(one.density[one.usable], 2)) / one.unit_density / math.exp(start[index])
        for one, index in zip(spectra, layout.setting_index, strict=True)
    ]
    told = any(one.floor is not None for one in spectra)
    precision[layout.n_noise, layout.n_noise] = 1 / max(quiet[0] if told else NOISE_UNTOLD * min(quiet), 1e-12) ** 2
    if elsewhere.noise is not None:
        precision[layout.n_noise, layout.n_noise] += 1 / elsewhere.noise.std**2
        pull[layout.n_noise] += elsewhere.noise.value / elsewhere.noise.std**2
    if elsewhere.floor is not None:
        precision[n_log, n_log] += 1 / elsewhere.floor.std**2
        pull[n_log] += elsewhere.floor.value / elsewhere.floor.std**2
    return precision, pull, start


@dataclass(frozen=True, kw_only=True)
class Guard:
    """What the guard interval of one recording showed: all noise, in steps^2, less what its rounding departs.

    leaves half of what distortion may leave there
    rows   (n, n_log) derivatives of log gain over the band it was judged in
    """

    who: int
    level: float
    std: float
    leaves: float
    rows: Floats


def guards_of(spectra: Sequence[NarrowSpectrum], layout: Layout) -> list[Guard]:
    """Of every recording that has one."""
    extra = floor_units(spectra)[1]
    found = []
    for who, one in enumerate(spectra):
        if one.floor is None:
            continue
        x = np.linspace(-MIDDLE / 2, MIDDLE / 2, 33)
        x = x[np.abs(x) <= layout.x_limit]
        gain_row = layout.gain_rows(np.array([who]), np.zeros(1, bool))
        rows = np.concatenate([np.repeat(gain_row, len(x), axis=0), layout.shape(x)], axis=1)
        # Of a signal below a step the rounding error repeats with the guard, in part.
        starved = STARVED_REPEATS * abs(float(extra[who]))
        leaves = one.floor.contributions.get("distortion", 0.0) / 2  # between none of it and all
        std = math.hypot(one.floor.contributions.get("averaging", one.floor.std), leaves, starved)
        level = one.floor.value - leaves - float(extra[who])
        found.append(Guard(who=who, level=level, std=std, leaves=leaves, rows=rows))
    return found


def add_guards(guards: Sequence[Guard], theta: Floats, layout: Layout, normal: Floats, right: Floats) -> None:
    """Add to a step's equations that a recording's noise is its floor and the input's noise, its gain times."""
    n_log, noise = layout.n_log, float(theta[layout.n_noise])
    for one in guards:
        gains = np.exp(one.rows @ theta[:n_log]) / len(one.rows)
        gain = float(gains.sum())
        row = np.zeros(layout.n)
        row[:n_log] = noise * (gains @ one.rows)
        row[n_log] = row[n_log + 1 + one.who] = 1.0
        row[layout.n_noise] = gain
        expected = float(theta[n_log] + theta[n_log + 1 + one.who]) + gain * noise
        apart = one.level - expected
        # Of a strong signal not all repeats: that adds and never takes away.
        leaks = min(max(apart - one.std, 0.0), LEAKS * one.leaves)
        weight = 1 / (one.std**2 + leaks**2 + (NOISE_SHAPE * gain * noise) ** 2)
        normal += weight * row[:, None] * row
        right += weight * row * apart
