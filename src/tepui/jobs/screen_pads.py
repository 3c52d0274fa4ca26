"""Looks at one signal through several pads: what was sent, what the display's front end made, the pad to use.

Theory  evidence/instrument.py. Two looks that agree settle a shoulder but for a display that cancels alike at both; the
        high end says so.
Source  common practice; [TR101290] 9.7 for the shoulders.
Holds   A pad counts, its step trusted to half a decibel (95 %); nothing else may change between the looks.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

from tepui.evidence.instrument import PadReading, Transmitted, cancels_db, transmitted_level
from tepui.evidence.pads import PAD_STD_DB
from tepui.evidence.screen import band_of, side_of
from tepui.ground.findings import Contribution, Finding
from tepui.jobs.screen_told import SIDES, Look
from tepui.jobs.statements import exact, unknown

PADS = "evidence/instrument.py: readings through several pads"


@dataclass(frozen=True, kw_only=True)
class Solved:
    """One shoulder of looks through several pads."""

    side: str
    sent: Transmitted


def solved_sides(group: Sequence[Look]) -> tuple[Solved, ...]:
    """Every side that all looks of a group show, pads told."""
    found = []
    for side in SIDES:
        if any(side not in look.ratios.shoulders for look in group):
            continue
        readings = []
        for look in group:
            read = side_of(look.ratios, look.ratios.shoulders[side], band_of(look.ratios))
            if read.true is not None and look.told.pad_db is not None:
                name = f"{look.told.pad_db:g} dB"
                shown = {"shown_db": read.true.value, "std_db": read.true.std}
                readings.append(PadReading(name=name, gain_db=-look.told.pad_db, **shown))
        if readings:
            found.append(Solved(side=side, sent=_if_cancelled(transmitted_level(readings, gain_std_db=PAD_STD_DB))))
    return tuple(found)


def _if_cancelled(one: Transmitted) -> Transmitted:
    """Two looks that agree with the high end moved up to where the display would have cancelled alike in both."""
    gains = sorted({judged.reading.gain_db for judged in one.judged})
    if one.kind != "agreed" or one.high_db is None or len(gains) != 2:
        return one
    return replace(one, high_db=one.high_db + cancels_db(gains[1] - gains[0]))


def pad_findings(about: str, solved: Sequence[Solved]) -> list[Finding]:
    """The shoulders as sent, the worse one, and which pad to use."""
    if not solved:
        return []
    sent = [_sent(about, one) for one in solved]
    known = [one for one in sent if one.value is not None]
    if len(sent) == 2 and len(known) == 2:
        worse = max(known, key=lambda one: float(one.value or 0.0))
        sent.append(replace(worse, key="shoulder_worst_db"))
    findings = list(sent)
    best = [one.sent.best_gain_db for one in solved]
    if None not in best:
        pad = max(0.0, *(-gain for gain in best if gain is not None))
        remark = "Pad through which what is shown lies nearest to what is sent, at this level of signal."
        findings.append(exact(about, "pad_advised_db", pad, "dB", source=PADS, standing="computed", remark=remark))
    following = [step for one in solved if (step := _next_pad_db(one.sent)) is not None]
    if following:
        remark = "Pad of the one further look that would help most, at the same signal."
        findings.append(
            exact(about, "pad_next_db", max(following), "dB", source=PADS, standing="computed", remark=remark)
        )
    return findings


def _next_pad_db(sent: Transmitted) -> float | None:
    if sent.next_pad_db is None:
        return None
    return max(-one.reading.gain_db for one in sent.judged) + sent.next_pad_db


def _sent(about: str, one: Solved) -> Finding:
    key, sent = f"shoulder_{one.side}_db", one.sent
    if sent.low_db is None or sent.high_db is None:
        remark = "Only one look shows this shoulder out of noise and filter: take another pad."
        return unknown(about, key, "dB", source=PADS, remark=remark)
    value, words = sent.value_db, ""
    if value is None:
        value = (sent.low_db + sent.high_db) / 2
        words = "Two pads that differ leave an interval, in which no value is likelier than another."
    elif sent.kind == "agreed":
        words = "Looks through different pads agree, so the display adds nothing to speak of."
        if len(sent.judged) == 2:
            words += " The high end is where the display would cancel alike at both; a third pad rules that out."
    else:
        words = "Looks through three pads or more: what the display's own front end made is parted off."
    return Finding(
        about=about,
        key=key,
        value=min(max(value, sent.low_db), sent.high_db),
        unit="dB",
        low=sent.low_db,
        high=sent.high_db,
        standing="measured",
        source=PADS,
        remark=words,
        contributions=(Contribution(name="pads", share=1.0),),
    )
