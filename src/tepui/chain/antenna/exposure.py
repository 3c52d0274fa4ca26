"""Power density near an antenna, and where it falls to a published reference level.

Theory  In the far field S = K eirp/(4 pi r^2), with the mean e.i.r.p. and K for reflections: 1 in free space, 2.56 with
        a reflecting ground, 4 at most. Close to a dish the density is bounded by 4 P/A at the surface and by
        16 eta P/(pi D^2) in the near field up to D^2/(4 lambda), and falls as 1/r to 0.6 D^2/lambda. Beside a long
        upright array the power spreads as on a cylinder, 180 P/(theta pi r L) over its horizontal beam theta, until
        the far field says less.
Source  [OET65] eqs 3 to 9; 11 to 17 and the cylinder from memory; limits in table exposure_limits (ICNIRP 2020,
        47 CFR 1.1310).
Holds   Far field, dishes, arrays beside their length. Within lambda/(2 pi) reference levels do not apply. The density
        beside an array is the mean over its length.
"""

import math
from dataclasses import dataclass
from functools import cache

from scipy.constants import speed_of_light

from tepui.ground.checks import require_positive
from tepui.ground.errors import RangeError
from tepui.tables.load import load_table

REFLECTIONS = {"free space": 1.0, "ground": 2.56, "full": 4.0}
APERTURE_EFFICIENCY = 0.55


@dataclass(frozen=True, kw_only=True)
class ExposureLimit:
    """One reference level at one frequency, with whose it is."""

    standard: str
    kind: str
    group: str
    density_w_m2: float
    averaging_min: float
    source: str

    @property
    def name(self) -> str:
        """In words."""
        return f"{self.standard} {self.kind}, {self.group}"


def _level(expression: str, value: str, *, f_mhz: float) -> float:
    """Evaluate the few forms the table has: a constant, f/n, c*f^p, c/fG^p."""
    if expression == "const":
        return float(value)
    if "fG^" in expression:
        scale, power = expression.split("/fG^")
        return float(float(scale) / (f_mhz / 1e3) ** float(power))
    if "*f^" in expression:
        scale, power = expression.split("*f^")
        return float(float(scale) * f_mhz ** float(power))
    if expression.startswith("f/"):
        return f_mhz / float(expression[2:])
    raise ValueError(f"table exposure_limits has an expression of another form: {expression}")


@cache
def exposure_limits(frequency_hz: float) -> tuple[ExposureLimit, ...]:
    """Every density limit of the table at a frequency, in the table's order.

    raises  RangeError where no standard of the table reaches
    """
    f_mhz = frequency_hz / 1e6
    found: dict[tuple[str, str, str], ExposureLimit] = {}
    for row in load_table("exposure_limits"):
        inside = float(row["f_low_mhz"]) <= f_mhz <= float(row["f_high_mhz"])
        if row["unit"] != "W/m2" or not inside:
            continue
        limit = ExposureLimit(
            standard={"FCC": "47 CFR 1.1310"}.get(row["standard"], row["standard"]),
            kind=row["kind"],
            group=row["class"],
            density_w_m2=_level(row["expression_f_in_mhz_fG_in_ghz"], row["value"], f_mhz=f_mhz),
            averaging_min=float(row["averaging_min"]),
            source=row["source"],
        )
        # At a boundary two rows meet; the lower level stands.
        key = (limit.standard, limit.kind, limit.group)
        if key not in found or limit.density_w_m2 < found[key].density_w_m2:
            found[key] = limit
    if not found:
        raise RangeError(
            f"The exposure limits at hand reach from 30 MHz to 300 GHz (ICNIRP 2020, 47 CFR 1.1310), not {f_mhz:g} MHz."
        )
    return tuple(found.values())


def far_density_w_m2(*, eirp_w: float, distance_m: float, reflection: float) -> float:
    """S = K eirp/(4 pi r^2). [W/m2]"""
    return reflection * eirp_w / (4 * math.pi * distance_m**2)


