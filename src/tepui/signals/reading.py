"""A reading: one number an instrument showed at one test point, as it was shown.

Theory  What was shown is not yet what was true; evidence/ reduces one to the other, so a reading keeps the
        instrument and every setting that touches the number.
Source  [GUM] 3.1: a result needs its measurand, its value and its doubt.
Holds   One number. low and high enclose 95 % where a doubt of the display itself is known.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from tepui.ground.errors import RangeError


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One number read.

    point       test point, such as "after amplifier"
    key         the quantity's one name (docs/nomenclature.md)
    value, unit as shown, SI or dB
    low, high   95 % of the display itself; both None where unknown
    instrument  name in the station file
    utc         ISO 8601, in UTC (ending in Z or +00:00); None where unknown
    settings    of the instrument at that moment
    raises      RangeError where the parts contradict each other
    """

    point: str
    key: str
    value: float
    unit: str
    low: float | None = None
    high: float | None = None
    instrument: str
    utc: str | None = None
    settings: Mapping[str, float | bool | str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        about = f"The reading of {self.key} at {self.point}"
        for name in ("point", "key", "unit", "instrument"):
            if not getattr(self, name):
                raise RangeError(f"{about} must name its {name}.")
        numbers = [number for number in (self.value, self.low, self.high) if number is not None]
        if not all(math.isfinite(number) for number in numbers):
            raise RangeError(f"{about} must be of finite numbers, not {numbers}.")
        if (self.low is None) != (self.high is None):
            raise RangeError(f"{about} must state both low and high, or neither.")
        if self.low is not None and self.high is not None and not self.low <= self.value <= self.high:
            raise RangeError(f"{about}, {self.value:g} {self.unit}, must lie within {self.low:g} to {self.high:g}.")
        if self.utc is not None and not _is_utc(self.utc):
            raise RangeError(f"{about} must state its time in UTC as ISO 8601 (2025-01-31T20:15:00Z), not {self.utc}.")
        object.__setattr__(self, "settings", dict(self.settings))


def _is_utc(text: str) -> bool:
    try:
        return datetime.fromisoformat(text).utcoffset() == timedelta(0)
    except ValueError:
        return False
