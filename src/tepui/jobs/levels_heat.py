"""Heat: what each powered stage turns into heat, and the sink, fan and air it needs.

Theory  Heat at worst is the supply power with the least credible output: all doubts erring downwards, or, with no
        current stated, that of the class's closed form. A sink must hold the case below its limit at the hottest air.
Source  chain.amplifiers.efficiency and cooling.
Holds   Still air on upright fins unless a fan is stated. Without the ambient temperature nothing is said of a sink.
"""

from tepui.chain.amplifiers.cooling import FORCED_RATIO, air_flow_m3_s, junction_k, sink_needed_k_w, sink_width_m
from tepui.chain.amplifiers.efficiency import mean_efficiency, supply_ratio
from tepui.ground.decibels import watts_from_dbm
from tepui.ground.findings import Finding
from tepui.jobs.levels_chain import Chain
from tepui.jobs.plan_statements import caution, computed, not_known
from tepui.jobs.statements import bound
from tepui.station.assemble import loads_of
from tepui.station.stages import Stage

FIN_M, FIN_THICK_M, SINK_HEIGHT_M = 0.040, 0.002, 0.20
ZERO_CELSIUS_K = 273.15
TUNED_AT_K = 293.15
HEAT = "supply power less the least credible output"


def heat_findings(chain: Chain) -> list[Finding]:
    """Heat, sink, fan, air and drift."""
    found: list[Finding] = []
    total = 0.0
    for load in loads_of(chain.station):
        total += load.power_w if load.efficiency is None else load.power_w / load.efficiency
    for n, stage in enumerate(chain.assembled.stages):
        if stage.kind != "amplifier":
            continue
        heat = _worst_heat(chain, n, stage)
        if heat is None:
            if n == chain.output:
                found.append(
                    not_known(
                        f"stage:{stage.name}",
                        "heat_w",
                        "W",
                        "neither its current nor its class and P1dB are stated; "
                        "the display of the supply would settle it.",
                    )
                )
            continue
        worst_w, nominal_w, remark = heat
        if nominal_w <= 0:
            found.append(
                not_known(
                    f"stage:{stage.name}", "heat_w", "W", f"its output is planned above its supply power: {remark}"
                )
            )
            continue
        about = f"stage:{stage.name}"
        planned = f"{remark} As planned {nominal_w:.3g} W."
        found.append(bound(about, "heat_w", worst_w, "W", sense="at_most", source=HEAT, remark=planned))
        found += _efficiency(chain, n, stage)
        if stage.case_max is not None:
            found += _sink(chain, stage, worst_w)
    found += _air(chain, total)
    return [*found, *_drift(chain)]


def _worst_heat(chain: Chain, n: int, stage: Stage) -> tuple[float, float, str] | None:
    """Worst and nominal heat of an amplifier, and what it was taken from."""
    level, node = chain.levels[n], chain.nodes[n]
    low_dbm = level.low if chain.readings else level.value - node.worst_db
    least_w, output_w = watts_from_dbm(low_dbm), watts_from_dbm(level.value)
    voltage = stage.supply or chain.station.supply.voltage
    if stage.current is not None and voltage is not None:
        most = stage.current.value if stage.current.high is None else stage.current.high
        supply_w = voltage.value * stage.current.value
        return (
            voltage.value * most - least_w,
            supply_w - output_w,
            f"{voltage.value * most:.1f} W from the supply while it gives only {least_w:.1f} W."
            if supply_w > output_w
            else f"{supply_w:.3g} W from the supply, {output_w:.3g} W out: a gain, level or current is wrong.",
        )
    peak = stage.saturated or stage.p1db
    if stage.amplifier_class is None or peak is None:
        return None
    peak_w = watts_from_dbm(peak.value)
    backoff = max(peak.value - level.value, 0.0)
    idle = _idle_ratio(stage)
    supply_w = peak_w * supply_ratio(stage.amplifier_class, backoff_db=backoff, idle_ratio=idle)
    return (
        2 * supply_w - least_w,
        supply_w - output_w,
        f"No current is stated: class {stage.amplifier_class} in closed form at {backoff:.1f} dB of back-off, and "
        "twice its "
        "supply power at worst, since real amplifiers reach half the ideal (common practice).",
    )


def _idle_ratio(stage: Stage) -> float:
    """Idle current over that at full drive; a tenth where it is not stated, in class AB (common practice)."""
    if stage.idle is None or stage.current is None or stage.current.value <= 0:
        return 0.1
    return min(stage.idle.value / (2 * stage.current.value), 1.0)


def _efficiency(chain: Chain, n: int, stage: Stage) -> list[Finding]:
    """The ideal of the class at this back-off: what the real one stays below."""
    peak = stage.saturated or stage.p1db
    if peak is None or stage.amplifier_class is None:
        return []
    backoff = max(peak.value - chain.levels[n].value, 0.0)
    ideal = mean_efficiency(stage.amplifier_class, backoff_db=backoff, idle_ratio=_idle_ratio(stage))
    return [
        Finding(
            about=f"stage:{stage.name}",
            key="efficiency",
            value=ideal,
            unit="1",
            high=ideal,
            standing="at_most",
            source="closed form of the class with a Rayleigh envelope",
            remark="Real modules at 1.3 GHz reach 10 to 20 % with this signal (common practice).",
        )
    ]


