"""Both shoulders from recordings at the edges alone, where a set does not show the middle of the channel.

Theory  Each recording shows 300 to 700 kHz outside its edge and some of the signal, and is taken over the mean of that
        signal: gains need not be tied. The converter's floor is taken off first, as a terminated input told
        it or the guard interval does. What is left of S + F scatters as S + F did: its averages are worth (S/(S + F))^2
        of what they were, on each side its own. A floor that leaves nothing sure of S is none that helps. One converter
        has one floor in steps^2: what the guards of all its recordings tell is joined where they agree.
Source  evidence/edge.py, edge_tunings.py; [TR101290] 9.7.
Holds   A channel as flat in its middle as at its edges, within the doubt that edge.py adds for it.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tepui.evidence.converter import IDEAL_LSB2
from tepui.evidence.edge import EdgeShoulders, edge_floor, edge_shoulders
from tepui.evidence.edge_tunings import SIGNAL_HZ
from tepui.evidence.floor import Floor
from tepui.evidence.narrow import NarrowSpectrum
from tepui.evidence.narrow_channel import NarrowChannel
from tepui.evidence.shoulders import OFFSETS_HZ
from tepui.evidence.stitch_beliefs import CUBE_UNREST
from tepui.evidence.stitch_shoulders import StitchedShoulder
from tepui.ground.doubt import Estimate, estimate
from tepui.ground.errors import RangeError
from tepui.signals.recording import Recording

CLEAR_HZ = 100e3  # of the edge, for the signal's mean
SLACK_HZ = 30e3  # the channel's place is known roughly
TUNING_STD_HZ = 15e3
AGREE_STD = 2.5  # standard uncertainties of one guard's floor from the mean of all
OWN_PART = 0.2  # of a guard's own doubt: input noise that a joined floor may not have (this program's limit)
SURE_STD = 2.0  # standard uncertainties of the floor that must be left above it
LEAST_SIGNAL = 0.8  # of the 0.3 MHz beside the edge


@dataclass(frozen=True, kw_only=True)
class EdgeRead:
    """Sides as a stitched set has them, and whether the floor is off."""

    sides: StitchedShoulder
    has_floor: bool


def edge_floors(
    sweeps: Sequence[Sequence[NarrowSpectrum]],
    channel: NarrowChannel,
    floor: Estimate | None,
    recordings: Mapping[str, Recording],
) -> dict[str, Estimate | None]:
    """Density of the floor of every recording that shows an edge best, full scale = 1; None where not known. [1/Hz]

    floor       of the converter from a terminated input, in steps^2; where it is None the guard interval is asked
    recordings  by their names
    """
    edges = [one for spectra in sweeps for sign in (-1, 1) if (one := _best(spectra, channel, sign)) is not None]
    found = {one.name: _floor_of(one, channel, floor, recordings.get(one.name)) for one in edges}
    return found if floor is not None else _joined(edges, found)


def _joined(edges: Sequence[NarrowSpectrum], found: Mapping[str, Estimate | None]) -> dict[str, Estimate | None]:
    """Floors of one converter joined; one that departs from the others keeps its own, as input noise may be in it."""
    steps2 = {
        one.name: (told.value / one.unit_density - _departs(one), told.std / one.unit_density)
        for one in edges
        if one.converter.step is not None and (told := found[one.name]) is not None
    }
    agreeing = dict(steps2)
    while len(agreeing) > 1:
        values, stds = (np.array(column) for column in zip(*agreeing.values(), strict=True))
        weight = 1 / stds**2
        mean = float(weight @ values / weight.sum())
        off = np.abs(values - mean) / stds
        if off.max() <= AGREE_STD:
            std = float(weight.sum() ** -0.5) * max(1.0, math.sqrt(float(off @ off) / (len(off) - 1)))
            joined = {name: estimate(mean, guards=std, input_noise=OWN_PART * agreeing[name][1]) for name in agreeing}
            return {
                **found,
                **{
                    one.name: estimate(
                        (joined[one.name].value + _departs(one)) * one.unit_density,
                        guards=joined[one.name].std * one.unit_density,
                    )
                    for one in edges
                    if one.name in joined
                },
            }
        del agreeing[list(agreeing)[int(off.argmax())]]
    return dict(found)


def _departs(one: NarrowSpectrum) -> float:
    """What rounding of a weak signal adds beyond the ideal, in steps^2."""
    return one.converter.rounding - IDEAL_LSB2


def read_edges(
    spectra: Sequence[NarrowSpectrum], channel: NarrowChannel, edge_floor_of: Mapping[str, Estimate | None]
) -> EdgeRead | None:
    """Both sides from the two recordings that show them best; None where a side is not shown.

    edge_floor_of  floors of recordings by their names, of ``edge_floors``
    """
    pair = {side: _best(spectra, channel, sign) for side, sign in (("lower", -1), ("upper", 1))}
    shown = {side: one for side, one in pair.items() if one is not None}
    if len(shown) < len(pair):
        return None
    floors = {side: edge_floor_of.get(one.name) for side, one in shown.items()}
    left = {
        side: _left(one, channel, floors[side], sign) for (side, one), sign in zip(shown.items(), (-1, 1), strict=True)
    }
    if any(one is None for one in left.values()):
        floors, left = dict.fromkeys(floors), dict.fromkeys(left, 1.0)
    duration_s = min(one.n_samples / one.rate_hz for one in shown.values())
    read: dict[str, EdgeShoulders] = {}
    for side, part in left.items():
        seen = [(name, _over_signal(one, channel, floors[name], part or 1.0)) for name, one in shown.items()]
        floor_here = floors[side]
        share = 0.0 if floor_here is None else floor_here.std / _signal(shown[side], channel)
        try:
            read[side] = edge_shoulders(
                seen,
                centre_hz=channel.centre_hz,
                occupied_width_hz=channel.occupied_hz,
                carrier_spacing_hz=channel.spacing_hz,
                floor=Floor(density=0.0, std=share, at_most=False, method="taken off recording by recording"),
                tuning_std_hz=TUNING_STD_HZ,
                unrest=math.sqrt(CUBE_UNREST / (duration_s * channel.occupied_hz)),
                guard=None if channel.symbols is None else channel.symbols.guard,
            )
        except RangeError:
            return None
    lower, upper = read["lower"], read["upper"]
    return EdgeRead(
        sides=StitchedShoulder(
            lower=lower.lower or lower.shown_lower,
            upper=upper.upper or upper.shown_upper,
            shown_lower=_with_floor(lower.shown_lower, shown["lower"], floors["lower"], channel),
            shown_upper=_with_floor(upper.shown_upper, shown["upper"], floors["upper"], channel),
            shape=lower.shape,
        ),
        has_floor=all(one is not None for one in floors.values()),
    )


def _left(one: NarrowSpectrum, channel: NarrowChannel, floor: Estimate | None, sign: int) -> float | None:
    """Part of what is shown 300 to 700 kHz outside the edge that is no floor; None where that is not sure. [1]"""
    if floor is None:
        return 1.0
    away = sign * (one.frequency_hz - channel.centre_hz) - channel.occupied_hz / 2
    near, _, far = OFFSETS_HZ
    shown = float(one.density[(away > near) & (away < far)].mean())
    return (shown - floor.value) / shown if shown - floor.value > SURE_STD * floor.std else None


def _floor_of(
    one: NarrowSpectrum, channel: NarrowChannel, floor: Estimate | None, recording: Recording | None
) -> Estimate | None:
    """Density of a recording's floor, full scale = 1, as its spectrum has it. [1/Hz]"""
    if floor is not None:
        return estimate((floor.value + _departs(one)) * one.unit_density, floor=floor.std * one.unit_density)
    if channel.symbols is None or recording is None or len(recording.stretches) > 1:
        return None
    found = edge_floor(
        [(recording, one)],
        centre_hz=channel.centre_hz,
        occupied_width_hz=channel.occupied_hz + 2 * SLACK_HZ,
        useful_s=channel.symbols.useful_s,
        guard_s=channel.symbols.guard_s,
    )
    if found is None or found.at_most:
        return None
    return estimate(found.density / one.converter.gain, guard=found.std / one.converter.gain)


