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


def flat_names(readings: Sequence[DriveReading], levels: Sequence[SideLevel | None]) -> tuple[str, ...]:
    """Readings below the first step, counted downwards, at which the shoulder no longer follows the drive."""
    pairs = [
        (r, side.true.value, side.own_std_db)  # with what is known to be a floor off: that alone is fitted
        for r, side in zip(readings, levels, strict=True)
        if side is not None and side.true is not None
    ]
    for high, above_db, above_std_db in reversed(pairs):
        under = [pair for pair in pairs if high.setting_dbm - pair[0].setting_dbm >= LEAST_SPAN_DB]
        if not under:
            continue
        low, below_db, below_std_db = under[-1]
        step = high.setting_dbm - low.setting_dbm
        slope = (above_db - below_db) / step
        doubt = 2 * math.hypot(above_std_db, below_std_db) / step
        if slope < FLAT_SLOPE and slope + doubt < SURELY_FLAT:
            return tuple(reading.name for reading, _, _ in under)
    return ()
