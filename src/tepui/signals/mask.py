"""A spectrum mask: the level a transmitter's spectrum must stay under, against the distance from its centre.

Theory  Break points joined by straight lines in dB over Hz. What 0 dB stands for is a convention of the mask, as is
        the bandwidth in which the level is measured; a trace compares only under both.
Source  each mask names its own.
Holds   Between the outermost break points. Outside them the mask says nothing, and neither do we.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_one_of, require_positive
from tepui.ground.errors import RangeError
from tepui.signals.arrays import read_only_floats, require_rising

CONVENTIONS = ("trace_maximum", "total_power")


@dataclass(frozen=True, kw_only=True, eq=False)
class Mask:
    """Break points of a mask.

    offset_hz     (n,) from the channel's centre, rising; two equal ones make a step
    level_db      (n,) limit relative to what ``convention`` names
    convention    0 dB is the trace's own maximum (trace_maximum) or the whole mean power (total_power)
    bandwidth_hz  in which the level is measured
    raises        RangeError or ChoiceError where the parts contradict each other
    """

    name: str
    offset_hz: npt.NDArray[np.float64]
    level_db: npt.NDArray[np.float64]
    convention: str
    bandwidth_hz: float
    source: str

    def __post_init__(self) -> None:
        offset_hz = read_only_floats(self.offset_hz, name="offset_hz")
        require_rising("offset_hz", offset_hz, unit="Hz", steps_allowed=True)
        require_one_of("convention", self.convention, CONVENTIONS, source="tepui")
        require_positive("bandwidth_hz", self.bandwidth_hz, unit="Hz")
        if not self.source:
            raise RangeError(f"The mask {self.name} must name its source.")
        object.__setattr__(self, "offset_hz", offset_hz)
        object.__setattr__(self, "level_db", read_only_floats(self.level_db, name="level_db", n=len(offset_hz)))

    def limit_db(self, offset_hz: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """The limit at these offsets, straight between break points; at a step the stricter side. [dB]

        offset_hz  any shape, within the mask
        raises     RangeError outside the outermost break points
        """
        wanted = np.asarray(offset_hz, dtype=np.float64)
        first, last = self.offset_hz[0], self.offset_hz[-1]
        outside = ~((wanted >= first) & (wanted <= last))
        if outside.any():
            raise RangeError(
                f"The mask {self.name} reaches from {first:g} to {last:g} Hz ({self.source}) "
                f"and says nothing about {wanted[outside].flat[0]:g} Hz."
            )
        at_or_after = np.interp(wanted, self.offset_hz, self.level_db)
        before = np.interp(-wanted, -self.offset_hz[::-1], self.level_db[::-1])
        return np.asarray(np.minimum(at_or_after, before), dtype=np.float64)