def limit_distance_m(*, eirp_w: float, density_w_m2: float, reflection: float) -> float:
    """Distance at which the far field falls to a density. [m]

    reflection  factor on the density; one on the field counts squared

    >>> round(limit_distance_m(eirp_w=363.0, density_w_m2=6.35, reflection=1.0), 2)
    2.13
    """
    require_positive("eirp_w", eirp_w, unit="W")
    require_positive("density_w_m2", density_w_m2, unit="W/m2")
    return math.sqrt(reflection * eirp_w / (4 * math.pi * density_w_m2))


@dataclass(frozen=True, kw_only=True)
class Aperture:
    """A dish, or a long array taken for one: where its fields begin and end. [W/m2], [m]"""

    surface_w_m2: float
    near_w_m2: float
    near_m: float
    far_m: float

    def density_w_m2(self, distance_m: float, *, eirp_w: float) -> float:
        """Bound on the axis, without reflections. [W/m2]"""
        if distance_m <= self.near_m:
            return self.near_w_m2
        if distance_m < self.far_m:
            return self.near_w_m2 * self.near_m / distance_m
        return min(
            far_density_w_m2(eirp_w=eirp_w, distance_m=distance_m, reflection=1.0),
            self.near_w_m2 * self.near_m / self.far_m,
        )


def aperture_fields(*, power_w: float, diameter_m: float, frequency_hz: float) -> Aperture:
    """Fields of a dish fed with a mean power."""
    lam = speed_of_light / frequency_hz
    area = math.pi * diameter_m**2 / 4
    return Aperture(
        surface_w_m2=4 * power_w / area,
        near_w_m2=16 * APERTURE_EFFICIENCY * power_w / (math.pi * diameter_m**2),
        near_m=diameter_m**2 / (4 * lam),
        far_m=0.6 * diameter_m**2 / lam,
    )


@dataclass(frozen=True, kw_only=True)
class LongArray:
    """A long array radiating to its side. [W], [m], [deg]"""

    power_w: float
    length_m: float
    beam_deg: float

    def density_w_m2(self, distance_m: float, *, eirp_w: float) -> float:
        """Mean over the array's length at a distance from it: the cylinder, or the far field where that is less."""
        cylinder = 180 * self.power_w / (self.beam_deg * math.pi * distance_m * self.length_m)
        return min(cylinder, far_density_w_m2(eirp_w=eirp_w, distance_m=distance_m, reflection=1.0))

    def joins_m(self, *, eirp_w: float) -> float:
        """Where the far field takes over from the cylinder. [m]"""
        return eirp_w * self.beam_deg * self.length_m / (720 * self.power_w)

    def distance_m(self, density_w_m2: float, *, eirp_w: float) -> float:
        """Where the density falls to a level. [m]"""
        cylinder = 180 * self.power_w / (self.beam_deg * math.pi * density_w_m2 * self.length_m)
        return min(cylinder, limit_distance_m(eirp_w=eirp_w, density_w_m2=density_w_m2, reflection=1.0))


def array_beam_deg(*, gain_dbi: float, length_m: float, frequency_hz: float) -> float:
    """Horizontal beam of an upright array: what its gain leaves beside its upright beam, 360 at most. [deg]

    51 lambda/L degrees upright, 41 253 square degrees over the gain; both from memory
    """
    upright = min(51 * speed_of_light / frequency_hz / length_m, 180.0)
    return float(min(41_253 / 10 ** (gain_dbi / 10) / upright, 360.0))


def far_field_m(*, size_m: float, frequency_hz: float) -> float:
    """Where the beam of an antenna is formed, 2 D^2 / lambda. [m]"""
    return float(2 * size_m**2 * frequency_hz / speed_of_light)


def reactive_reach_m(frequency_hz: float) -> float:
    """lambda/(2 pi): nearer than this no reference level applies. [m]"""
    return float(speed_of_light / frequency_hz / (2 * math.pi))
