"""What to set: where a fitted curve crosses the target, and the highest setting that meets it with enough confidence.

Theory  Over a fine grid of settings the fits, weighed, say with which odds the target is met. The crossing is where the
        odds are even, its 95 % interval where they pass 97.7 and 2.3 %; recommended is the highest step at and below
        which they are the asked confidence, never above even odds. Readings that go flat stand on a floor: whether the
        transmitter sends it is not known of a display, so there the interval reaches to where the amplifier alone
        would cross, while crossing and advice go by what is shown.
Source  [GUM-S1] for intervals through a curve; the modulator's step, 0.1 dB, is the operator's.
Holds   Within the settings read, and 2 dB beyond at most, which is marked as carried on by theory.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from scipy.special import ndtr

from tepui.chain.amplifiers.fit import AmplifierFit, Curves
from tepui.ground.checks import require_between, require_positive

Floats = npt.NDArray[np.float64]
REACH_DB = 2.0
FINE_DB = 0.05
COVERAGE = 2.0


@dataclass(frozen=True, kw_only=True)
class Crossing:
    """Where the shoulder crosses the target.

    value, low, high  settings; ``value`` None where the curve stays on one side of all that was looked at
    met_everywhere    whether it then stays below (target met) at every setting
    recommended       None where not even the lowest setting is sure enough
    first, last       settings between which was looked
    stated, standing  what is said of the crossing: measured, at_least or at_most
    """

    value: float | None
    low: float
    high: float
    met_everywhere: bool
    recommended: float | None
    first: float
    last: float
    stated: float
    standing: str


def _first_above(setting: Floats, level: Floats, target: float) -> float | None:
    """Setting at which a curve first passes the target; None where it never does, the first where it begins above."""
    above = np.flatnonzero(level > target)
    if not len(above):
        return None
    at = int(above[0])
    if at == 0:
        return float(setting[0])
    part = (target - level[at - 1]) / (level[at] - level[at - 1])
    return float(setting[at - 1] + part * (setting[at] - setting[at - 1]))


def settings_between(first: float, last: float, *, step_db: float) -> Floats:
    """Whole multiples of the step from ``first`` to ``last``, both ends inside. (n,)"""
    require_positive("step_db", step_db, unit="dB")
    low, high = math.ceil(first / step_db - 1e-9), math.floor(last / step_db + 1e-9)
    return np.asarray(np.arange(low, high + 1) * step_db)


def crossing(
    fit: AmplifierFit,
    *,
    target_db: float,
    confidence: float,
    first: float,
    last: float,
    step_db: float,
    is_sent: bool = True,
) -> Crossing:
    """Where the fitted shoulder crosses ``target_db``, and the recommended setting.

    confidence   0.5 to 0.999 that the target is met at the recommended setting
    first, last  lowest and highest setting read; looked at is REACH_DB beyond both
    step_db      of the modulator
    is_sent      whether a floor in the readings is known to be the transmitter's
    """
    require_between("confidence", confidence, 0.5, 0.999, unit="of one", source="one-sided, this program's limit")
    begin, end = first - REACH_DB, last + REACH_DB
    grid = np.linspace(begin, end, round((end - begin) / FINE_DB) + 1)
    curve = fit.shoulder(grid)
    surely, hardly = (float(ndtr(side * COVERAGE)) for side in (1, -1))
    middle = _first_above(grid, curve.value, target_db)
    early = _first_above(grid, curve.at_odds(surely), target_db)
    late = _first_above(grid, (curve if is_sent else fit.bare(grid)).at_odds(hardly), target_db)
    inside = middle is not None and middle > begin
    low, high = end if early is None else early, end if late is None else late
    stated, standing = _stated(middle if inside else None, low=low, high=high, reach=(begin, end), read=(first, last),
                               met=middle is None)  # fmt: skip
    sure = _first_above(grid, curve.at_odds(confidence), target_db)
    recommended = None
    if sure is None:
        sure = end
    if sure > begin:
        top = min(sure, stated if standing != "at_most" or middle is None else middle)
        recommended = round(math.floor(top / step_db + 1e-9) * step_db, 6)
    return Crossing(
        value=middle if inside else None,
        low=low,
        high=high,
        met_everywhere=middle is None,
        recommended=recommended,
        first=begin,
        last=end,
        stated=stated,
        standing=standing,
    )


def _stated(
    middle: float | None, *, low: float, high: float, reach: tuple[float, float], read: tuple[float, float], met: bool
) -> tuple[float, str]:
    """The crossing itself where its interval lies within what was looked at; else the bound that is known."""
    if middle is not None and low > reach[0] and high < reach[1]:
        return middle, "measured"
    if met or (middle is not None and low > reach[0]):
        return min(low, read[1]), "at_least"
    return max(high, reach[0]), "at_most"


def slope_at(fit: AmplifierFit, setting_db: float) -> float:
    """Change of the shoulder with drive. [dB/dB]"""
    curve: Curves = fit.shoulder(np.array([setting_db - 0.25, setting_db + 0.25]))
    return float((curve.value[1] - curve.value[0]) / 0.5)
