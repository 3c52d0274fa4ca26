"""The licence sheet of a candidate channel: edges, segments, neighbours, and the rules at hand; ticks are the user's.

Theory  A rule is shown only where its text is at hand as data, with its source; where there is none, the sheet says so
        and what to look up. A rule with a number is compared, which is arithmetic and no legal opinion.
Source  tables amateur_tv_bands, national_23cm_rules, m2164_limits, rnss_signals_near_23cm; the operator's rule file.
Holds   Band ranges are the widest seen; the national table decides.
"""

import re

from tepui.ground.findings import Finding, Table
from tepui.jobs.care import LicenceQuestion, power_findings, sheet_values
from tepui.jobs.statements import exact, unknown
from tepui.tables.load import load_table

RANGE = re.compile(r"(\d+(?:\.\d+)?)-(\d+(?:\.\d+)?)")
NEAR_HZ = 100e6  # a segment farther away is not of this band
M2164 = (1240.0, 1300.0)
UNITS = {"eirp_w": "W", "power_mean_w": "W", "power_pep_w": "W", "occupied_width_hz": "Hz"}


def licence_findings(question: LicenceQuestion) -> tuple[list[Finding], list[Table]]:
    """Everything the sheet says."""
    about = question.about
    low, high = question.centre_hz - question.occupied_hz / 2, question.centre_hz + question.occupied_hz / 2
    found = [*power_findings(question), *_band(about, low=low, high=high), *_segments(about, low=low, high=high)]
    found += _navigation(about, low=low, high=high)
    rows = _rules_at_hand(question, low=low, high=high)
    if question.country is not None and not any(row[0] == question.country for row in rows):
        found.append(
            unknown(
                about,
                "country_rules",
                "",
                source="tables of this program",
                remark=f"No rule of {question.country} for this channel is at hand; read the licence and the national "
                "table, and add them with --rules.",
            )
        )
    found += _compared(question, low=low, high=high)
    columns = (("country", ""), ("rule", ""), ("source", ""), ("confidence", ""))
    tables = [Table(name="rules_at_hand", columns=columns, rows=tuple(rows))] if rows else []
    return found, tables


def _band(about: str, *, low: float, high: float) -> list[Finding]:
    """Distance of the outermost carriers to the edges of the band they lie in."""
    source = "table amateur_tv_bands"
    best: tuple[float, float, str, str] | None = None
    for row in load_table("amateur_tv_bands"):
        match = RANGE.search(row["range_mhz"])
        if match is None:
            continue
        edge_low, edge_high = 1e6 * float(match[1]), 1e6 * float(match[2])
        if edge_low <= (low + high) / 2 <= edge_high:
            width = edge_high - edge_low
            if best is None or width < best[1] - best[0]:
                best = (
                    edge_low,
                    edge_high,
                    f"{row['band']}, {row['itu_region']}: {row['range_mhz']} MHz",
                    row["source"],
                )
    if best is None:
        return [unknown(about, "band", "", source=source, remark="The channel lies in none of the bands at hand; look "
                        "the allocation up in the national table.")]  # fmt: skip
    edge_low, edge_high, words, of = best
    outside = low < edge_low or high > edge_high
    said = "The channel reaches outside; " if outside else ""
    return [
        Finding(about=about, key="band", value=words, standing="computed", source=of),
        exact(about, "band_edge_lower_hz", low - edge_low, "Hz", source=of, standing="computed",
              remark=f"{said}From the lower edge of the band to the lowest carrier; below zero is outside."),
        exact(about, "band_edge_upper_hz", edge_high - high, "Hz", source=of, standing="computed",
              remark=f"{said}From the highest carrier to the upper edge of the band; below zero is outside."),
    ]  # fmt: skip


