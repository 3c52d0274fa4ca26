"""What the station owner must look after: exposure near the antenna, and what the licence may say of the channel.

Theory  Exposure goes by the mean e.i.r.p.; the worst case takes power, feeder and gain at the ends of their doubts. The
        sheet puts the channel beside band edges, segments and every rule at hand, and leaves the tick to the operator.
Source  [OET65], tables exposure_limits, amateur_tv_bands, national_23cm_rules, m2164_limits, rnss_signals_near_23cm.
Holds   Never a verdict: what is safe or allowed is for local codes, the licence and licensed practice.
"""

from dataclasses import dataclass

from tepui.chain.antenna.exposure import (
    REFLECTIONS,
    Aperture,
    aperture_fields,
    exposure_limits,
    limit_distance_m,
    reactive_reach_m,
)
from tepui.chain.antenna.pattern import Pattern
from tepui.ground.decibels import watts_from_dbm
from tepui.ground.doubt import Estimate
from tepui.ground.findings import Finding, Table
from tepui.jobs.statements import estimated, exact

OET = "[OET65] eqs 3 to 9"
DEFER = "Local codes, the licence and licensed practice decide; this is no statement that anything is within them."
STEP_DEG = 15


@dataclass(frozen=True, kw_only=True)
class ExposureQuestion:
    """What radiates.

    eirp        mean, on the axis [dBm]
    power_dbm   mean, at the antenna's terminals
    pattern     how the e.i.r.p. falls away from the axis
    aperture_m  diameter of a dish or length of an array; None where neither
    """

    about: str
    frequency_hz: float
    eirp: Estimate
    power_dbm: float
    pattern: Pattern
    aperture_m: float | None = None


def exposure_findings(question: ExposureQuestion) -> tuple[list[Finding], list[Table]]:
    """Distances to every published level, nominal and worst, by reflection and by direction."""
    about, limits = question.about, exposure_limits(question.frequency_hz)
    nominal_w, worst_w = watts_from_dbm(question.eirp.value), watts_from_dbm(question.eirp.high)
    public = [limit for limit in limits if limit.group.startswith("general")]
    strictest = min(public, key=lambda limit: limit.density_w_m2)

    def away(eirp_w: float, density: float, words: str) -> float:
        return limit_distance_m(eirp_w=eirp_w, density_w_m2=density, reflection=REFLECTIONS[words])

    far = away(nominal_w, strictest.density_w_m2, "full")
    farthest = away(worst_w, strictest.density_w_m2, "full")
    nearest = away(watts_from_dbm(question.eirp.low), strictest.density_w_m2, "full")
    found = [
        Finding(
            about=about,
            key="eirp_mean_w",
            value=nominal_w,
            unit="W",
            low=watts_from_dbm(question.eirp.low),
            high=worst_w,
            standing="computed",
            source=OET,
            remark="On the axis; the picture is on the air all the time, so no share of time is taken off.",
        ),
        Finding(
            about=about,
            key="exposure_distance_m",
            kind="caution",
            value=far,
            unit="m",
            low=nearest,
            high=farthest,
            standing="computed",
            source=OET,
            remark=f"Where the density on the axis falls to the lowest public level at hand ({strictest.name}, "
            f"{strictest.density_w_m2:.3g} W/m2), full reflection counted. {DEFER}",
        ),
        exact(about, "reactive_reach_m", reactive_reach_m(question.frequency_hz), "m", source="lambda/(2 pi)",
              standing="computed", remark="Nearer than this the levels do not apply; nobody belongs there."),
    ]  # fmt: skip
    columns = (
        ("exposure_level", ""),
        ("density_wm2", "W/m²"),
        ("averaging_s", "s"),
        ("distance_free_m", "m"),
        ("distance_ground_m", "m"),
        ("distance_full_m", "m"),
        ("distance_worst_m", "m"),
    )
    rows = tuple(
        (
            limit.name,
            limit.density_w_m2,
            60 * limit.averaging_min,
            away(nominal_w, limit.density_w_m2, "free space"),
            away(nominal_w, limit.density_w_m2, "ground"),
            away(nominal_w, limit.density_w_m2, "full"),
            away(worst_w, limit.density_w_m2, "ground"),
        )
        for limit in limits
    )
    tables = [Table(name="exposure_distances", columns=columns, rows=rows), _by_direction(question, far)]
    if question.aperture_m is not None:
        found += _aperture(question, strictest.density_w_m2)
    return found, tables


