"""The chain's levels: mean power at each point, its doubt, noise, and the intercept of a cascade.

Theory  Levels and gains in dB add; independent standard uncertainties add as squares, worst cases add. Noise by Friis:
        n_out = (n_in + (F - 1) k T0) G. Intercept at the output, the worst case of all in phase:
        1/OIP3 = sum of 1/(OIP3_i G_behind).
Source  H. T. Friis 1944; [GUM] 5.1; the cascade of intercepts as textbooks have it.
Holds   Matched stages. Compression is left out of the levels and said apart (``bending``).
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import scipy.constants

from tepui.ground.decibels import db_from_ratio, ratio_from_db
from tepui.ground.doubt import Estimate
from tepui.prediction.bending import Bend

T0_K = 290.0


@dataclass(frozen=True, kw_only=True)
class Link:
    """One stage as the cascade sees it.

    gain_db      loss negative; of the source its level in dBm
    worst_db     largest departure of the gain that the operator allows
    assumed      whether the doubt is not the operator's own
    noise_db     noise figure; of a passive stage its loss; None where nothing is known
    bend         what it does to peaks; None where nothing is known, for a passive stage too
    passive      adds no distortion
    mer_terms    what it adds to the errors otherwise, each an MER
    slopes_db    gain at the lower and at the upper shoulder less that of the channel
    """

    name: str
    kind: str
    gain_db: float
    std_db: float
    worst_db: float
    assumed: bool = False
    noise_db: float | None = None
    bend: Bend | None = None
    passive: bool = False
    mer_terms: Mapping[str, Estimate] = field(default_factory=dict)
    own_shoulder_db: float | None = None
    slopes_db: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True, kw_only=True)
class Node:
    """The signal behind one stage.

    level        dBm, with contributions by stage
    worst_db     half width if every stage errs the same way
    noise_dbm    thermal noise in the occupied width; None where a noise figure before is not known
    """

    name: str
    level: Estimate
    worst_db: float
    noise_dbm: float | None


def cascade(links: Sequence[Link], *, occupied_hz: float) -> tuple[Node, ...]:
    """Levels behind every stage. The first link is the source, its gain the level it puts out."""
    nodes = []
    level, worst = 0.0, 0.0
    parts: dict[str, float] = {}
    floor_w = scipy.constants.k * T0_K * occupied_hz
    noise_w: float | None = floor_w
    for n, link in enumerate(links):
        level += link.gain_db
        worst += link.worst_db
        parts[link.name] = link.std_db
        if n:
            noise_w = _noise_w(noise_w, link, floor_w)
        std = math.sqrt(sum(part**2 for part in parts.values()))
        nodes.append(
            Node(
                name=link.name,
                level=Estimate(value=level, std=std, contributions=dict(parts)),
                worst_db=worst,
                noise_dbm=None if noise_w is None else db_from_ratio(noise_w / 1e-3),
            )
        )
    return tuple(nodes)


def _noise_w(noise_w: float | None, link: Link, floor_w: float) -> float | None:
    if noise_w is None or link.noise_db is None:
        return None
    return (noise_w + (ratio_from_db(link.noise_db) - 1) * floor_w) * ratio_from_db(link.gain_db)


def friis_noise_db(gains_db: Sequence[float], noise_figures_db: Sequence[float]) -> float:
    """Noise figure of a cascade. [dB]"""
    total, gain = 1.0, 1.0
    for gain_db, figure_db in zip(gains_db, noise_figures_db, strict=True):
        total += (ratio_from_db(figure_db) - 1) / gain
        gain *= ratio_from_db(gain_db)
    return db_from_ratio(total)


def cascade_oip3_dbm(gains_db: Sequence[float], oip3_dbm: Sequence[float | None]) -> float:
    """Intercept of a cascade at its output, all stages in phase; None stands for a stage without distortion. [dBm]"""
    inverse = 0.0
    for gain_db, one in zip(gains_db, oip3_dbm, strict=True):
        inverse /= ratio_from_db(gain_db)
        if one is not None:
            inverse += 1 / ratio_from_db(one)
    return -db_from_ratio(inverse) if inverse > 0 else math.inf


def joined_db(levels_db: Sequence[float]) -> tuple[float, float]:
    """Distortions of several stages together, as powers and as voltages. [dB, dB]"""
    levels = np.asarray(levels_db, dtype=np.float64)
    if not len(levels):
        return -math.inf, -math.inf
    return (
        float(10 * np.log10(np.sum(10 ** (levels / 10)))),
        float(20 * np.log10(np.sum(10 ** (levels / 20)))),
    )
