"""What leaves the station: output, advice on drive, radiated power, exposure distance, lines against the entered limit.

Theory  Worst is every doubt erring the same way. As long as nothing tells how the amplifier bends, the advice is to
        drive less by the doubt, so that the worst case becomes what was nominal.
Source  chain.antenna.exposure; limits are the operator's own, never tepui's.
Holds   Main beam, far field. No verdict on any country's rule.
"""

import math

from tepui.chain.antenna.exposure import far_field_m, limit_distance_m
from tepui.ground.decibels import watts_from_dbm
from tepui.ground.doubt import COVERAGE_FACTOR, Estimate
from tepui.ground.findings import Finding
from tepui.jobs.levels_chain import Chain
from tepui.jobs.levels_lines import limit_owner, line_findings
from tepui.jobs.levels_points import LEVELS, claim_refused
from tepui.jobs.plan_statements import caution, computed, from_estimate, not_known
from tepui.prediction.detectors import crest_db
from tepui.station.figures import Figure

RADIATED = "level behind the antenna, mean of the signal"
EXPOSURE = "S = k^2 EIRP / (4 pi d^2) in the main beam; limit as the operator entered it"


def output_findings(chain: Chain) -> list[Finding]:
    """The transmitter's output and its doubt, and how to drive it while nothing is measured."""
    n = chain.output
    if n is None:
        return []
    node, level, link = chain.nodes[n], chain.levels[n], chain.assembled.links[n]
    found = [
        from_estimate("station", "output_dbm", level, "dBm", source=LEVELS, remark=f"Mean output of {link.name}."),
        _watts("output_w", level, LEVELS),
        computed("station", "output_rss_db", COVERAGE_FACTOR * level.std, "dB", source="root of squares [GUM] 5.1"),
        computed(
            "station", "output_worst_db", node.worst_db, "dB", source="all doubts erring the same way, before readings"
        ),
        *_power_limit(chain, level),
    ]
    reason = claim_refused(chain, chain.quality[n])
    stage = chain.assembled.stages[n]
    if reason and stage.p1db is not None:
        step = 0.1
        less = math.ceil(COVERAGE_FACTOR * level.std / step - 0.5) * step
        backoff = stage.p1db.value - level.value
        found.append(
            computed(
                f"stage:{link.name}",
                "drive_less_db",
                less,
                "dB",
                source="the doubt of the output, common practice",
                remark=f"Back-off is {backoff:.1f} dB below P1dB, {backoff - 2 * level.std:.1f} to "
                f"{backoff + 2 * level.std:.1f} dB with its doubt: drive {less:.1f} dB less until the output or the "
                "shoulder has been read.",
            )
        )
    return found


def _watts(key: str, level: Estimate, source: str) -> Finding:
    return computed(
        "station",
        key,
        watts_from_dbm(level.value),
        "W",
        low=watts_from_dbm(level.low),
        high=watts_from_dbm(level.high),
        source=source,
    )


def _power_limit(chain: Chain, level: Estimate) -> list[Finding]:
    """Mean and peak output against the power the operator allows; both where the basis is unclear."""
    most = chain.station.target.power_max
    if most is None:
        return []
    basis = chain.station.target.power_basis or "unclear"
    found = []
    for key, added, of in (("power_mean_w", 0.0, "mean"), ("power_pep_w", crest_db(), "pep")):
        if basis in (of, "unclear"):
            note = "" if basis == of else f"What the limit means is unclear, so both are shown; this is the {of}."
            found.append(
                computed(
                    "station",
                    key,
                    watts_from_dbm(level.value + added),
                    "W",
                    low=watts_from_dbm(level.low + added),
                    high=watts_from_dbm(level.high + added),
                    source=f"mean output{' and 9.64 dB' if added else ''}",
                    limit=most.value,
                    limit_source="the operator's target",
                    remark=note,
                )
            )
    return found


def radiation_findings(chain: Chain) -> list[Finding]:
    """Radiated power, exposure distance, band edges, harmonics and image."""
    n = chain.antenna
    found: list[Finding] = []
    if n is None:
        found.append(
            not_known(
                "station", "eirp_dbm", "dBm", "no antenna with a gain ends the chain; add a stage of kind antenna."
            )
        )
    else:
        level, node = chain.levels[n], chain.nodes[n]
        worst = level.value + node.worst_db if not chain.readings else level.high
        limit = chain.station.licence.eirp_max
        found += [
            from_estimate("station", "eirp_dbm", level, "dBm", source=RADIATED),
            _eirp_w(chain, level, limit),
            computed("station", "eirp_worst_dbm", worst, "dBm", source="all doubts erring upwards"),
            computed("station", "eirp_worst_w", watts_from_dbm(worst), "W", source="all doubts erring upwards"),
            computed(
                "station",
                "eirp_pep_dbm",
                level.value + crest_db(),
                "dBm",
                low=level.low + crest_db(),
                high=level.high + crest_db(),
                source="mean and 9.64 dB, exceeded for 1e-4 of the time",
            ),
            *_exposure(chain, level, worst),
        ]
    return [*found, *_band(chain), *line_findings(chain)]


