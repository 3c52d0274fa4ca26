"""How a watch wandered since it began: what was read, gathered into slots of ten seconds and more.

Theory  A slot keeps the lowest and the highest end of all doubts read within it, so that a band drawn from slots holds
        every reading. Where the slots become too many, two neighbours become one: memory does not grow.
Source  own definition.
Holds   Readings in the order of time.
"""

from collections.abc import Iterable

from tepui.jobs.watch_state import DriftSlot, Moment, Side

SLOT_S = 10.0
MOST_SLOTS = 240


class Drift:
    """Slots of equal length, which doubles each time they are too many."""

    def __init__(self) -> None:
        self._slot_s = SLOT_S
        self._slots: dict[int, DriftSlot] = {}

    @property
    def slots(self) -> tuple[DriftSlot, ...]:
        """All of them, oldest first."""
        return tuple(self._slots.values())

    def add(self, moment: Moment, *, centre_hz: float) -> None:
        """Take a reading into its slot."""
        one = DriftSlot(
            time_s=moment.time_s,
            lower=_ends(moment.lower),
            upper=_ends(moment.upper),
            level_db=(moment.level_db, moment.level_db),
            centre_hz=(centre_hz, centre_hz),
        )
        self._put(one)
        if len(self._slots) > MOST_SLOTS:
            kept = self.slots
            self._slot_s *= 2
            self._slots = {}
            for slot in kept:
                self._put(slot)

    def _put(self, one: DriftSlot) -> None:
        number = int(one.time_s // self._slot_s)
        before = self._slots.get(number)
        seen = (one,) if before is None else (before, one)
        self._slots[number] = DriftSlot(
            time_s=(number + 0.5) * self._slot_s,
            lower=_around([each.lower for each in seen]),
            upper=_around([each.upper for each in seen]),
            level_db=_span([each.level_db for each in seen]),
            centre_hz=_span([each.centre_hz for each in seen]),
        )


def _ends(side: Side) -> tuple[float | None, float]:
    return (None if side.is_bound else side.best.low), side.best.high


def _around(ends: Iterable[tuple[float | None, float]]) -> tuple[float | None, float]:
    lows, highs = zip(*ends, strict=True)
    known = [low for low in lows if low is not None]
    return (min(known) if len(known) == len(lows) else None), max(highs)


def _span(ends: Iterable[tuple[float, float]]) -> tuple[float, float]:
    lows, highs = zip(*ends, strict=True)
    return min(lows), max(highs)
