"""``levels``: levels, what instruments should show, distortion, budget, supply and heat; readings taken in.

Theory  One chain, many views of it (``levels_chain``).
Source  the modules beside this one.
Holds   One station; any number of readings.
"""

from collections.abc import Sequence

from tepui.ground.findings import Finding, Outcome, Table
from tepui.jobs.levels_budget import budget_findings, budget_table
from tepui.jobs.levels_card import card_findings, card_table, shopping_table
from tepui.jobs.levels_chain import Chain, chain_of
from tepui.jobs.levels_channel import channel_findings, narrow_table
from tepui.jobs.levels_expected import expected_findings, expected_table
from tepui.jobs.levels_far import far_findings, far_table
from tepui.jobs.levels_heat import heat_findings
from tepui.jobs.levels_points import distortion_table, levels_table, point_findings, stage_findings
from tepui.jobs.levels_radiation import output_findings, radiation_findings
from tepui.jobs.levels_readings import limit_findings, next_finding, reading_findings, readings_table
from tepui.jobs.levels_supply import rails_table, supply_findings
from tepui.prediction.readings import LevelReading
from tepui.station.nouns import Station


def levels(station: Station, readings: Sequence[LevelReading] = (), *, card: bool = False) -> Outcome:
    """Everything that follows from the station and its readings.

    card  the bring-up card in place of all tables
    """
    chain = chain_of(station, readings)
    findings = all_findings(chain)
    if card:
        return Outcome(findings=ordered(chain, [*findings, *card_findings()]), tables=(card_table(chain),))
    return Outcome(findings=ordered(chain, findings), tables=all_tables(chain))


def all_findings(chain: Chain) -> list[Finding]:
    """Findings of a chain in no particular order."""
    return [
        *point_findings(chain),
        *stage_findings(chain),
        *output_findings(chain),
        *(reading_findings(chain) if chain.readings else next_finding(chain)),
        *limit_findings(chain),
        *expected_findings(chain),
        *budget_findings(chain),
        *channel_findings(chain),
        *radiation_findings(chain),
        *far_findings(chain),
        *supply_findings(chain),
        *heat_findings(chain),
    ]


def all_tables(chain: Chain) -> tuple[Table, ...]:
    """Tables of a chain, those without a row left out."""
    tables = (
        levels_table(chain),
        readings_table(chain),
        expected_table(chain),
        distortion_table(chain),
        budget_table(chain),
        far_table(chain),
        rails_table(chain),
        shopping_table(chain),
        narrow_table(chain),
    )
    return tuple(table for table in tables if table.rows)


def ordered(chain: Chain, findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """The station first, then each stage and the point behind it, in signal order."""
    places = {"station": 0}
    for n, stage in enumerate(chain.station.stages):
        places[f"stage:{stage.name}"] = 2 * n + 1
        places[f"point:after {stage.name}"] = 2 * n + 2
    return tuple(sorted(findings, key=lambda one: places.get(one.about, 10**6)))
