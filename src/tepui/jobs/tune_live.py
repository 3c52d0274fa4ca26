"""Tuning while traces arrive: each is told at once, and each screw's rate is learned from the turn between two.

Theory  One trace after the other goes through jobs/tune; what was learned of a screw stays for all later traces. Turns
        are as the operator says them; "as advised" takes those of the line last given.
Source  jobs/tune, jobs/tune_step.
Holds   One filter; a new one begins with a new ``LiveTuning``. No disk and no screen: whoever watches the folder reads
        the file (``desk.tune.read_trace``) and shows what ``follow`` hands back.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from tepui.ground.findings import Outcome
from tepui.jobs.tune import MeasuredTrace, TuneQuestion, tune_filter

AS_ADVISED = "as advised"


@dataclass(frozen=True, kw_only=True)
class LiveTuning:
    """What is known between two traces.

    last     the trace before; None at the beginning
    rates_hz rod -> change per turn inwards, as learned so far
    advised  rod -> turns (inwards positive) that the last trace advised
    """

    question: TuneQuestion
    last: MeasuredTrace | None = None
    rates_hz: Mapping[int, float] = field(default_factory=dict)
    advised: Mapping[int, float] = field(default_factory=dict)


def follow(
    tuning: LiveTuning, trace: MeasuredTrace, *, turned: Mapping[int, float] | str | None = None
) -> tuple[LiveTuning, Outcome]:
    """One more trace: the state after it, and what it says.

    turned  rod -> turns since the last trace (0 for the rod that moved most), ``AS_ADVISED``, or None where unknown
    raises  RangeError where the trace does not show the filter; the state before then still holds
    """
    turns = dict(tuning.advised) if turned == AS_ADVISED else turned if isinstance(turned, Mapping) else None
    whole = tuning.last is not None and tuning.question.step is None
    question = replace(tuning.question, turned=turns or None if whole else None, rates_hz=dict(tuning.rates_hz))
    before = [] if tuning.last is None or not whole else [tuning.last]
    outcome = tune_filter([*before, trace], question)
    rates, advised = dict(tuning.rates_hz), {}
    for finding in outcome.findings:
        if finding.key == "screw_rate_hz" and isinstance(finding.value, float):
            rates[int(finding.about.rsplit(" ", 1)[1])] = finding.value
    for table in outcome.tables:
        if table.name == "resonators":
            place = {key: n for n, (key, _) in enumerate(table.columns)}
            for row in table.rows:
                turn, way, rod = row[place["screw_turns"]], row[place["screw_way"]], row[place["rod"]]
                if isinstance(turn, float) and isinstance(rod, int) and turn > 0 and way in ("in", "out"):
                    advised[rod] = turn if way == "in" else -turn
    return replace(tuning, last=trace, rates_hz=rates, advised=advised), outcome


def advice_lines(outcome: Outcome) -> tuple[tuple[str, str], ...]:
    """The lines to be read at arm's length: (about, line), rods in order."""
    return tuple((finding.about, str(finding.value)) for finding in outcome.findings if finding.key == "advice")
