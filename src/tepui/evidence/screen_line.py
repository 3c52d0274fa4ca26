"""A discrete line read off a display beside an OFDM signal: its power over the signal's.

Theory  The signal shows as density in the noise bandwidth, a line as power, whatever the filter. Noise and signal under
        the line's top are taken off by what the detector makes of a line in noise. A mean of logarithms or of envelopes
        shows the signal low and a clear line as it is. The highest of many envelopes lies between the line's amplitude
        and that plus the highest of what is beside it. A transform shows a line between two of its points low.
Source  signals/detected.py, signals/resolution.py.
Holds   Lines that stand still while they are read, narrower than the filter, one within it.
"""

import math
from dataclasses import dataclass

from tepui.evidence.screen import Band, Display, ScreenReading, channel_power
from tepui.ground.doubt import Estimate, estimate
from tepui.signals.detected import line_alone_db

LEAST_EXCESS_DB = 1.0  # of a line over the trace beside it (this program's limit)
UNTOLD = ("power", "linear", "log")


@dataclass(frozen=True, kw_only=True)
class LineRead:
    """A line.

    alone      its level without what is beside it; None where only a bound is known
    most_db    level that it cannot pass, 95 %
    over_signal   over the power of the channel; None where that or the line is not known
    """

    alone: Estimate | None
    most_db: float
    over_signal: Estimate | None


def line_of(reading: ScreenReading, band: Band) -> LineRead:
    """The line of a reading, which must have one, and width and filter told."""
    line, resolution = reading.line, reading.display.resolution
    assert line is not None
    assert resolution is not None
    alone = _alone(reading)
    shift = -resolution.line_db
    most = line.value + shift + 2 * math.hypot(line.std, resolution.line_std_db)
    power = channel_power(reading, band)
    if alone is None:
        return LineRead(alone=None, most_db=most, over_signal=None)
    alone = estimate(alone.value + shift, **{**alone.contributions, "between_points": resolution.line_std_db})
    if power is None:
        return LineRead(alone=alone, most_db=most, over_signal=None)
    if reading.display.detector is None:  # one detector makes both: its offset counts once, and so does its doubt
        ends = [_ratio_db(reading, power, detector=one) + shift for one in UNTOLD]
        middle, spread = (min(ends) + max(ends)) / 2, (max(ends) - min(ends)) / math.sqrt(12)
        parts = {**power.contributions, **alone.contributions, "detector": spread, "line_detector": 0.0}
        return LineRead(alone=alone, most_db=most, over_signal=estimate(middle, **parts))
    parts = {**power.contributions, **alone.contributions}
    return LineRead(alone=alone, most_db=most, over_signal=estimate(alone.value - power.value, **parts))


def _ratio_db(reading: ScreenReading, power: Estimate, *, detector: str) -> float:
    """Line over signal if the detector were this one; ``power`` holds the offset of an untold one."""
    assert reading.line is not None
    known, untold = Display(detector=detector).offset, reading.display.offset
    assert known is not None
    assert untold is not None
    alone = reading.line.value
    if reading.beside is not None:
        alone = line_alone_db(shown_db=alone, beside_db=reading.beside.value, detector=detector) or alone
    return alone - (power.value + untold.value - known.value)


def _alone(reading: ScreenReading) -> Estimate | None:
    """The line's level, and how well it is known; None where it does not stand clear of what is beside it."""
    line, beside = reading.line, reading.beside
    assert line is not None
    if beside is None:
        return None
    if line.value - beside.value < LEAST_EXCESS_DB:
        return None
    kind = reading.display.detector
    if kind == "peak":
        low = 20 * math.log10(10 ** (line.value / 20) - 10 ** (beside.value / 20))
        return estimate((line.value + low) / 2, reading=line.std, beside=(line.value - low) / math.sqrt(12))
    values = [_solved(line.value, beside.value, one) for one in (UNTOLD if kind is None else (kind,))]
    middle = (min(values) + max(values)) / 2
    by_line, by_beside = [], []
    for one in UNTOLD if kind is None else (kind,):
        by_line.append(_slope(line.value, beside.value, one, line.std, 0.0))
        by_beside.append(_slope(line.value, beside.value, one, 0.0, beside.std))
    return estimate(
        middle,
        reading=max(by_line),
        beside=max(by_beside),
        line_detector=(max(values) - min(values)) / math.sqrt(12),
    )


def _solved(shown_db: float, beside_db: float, detector: str) -> float:
    found = line_alone_db(shown_db=shown_db, beside_db=beside_db, detector=detector)
    assert found is not None
    return found


def _slope(shown_db: float, beside_db: float, detector: str, line_std: float, beside_std: float) -> float:
    """Half the change of the line's level when one of the two moves by its doubt either way."""
    half = (shown_db - beside_db) / 2
    line_std, beside_std = min(line_std, half), min(beside_std, half)
    up = _solved(shown_db + line_std, beside_db - beside_std, detector)
    down = _solved(shown_db - line_std, beside_db + beside_std, detector)
    return abs(up - down) / 2
