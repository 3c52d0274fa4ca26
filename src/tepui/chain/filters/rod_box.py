"""The metal of a round-rod filter: what a builder can measure with callipers, and what is set with screws.

Theory  Equal rods in a row, centred between two plates, side walls at the ends. Interdigital: rod 1 stands on the
        bottom, rod 2 on the top and so on, the box as high as a rod and the open gap. Comb-line: all stand on the
        bottom and are loaded at the top.
Source  own definition; taps are posts of ``POST_M`` from the rod straight to a plate, where the connector sits.
Holds   Screws coaxial with the rods, of half their diameter, from the wall at the open end.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_one_of, require_positive
from tepui.ground.errors import RangeError
from tepui.signals.arrays import read_only_floats

Floats = npt.NDArray[np.float64]
STRUCTURES = ("interdigital", "combline")
POST_M = 1.3e-3
SCREW_SHARE = 0.5  # diameter of a screw over that of its rod


@dataclass(frozen=True, kw_only=True, eq=False)
class RodBox:
    """A round-rod filter by its dimensions.

    spacings_m   (n - 1,) centre to centre
    wall_m       from the centre of an end rod to its side wall
    length_m     of every rod; ``gap_m`` from its open end to the wall there
    taps_m       of the first and the last rod, from its shorted end
    load_f       (n,) capacitance from each open end to the box: end, screw and what is added
    unloaded_q   of every rod
    """

    structure: str
    diameter_m: float
    plates_m: float
    spacings_m: Floats
    wall_m: float
    length_m: float
    gap_m: float
    taps_m: tuple[float, float]
    load_f: Floats
    unloaded_q: float

    def __post_init__(self) -> None:
        require_one_of("structure", self.structure, STRUCTURES, source="the structures modelled")
        for name in ("diameter_m", "plates_m", "wall_m", "length_m", "gap_m"):
            require_positive(name, getattr(self, name), unit="m")
        object.__setattr__(self, "load_f", read_only_floats(self.load_f, name="load_f"))
        spacings = np.asarray(self.spacings_m, dtype=np.float64)
        if len(spacings) + 1 != len(self.load_f):
            raise RangeError(f"{len(self.load_f)} rods have {len(self.load_f) - 1} spacings, not {len(spacings)}.")
        spacings.flags.writeable = False
        object.__setattr__(self, "spacings_m", spacings)
        if not 0 < min(self.taps_m) <= max(self.taps_m) < self.length_m:
            raise RangeError(f"a tap must lie on its rod of {self.length_m * 1e3:.3g} mm, above its shorted end.")

    @property
    def poles(self) -> int:
        """Number of rods."""
        return len(self.load_f)

    @property
    def box_length_m(self) -> float:
        """Inner height along the rods."""
        return self.length_m + self.gap_m

    @property
    def centres_m(self) -> Floats:
        """Rod centres from the left side wall."""
        return np.asarray(self.wall_m + np.concatenate([[0.0], np.cumsum(self.spacings_m)]))

    @property
    def width_m(self) -> float:
        """Inner width along the row."""
        return float(self.centres_m[-1] + self.wall_m)

    @property
    def from_bottom(self) -> npt.NDArray[np.bool_]:
        """Which rods are shorted at the bottom."""
        if self.structure == "combline":
            return np.ones(self.poles, dtype=bool)
        return np.asarray(np.arange(self.poles) % 2 == 0)

    @property
    def post_length_m(self) -> float:
        """From the rod's skin to the plate."""
        return (self.plates_m - self.diameter_m) / 2

    def changed(self, **parts: object) -> "RodBox":
        """The same box with some parts of it changed."""
        return replace(self, **parts)  # type: ignore[arg-type]
