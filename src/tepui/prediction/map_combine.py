"""Several transmitters over one map: the best of them, all of them on one frequency, and repeaters that are fed.

Theory  On channels of their own the best C/N counts. On one frequency, sent in time, powers that arrive within the
        guard interval of the strongest add; later or earlier ones fade from useful to noise as the square of what is
        left of the useful time, and beyond a third of it they are noise. A transposer passes on the noise of its input,
        so that C/N ratios add as 1/c = 1/c1 + 1/c2; a repeater that decodes sends a clean signal or none.
Source  Sum of powers of independent signals; weight of echoes as network planning has it ([BT.1368]), from memory.
Holds   One model for all ways. Echoes before the strongest count as those after it do, for a receiver may choose its
        window.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.constants import speed_of_light

from tepui.ground.errors import RangeError

STRONGEST, TOGETHER = "strongest", "together"
Singles = npt.NDArray[np.float32]
Floats = npt.NDArray[np.float64]
EQUALISED_SHARE = 1 / 3  # of the useful time, beyond which an echo is noise


@dataclass(frozen=True, kw_only=True)
class Feeding:
    """How a repeater gets its signal.

    fed_by      name of the transmitter it listens to
    kind        "transposer" passes its input's noise on, "regenerative" decodes and sends anew
    gain_dbi, noise_db, height_m   of its receive antenna, its system over k T0, above ground
    """

    fed_by: str
    kind: str
    gain_dbi: float
    noise_db: float
    height_m: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Combined:
    """Bands of a map of several transmitters; NaN where nothing arrives."""

    level_dbm: Singles
    cn_db: Singles
    best: npt.NDArray[np.int64]


def feeding_order(feeds: Mapping[str, Feeding | None]) -> list[str]:
    """Names so that each comes after the one that feeds it.

    raises  RangeError for a feeder that is none, or a ring of repeaters
    """
    order: list[str] = []
    waiting = dict(feeds)
    while waiting:
        ready = [name for name, feed in waiting.items() if feed is None or feed.fed_by in order]
        if not ready:
            name, feed = next(iter(waiting.items()))
            fed_by = "" if feed is None else feed.fed_by
            if fed_by not in feeds:
                raise RangeError(f"{name} is fed by {fed_by}, which is none of the transmitters {', '.join(feeds)}.")
            raise RangeError(f"{', '.join(waiting)} feed each other in a ring; one of them must make its own picture.")
        order += ready
        for name in ready:
            del waiting[name]
    return order


def chained_cn_db(cn_db: float, before_db: float) -> float:
    """C/N of two hops whose noise adds. [dB]"""
    return -10 * math.log10(10 ** (-cn_db / 10) + 10 ** (-before_db / 10))


def echo_weight(late_s: Floats, *, guard_s: float, useful_s: float) -> Floats:
    """Share of an echo's power that is useful; the rest is noise. [1]"""
    late = np.abs(late_s)
    inside = ((useful_s + guard_s - late) / useful_s) ** 2
    weight: Floats = np.where(late <= guard_s, 1.0, np.where(late <= guard_s + EQUALISED_SHARE * useful_s, inside, 0.0))
    return weight


def best_of(levels_dbm: Sequence[Singles], *, noise_dbm: float, input_cn_db: Sequence[float]) -> Combined:
    """The transmitter with the best C/N at each pixel.

    input_cn_db  C/N of what each sends; infinite where it makes its own picture, minus infinite where it is silent
    """
    stack = np.stack(levels_dbm)
    heard = np.array(input_cn_db) > -math.inf
    cn = stack - noise_dbm
    for number, before in enumerate(input_cn_db):
        if math.isfinite(before):
            cn[number] = -10 * np.log10(10 ** (-cn[number] / 10) + 10 ** (-before / 10))
    known = np.isfinite(stack) & heard[:, None, None]
    best = np.argmax(np.where(known, cn, -np.inf), axis=0)
    some = known.any(axis=0)

    def taken(band: npt.NDArray[np.float32]) -> Singles:
        chosen = np.take_along_axis(band, best[None], axis=0)[0]
        return np.where(some, chosen, np.nan).astype(np.float32)

    return Combined(level_dbm=taken(stack), cn_db=taken(cn.astype(np.float32)), best=best)


def all_of(
    levels_dbm: Sequence[Singles],
    *,
    noise_dbm: float,
    input_cn_db: Sequence[float],
    away_m: Sequence[Floats],
    delay_s: Sequence[float],
    guard_s: float,
    useful_s: float,
) -> Combined:
    """All transmitters on one frequency, sent in time but for their delays."""
    stack = np.where(np.isfinite(np.stack(levels_dbm)), np.stack(levels_dbm), -np.inf).astype(np.float64)
    heard = np.array(input_cn_db) > -math.inf
    stack[~heard] = -np.inf
    arrives = np.stack([away / speed_of_light + delay for away, delay in zip(away_m, delay_s, strict=True)])
    best = np.argmax(stack, axis=0)
    late = arrives - np.take_along_axis(arrives, best[None], axis=0)
    power = 10 ** (stack / 10)
    weight = echo_weight(late, guard_s=guard_s, useful_s=useful_s)
    useful = (weight * power).sum(axis=0)
    own = np.array([10 ** (-one / 10) if math.isfinite(one) else 0.0 for one in input_cn_db])
    noise = 10 ** (noise_dbm / 10) + ((1 - weight) * power).sum(axis=0) + (own[:, None, None] * power).sum(axis=0)
    with np.errstate(divide="ignore"):
        level, cn = 10 * np.log10(useful), 10 * np.log10(useful / noise)
    known = np.isfinite(stack).any(axis=0)
    return Combined(
        level_dbm=np.where(known, level, np.nan).astype(np.float32),
        cn_db=np.where(known, cn, np.nan).astype(np.float32),
        best=best,
    )