def _sink(chain: Chain, stage: Stage, heat_w: float) -> list[Finding]:
    about, site = f"stage:{stage.name}", chain.station.station
    assert stage.case_max is not None
    if site.ambient is None:
        return [
            not_known(
                about,
                "sink_needed",
                "K/W",
                "without the hottest ambient temperature no sink can be said, and least of "
                "all whether it does without a fan; write ambient in [station].",
                source=HEAT,
            )
        ]
    rise = site.air_rise.value if site.air_rise is not None and site.enclosure in ("vented", "closed") else 0.0
    air = site.ambient.value if site.ambient.high is None else site.ambient.high
    interface = 0.0 if stage.interface is None else stage.interface.value
    needed = sink_needed_k_w(heat_w=heat_w, case_max_k=stage.case_max.value, air_k=air + rise, interface_k_w=interface)
    said = (
        f"{heat_w:.1f} W, case at most {stage.case_max.value - ZERO_CELSIUS_K:.0f} °C, air "
        f"{air + rise - ZERO_CELSIUS_K:.0f} °C"
    )
    if needed <= 0:
        return [
            not_known(
                about,
                "sink_needed",
                "K/W",
                f"no sink can do it ({said}): the interface alone takes more than there is. "
                "Less drive, cooler air, or the heat spread over more parts.",
                source=HEAT,
            )
        ]
    found = [
        computed(
            about,
            "sink_needed",
            needed,
            "K/W",
            source="temperatures in a row, at worst heat",
            remark=f"At most this: {said}.",
            limit=None if stage.sink is None else stage.sink.value,
            sense="at_least",
            limit_source=None if stage.sink is None else "the sink that is stated",
        )
    ]
    base = stage.case_max.value - heat_w * interface
    width = sink_width_m(
        heat_w=heat_w, height_m=SINK_HEIGHT_M, fin_m=FIN_M, thick_m=FIN_THICK_M, base_k=base, air_k=air + rise
    )
    found += [
        computed(
            about,
            "sink_width_m",
            width,
            "m",
            low=0.7 * width,
            high=1.3 * width,
            source="Bar-Cohen and Rohsenow 1984, convection only",
            remark=(
                f"Upright finned sink {SINK_HEIGHT_M * 1e3:.0f} mm high with {FIN_M * 1e3:.0f} mm fins, in still air."
            ),
        ),
        computed(
            about,
            "sink_with_fan",
            needed / FORCED_RATIO,
            "K/W",
            low=0.7 * needed / FORCED_RATIO,
            high=1.3 * needed / FORCED_RATIO,
            source="0.435 of the still-air resistance at 2 m/s, a worked example",
            remark="Still-air rating of a sink that does with 2 m/s of air over its fins.",
        ),
    ]
    if stage.sink is not None:
        chain_k = (stage.sink.value, interface)
        case = junction_k(heat_w=heat_w, air_k=air + rise, resistances_k_w=chain_k) - ZERO_CELSIUS_K
        found.append(
            computed(
                about,
                "case_degc",
                case,
                "°C",
                source="temperatures in a row, at worst heat",
                limit=stage.case_max.value - ZERO_CELSIUS_K,
                limit_source="stated for the stage",
            )
        )
        if stage.junction_case is not None:
            hot = junction_k(heat_w=heat_w, air_k=air + rise, resistances_k_w=(*chain_k, stage.junction_case.value))
            most = None if stage.junction_max is None else stage.junction_max.value - ZERO_CELSIUS_K
            found.append(
                computed(
                    about,
                    "junction_degc",
                    hot - ZERO_CELSIUS_K,
                    "°C",
                    source="temperatures in a row, at worst heat",
                    limit=most,
                    limit_source=None if most is None else "stated for the stage",
                )
            )
    found.append(
        caution(
            about,
            "hot_part",
            "turns most of its input into heat. Old power parts may hold beryllia, whose dust harms: do "
            "not open, file or break them. A sensor that cuts the supply is cheaper than the part.",
        )
    )
    return found


def _air(chain: Chain, total_w: float) -> list[Finding]:
    """Air through a vented box."""
    site = chain.station.station
    if site.enclosure != "vented" or total_w <= 0:
        return []
    if site.air_rise is None:
        return [not_known("station", "air_flow", "m3/s", "state air_rise in [station]: by how much the air may warm.")]
    height = 0.0 if site.altitude is None else site.altitude.value
    flow = air_flow_m3_s(heat_w=total_w, rise_k=site.air_rise.value, altitude_m=height)
    return [
        computed(
            "station",
            "air_flow",
            flow,
            "m3/s",
            source="P = rho c V dT",
            remark=f"{flow * 3600:.1f} m3/h carry {total_w:.0f} W at {site.air_rise.value:g} K of rise. Openings on "
            "all sides rather than a flush panel (common practice); a fan is rated free-blowing, fit twice as much.",
        )
    ]


def _drift(chain: Chain) -> list[Finding]:
    """How far filters move between the bench and the hottest day."""
    site, found = chain.station.station, []
    for stage in chain.station.stages:
        if stage.drift is None:
            continue
        about = f"stage:{stage.name}"
        if site.ambient is None:
            found.append(
                not_known(about, "filter_drift_hz", "Hz", "needs the hottest ambient; write ambient in [station].")
            )
            continue
        rise = site.ambient.value + (0.0 if site.air_rise is None else site.air_rise.value) - TUNED_AT_K
        moved = stage.drift.value * 1e-6 * rise * chain.station.channel.centre.value
        width = "" if stage.width is None else f" of {stage.width.value / 1e6:.3g} MHz width"
        found.append(
            computed(
                about,
                "filter_drift_hz",
                -moved,
                "Hz",
                source="drift stated, tuned at 20 °C",
                remark=f"The passband{width} moves down by this when hot; warm it through before the last turn.",
            )
        )
    return found
