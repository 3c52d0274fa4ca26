"""The pad test of a watch: the same shoulders with a pad at the receiver's input, and what that tells.

Theory  A pad lowers what the receiver makes by twice its decibels over the signal, and leaves what was sent alone; see
        evidence/instrument.py. What both readings have in common (the part of the band not seen, the filter's shape)
        cannot make them differ and is added to the doubt afterwards.
Source  evidence/instrument.py.
Holds   The drive is left alone during the test.
"""

import math
from collections.abc import Sequence

from tepui.evidence.instrument import PadReading, Transmitted, transmitted_level
from tepui.jobs.watch_state import HIDDEN, RECEIVER, SIDES, TRANSMITTER, UNKNOWN, Moment, Side, Verdict

COMMON = ("band_unseen", "receiver_shape", "highest_of_trace", "pilots", "edge")
GAIN_STD_DB = 0.3  # of the pad as marked (this program's limit; a pad that was measured is better)
MOVED_DB = 1.0  # a reading that moves further is the receiver's in part (as in evidence/instrument.py)
REPEAT_STD_DB = 0.1  # of a reading after plugging (common practice)


def _parts(side: Side) -> tuple[float, float]:
    """Standard uncertainty that differs from reading to reading, and that which is common."""
    parts = side.best.contributions
    own = math.sqrt(sum(std**2 for name, std in parts.items() if name not in COMMON))
    return own, math.sqrt(sum(std**2 for name, std in parts.items() if name in COMMON))


def _mean(moments: Sequence[Moment], side: str) -> tuple[float, float] | None:
    """Mean received level and its own doubt; None where the floor hides it in most."""
    seen = [moment.side(side) for moment in moments]
    clear = [one for one in seen if one.received is not None]
    if 2 * len(clear) <= len(seen):
        return None
    levels = [one.best.value for one in clear]
    mean = sum(levels) / len(levels)
    scatter = math.sqrt(sum((level - mean) ** 2 for level in levels) / max(len(levels) - 1, 1) / len(levels))
    own = max(_parts(one)[0] for one in clear)
    return mean, math.sqrt(scatter**2 + own**2 + REPEAT_STD_DB**2)


def pad_verdicts(readings: Sequence[tuple[float, Sequence[Moment]]], *, kept_level_db: float) -> dict[str, Verdict]:
    """What the test tells of each side.

    readings       pad in dB and the moments read with it, the least pad first; at least two
    kept_level_db  of the samples as they will be from now on
    """
    return {side: _verdict(side, readings, kept_level_db) for side in SIDES}


def _verdict(side: str, readings: Sequence[tuple[float, Sequence[Moment]]], level_db: float) -> Verdict:
    means = [(pad_db, _mean(moments, side)) for pad_db, moments in readings]
    clear = [(pad_db, mean) for pad_db, mean in means if mean is not None]
    if len(clear) < 2:
        hidden = next(pad_db for pad_db, mean in means if mean is None)
        return _open(
            HIDDEN,
            f"The floor hides it with {hidden:g} dB of pad: more gain behind the front end, or a smaller pad.",
            level_db,
        )
    told = transmitted_level(
        [
            PadReading(name=f"{pad_db:g} dB", gain_db=-pad_db, shown_db=mean[0], std_db=mean[1])
            for pad_db, mean in clear
        ],
        gain_std_db=GAIN_STD_DB,
    )
    moved_db = clear[-1][1][0] - clear[-2][1][0]
    step_db = clear[-1][0] - clear[-2][0]
    return _worded(
        told,
        common=2 * _parts(readings[-1][1][-1].side(side))[1],
        moved_db=moved_db,
        step_db=step_db,
        level_db=level_db,
    )


def _open(origin: str, sentence: str, level_db: float) -> Verdict:
    return Verdict(origin=origin, sentence=sentence, value_db=None, low_db=None, high_db=None, level_db=level_db)


def _worded(told: Transmitted, *, common: float, moved_db: float, step_db: float, level_db: float) -> Verdict:
    low = None if told.low_db is None else told.low_db - common
    high = None if told.high_db is None else told.high_db + common
    moved = f"moved {moved_db:+.1f} dB with {step_db:g} dB of pad"
    if told.kind == "agreed":
        origin, sentence = TRANSMITTER, f"The transmitter's own: {moved}."
    elif told.kind == "solved" and told.judged[-1].region == "true":
        origin, sentence = TRANSMITTER, f"With this pad the transmitter's own: {moved}."
    elif abs(moved_db) > MOVED_DB or any(one.region == "receiver-made" for one in told.judged):
        origin, sentence = RECEIVER, f"Partly receiver-made without the pad: {moved}."
    else:
        origin, sentence = UNKNOWN, f"Not settled: {moved}."
    return Verdict(
        origin=origin, sentence=sentence, value_db=told.value_db, low_db=low, high_db=high, level_db=level_db
    )