def _with_floor(level_db: Estimate, one: NarrowSpectrum, floor: Estimate | None, channel: NarrowChannel) -> Estimate:
    """The level with the floor back in it, as a trace shows it."""
    if floor is None:
        return level_db
    signal = _signal(one, channel) - floor.value
    whole = 10 ** (level_db.value / 10) + floor.value / signal
    return estimate(10 * math.log10(whole), **level_db.contributions)


def _best(spectra: Sequence[NarrowSpectrum], channel: NarrowChannel, sign: int) -> NarrowSpectrum | None:
    """The recording that holds the window of a side and most of the signal beside it."""
    edge_hz = channel.centre_hz + sign * channel.occupied_hz / 2
    near, _, far = OFFSETS_HZ
    best, most = None, LEAST_SIGNAL * SIGNAL_HZ
    for one in spectra:
        away = sign * (one.frequency_hz - edge_hz)
        window = (away > near) & (away < far)
        if not window.any() or not one.usable[window].all() or window.sum() * one.bin_hz < 0.95 * (far - near):
            continue
        signal_hz = float(np.count_nonzero(one.usable & (away < -SLACK_HZ)) * one.bin_hz)
        if signal_hz > most:
            best, most = one, signal_hz
    return best


def _signal(one: NarrowSpectrum, channel: NarrowChannel) -> float:
    inside = np.abs(one.frequency_hz - channel.centre_hz) < channel.occupied_hz / 2 - CLEAR_HZ
    return float(one.density[inside & one.usable].mean())


def _over_signal(one: NarrowSpectrum, channel: NarrowChannel, floor: Estimate | None, left: float) -> NarrowSpectrum:
    """The spectrum over the mean of the signal it shows, the floor off; ``left`` is the part of a side that is left."""
    taken = 0.0 if floor is None else floor.value
    density = np.maximum(one.density - taken, 1e-3 * one.density) / (_signal(one, channel) - taken)
    return replace(one, density=density, n_averages=one.n_averages * left**2)
