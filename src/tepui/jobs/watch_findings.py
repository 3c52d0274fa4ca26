"""What a watch tells at its end: both shoulders as they were received and as they were sent, and the receiver's state.

Theory  What reached the converter is measured; what was sent is only known once a pad test has parted the two.
Source  evidence/edge.py; evidence/instrument.py; [TR101290] 9.7.
Holds   The last look counts; the table holds the last minute.
"""

from tepui.ground.findings import Finding, Outcome, Table
from tepui.jobs.statements import bound, estimated, exact, text, unknown
from tepui.jobs.watch import EdgeWatch
from tepui.jobs.watch_state import RECEIVER, SIDES, TRANSMITTER, UNKNOWN, ReceiverState, Side, Verdict

ABOUT = "set:watch"
SHOULDER = "[TR101290] 9.7, from narrow recordings at both edges"
PAD = "readings with and without a pad (evidence/instrument.py)"
COUNT = "count of the samples' codes"
COLUMNS = (
    ("time_s", "s"),
    ("shoulder_lower_received_db", "dB"),
    ("shoulder_upper_received_db", "dB"),
    ("doubt_db", "dB"),
    ("converter_level_db", "dB"),
)


def watch_outcome(watch: EdgeWatch) -> Outcome:
    """Findings of the last look and a table of the last minute."""
    return Outcome(findings=(*_findings(watch),), tables=(_table(watch),))


def _findings(watch: EdgeWatch) -> list[Finding]:
    minute = watch.minute
    looks = exact(ABOUT, "looks", watch.looks, "1", source="count")
    if not minute or watch.problem:
        why = watch.problem or "No look at every tuning was finished: watch longer."
        keys = [f"shoulder_{side}{kind}_db" for side in SIDES for kind in ("", "_received")]
        return [*(unknown(ABOUT, key, "dB", source=SHOULDER, remark=why) for key in keys), looks]
    verdicts = watch.verdicts_now()
    last = minute[-1]
    found = [looks]
    for side in SIDES:
        found += _side(side, last.side(side), verdicts.get(side), watch.plan.pad_db)
    if watch.found is not None:
        found.append(
            estimated(
                ABOUT,
                "centre_frequency_hz",
                watch.found.centre_hz,
                "Hz",
                source="[TR101290] 9.1",
                remark="Midway between the edges, by the receiver's own reference.",
            )
        )
    if watch.state is not None:
        found += _receiver(watch.state, max(last.lower.best.value, last.upper.best.value))
    return found


def _side(side: str, seen: Side, verdict: Verdict | None, pad_db: float) -> list[Finding]:
    shown = estimated(ABOUT, f"shoulder_{side}_shown_db", seen.shown, "dB", source=SHOULDER, remark="Floor included.")
    key = f"shoulder_{side}_received_db"
    if seen.received is not None:
        received = estimated(
            ABOUT, key, seen.received, "dB", source=SHOULDER,
            remark="Floor taken off; what the receiver's front end makes is in it.",
        )  # fmt: skip
    else:
        received = bound(
            ABOUT, key, float(seen.shown.high), "dB", sense="at_most", source=SHOULDER,
            remark="The floor is not known, or too near: a terminated input told as floor, more gain, or a mode with a "
            "longer guard interval would settle it.",
        )  # fmt: skip
    return [shown, received, *_sent(side, verdict, pad_db)]


def _sent(side: str, verdict: Verdict | None, pad_db: float) -> list[Finding]:
    """The level transmitted, and whose it is."""
    key, whose = f"shoulder_{side}_db", f"shoulder_{side}_origin"
    if verdict is None:
        remark = f"It may be receiver-made: a pad test ({pad_db:g} dB at the receiver's input) would settle it."
        return [
            unknown(ABOUT, key, "dB", source=SHOULDER, remark=remark),
            unknown(ABOUT, whose, "", source=PAD, remark=remark),
        ]
    origin = text(ABOUT, whose, verdict.origin, source=PAD, remark=verdict.sentence)
    if verdict.origin == UNKNOWN:
        origin = unknown(ABOUT, whose, "", source=PAD, remark=verdict.sentence)
    low, high = verdict.low_db, verdict.high_db
    if verdict.origin in (TRANSMITTER, RECEIVER, UNKNOWN) and low is not None and high is not None:
        middle = (low + high) / 2 if verdict.value_db is None else min(max(verdict.value_db, low), high)
        remark = verdict.sentence
        if verdict.value_db is None:
            remark += " The value is the middle of an interval, not a best guess."
        sent = Finding(
            about=ABOUT, key=key, value=middle, unit="dB", low=low, high=high, standing="measured", source=PAD,
            remark=remark,
        )  # fmt: skip
    else:
        sent = unknown(ABOUT, key, "dB", source=PAD, remark=verdict.sentence)
    return [sent, origin]


def _receiver(state: ReceiverState, worst_db: float) -> list[Finding]:
    advice = state.advice(worst_db)
    level = exact(
        ABOUT, "converter_level_db", state.level_db, "dB", standing="measured",
        source="mean power of the samples over that of a full-scale carrier",
        remark=f"{advice[:1].upper()}{advice[1:]}." if advice else "",
    )  # fmt: skip
    found = [level, exact(ABOUT, "full_scale_share", state.clipped_share, "1", source=COUNT)]
    if state.used_bits is not None:
        found.append(exact(ABOUT, "used_bits", state.used_bits, "1", source=COUNT, standing="measured"))
    if state.floor_db is None:
        remark = "No symbols were found: tell --fft and --guard, or take a floor with the input terminated."
        found.append(unknown(ABOUT, "floor_db", "dB", source="floor.py", remark=remark))
    else:
        found.append(exact(ABOUT, "floor_db", state.floor_db, "dB", standing="measured", source=state.floor_method))
    found.append(exact(ABOUT, "losses", state.lost, "1", source="count of the capture process and the driver"))
    return found


def _table(watch: EdgeWatch) -> Table:
    rows = tuple(
        (
            round(one.time_s, 2),
            round(one.lower.best.value, 3),
            round(one.upper.best.value, 3),
            round(2 * max(one.lower.best.std, one.upper.best.std), 3),
            round(one.level_db, 3),
        )
        for one in watch.minute
    )
    return Table(name="last_minute", columns=COLUMNS, rows=rows)
