"""The levels carried on: over the path to the far station's antenna, its receiver's input and C/N.

Theory  What the antenna radiates less the loss between both places, plus the far antenna, less its feeder. The ground
        only takes away from free space, so that free space gives the most that can arrive; beside it stands what a
        smooth Earth would leave. ``path`` says more once it is given terrain. C/N by the far receiver's noise figure in
        surroundings of 290 K unless told.
Source  [P.525] for free space; [P.526] 3 for the smooth Earth; [P.341] for the terms; [Friis1944] for the noise.
Holds   Far stations with a place. Ducts, which now and then bring more, are left out.
"""

from dataclasses import dataclass

import numpy as np

from tepui.chain.antenna.geodesic import Way, way_between
from tepui.chain.antenna.places import parse_place
from tepui.chain.propagation.models import PathCase, path_loss
from tepui.chain.propagation.path_kernels import FREE
from tepui.ground.doubt import Estimate, estimate
from tepui.ground.errors import InputError
from tepui.ground.findings import Finding, Table, Value
from tepui.jobs.levels_chain import Chain
from tepui.jobs.path_question import CLUTTER_GUESS_SHARE
from tepui.jobs.plan_statements import not_known
from tepui.prediction.link import preamplifier_stages
from tepui.prediction.noise import ReceiveStage, noise_power_dbm, system_noise_db
from tepui.signals.terrain import Profile
from tepui.station.figures import Figure
from tepui.station.nouns import Far

SOURCE = "[P.525], free space; [P.341]"
HEIGHT_M = 10.0  # of an antenna whose height the file does not tell
GAIN_STD_DB = 1.0  # of a far antenna stated without a doubt: common practice
POINTS = 401
MISSING = "{what} is not stated: write {key} in [[far]]."


@dataclass(frozen=True, kw_only=True)
class FarLevel:
    """The signal on its way to one far station, in free space.

    distance   between both places; None where a place is missing
    loss       free-space loss, and the operator's own clutter loss where the file tells one
    smooth_db  what a smooth Earth takes besides, with antennas of these heights
    path       at an antenna without gain there; ``terminals`` behind the far antenna, ``receiver`` behind its feeder
    noise_dbm  in the occupied width, at the terminals; ``cn`` the ratio there
    missing    in words what ends it, with its key; empty where nothing does
    heights    heights of both antennas above ground, and whether one of them was assumed
    """

    call: str
    distance: Estimate | None = None
    loss: Estimate | None = None
    smooth_db: float = 0.0
    path: Estimate | None = None
    terminals: Estimate | None = None
    receiver: Estimate | None = None
    noise_dbm: float | None = None
    cn: Estimate | None = None
    missing: str = ""
    heights: tuple[float, float, bool] = (HEIGHT_M, HEIGHT_M, True)


def far_levels(chain: Chain) -> tuple[FarLevel, ...]:
    """Levels on the way to every far station of the file, one each, as far as they can be said."""
    return tuple(_far_level(chain, far) for far in chain.station.fars)


def _far_level(chain: Chain, far: Far) -> FarLevel:
    call = far.call
    if chain.antenna is None:
        return FarLevel(call=call, missing="the levels do not reach an antenna with a gain.")
    try:
        way = _way(chain, far)
    except InputError as problem:
        return FarLevel(call=call, missing=str(problem))
    if way is None:
        return FarLevel(call=call, missing="the place of both ends is needed: write locator in [station] and [[far]].")
    own, other = _height(chain.station.station), _height(far)
    heights = (own or HEIGHT_M, other or HEIGHT_M, own is None or other is None)
    loss, smooth_db = _loss(chain, way, heights)
    radiated = chain.levels[chain.antenna]
    path = estimate(radiated.value - loss.value, **{**radiated.contributions, **loss.contributions})
    at = FarLevel(call=call, distance=way.distance, loss=loss, smooth_db=smooth_db, path=path, heights=heights)
    if far.antenna_gain is None:
        return _with(at, missing=MISSING.format(what="the gain of its antenna", key="antenna_gain"))
    gain_std = GAIN_STD_DB if far.antenna_gain.std is None else far.antenna_gain.std
    terminals = _plus(path, far.antenna_gain.value, {"far antenna": gain_std})
    feeder = far.feeder_loss
    receiver = terminals if feeder is None else _plus(terminals, -feeder.value, {"far feeder": feeder.std or 0.0})
    at = _with(at, terminals=terminals, receiver=receiver)
    if far.noise_figure is None:
        return _with(at, missing=MISSING.format(what="the noise figure of its receiver", key="noise_figure"))
    noise = noise_power_dbm(system_db=_system_db(far), width_hz=chain.mode.occupied_width_hz)
    return _with(at, noise_dbm=noise, cn=_plus(terminals, -noise, {}))


def _with(at: FarLevel, **more: object) -> FarLevel:
    return FarLevel(**{**at.__dict__, **more})


def _plus(level: Estimate, by_db: float, parts: dict[str, float]) -> Estimate:
    return estimate(level.value + by_db, **{**level.contributions, **parts})


def _way(chain: Chain, far: Far) -> Way | None:
    """Between both places; None where one is not told.

    raises  InputError where both are the same
    """
    places = [getattr(end, "coordinates", None) or end.locator for end in (chain.station.station, far)]
    if None in places:
        return None
    own, other = (parse_place(str(place)) for place in places)
    return way_between(own, other)


