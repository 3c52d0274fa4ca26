"""Which way a series goes: readings that do not follow the drive, and series that fall as it rises.

Theory  Third order moves the shoulder by 2 dB a dB of drive; what does not move is a floor or another stage's.
Source  order of products, common practice (no published source). The limits are this program's own.
Holds   Readings in order of setting.
"""

import math
from collections.abc import Sequence

import numpy as np

from tepui.evidence.drive import DriveReading, SideLevel

FLAT_SLOPE = 1.2  # dB a dB of drive, and less: no product of the stage whose drive moved
LEAST_SPAN_DB = 0.5  # between settings: less says nothing of a slope
SURELY = 4.0  # standard uncertainties
SURELY_FLAT = 1.6  # the slope with its doubt must stay below this


def falls(readings: Sequence[DriveReading], levels: Sequence[SideLevel | None]) -> bool:
    """Whether the shoulder falls with the setting by more than the readings' doubts would let it."""
    pairs = [(r.setting_dbm, side) for r, side in zip(readings, levels, strict=True) if side is not None and side.true]
    if len({setting for setting, _ in pairs}) < 2:
        return False
    setting = np.array([at for at, _ in pairs])
    level = np.array([side.true.value for _, side in pairs if side.true is not None])
    weight = np.array([1 / side.own_std_db**2 for _, side in pairs])
    away = setting - (weight @ setting) / weight.sum()
    spread = float(weight @ away**2)
    return bool(float((weight * away) @ level) / spread + 2 * spread**-0.5 < 0)


def moves(pairs: Sequence[tuple[DriveReading, SideLevel]]) -> bool:
    """Whether the shoulder of the highest setting surely stands above that of the lowest."""
    if len(pairs) < 2:
        return False
    low, high = pairs[0][1], pairs[-1][1]
    if low.true is None or high.true is None:
        return False
    return high.true.value - low.true.value > SURELY * math.hypot(high.own_std_db, low.own_std_db)


def flat_names(readings: Sequence[DriveReading], levels: Sequence[SideLevel | None]) -> tuple[str, ...]:
    """Readings below the first step, counted downwards, from which on the shoulder no longer follows the drive.

    One slow step with steep ones below it is no floor: there a setting or a gain was another than written.
    """
    pairs = [(r, side) for r, side in zip(readings, levels, strict=True) if side is not None and side.true is not None]
    for high in reversed(pairs):
        under = [pair for pair in pairs if high[0].setting_dbm - pair[0].setting_dbm >= LEAST_SPAN_DB]
        if under and _surely_flat(under[-1], high) and _surely_flat(under[0], high):
            return tuple(reading.name for reading, _ in under)
    return ()


def _surely_flat(low: tuple[DriveReading, SideLevel], high: tuple[DriveReading, SideLevel]) -> bool:
    """Whether the shoulder moves less from one reading to the other than any product of the stage turned would."""
    (below, under), (above, over) = low, high
    if under.true is None or over.true is None:
        return False
    step = above.setting_dbm - below.setting_dbm
    slope = (over.true.value - under.true.value) / step
    doubt = 2 * math.hypot(over.own_std_db, under.own_std_db) / step
    return slope < FLAT_SLOPE and slope + doubt < SURELY_FLAT
