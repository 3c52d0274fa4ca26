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
    LongArray,
    aperture_fields,
    array_beam_deg,
    exposure_limits,
    limit_distance_m,
    reactive_reach_m,
)
from tepui.chain.antenna.pattern import Pattern
from tepui.ground.decibels import watts_from_dbm
from tepui.ground.doubt import Estimate
from tepui.ground.findings import Finding, Table
from tepui.jobs.statements import estimated, exact, unknown

OET = "[OET65] eqs 3 to 9"
DEFER = "Local codes, the licence and licensed practice decide; this is no statement that anything is within them."
STEP_DEG = 15


@dataclass(frozen=True, kw_only=True)
class ExposureQuestion:
    """What radiates.

    eirp        mean, on the axis [dBm]
    power_dbm   mean, at the antenna's terminals
    pattern     how the e.i.r.p. falls away from the axis; None where the operator has none
    aperture_m  diameter of a dish or length of an array; None where neither
    long_array  whether that is an array, which radiates to its side
    gain_dbi    on the axis
    """

    about: str
    frequency_hz: float
    eirp: Estimate
    power_dbm: float
    pattern: Pattern | None = None
    aperture_m: float | None = None
    long_array: bool = False
    gain_dbi: float = 0.0


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
    tables = [Table(name="exposure_distances", columns=columns, rows=rows)]
    if question.pattern is None:
        found.append(
            unknown(about, "exposure_pattern", "", source=OET, remark="No pattern of the antenna is given, so the "
                    "distance on the axis is to be kept in every direction; a file of angle_deg,loss_db tells more.")
        )  # fmt: skip
    else:
        tables.append(_by_direction(question.pattern, far, farthest))
    if question.aperture_m is not None:
        near = _beside_array if question.long_array else _aperture
        found += near(question, question.aperture_m, strictest.density_w_m2)
    return found, tables


def _by_direction(pattern: Pattern, far_m: float, farthest_m: float) -> Table:
    """Distance falls with the field, 10^(-loss/20)."""
    shares = [(float(angle), 10 ** (-pattern.loss_at_db(angle) / 20)) for angle in range(0, 181, STEP_DEG)]
    return Table(
        name="exposure_by_direction",
        columns=(("off_axis_deg", "°"), ("distance_full_m", "m"), ("distance_full_worst_m", "m")),
        rows=tuple((angle, far_m * share, farthest_m * share) for angle, share in shares),
    )


def _beside_array(question: ExposureQuestion, length_m: float, density: float) -> list[Finding]:
    """A long array: cylinder, then far field."""
    about = question.about
    source = "[OET65], cylinder of a long array, from memory"
    beam = array_beam_deg(gain_dbi=question.gain_dbi, length_m=length_m, frequency_hz=question.frequency_hz)
    ends = []
    for eirp_dbm in (question.eirp.value, question.eirp.high):
        power_w = watts_from_dbm(question.power_dbm + eirp_dbm - question.eirp.value)
        array = LongArray(power_w=power_w, length_m=length_m, beam_deg=beam)
        eirp_w = watts_from_dbm(eirp_dbm)
        ends.append((array.distance_m(density, eirp_w=eirp_w), array.joins_m(eirp_w=eirp_w)))
    (near, joins), (worst, _) = ends
    return [
        exact(about, "aperture_distance_m", near, "m", source=source, standing="computed",
              remark="Where the mean density beside the array falls to the lowest public level, no reflection counted; "
              f"taken as a horizontal beam of {beam:.0f} degrees. The far field takes over at {joins:.1f} m."),
        exact(about, "aperture_distance_worst_m", worst, "m", source=source, standing="computed",
              remark="The same with every doubt erring upwards."),
    ]  # fmt: skip


def _aperture(question: ExposureQuestion, diameter_m: float, density: float) -> list[Finding]:
    about = question.about
    ends = []
    for eirp_dbm in (question.eirp.value, question.eirp.high):
        power_w = watts_from_dbm(question.power_dbm + eirp_dbm - question.eirp.value)
        fields = aperture_fields(power_w=power_w, diameter_m=diameter_m, frequency_hz=question.frequency_hz)
        ends.append((fields, _aperture_distance_m(fields, density, watts_from_dbm(eirp_dbm))))
    (fields, near_m), (_, worst_m) = ends
    source = "[OET65] eqs 11 to 17, from memory"
    return [
        exact(about, "surface_density_wm2", fields.surface_w_m2, "W/m²", source=source, standing="computed",
              remark="At the face of the aperture, at most; nobody belongs in front of it."),
        exact(about, "near_density_wm2", fields.near_w_m2, "W/m²", source=source, standing="computed",
              remark=f"On the axis up to {fields.near_m:.2f} m at most; the far field begins at {fields.far_m:.2f} m."),
        exact(about, "aperture_distance_m", near_m, "m", source=source, standing="computed",
              remark="Where that bound falls to the lowest public level, no reflection counted."),
        exact(about, "aperture_distance_worst_m", worst_m, "m", source=source, standing="computed",
              remark="The same with every doubt erring upwards."),
    ]  # fmt: skip


def _aperture_distance_m(fields: Aperture, density: float, eirp_w: float) -> float:
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

    channel_hz  nominal width of the channel, for boundaries that go by it
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
    channel_hz: float | None = None


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
    half = question.occupied_hz / 2
    edges = "[EN300744] 4.4, outermost carriers"
    found = [
        exact(
            about,
            f"occupied_{side}_hz",
            question.centre_hz + sign * half,
            "Hz",
            source=edges,
            standing="computed",
            remark="Beyond lies the out-of-band domain: shoulders, which the filter and the drive keep down.",
        )
        for side, sign in (("lower", -1), ("upper", 1))
    ]
    boundaries = [("spurious", 2.5 * question.occupied_hz, "2.5 times the width, the general boundary", "[SM.1541]")]
    if question.channel_hz is not None:
        boundaries.append(("broadcast_spurious", 1.5 * question.channel_hz, "1.5 times the channel, the boundary for "
                           "broadcast transmitters", "[EN302296], as a national regulation repeats it"))  # fmt: skip
    for key, away, words, source in boundaries:
        found += [
            exact(about, f"{key}_{side}_hz", question.centre_hz + sign * away, "Hz", source=source,
                  standing="computed",
                  remark=f"{'Below' if sign < 0 else 'Above'} this lies the spurious domain: {words}.")
            for side, sign in (("lower", -1), ("upper", 1))
        ]  # fmt: skip
    return [
        *found,
        estimated(about, "power_mean_dbm", both, "dBm", source="the operator", standing="given",
                  remark=f"A clause that means mean power reads {watts_from_dbm(power.value):.3g} W, one of PEP "
                  f"{watts_from_dbm(question.pep_dbm):.3g} W."),
        exact(about, "occupied_width_99_hz", width, "Hz", source="[RR] 1.153", standing="computed",
              remark="Of a flat spectrum over all carriers; shoulders widen it, tepui spectrum measures it."),
        estimated(about, "licence_eirp_dbm", question.eirp, "dBm", source="the operator", standing="given",
                  remark=f"Mean, {watts_from_dbm(question.eirp.value):.3g} W; under a clause of PEP "
                  f"{watts_from_dbm(question.eirp.value + question.pep_dbm - power.value):.3g} W."),
    ]  # fmt: skip
