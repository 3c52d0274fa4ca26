"""What is asked of a filter: the goal, the metal to hand, and what else matters.

Theory  None: nouns, and the unloaded Q that goes with them.
Source  chain/filters/loss for the unloaded Q of rods; workmanship is common practice.
Holds   Round rods between plates and lumped circuits.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.loss import WORKMANSHIP, rod_unloaded_q
from tepui.chain.filters.rod_textbook import rod_impedance_ohm

ABOUT = "stage:filter"


@dataclass(frozen=True, kw_only=True)
class Rejection:
    """A frequency that must be kept out, and by how much, if that was said; ``name`` of what stands there."""

    frequency_hz: float
    wanted_db: float | None = None
    name: str = ""


@dataclass(frozen=True, kw_only=True)
class FilterQuestion:
    """What is asked of a round-rod filter.

    unloaded_q  None computes it from ``metal``, geometry and workmanship
    channel_hz  width over which tilt and delay matter;  power_w  that goes in
    angle_deg   of comb-line rods, None for what their screws load;  least_tap_m  the shop can drill and solder
    """

    goal: FilterGoal
    structure: str
    diameter_m: float
    plates_m: float
    unloaded_q: float | None = None
    metal: str = "brass"
    gap_m: float | None = None
    angle_deg: float | None = None
    least_tap_m: float | None = None
    rejections: Sequence[Rejection] = ()
    channel_hz: float | None = None
    power_w: float | None = None
    most_loss_db: float | None = None
    drilling_m: float = 0.1e-3
    yield_trials: int = 0
    name: str = "filter"


def question_q(question: FilterQuestion) -> tuple[float, str]:
    """The unloaded Q to reckon with, and where it comes from."""
    if question.unloaded_q is not None:
        return question.unloaded_q, "given"
    impedance = rod_impedance_ohm(diameter_m=question.diameter_m, plates_m=question.plates_m)
    smooth = rod_unloaded_q(
        question.goal.centre_hz,
        impedance_ohm=impedance,
        diameter_m=question.diameter_m,
        plates_m=question.plates_m,
        metal=question.metal,
    )
    return WORKMANSHIP * smooth, f"{smooth:.0f} of smooth {question.metal} times a workmanship of {WORKMANSHIP:g}"