def _eirp_w(chain: Chain, level: Estimate, limit: Figure | None) -> Finding:
    basis = chain.station.licence.eirp_basis or "unclear"
    pep = watts_from_dbm(level.value + crest_db())
    return computed(
        "station",
        "eirp_w",
        watts_from_dbm(level.value),
        "W",
        low=watts_from_dbm(level.low),
        high=watts_from_dbm(level.high),
        source=RADIATED,
        remark=f"Peaks at 1e-4 reach {pep:.0f} W.",
        limit=None if limit is None or basis == "pep" else limit.value,
        limit_source=None if limit is None or basis == "pep" else limit_owner(chain),
    )


def _exposure(chain: Chain, level: Estimate, worst_dbm: float) -> list[Finding]:
    licence = chain.station.licence
    unknown = not_known(
        "station",
        "exposure_met",
        "",
        "whether an exposure limit is met where people may be is not tepui's to say: it depends on which rule "
        "applies, on "
        "averaging, on the pattern off the beam and on the ground; ask the authority or a licensed practitioner.",
        source=EXPOSURE,
    )
    if licence.exposure_max is None:
        return [
            not_known(
                "station",
                "exposure_distance_m",
                "m",
                "no exposure limit is entered; write exposure_max in [licence] from your own papers.",
                source=EXPOSURE,
            ),
            unknown,
            _keep_clear(""),
        ]
    density = licence.exposure_max.value
    if licence.exposure_max.unit == "W/m2/Hz":
        density *= chain.station.channel.centre.value
    distance = [
        limit_distance_m(eirp_w=watts_from_dbm(one), density_w_m2=density, reflection=1.0)
        for one in (level.value, level.low, level.high)
    ]
    far = limit_distance_m(eirp_w=watts_from_dbm(worst_dbm), density_w_m2=density, reflection=1.0)
    said = f"at {density:.4g} W/m2, mean power, in the main beam"
    found = [
        computed(
            "station",
            "exposure_distance_m",
            distance[0],
            "m",
            low=distance[1],
            high=distance[2],
            source=EXPOSURE,
            remark=f"Distance {said}.",
        ),
        computed(
            "station",
            "exposure_distance_worst_m",
            far,
            "m",
            source=EXPOSURE,
            remark=f"All doubts erring upwards, {said}.",
        ),
    ]
    if licence.reflection is not None:
        found.append(
            computed(
                "station",
                "exposure_distance_reflected_m",
                far * licence.reflection,
                "m",
                source=EXPOSURE,
                remark=f"Worst case with the field raised {licence.reflection:g} times by reflection.",
            )
        )
    antenna = chain.assembled.stages[chain.antenna or 0]
    if antenna.diameter is not None:
        near = far_field_m(size_m=antenna.diameter.value, frequency_hz=chain.station.channel.centre.value)
        found.append(
            computed(
                "station",
                "near_field_m",
                near,
                "m",
                source="2 D^2 / lambda",
                remark=(
                    "Nearer than this the beam is not formed and the distances above are not trustworthy: keep away."
                ),
            )
        )
    found.append(unknown)
    found.append(_keep_clear(f" Worst-case distance {max(far, far * (licence.reflection or 1)):.1f} m."))
    return found


def _keep_clear(distance: str) -> Finding:
    return caution(
        "station",
        "keep_clear",
        "Television is on the air all the time (100 % duty): nobody in the beam, in front of the feed or on the mast "
        f"while it is.{distance} Local codes and licensed practice decide.",
        source=EXPOSURE,
    )


def _band(chain: Chain) -> list[Finding]:
    """Edges of the signal against the band the operator entered."""
    centre, half = chain.station.channel.centre.value, chain.mode.occupied_width_hz / 2
    source = "[EN300744] 4.4, outermost carriers"
    bands = chain.station.licence.band
    low, high = centre - half, centre + half
    holding = [one for one in bands or () if (one.low or one.value) <= centre <= (one.high or one.value)]
    band = holding[0] if holding else bands[0] if bands else None
    limits = (None, None) if band is None else (band.low, band.high)
    found = [
        computed("station", "occupied_width_hz", 2 * half, "Hz", digits=None, source=source),
        computed(
            "station",
            "occupied_low_hz",
            low,
            "Hz",
            digits=None,
            source=source,
            limit=limits[0],
            sense="at_least",
            limit_source=None if band is None else limit_owner(chain),
        ),
        computed(
            "station",
            "occupied_high_hz",
            high,
            "Hz",
            digits=None,
            source=source,
            limit=limits[1],
            limit_source=None if band is None else limit_owner(chain),
        ),
    ]
    if band is None:
        found.append(not_known("station", "band_margin_hz", "Hz", "no band is entered; write band in [licence]."))
    else:
        margin = min(low - (band.low or low), (band.high or high) - high)
        found.append(
            computed(
                "station",
                "band_margin_hz",
                margin,
                "Hz",
                digits=None,
                source=source,
                remark="Smaller distance to a band edge, before shoulders.",
            )
        )
    return found
