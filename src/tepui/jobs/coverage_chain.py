"""Repeaters of a map: what each gets at its input, and what it can pass on.

Theory  The way from the feeding transmitter is a path like any other. A transposer sends its input's noise along; one
        that decodes sends a clean signal where the most robust mode is received, and nothing otherwise.
Source  prediction.map_combine.
Holds   The expectation; its doubt is that of any path, and a repeater at the edge of its input is no repeater.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tepui.chain.propagation.models import path_loss
from tepui.ground.findings import Finding, Table, Value
from tepui.prediction.coverage import MapConditions, MapSite, case_between
from tepui.prediction.map_combine import chained_cn_db, feeding_order
from tepui.prediction.map_grid import MapGrid
from tepui.prediction.noise import noise_power_dbm


@dataclass(frozen=True, kw_only=True)
class SiteInput:
    """What one site has to send. [dBm], [dB]

    cn_db    at its own input; infinite where the picture is made there
    sends_db  C/N of what it sends, minus infinite where it is silent
    """

    site: MapSite
    level_dbm: float | None
    cn_db: float
    sends_db: float


def site_inputs(
    sites: Sequence[MapSite],
    grid: MapGrid,
    conditions: MapConditions,
    *,
    clutter_loss_db: float,
    width_hz: float,
    needed_cn_db: float,
) -> list[SiteInput]:
    """Inputs of all sites, in the order of ``sites``.

    needed_cn_db  of the most robust mode, implementation loss included
    raises        RangeError for a feeder that is none, or a ring
    """
    named = {site.name: site for site in sites}
    found: dict[str, SiteInput] = {}
    for name in feeding_order({site.name: site.feeding for site in sites}):
        site = named[name]
        feed = site.feeding
        if feed is None:
            found[name] = SiteInput(site=site, level_dbm=None, cn_db=math.inf, sends_db=math.inf)
            continue
        source = found[feed.fed_by]
        case = case_between(grid, source.site, site, height_m=feed.height_m, conditions=conditions)
        loss = path_loss(case).loss_db + clutter_loss_db
        level = source.site.eirp_dbm - _away_db(grid, source.site, site) - loss + feed.gain_dbi
        cn = level - noise_power_dbm(system_db=feed.noise_db, width_hz=width_hz)
        if source.sends_db == -math.inf:
            cn = sends = -math.inf
        elif feed.kind == "transposer":
            cn = chained_cn_db(cn, source.sends_db) if math.isfinite(source.sends_db) else cn
            sends = cn
        else:
            cn = chained_cn_db(cn, source.sends_db) if math.isfinite(source.sends_db) else cn
            sends = math.inf if cn >= needed_cn_db else -math.inf
        found[name] = SiteInput(site=site, level_dbm=level, cn_db=cn, sends_db=sends)
    return [found[site.name] for site in sites]


def _away_db(grid: MapGrid, start: MapSite, end: MapSite) -> float:
    """Loss of the pattern of one site towards another. [dB]"""
    if start.pattern is None:
        return 0.0
    (r0, c0), (r1, c1) = grid.pixel_of(start.place), grid.pixel_of(end.place)
    bearing = math.degrees(math.atan2(c1 - c0, r0 - r1))
    return start.pattern.loss_at_db(bearing - start.azimuth_deg)


def inputs_table(inputs: Sequence[SiteInput]) -> Table | None:
    """Every repeater with its input; None where there is none."""
    rows: list[tuple[Value, ...]] = []
    for one in inputs:
        feed = one.site.feeding
        if feed is None:
            continue
        rows.append(
            (
                one.site.name,
                feed.fed_by,
                feed.kind,
                one.level_dbm,
                one.cn_db if math.isfinite(one.cn_db) else None,
                "nothing" if one.sends_db == -math.inf else "its input with its noise" if feed.kind == "transposer"
                else "a clean signal",
            )
        )  # fmt: skip
    columns = (
        ("repeater", ""),
        ("fed_by", ""),
        ("repeater_kind", ""),
        ("level_dbm", "dBm"),
        ("cn_db", "dB"),
        ("sends", ""),
    )
    return Table(name="repeater_inputs", columns=columns, rows=tuple(rows)) if rows else None


def silent_findings(about: str, inputs: Sequence[SiteInput]) -> list[Finding]:
    """A caution for repeaters that get no picture."""
    silent = [one.site.name for one in inputs if one.sends_db == -math.inf]
    if not silent:
        return []
    return [
        Finding(
            about=about,
            key="silent_repeaters",
            kind="caution",
            value=", ".join(silent),
            standing="computed",
            source="prediction/map_combine.py",
            remark="The most robust mode is not to be expected at their input, so nothing of them is on the map; a "
            "higher receive antenna, more gain, or another feeder would be first.",
        )
    ]
