"""The MER budget: every cause of errors at the antenna, the largest named, and the one test that would prove it.

Theory  Error powers add: 10^(-MER/10) over all causes. The receiver that measures adds its own, of which a tilted
        channel takes the more; a receiver that equalises loses nothing of errors that were made before the tilt.
Source  [TR101290] 9.16; mean(|H|^2) mean(1/|H|^2) for a zero-forcing equaliser against white noise.
Holds   Causes the station file states or a model gives.
"""

import numpy as np

from tepui.ground.findings import Finding, Table, Value
from tepui.jobs.levels_chain import Chain
from tepui.jobs.levels_points import claim_refused
from tepui.jobs.plan_statements import computed, not_known, words
from tepui.prediction.quality import Term, joined_mer, shares
from tepui.station.curves import loss_at_db

SOURCE = "[TR101290] 9.16; error powers added"
_BITS_LOST = 2.0  # of a cheap converter against its nominal bits: common practice
_CREST_BACKOFF_DB = 12.0


def budget_terms(chain: Chain) -> tuple[Term, ...]:
    """Causes behind the last stage before the antenna, the measuring receiver last."""
    places = [n for n, link in enumerate(chain.assembled.links) if link.kind != "antenna"]
    terms = list(chain.quality[places[-1]].terms) if places else []
    return (*terms, *_receiver(chain))


def _receiver(chain: Chain) -> list[Term]:
    """What the receiver used to measure adds, from its stated MER or its bits."""
    for one in chain.station.instruments:
        if not one.is_receiver:
            continue
        tilt = tilt_cost_db(chain)
        if one.mer is not None:
            std = one.mer.std or 0.0
            ends = (one.mer.value - 2 * std - tilt, one.mer.value - tilt, one.mer.value + 2 * std - tilt)
            return [Term(name=f"receiver {one.name}", stage=one.name, mer_db=ends)]
        if one.bits is not None:
            best = 6.02 * (one.bits - _BITS_LOST / 2) + 1.76 - _CREST_BACKOFF_DB - tilt
            return [Term(name=f"receiver {one.name}", stage=one.name, mer_db=(best - 6, best, best + 6))]
    return []


def tilt_cost_db(chain: Chain) -> float:
    """What the filters' curves over the channel cost against white noise behind them. [dB]"""
    half = chain.mode.occupied_width_hz / 2
    frequency = chain.station.channel.centre.value + np.linspace(-half, half, 401)
    loss = np.zeros_like(frequency)
    for stage in chain.assembled.stages:
        if stage.curve is not None and len(stage.curve.frequency_hz) > 1:
            loss = loss + loss_at_db(stage.curve, frequency)
    power = 10 ** (-loss / 10)
    return float(10 * np.log10(np.mean(power) * np.mean(1 / power)))


def _test(name: str) -> str:
    """The one test that would prove a cause."""
    if name == "modulator":
        return "receive the modulator alone at the same receiver level: its MER is then that of the whole chain"
    if name == "phase noise":
        return (
            "replace the oscillator by a quiet one, or read MER at half the multiplication: it then moves by the ratio"
        )
    if name == "thermal noise":
        return "raise the level before the first amplifier by 3 dB and take 3 dB behind it: MER then rises"
    if name == "supply ripple":
        return "run from a battery: MER then rises, and lines at the mains' multiples vanish"
    if name.startswith("receiver"):
        return "put 6 dB more pads and 6 dB more gain: MER then moves, which a transmitter's would not"
    stage = name.removeprefix("distortion of ")
    less = f"drive {stage} 3 dB less at an unchanged receiver level"
    return f"{less}: MER then rises by 6 dB or more, and its shoulder falls"


def budget_findings(chain: Chain) -> list[Finding]:
    """The largest term, the sum, and the worst stage with what its next decibel buys."""
    places = [n for n, link in enumerate(chain.assembled.links) if link.kind != "antenna"]
    if not places:
        return []
    last = chain.quality[places[-1]]
    reason = claim_refused(chain, last)
    terms = budget_terms(chain)
    found: list[Finding] = []
    if reason or not terms:
        why = reason or "no stage states an MER or figures to make one from."
        found.append(not_known("station", "mer_largest", "", why, source=SOURCE))
    else:
        share = shares(terms)
        largest = max(share, key=lambda name: share[name])
        found.append(
            words(
                "station",
                "mer_largest",
                largest,
                source=SOURCE,
                remark=f"{share[largest]:.0%} of the error power. The test that would prove it: {_test(largest)}.",
            )
        )
        target, mer = chain.station.target.mer, last.mer_powers_db
        if target is not None:
            found.append(
                computed(
                    "station",
                    "mer_target_db",
                    mer[1],
                    "dB",
                    low=mer[0],
                    high=mer[2],
                    source=SOURCE,
                    limit=target.value,
                    sense="at_least",
                    limit_source="the operator's target",
                )
            )
        if len(terms) > len(last.terms):
            receiver = terms[-1]
            measured = joined_mer([("the transmitter", last.mer_powers_db), (receiver.name, receiver.mer_db)])
            found.append(
                computed(
                    "station",
                    "mer_as_measured_db",
                    measured[1],
                    "dB",
                    low=measured[0],
                    high=measured[2],
                    source=SOURCE,
                    remark="What the station's own receiver would show, itself included.",
                )
            )
    if last.worst_stage is not None and last.next_db is not None and not reason:
        found.append(
            words(
                "station",
                "worst_stage",
                last.worst_stage,
                source="largest part of the shoulder, stages as powers",
                remark=f"One decibel more of its P1dB or intercept takes {last.next_db:.1f} dB off the shoulder; one "
                "decibel "
                "less drive costs one decibel of output for the same.",
            )
        )
        found.append(
            computed("station", "next_decibel_db", last.next_db, "dB", source="slope of the worst stage's model")
        )
    return found


def budget_table(chain: Chain) -> Table:
    """Every term with its share."""
    columns = (
        ("term", ""),
        ("mer_db", "dB"),
        ("mer_low_db", "dB"),
        ("mer_high_db", "dB"),
        ("share", "1"),
        ("test", ""),
    )
    terms = budget_terms(chain)
    places = [n for n, link in enumerate(chain.assembled.links) if link.kind != "antenna"]
    if not places or claim_refused(chain, chain.quality[places[-1]]):
        terms = tuple(term for term in terms if not term.coherent)
    share = shares(terms)
    rows: list[tuple[Value, ...]] = [
        (term.name, term.mer_db[1], term.mer_db[0], term.mer_db[2], share[term.name], _test(term.name))
        for term in terms
    ]
    tilt = tilt_cost_db(chain)
    if tilt > 0.05:
        test = f"none needed: it costs {tilt:.1f} dB against noise behind it, nothing of errors made before it"
        rows.append(("filter tilt", None, None, None, 0.0, test))
    return Table(name="mer_budget", columns=columns, rows=tuple(rows))