def _segments(about: str, *, low: float, high: float) -> list[Finding]:
    """Segments of the amateur-satellite service: touched, or how far the nearest of the band lies."""
    nearest: tuple[float, dict[str, str]] | None = None
    for row in load_table("amateur_satellite_segments"):
        begin, end = 1e6 * float(row["f_low_mhz"]), 1e6 * float(row["f_high_mhz"])
        away = max(begin - high, low - end)
        if nearest is None or away < nearest[0]:
            nearest = (away, dict(row))
    if nearest is None or nearest[0] > NEAR_HZ:
        return []
    away, row = nearest
    words, source = f"{row['f_low_mhz']}-{row['f_high_mhz']} MHz", f"{row['source']} ({row['confidence']})"
    if away > 0:
        return [exact(about, "segment_distance_hz", away, "Hz", source=source, standing="computed",
                      remark="From the nearer outermost carrier to the amateur-satellite segment "
                      f"{words}.")]  # fmt: skip
    return [
        Finding(
            about=about,
            key="licence_satellite_segment",
            kind="caution",
            value=words,
            standing="computed",
            source=source,
            remark="The channel touches this segment of the amateur-satellite service; the licence and the band plan "
            "of the place decide.",
        )
    ]


LOBES_MHZ = {"Galileo E6": 5.115, "QZSS L6": 5.115, "BeiDou B3I": 10.23, "GPS L2": 10.23}


def _navigation(about: str, *, low: float, high: float) -> list[Finding]:
    touched = []
    for row in load_table("rnss_signals_near_23cm"):
        lobe = LOBES_MHZ.get(row["signal"], 0.0)
        if 1e6 * (float(row["f_low_mhz"]) - lobe) <= high and 1e6 * (float(row["f_high_mhz"]) + lobe) >= low:
            touched.append(row["signal"])
    if not touched:
        return []
    return [
        Finding(
            about=about,
            key="navigation_signals",
            kind="caution",
            value=", ".join(touched),
            standing="computed",
            source="table rnss_signals_near_23cm (from memory)",
            remark="The channel lies on the main lobe of satellite navigation, which is primary there; its receivers "
            "are wider still. Recommendation ITU-R M.2164 and the national rules decide.",
        )
    ]


def _rules_at_hand(question: LicenceQuestion, *, low: float, high: float) -> list[tuple[str, ...]]:
    rows: list[tuple[str, ...]] = []
    if low <= 1e6 * M2164[1] and high >= 1e6 * M2164[0]:
        for row in load_table("m2164_limits"):
            if row["f_low_mhz"] and not (
                1e6 * float(row["f_low_mhz"]) <= high and 1e6 * float(row["f_high_mhz"]) >= low
            ):
                continue
            rule = (
                f"M.2164 {row['status']}: {row['application']}, {row['quantity']} {row['value']} {row['unit']}".strip()
            )
            rows.append(("ITU", rule, row["source"], row["confidence"]))
    if question.country is not None:
        for row in load_table("national_23cm_rules"):
            if row["country"] != question.country or not _applies(row["f_low_mhz"], row["f_high_mhz"], low, high):
                continue
            rows.append((row["country"], row["rule"], row["source"], row["confidence"]))
    for own in question.rules:
        if own.low_hz <= high and own.high_hz >= low:
            words = f"{own.quantity} at most {own.limit:g} {UNITS[own.quantity]}"
            rows.append((own.country, words, f"{own.source}, {own.date}", "the operator's"))
    return rows


def _applies(low_text: str, high_text: str, low: float, high: float) -> bool:
    if low_text.startswith("all"):
        return True
    return 1e6 * float(low_text) <= high and 1e6 * float(high_text) >= low


def _compared(question: LicenceQuestion, *, low: float, high: float) -> list[Finding]:
    """The strictest number of the operator's own rules for each quantity."""
    values = sheet_values(question)
    found = []
    for quantity, value in values.items():
        fitting = [r for r in question.rules if r.quantity == quantity and r.low_hz <= high and r.high_hz >= low]
        if not fitting:
            continue
        rule = min(fitting, key=lambda one: one.limit)
        found.append(
            Finding(
                about=question.about,
                key=f"rule_{quantity}",
                value=value,
                unit=UNITS[quantity],
                low=value,
                high=value,
                standing="computed",
                source=rule.source,
                limit=rule.limit,
                limit_sense="at_most",
                limit_source=f"{rule.source}, {rule.date}",
                margin=rule.limit - value,
                remark="Arithmetic on the operator's own rule file; whether it applies is for the licence.",
            )
        )
    return found