def _height(end: object) -> float | None:
    """Height of an end's antenna above ground, where the file tells one. [m]"""
    height = getattr(end, "antenna_height", None)
    return height.value if isinstance(height, Figure) else None


def _loss(chain: Chain, way: Way, heights: tuple[float, float, bool]) -> tuple[Estimate, float]:
    """Loss in free space with the operator's clutter, and what a smooth Earth takes besides. [dB]"""
    distance_m = np.linspace(0.0, way.distance.value, POINTS)
    smooth = Profile(distance_m=distance_m, height_m=np.zeros(POINTS), source="smooth Earth, no terrain given")
    case = PathCase(
        profile=smooth,
        model="p526",
        frequency_hz=chain.station.channel.centre.value,
        tx_height_m=heights[0],
        rx_height_m=heights[1],
    )
    parts: dict[str, float] = {}
    if way.distance.std > 0:
        parts["locator boxes"] = 20 / float(np.log(10)) * way.distance.std / way.distance.value
    extra = 0.0
    clutter = getattr(getattr(chain.station, "path", None), "clutter_loss", None)
    if isinstance(clutter, Figure):
        extra = clutter.value
        parts["clutter guess"] = CLUTTER_GUESS_SHARE * extra if clutter.std is None else clutter.std
    answer = path_loss(case)
    free_db = answer.term(FREE)
    return estimate(free_db + extra, **parts), max(answer.loss_db - free_db, 0.0)


def _system_db(far: Far) -> float:
    """Noise at the far antenna's terminals over k T0. [dB]"""
    assert far.noise_figure is not None
    gain, noise = (getattr(far, f"preamplifier_{name}", None) for name in ("gain", "noise_figure"))
    preamplifier = None
    if isinstance(gain, Figure) and isinstance(noise, Figure):
        preamplifier = ReceiveStage(name="preamplifier", gain_db=gain.value, noise_figure_db=noise.value)
    external = getattr(far, "external_noise", None)
    return system_noise_db(
        external_db=external.value if isinstance(external, Figure) else 0.0,
        stages=preamplifier_stages(
            feeder_loss_db=0.0 if far.feeder_loss is None else far.feeder_loss.value,
            receiver=ReceiveStage(name="receiver", gain_db=0.0, noise_figure_db=far.noise_figure.value),
            preamplifier=preamplifier,
            place="mast",
        ),
    )


def far_findings(chain: Chain) -> list[Finding]:
    """The most that can arrive at each far station, and what is missing to say more."""
    found: list[Finding] = []
    for one in far_levels(chain):
        about = f"path:{one.call}"
        if one.distance is not None and one.loss is not None:
            own, other, assumed = one.heights
            said = f"antennas {own:g} and {other:g} m above ground{', assumed' if assumed else ''}"
            remark = (
                f"Free space over {one.distance.value / 1e3:.1f} km. A smooth Earth would take {one.smooth_db:.0f} dB "
                f"more ({said}), hills more again or, under the antennas, less: tepui path with terrain tells."
            )
            found.append(_bound(about, "far_loss_db", one.loss.low, "dB", at_most=False, remark=remark))
        for key, level, words in (
            ("receive_level_dbm", one.terminals, "At the terminals of the far antenna."),
            ("far_input_dbm", one.receiver, "At the input of the far receiver or converter."),
        ):
            if level is not None:
                found.append(_bound(about, key, level.high, "dBm", remark=words))
        if one.cn is not None:
            found.append(_bound(about, "cn_db", one.cn.high, "dB", remark=f"Over {one.noise_dbm:.1f} dBm of noise."))
        if one.missing:
            key, unit = ("cn_db", "dB") if one.terminals is not None else ("receive_level_dbm", "dBm")
            found.append(not_known(about, key, unit, one.missing, source=SOURCE))
    return found


def _bound(about: str, key: str, value: float, unit: str, *, remark: str, at_most: bool = True) -> Finding:
    return Finding(
        about=about,
        key=key,
        value=value,
        unit=unit,
        low=None if at_most else value,
        high=value if at_most else None,
        standing="at_most" if at_most else "at_least",
        source=SOURCE,
        remark=remark,
    )


def far_table(chain: Chain) -> Table:
    """Each far station over a smooth Earth, in the order of the signal; the figures are expectations, not bounds."""
    columns = (
        ("far", ""),
        ("distance_m", "m"),
        ("smooth_loss_db", "dB"),
        ("path_level_dbm", "dBm"),
        ("terminals_dbm", "dBm"),
        ("receiver_dbm", "dBm"),
        ("noise_power_dbm", "dBm"),
        ("smooth_cn_db", "dB"),
    )
    rows: list[tuple[Value, ...]] = []
    for one in far_levels(chain):
        values = (one.distance, one.loss, one.path, one.terminals, one.receiver)
        shifts = (0.0, one.smooth_db, -one.smooth_db, -one.smooth_db, -one.smooth_db)
        numbers = tuple(None if value is None else value.value + by for value, by in zip(values, shifts, strict=True))
        cn = None if one.cn is None else one.cn.value - one.smooth_db
        rows.append((one.call, *numbers, one.noise_dbm, cn))
    return Table(name="far_levels", columns=columns, rows=tuple(row for row in rows if row[1] is not None))
