"""Gain over angle: what pointing away and turning the polarisation cost.

Theory  Near its axis a beam falls as 12 (angle/width)^2 dB, 3 dB at half the half-power width; farther out it stays
        above the front-to-back ratio. Two linear polarisations turned by an angle couple by its cosine.
Source  [P.1245] for the parabolic main beam, from memory; beam width from gain 32 400/(theta phi) in practice, common
        practice (no published source).
Holds   Beams of one lobe. A pattern given as a table goes before it and is interpolated in dB.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_between, require_positive
from tepui.signals.arrays import read_only_floats, require_rising

BEAM_PRODUCT_DEG2 = 32_400.0
DEFAULT_FRONT_TO_BACK_DB = 20.0
LEAST_COUPLING = 0.0316  # 30 dB: no real pair of antennas is purer; common practice (no published source)
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True, eq=False)
class Pattern:
    """Loss against the axis over the angle away from it, (n,) each from 0 to 180 degrees, rising."""

    angle_deg: Floats
    loss_db: Floats
    source: str

    def __post_init__(self) -> None:
        angle = read_only_floats(self.angle_deg, name="angle_deg")
        require_rising("angle_deg", angle, unit="deg")
        object.__setattr__(self, "angle_deg", angle)
        object.__setattr__(self, "loss_db", read_only_floats(self.loss_db, name="loss_db", n=len(angle)))

    def loss_at_db(self, off_axis_deg: float) -> float:
        """Loss at an angle away from the axis. [dB]"""
        turned = abs((off_axis_deg + 180) % 360 - 180)
        return float(np.interp(turned, self.angle_deg, self.loss_db))


def beam_width_deg(gain_dbi: float) -> float:
    """Half-power width of a round beam of this gain; 360 below 0 dBi. [deg]"""
    if gain_dbi <= 0:
        return 360.0
    return min(math.sqrt(BEAM_PRODUCT_DEG2 / 10 ** (gain_dbi / 10)), 360.0)


def beam(*, width_deg: float, front_to_back_db: float = DEFAULT_FRONT_TO_BACK_DB) -> Pattern:
    """A round beam of this half-power width.

    raises  RangeError
    """
    require_positive("beam width", width_deg, unit="deg")
    require_between("front-to-back ratio", front_to_back_db, 0, 80, unit="dB", source="this program's limit")
    angle = np.linspace(0, 180, 361)
    loss = np.minimum(12 * (angle / width_deg) ** 2, front_to_back_db)
    return Pattern(angle_deg=angle, loss_db=loss, source="round beam, 12 (angle/width)^2 dB")


def polarisation_loss_db(turn_deg: float) -> float:
    """Loss between two linear polarisations turned by an angle; 30 dB at most. [dB]"""
    return -20 * math.log10(max(abs(math.cos(math.radians(turn_deg))), LEAST_COUPLING))
