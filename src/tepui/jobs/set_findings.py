"""Findings of a set: the shoulders parted from the receiver's own products, and what the stitched spectrum shows.

Theory  Each sweep reads both shoulders behind the receiver's front end; what several pads show decides what was sent
        (evidence/instrument.py). One setting alone never does.
Source  [TR101290] 9.7; the pads: evidence/instrument.py.
Holds   A set of one drive setting. Levels that are the receiver's as much as the transmitter's are called unknown.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from tepui.evidence.instrument import PadReading, Transmitted, cancels_db, transmitted_level
from tepui.evidence.pads import gain_step_std_db, gains_are_comparable
from tepui.ground.doubt import Estimate
from tepui.ground.findings import Finding
from tepui.jobs.set_sweeps import SetSeen, SetSweep
from tepui.jobs.spectrum_findings import SHOULDERS
from tepui.jobs.statements import bound, estimated, exact, unknown

SIDES = ("lower", "upper")
PADS = "readings at different pads, receiver's products of third order; tepui spectrum"
OPEN_DB = 15.0  # an interval that reaches further below what was shown is a bound
LEAST_STD_DB = 0.03
CHANGE_WEIGHT = 3.0  # dB of shoulder for a dB of drive, at the steepest (common practice: clipping)


@dataclass(frozen=True, kw_only=True)
class Judgement:
    """What the pads say of both sides.

    sides      None where no sweep shows shoulders
    reference  the sweep whose spectrum lies nearest to what was sent, as far as is known
    comparable whether the gains ahead of the distortion are known
    """

    sides: Mapping[str, Transmitted]
    reference: SetSweep | None
    readable: tuple[SetSweep, ...]
    comparable: bool


def judged(seen: SetSeen) -> Judgement:
    """Both sides from all sweeps that show them."""
    readable = tuple(sweep for sweep in seen.sweeps if sweep.sides is not None)
    stitched = [sweep for sweep in seen.sweeps if sweep.stitched is not None]
    if not readable:
        return Judgement(sides={}, reference=stitched[0] if stitched else None, readable=(), comparable=False)
    told = tuple(sweep for sweep in readable if sweep.has_floor)  # what noise hides tells nothing of the others
    parted = told if len(told) > 1 else readable
    comparable = gains_are_comparable([sweep.spectra for sweep in parted]) and all(one.has_floor for one in parted)
    used = parted if comparable else readable[:1]
    highest = max(used, key=lambda sweep: sweep.gain_db or 0.0)
    common_db = max(sweep.sides.common_db for sweep in used if sweep.sides is not None)
    sides = {
        side: _widened(
            _if_cancelled(transmitted_level([_reading(sweep, side, highest) for sweep in used], gain_std_db=0.0)),
            common_db,
        )
        for side in SIDES
    }
    return Judgement(sides=sides, reference=_reference(readable, sides), readable=readable, comparable=comparable)


def _if_cancelled(one: Transmitted) -> Transmitted:
    """Two readings that agree with the high end moved up to where the receiver would have cancelled alike in both."""
    gains = sorted({judged.reading.gain_db for judged in one.judged})
    if one.kind != "agreed" or one.high_db is None or len(gains) != 2:
        return one
    return replace(one, high_db=one.high_db + cancels_db(gains[1] - gains[0]))


def _widened(one: Transmitted, common_db: float) -> Transmitted:
    """With the doubt that all pads share, which their differences do not show."""
    if one.low_db is None or one.high_db is None:
        return one
    middle = (one.low_db + one.high_db) / 2 if one.value_db is None else one.value_db
    low, high = (math.hypot(end - middle, 2 * common_db) for end in (one.low_db, one.high_db))
    if one.value_db is None:  # the ends of an interval are moved out, each by the doubt
        return replace(one, low_db=one.low_db - 2 * common_db, high_db=one.high_db + 2 * common_db)
    return replace(one, low_db=middle - low, high_db=middle + high)


def _reading(sweep: SetSweep, side: str, highest: SetSweep) -> PadReading:
    assert sweep.sides is not None
    read: Estimate = getattr(sweep.sides, side)
    changes = () if sweep.stitched is None else sweep.stitched.changes
    moved_db = max((abs(change.difference_db) for change in changes), default=0.0)
    own_db = math.sqrt(max(read.std**2 - sweep.sides.common_db**2, LEAST_STD_DB**2))
    std_db = math.hypot(own_db, CHANGE_WEIGHT * moved_db)
    return PadReading(
        name=sweep.label,
        gain_db=sweep.gain_db or 0.0,
        shown_db=read.value,
        std_db=std_db,
        gain_std_db=gain_step_std_db(sweep.spectra, highest.spectra),
    )


def _reference(readable: Sequence[SetSweep], sides: Mapping[str, Transmitted]) -> SetSweep:
    """Of the sweeps judged true on both sides the surest; else the one with the least gain ahead."""
    names = [
        {one.reading.name for one in sides[side].judged if one.region == "true"} if side in sides else set()
        for side in SIDES
    ]
    true = [sweep for sweep in readable if all(sweep.label in found for found in names)]
    if true:
        return min(true, key=_doubt_db)
    return min(readable, key=lambda sweep: sweep.gain_db or 0.0)


def _doubt_db(sweep: SetSweep) -> float:
    assert sweep.sides is not None
    return math.hypot(sweep.sides.lower.std, sweep.sides.upper.std)


def shoulder_findings(about: str, seen: SetSeen, found: Judgement) -> list[Finding]:
    """The shoulders as sent, then as the reference sweep shows them."""
    if not found.readable:
        missing = " ".join(dict.fromkeys(sweep.missing for sweep in seen.sweeps))
        keys = [f"shoulder_{name}{kind}_db" for kind in ("", "_shown") for name in (*SIDES, "worst")]
        return [unknown(about, key, "dB", source=SHOULDERS, remark=missing) for key in keys]
    sent = [_sent(about, side, found.sides[side], found) for side in SIDES]
    assert found.reference is not None
    sides = found.reference.sides
    assert sides is not None
    shown = (sides.shown_lower, sides.shown_upper)
    remark = (
        f"Behind the receiver's front end at {found.reference.label}, noise and all: what the receiver made is in it."
    )
    keys = [f"shoulder_{name}_shown_db" for name in (*SIDES, "worst")]
    values = (*shown, max(shown, key=lambda one: one.value))
    return [
        *sent,
        _worst(about, sent, found),
        *(
            estimated(about, key, value, "dB", source=SHOULDERS, remark=remark)
            for key, value in zip(keys, values, strict=True)
        ),
    ]


def _sent(about: str, side: str, one: Transmitted, found: Judgement) -> Finding:
    key = f"shoulder_{side}_db"
    if one.kind == "unknown" or one.low_db is None or one.high_db is None:
        return unknown(about, key, "dB", source=PADS, remark=_what_would_settle(side, found))
    shown = [reading.reading.shown_db for reading in one.judged]
    if one.value_db is None:
        least = min(one.judged, key=lambda judged: judged.reading.gain_db).reading.shown_db
        if one.low_db < min(shown) - OPEN_DB:
            remark = f"Two settings that differ leave it open below. {_next(one, found)}"
            return bound(about, key, one.high_db, "dB", sense="at_most", source=PADS, remark=remark)
        remark = (
            f"Two settings that differ leave an interval, {one.low_db:.1f} to {one.high_db:.1f} dB, no value in it "
            f"likelier than another. {_next(one, found)}"
        )
        return _number(about, key, min(max(least, one.low_db), one.high_db), one, remark)
    how = "agree, so the receiver adds nothing seen" if one.kind == "agreed" else "part transmitter and receiver"
    regions = "; ".join(f"{judged.reading.name}: {judged.region}" for judged in one.judged)
    remark = f"{len(one.judged)} settings {how} ({regions})."
    hidden = [sweep.label for sweep in found.readable if not sweep.has_floor]
    if hidden:
        remark += f" Noise hides the shoulders at {' and at '.join(hidden)}."
    if one.kind == "agreed" and len(one.judged) == 2:
        remark += " The high end allows for products that cancel alike at both; a third pad would rule that out."
    return _number(about, key, one.value_db, one, remark)


def _number(about: str, key: str, value: float, one: Transmitted, remark: str) -> Finding:
    assert one.low_db is not None
    assert one.high_db is not None
    return Finding(
        about=about,
        key=key,
        value=min(max(value, one.low_db), one.high_db),
        unit="dB",
        low=one.low_db,
        high=one.high_db,
        standing="measured",
        source=f"{SHOULDERS}; {PADS}",
        remark=remark,
    )


def _worst(about: str, sent: Sequence[Finding], found: Judgement) -> Finding:
    key = "shoulder_worst_db"
    if any(one.standing == "unknown" for one in sent):
        assert found.reference is not None
        open_sides = [(getattr(found.reference.sides, side).value, one) for side, one in zip(SIDES, sent, strict=True)]
        remark = max((level, one.remark) for level, one in open_sides if one.value is None)[1]
        return unknown(about, key, "dB", source=PADS, remark=remark)
    worse = max(sent, key=lambda one: float(one.value))  # type: ignore[arg-type]
    high = max(float(one.high) for one in sent if one.high is not None)
    lows = [one.low for one in sent]
    if None in lows:
        return bound(about, key, high, "dB", sense="at_most", source=PADS, remark=worse.remark)
    return Finding(
        about=about,
        key=key,
        value=worse.value,
        unit="dB",
        low=max(float(low) for low in lows if low is not None),
        high=high,
        standing="measured",
        source=worse.source,
        remark=f"The {worse.key.split('_')[1]} one. {worse.remark}",
    )


def _what_would_settle(side: str, found: Judgement) -> str:
    readable = found.readable
    sweep = found.reference or readable[0]
    assert sweep.sides is not None
    shown: Estimate = getattr(sweep.sides, side)
    seen = f"{shown.value:.1f} dB is seen behind the receiver's front end"
    if len(readable) == 1:
        named = "" if sweep.gain_db is not None else " and name attenuator_db in all recordings"
        return (
            f"{seen}, floor off, but one setting does not tell the transmitter's products from the receiver's, which "
            f"may add or cancel: record the set once more with a pad 10 dB larger{named}."
        )
    if not all(one.has_floor for one in readable):
        return (
            f"{seen}, the converter's floor in it, which the edges alone do not tell: record the input terminated, "
            "too, at the lowest gain (--calibration), or a full sweep."
        )
    if not found.comparable:
        return (
            f"{seen}, but what gain lies ahead of the receiver's distortion is not known in every sweep: name "
            "attenuator_db in all, and frontend_gain_db where the receiver's gain was changed."
        )
    return f"{seen}, but the sweeps differ by too little gain ahead of the distortion: use a pad 10 dB larger."


def _next(one: Transmitted, found: Judgement) -> str:
    pad_db = next_pad_db(one, found)
    return "" if pad_db is None else f"The reading that would help most: the set once more with a pad of {pad_db:g} dB."


def next_pad_db(one: Transmitted, found: Judgement) -> float | None:
    """The pad of the next reading, from the lowest gain that was used. [dB]"""
    if one.next_pad_db is None or not found.readable:
        return None
    lowest = min(found.readable, key=lambda sweep: sweep.gain_db or 0.0)
    return float(lowest.spectra[0].settings.get("attenuator_db", 0.0)) + one.next_pad_db


def advice_findings(about: str, found: Judgement) -> list[Finding]:
    """The pad to measure with from now on, and the one reading that would help most."""
    if not found.readable:
        return []
    sides = list(found.sides.values())
    result = []
    settled = [one.best_gain_db for one in sides if one.best_gain_db is not None]
    if found.reference is not None and len(settled) == len(sides) and found.reference.gain_db is not None:
        settings = found.reference.spectra[0].settings
        front_db = float(settings.get("frontend_gain_db", 0.0))
        pad_db = max(front_db - min(settled), 0.0)
        where = f" at a front-end gain of {front_db:g} dB" if "frontend_gain_db" in settings else ""
        remark = f"Total pad{where} at which what is shown lies nearest to what is sent, at this level of signal."
        result.append(exact(about, "pad_advised_db", pad_db, "dB", source=PADS, standing="computed", remark=remark))
    pads = [pad for one in sides if (pad := next_pad_db(one, found)) is not None]
    if pads:
        remark = "Pad of the one reading that would help most; let the gain behind the front end make up for it."
        result.append(exact(about, "pad_next_db", max(pads), "dB", source=PADS, standing="computed", remark=remark))
    return result
