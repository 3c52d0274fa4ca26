"""One step of the tuning sequence: resonators 1 to i work, the rest is shorted, and the reflection tells.

Theory  The reflected delay at the centre, less that of the cable, is held against the sequence's value; the model with
        nothing behind resonator i is fitted to the reflection and says which screw to turn.
Source  chain/filters/sequence (M. Dishal 1951, J. Ness 1998); evidence/filter_extraction.
Holds   Screws of the resonators behind fully in, or their open ends shorted to the wall.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.sequence import step_delays_s
from tepui.evidence.filter_extraction import Extraction, extract
from tepui.evidence.filter_model import Sweep
from tepui.ground.doubt import Estimate
from tepui.ground.errors import RangeError
from tepui.ground.findings import Finding, Table
from tepui.jobs.statements import estimated, text
from tepui.jobs.tune_advice import AGAIN, rod_advice
from tepui.jobs.tune_findings import FIT
from tepui.jobs.tune_tables import ACCEPTED, TYPICAL_Q, resonator_table

SHARE = 0.12  # of the width, either side of the centre, over which the phase's slope is taken
FEWEST = 5
MEASURED = "slope of the reflected phase at the centre, less twice the cable's delay as the fit finds it"


def step_outcome(
    sweep: Sweep, goal: FilterGoal, step: int, *, unloaded_q: float | None, rate_hz: float | None, about: str
) -> tuple[list[Finding], Table, Extraction]:
    """What one step's trace says: delay beside its band, the rods that work, and the screw to turn.

    raises  RangeError where the step does not exist or the trace does not reach
    """
    if not 1 <= step <= goal.poles:
        raise RangeError(f"--step must be from 1 to {goal.poles}, the number of resonators, not {step}.")
    if "s11" not in sweep.rows:
        raise RangeError("a step of the sequence is read by reflection; save S11 (.s1p or .s2p).")
    alone = Sweep(frequency_hz=sweep.frequency_hz, rows={"s11": sweep.rows["s11"]}, centre_hz=sweep.centre_hz,
                  width_hz=sweep.width_hz)  # fmt: skip
    found = extract(alone, step, ends_here=True)
    cable = found.delay_s[0]
    delay = reflected_delay(sweep.frequency_hz, sweep.rows["s11"], goal, cable_s=0.0 if cable is None else cable.value)
    wanted = float(step_delays_s(goal, unloaded_q=unloaded_q or TYPICAL_Q)[step - 1])
    low, high = wanted * (1 - ACCEPTED), wanted * (1 + ACCEPTED)
    accepted = low <= delay.value <= high
    findings = [
        estimated(about, "reflected_delay_s", delay, "s", source=MEASURED,
                  remark=f"Step {step} wants {wanted * 1e9:.1f} ns and takes {low * 1e9:.1f} to {high * 1e9:.1f} ns."),
    ]  # fmt: skip
    table = resonator_table(found, goal, {} if rate_hz is None else {step: rate_hz})
    line = _line(found, goal, step, rate_hz=rate_hz, accepted=accepted, delay_s=delay.value, wanted_s=wanted)
    findings.append(text(f"stage:rod {step}", "advice", line, source=FIT))
    if not found.trusted:
        findings.append(
            Finding(about=about, key="fit_poor", kind="caution", value=True, standing="measured", source=FIT,
                    remark=f"The reflection is not that of {step} resonators: are the screws behind rod {step} fully "
                           "in, and is this port the one beside rod 1?")
        )  # fmt: skip
    return findings, table, found


def _line(
    found: Extraction, goal: FilterGoal, step: int, *, rate_hz: float | None, accepted: bool, delay_s: float,
    wanted_s: float,
) -> str:  # fmt: skip
    """One line: turn this screw, go on, or no screw helps."""
    told = f"step {step}: {delay_s * 1e9:.1f} ns for {wanted_s * 1e9:.1f} ns"
    advices = [
        rod_advice(rod, found.resonator_hz[rod - 1], goal_hz=goal.centre_hz, width_hz=goal.width_hz,
                   rate_hz=rate_hz if rod == step else None, unlearned=AGAIN)
        for rod in range(1, step + 1)
    ]  # fmt: skip
    if advices[-1].way != "leave":
        return f"{told}; {advices[-1].line}"
    earlier = [advice for advice in advices[:-1] if advice.way != "leave"]
    if earlier:
        return f"{told}; an earlier rod has moved: {earlier[0].line}"
    if accepted:
        return f"{told}, accepted: " + (f"go on to screw {step + 1}" if step < goal.poles else "all rods are set")
    cure = "tap 1" if step == 1 else f"spacing of rods {step - 1} and {step}"
    way = "higher" if delay_s > wanted_s else "lower"
    if step == 1:
        cure += f" {'too low: move it up' if way == 'higher' else 'too high: move it down'}"
    else:
        cure += " is not the goal's"
    return f"{told}; all rods stand at the centre and the delay is {way}: no screw mends that, {cure}"


def reflected_delay(
    frequency_hz: npt.NDArray[np.float64], gamma: npt.NDArray[Any], goal: FilterGoal, *, cable_s: float
) -> Estimate:
    """Group delay of a reflection at the centre by a straight line through the phase, cubic part beside it. [s]

    cable_s  one way, taken off twice
    raises   RangeError where too few points lie about the centre
    """
    for share in (SHARE, 2 * SHARE, 4 * SHARE):
        near = np.abs(frequency_hz - goal.centre_hz) <= share * goal.width_hz
        if near.sum() >= FEWEST:
            break
    if near.sum() < FEWEST:
        raise RangeError(
            f"{int(near.sum())} points lie within the pass band about {goal.centre_hz / 1e6:g} MHz; sweep 201 points "
            "over four bandwidths about the centre."
        )
    x = 2 * np.pi * (frequency_hz[near] - goal.centre_hz)
    scale = float(np.abs(x).max())
    degree = 3 if near.sum() > 6 else 1
    phase = np.unwrap(np.angle(gamma[near]))
    basis = np.vander(x / scale, degree + 1)
    coefficients, *_ = np.linalg.lstsq(basis, phase, rcond=None)
    left = phase - basis @ coefficients
    spread = float(np.sqrt((left**2).sum() / max(len(x) - degree - 1, 1)))
    std = spread * float(np.sqrt(np.linalg.inv(basis.T @ basis)[degree - 1, degree - 1])) / scale
    return Estimate(value=float(-coefficients[degree - 1] / scale - 2 * cable_s), std=std, contributions={"trace": std})
