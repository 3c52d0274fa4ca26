"""A number of the station file: its value in SI, how far it may be trusted, whose word it is and where it stands.

Theory  A stated doubt is a 95 % half width, k = 2; a range A..B is anything between, so its standard uncertainty is
        (B - A) / sqrt(12). A figure used outside the range it holds for keeps its value with doubled doubt.
Source  [GUM] 4.3.7 for the rectangular, 6.2 for the expanded uncertainty.
Holds   Gaussian where a doubt is stated. Without a doubt ``std`` is None: who needs one says what was taken instead.
"""

import math
from dataclasses import dataclass, replace

from tepui.ground.doubt import COVERAGE_FACTOR
from tepui.ground.quantity import Quantity


@dataclass(frozen=True, kw_only=True)
class Place:
    """Where in the file: its name, line and key, as a sentence begins with them."""

    file: str
    line: int
    key: str

    def __str__(self) -> str:
        return f"{self.file}, line {self.line}, {self.key}"


@dataclass(frozen=True, kw_only=True)
class Figure:
    """A physical figure as the operator stated it.

    value      in SI (dB, dBm, dBi and degrees as they are)
    low, high  95 % or the ends of a range; None where no doubt was stated
    origin     "measured", "data sheet", "guess", "library", or None where it was not told
    reading    the reading it came from, as the operator names it
    doubled    outside the range it holds for: the doubt is twice the stated one
    """

    value: float
    low: float | None
    high: float | None
    unit: str
    text: str
    place: Place
    is_range: bool = False
    origin: str | None = None
    reading: str | None = None
    doubled: bool = False

    @property
    def std(self) -> float | None:
        """Standard uncertainty; None where no doubt was stated."""
        if self.low is None or self.high is None:
            return None
        half = (self.high - self.low) / 2
        std = half / math.sqrt(3) if self.is_range else half / COVERAGE_FACTOR
        return 2 * std if self.doubled else std

    @property
    def half_width(self) -> float:
        """Largest departure the statement allows; 0 where no doubt was stated."""
        if self.low is None or self.high is None:
            return 0.0
        return (self.high - self.low) / 2 * (2 if self.doubled else 1)

    @property
    def standing(self) -> str:
        """Standing of a finding that repeats the figure."""
        return "measured" if self.origin == "measured" and self.reading else "given"

    def outside(self) -> "Figure":
        """The same figure where its data do not hold: doubled doubt."""
        return replace(self, doubled=True)


def figure_from(quantity: Quantity, *, place: Place, origin: str | None = None, reading: str | None = None) -> Figure:
    """A figure from a quantity that was read."""
    return Figure(
        value=quantity.value,
        low=quantity.low,
        high=quantity.high,
        unit=quantity.unit,
        text=quantity.text,
        place=place,
        is_range=quantity.is_range,
        origin=origin,
        reading=reading,
    )
