"""``check``: every prediction a station file allows and every verdict it does not, stage by stage.

Theory  What can be said is said with its doubt; what cannot is said to be unknown, with the cheapest thing that settles
        it.
Source  the modules of levels; a file that contradicts itself never comes this far.
Holds   One station, no readings.
"""

from collections.abc import Callable, Sequence

from tepui.ground.findings import Finding, Outcome
from tepui.jobs.levels import all_findings, ordered
from tepui.jobs.levels_chain import Chain, chain_of
from tepui.jobs.levels_channel import narrow_table
from tepui.jobs.levels_points import levels_table
from tepui.jobs.plan_statements import computed, not_known
from tepui.station.nouns import Station
from tepui.station.order import stage_inputs_hz

# Further parts of the plan add their findings here: each a function of the chain.
FURTHER: tuple[Callable[[Chain], Sequence[Finding]], ...] = ()


def check(station: Station) -> Outcome:
    """Findings of a station file."""
    chain = chain_of(station)
    findings = [*all_findings(chain), *_tuning(chain)]
    for part in FURTHER:
        findings += part(chain)
    tables = tuple(table for table in (levels_table(chain), narrow_table(chain)) if table.rows)
    unknown = sum(one.standing == "unknown" for one in findings)
    findings.append(
        computed(
            "station",
            "verdicts_unknown",
            float(unknown),
            "1",
            digits=None,
            source="count of the findings that stand as unknown",
        )
    )
    return Outcome(findings=ordered(chain, findings), tables=tables)


def _tuning(chain: Chain) -> list[Finding]:
    """Whether the modulator tunes what the mixers ask of it."""
    station = chain.station
    if not station.stages or station.stages[0].kind != "modulator":
        return [
            not_known("station", "if_hz", "Hz", "the chain does not begin with a modulator; add a stage of that kind.")
        ]
    inputs = stage_inputs_hz(station)
    names = [stage.name for stage in station.stages]
    wanted = inputs[names[1]] if len(names) > 1 else station.channel.centre.value
    first = station.stages[0]
    about = f"stage:{first.name}"
    if wanted is None:
        return [
            not_known(about, "if_hz", "Hz", "the oscillator's frequency is not stated; tepui frequencies finds one.")
        ]
    said = ""
    if first.tunes and not any((one.low or one.value) <= wanted <= (one.high or one.value) for one in first.tunes):
        said = f"Outside what {first.name} tunes, {', '.join(one.text for one in first.tunes[:1])}."
    return [
        computed(about, "if_hz", wanted, "Hz", source="channel and oscillators, mixing undone backwards", remark=said)
    ]
