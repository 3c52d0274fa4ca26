"""Supply: current of the main rail, size of the supply, start, cable, battery.

Theory  Currents that are stated add at the main rail, converters counted; what states none is named.
Source  prediction.feeding; a quarter of the supply kept in hand is common practice.
Holds   Steady drive: television is on the air all the time.
"""

from tepui.ground.findings import Finding, Table, Value
from tepui.jobs.levels_chain import Chain
from tepui.jobs.plan_statements import computed, from_estimate, not_known
from tepui.prediction.feeding import RESERVE, cable_drop_v, main_current_a, start_current_a, total_current
from tepui.station.assemble import loads_of

SUPPLY = "sum of the stated currents, converters counted"


def supply_findings(chain: Chain) -> list[Finding]:
    """Current of the main rail, size of the supply, start, cable, battery."""
    main, loads = chain.station.supply.voltage, loads_of(chain.station)
    if main is None:
        return [not_known("station", "supply_current_a", "A", "no main rail is stated; write voltage in [supply].")]
    if not loads:
        return [
            not_known("station", "supply_current_a", "A", "no stage states its current; a supply's display would do.")
        ]
    total = total_current(loads, main.value)
    supply = chain.station.supply
    reserve = RESERVE if supply.reserve is None else supply.reserve.value
    size = total.value * (1 + reserve)
    silent = [
        one.name for one in chain.station.stages if one.kind in ("amplifier", "modulator") and one.current is None
    ]
    found = [
        from_estimate(
            "station",
            "supply_current_a",
            total,
            "A",
            source=SUPPLY,
            remark=f"Without {' and '.join(silent)}, whose current is not stated." if silent else "",
        ),
        computed(
            "station",
            "supply_size_a",
            size,
            "A",
            source=f"{reserve:.0%} kept in hand, common practice",
            limit=None if supply.current_max is None else supply.current_max.value,
            limit_source=None if supply.current_max is None else "what the supply can give",
        ),
    ]
    if any(load.start_a is not None for load in loads):
        start = start_current_a(loads, main.value)
        found.append(computed("station", "start_current_a", start, "A", source=SUPPLY, remark="If all start at once."))
    else:
        found.append(
            not_known(
                "station",
                "start_current_a",
                "A",
                "no stage states start_current; a clamp meter that holds "
                "its maximum, or a supply's limit lamp, would show it.",
            )
        )
    if supply.cable_length is not None and supply.cable_area is not None:
        drop = cable_drop_v(current_a=total.value, length_m=supply.cable_length.value, area_m2=supply.cable_area.value)
        found.append(
            computed(
                "station",
                "cable_drop_v",
                drop,
                "V",
                source="copper at 20 degC, there and back [IEC60028]",
                low=drop,
                high=1.2 * drop,
                remark="A fuse belongs close to the source.",
            )
        )
    if supply.battery is not None:
        found.append(_battery(chain, total.value))
    return found


def _battery(chain: Chain, current_a: float) -> Finding:
    supply = chain.station.supply
    assert supply.battery is not None
    if supply.battery_usable is None:
        hours = supply.battery.value / current_a
        return Finding(
            about="station",
            key="battery_time_h",
            value=hours,
            unit="h",
            high=hours,
            standing="at_most",
            source=SUPPLY,
            remark="If it could be emptied; state battery_usable for the share that may be taken.",
        )
    hours = supply.battery.value * supply.battery_usable.value / current_a
    return computed(
        "station",
        "battery_time_h",
        hours,
        "h",
        low=0.8 * hours,
        high=hours,
        source=SUPPLY,
        remark="Cold, age and fast discharge take up to a fifth (common practice).",
    )


def rails_table(chain: Chain) -> Table:
    """Every load at its own rail and at the main one."""
    columns = (("stage", ""), ("rail_v", "V"), ("current_a", "A"), ("main_current_a", "A"), ("power_w", "W"))
    main = chain.station.supply.voltage
    rows: list[tuple[Value, ...]] = []
    for load in loads_of(chain.station):
        at_main = None if main is None else main_current_a(load, main.value)
        rows.append((load.name, load.voltage_v, load.current_a, at_main, load.power_w))
    return Table(name="supply", columns=columns, rows=tuple(rows))
