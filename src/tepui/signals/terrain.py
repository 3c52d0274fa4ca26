"""The ground between two antennas, as a row of heights along the great circle.

Theory  Distance from the first station against height above mean sea level; clutter stands on top of the ground.
Source  [P.1812] and [P.526] take profiles in this form.
Holds   As fine as the points are; what lies between them is the propagation model's business. Gaps are refused.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_one_of
from tepui.ground.errors import RangeError
from tepui.signals.arrays import read_only_floats, require_rising

ZONES = ("sea", "coast", "inland")


@dataclass(frozen=True, kw_only=True, eq=False)
class Profile:
    """Heights along a path.

    distance_m  (n,) n >= 2, from 0 at the first station, rising; the last is the path's length
    height_m    (n,) ground above mean sea level
    clutter_m   (n,) height of trees or houses above the ground; None where unknown
    zone        (n,) "sea", "coast" or "inland" of each point; None where unknown
    source      whose heights these are
    raises      RangeError where the parts contradict each other or a height is missing
    """

    distance_m: npt.NDArray[np.float64]
    height_m: npt.NDArray[np.float64]
    clutter_m: npt.NDArray[np.float64] | None = None
    zone: tuple[str, ...] | None = None
    source: str

    def __post_init__(self) -> None:
        distance_m = read_only_floats(self.distance_m, name="distance_m")
        if len(distance_m) < 2 or distance_m[0] != 0.0:
            raise RangeError(
                f"distance_m must hold two points or more, the first at 0 m, not {len(distance_m)} from "
                f"{distance_m[0]:g} m on."
            )
        require_rising("distance_m", distance_m, unit="m")
        if not self.source:
            raise RangeError("A profile must name the source of its heights.")
        object.__setattr__(self, "distance_m", distance_m)
        object.__setattr__(self, "height_m", read_only_floats(self.height_m, name="height_m", n=len(distance_m)))
        if self.clutter_m is not None:
            clutter_m = read_only_floats(self.clutter_m, name="clutter_m", n=len(distance_m))
            if (clutter_m < 0).any():
                raise RangeError(f"clutter_m must be from 0 on, not {clutter_m.min():g} m.")
            object.__setattr__(self, "clutter_m", clutter_m)
        if self.zone is not None:
            if len(self.zone) != len(distance_m):
                raise RangeError(f"zone must name {len(distance_m)} points, not {len(self.zone)}.")
            for name in self.zone:
                require_one_of("zone", name, ZONES, source="ITU-R P.1812 and P.452 call them so")

    @property
    def length_m(self) -> float:
        """From the first station to the last point. [m]"""
        return float(self.distance_m[-1])
