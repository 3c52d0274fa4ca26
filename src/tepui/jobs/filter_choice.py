"""Which response: every order up to seven, Butterworth and a few ripples, beside what was asked.

Theory  Losses and rejections of the coupled resonators with finite unloaded Q. Of those that meet what was asked the
        one with fewest resonators is taken, and of these the one with least loss.
Source  chain/filters/resonators.py; S. Cohn 1959 for the loss, from memory.
Holds   Rejections as a home-made box keeps them: 60 dB is claimed at most, whatever theory says (common practice).
"""

import numpy as np

from tepui.chain.filters.goal import FilterGoal, midband_loss_db
from tepui.chain.filters.resonators import coupled_scattering, tuned
from tepui.ground.errors import RangeError
from tepui.ground.findings import Table
from tepui.jobs.filter_question import FilterQuestion, question_q

ORDERS = range(2, 8)
RIPPLES_DB = (0.0, 0.01, 0.1, 0.5)
HOME_DB = 60.0


def choose_response(
    question: FilterQuestion, *, poles: int | None, ripple_db: float | None
) -> tuple[Table, FilterGoal]:
    """Table ``candidates`` and the goal taken.

    poles, ripple_db  held where given
    raises            RangeError where no candidate meets what was asked and the order was free
    """
    unloaded_q, _ = question_q(question)
    goal = question.goal
    ripples = RIPPLES_DB if ripple_db is None else (ripple_db,)
    rows, goals = [], []
    for order in ORDERS if poles is None else (poles,):
        for ripple in ripples:
            one = FilterGoal(centre_hz=goal.centre_hz, width_hz=goal.width_hz, poles=order, ripple_db=ripple)
            goals.append(one)
            rows.append(_row(question, one, unloaded_q))
    table = Table(
        name="candidates",
        columns=(
            ("poles", "1"),
            ("ripple_db", "dB"),
            ("insertion_loss_db", "dB"),
            ("least_margin_db", "dB"),
            ("group_delay_s", "s"),
            ("meets", ""),
        ),
        rows=tuple(rows),
    )
    meeting = [(row[0], row[2], one) for row, one in zip(rows, goals, strict=True) if row[5]]
    if meeting:
        return table, min(meeting, key=lambda three: (three[0], three[1]))[2]
    if poles is None:
        raise RangeError(
            "no response of up to 7 poles meets the rejections and loss asked; widen the filter, use better metal, or "
            f"ask for no more than {HOME_DB:g} dB, which is what a home-made box keeps (common practice)."
        )
    return table, min(zip(rows, goals, strict=True), key=lambda pair: -(pair[0][3] or 0.0))[1]


def _row(question: FilterQuestion, goal: FilterGoal, unloaded_q: float) -> tuple[float | int | bool | None, ...]:
    made = tuned(goal, unloaded_q=unloaded_q)
    loss = midband_loss_db(goal, unloaded_q)
    margins = []
    for one in question.rejections:
        if one.wanted_db is not None:
            s21 = abs(coupled_scattering(made, np.array([one.frequency_hz]))[0, 1, 0])
            margins.append(float(min(-20 * np.log10(max(s21, 1e-12)), HOME_DB) - one.wanted_db))
    f = goal.centre_hz + np.array([-1.0, 1.0]) * 1e-3 * goal.width_hz
    phase = np.unwrap(np.angle(coupled_scattering(made, f)[:, 1, 0]))
    delay = float(-np.diff(phase)[0] / (2 * np.pi * np.diff(f)[0]))
    least = min(margins, default=None)
    meets = (least is None or least >= 0) and (question.most_loss_db is None or loss <= question.most_loss_db)
    return goal.poles, goal.ripple_db, float(loss), least, delay, meets