def _by_direction(question: ExposureQuestion, far_m: float) -> Table:
    """Distance falls with the field, 10^(-loss/20)."""
    rows = tuple(
        (float(angle), far_m * 10 ** (-question.pattern.loss_at_db(angle) / 20)) for angle in range(0, 181, STEP_DEG)
    )
    return Table(name="exposure_by_direction", columns=(("off_axis_deg", "°"), ("distance_full_m", "m")), rows=rows)


def _aperture(question: ExposureQuestion, density: float) -> list[Finding]:
    about = question.about
    assert question.aperture_m is not None
    fields = aperture_fields(
        power_w=watts_from_dbm(question.power_dbm), diameter_m=question.aperture_m, frequency_hz=question.frequency_hz
    )
    source = "[OET65] eqs 11 to 17, from memory"
    return [
        exact(about, "surface_density_wm2", fields.surface_w_m2, "W/m²", source=source, standing="computed",
              remark="At the face of the aperture, at most; nobody belongs in front of it."),
        exact(about, "near_density_wm2", fields.near_w_m2, "W/m²", source=source, standing="computed",
              remark=f"On the axis up to {fields.near_m:.2f} m at most; the far field begins at {fields.far_m:.2f} m."),
        exact(about, "aperture_distance_m", _aperture_distance_m(fields, density, question), "m", source=source,
              standing="computed", remark="Where that bound falls to the lowest public level, no reflection counted."),
    ]  # fmt: skip


def _aperture_distance_m(fields: Aperture, density: float, question: ExposureQuestion) -> float:
    eirp_w = watts_from_dbm(question.eirp.value)
    if fields.near_w_m2 <= density:
        return 0.0
    between = fields.near_w_m2 * fields.near_m / density
    return between if between < fields.far_m else limit_distance_m(eirp_w=eirp_w, density_w_m2=density, reflection=1.0)


@dataclass(frozen=True, kw_only=True)
class Rule:
    """One rule of a user's own file, over a range of frequencies.

    quantity  eirp_w, power_mean_w, power_pep_w or occupied_width_hz
    """

    country: str
    low_hz: float
    high_hz: float
    quantity: str
    limit: float
    source: str
    date: str


@dataclass(frozen=True, kw_only=True)
class LicenceQuestion:
    """A candidate channel as a licence sees it.

    country  two letters, or None where only the general part is asked
    rules    of the operator's own file
    """

    about: str
    centre_hz: float
    occupied_hz: float
    power: Estimate
    pep_dbm: float
    eirp: Estimate
    country: str | None
    rules: tuple[Rule, ...] = ()


def sheet_values(question: LicenceQuestion) -> dict[str, float]:
    """What a rule may be held against. [W], [Hz]"""
    return {
        "eirp_w": watts_from_dbm(question.eirp.value),
        "power_mean_w": watts_from_dbm(question.power.value),
        "power_pep_w": watts_from_dbm(question.pep_dbm),
        "occupied_width_hz": question.occupied_hz,
    }


def power_findings(question: LicenceQuestion) -> list[Finding]:
    """Power under both readings of a power clause, and the width that holds 99 %."""
    about, power = question.about, question.power
    both = Estimate(value=power.value, std=power.std, contributions=power.contributions)
    width = 0.99 * question.occupied_hz
    boundary = 2.5 * question.occupied_hz
    return [
        estimated(about, "power_mean_dbm", both, "dBm", source="the operator", standing="given",
                  remark=f"A clause that means mean power reads {watts_from_dbm(power.value):.3g} W, one of PEP "
                  f"{watts_from_dbm(question.pep_dbm):.3g} W."),
        exact(about, "occupied_width_99_hz", width, "Hz", source="[RR] 1.153", standing="computed",
              remark="Of a flat spectrum over all carriers; shoulders widen it, tepui spectrum measures it."),
        exact(about, "spurious_lower_hz", question.centre_hz - boundary, "Hz", source="[SM.1541]: 2.5 times the width",
              standing="computed", remark="Below this lies the spurious domain; broadcast rules set other boundaries."),
        exact(about, "spurious_upper_hz", question.centre_hz + boundary, "Hz", source="[SM.1541]: 2.5 times the width",
              standing="computed", remark="Above this lies the spurious domain."),
    ]  # fmt: skip
