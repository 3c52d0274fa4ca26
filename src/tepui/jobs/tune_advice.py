"""One line per resonator: which way, how far, or leave it.

Theory  A screw that goes in lowers its rod. A rod is off where its distance to the goal is more than its doubt and more
        than a share of the width that the response would notice.
Source  common practice (no published source) for the share; the rate per turn is learned from two traces.
Holds   Screws at open ends; a rate of either sign is believed as it was measured.
"""

from dataclasses import dataclass

from tepui.ground.doubt import Estimate

LEAVE_SHARE = 0.02
LEARN, AGAIN = "save the trace and tell the turn with --turned", "and sweep again"
PARTS = ((1 / 16, "a sixteenth"), (1 / 8, "an eighth"), (1 / 4, "a quarter"), (1 / 3, "a third"), (1 / 2, "half"),
         (2 / 3, "two thirds"), (3 / 4, "three quarters"), (1.0, "one"))  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Advice:
    """What to do with one screw: "in", "out", "leave" or "unknown", turns where the rate is known, and the line."""

    way: str
    turns: float | None
    line: str


def rod_advice(
    rod: int, frequency: Estimate, *, goal_hz: float, width_hz: float, rate_hz: float | None, unlearned: str = LEARN
) -> Advice:
    """The line for one resonator; ``unlearned`` is what to do beside a little turn where its rate is not known."""
    error = frequency.value - goal_hz
    doubt = 2 * frequency.std
    size, word = abs(error), "low" if error < 0 else "high"
    told = f"rod {rod} is {size / 1e6:.{_digits(doubt)}f} ± {doubt / 1e6:.{_digits(doubt)}f} MHz {word}"
    if size <= max(LEAVE_SHARE * width_hz, doubt):
        near = "within its doubt" if size <= doubt else "near enough"
        return Advice(way="leave", turns=0.0, line=f"{told}: {near}, leave it")
    way = "out" if error < 0 else "in"
    if rate_hz is None:
        return Advice(way=way, turns=None, line=f"{told}: screw {way} a little, {unlearned}")
    if rate_hz > 0:
        way = "in" if error < 0 else "out"
    turns = size / abs(rate_hz)
    return Advice(way=way, turns=turns, line=f"{told}: screw {way} about {turn_words(turns)}")


def _digits(doubt_hz: float) -> int:
    """Decimals of a megahertz that a doubt leaves meaningful."""
    return max(0, min(3, 1 - int(f"{max(doubt_hz / 1e6, 1e-4):e}".split("e")[1])))


def turn_words(turns: float) -> str:
    """A number of turns as it is said at the bench.

    >>> turn_words(0.34), turn_words(1.6), turn_words(0.01)
    ('a third of a turn', '1.6 turns', 'a hair')
    """
    if turns < 1 / 24:
        return "a hair"
    if turns < 1.15:
        part = min(PARTS, key=lambda pair: abs(pair[0] - turns))[1]
        return "one turn" if part == "one" else f"{part} of a turn" if part != "half" else "half a turn"
    return f"{turns:.1f} turns"
