"""Tuning one resonator after the other: what the reflection's delay at the centre must read at each step.

Theory  With resonators 1 to i working and i + 1 detuned far off (its screw fully in), the reflected group delay at the
        centre is 4 g1 / dw, 4 g2 / dw, 4 (g1 + g3) / dw ..., dw = 2 pi width: odd resonators add to odd steps, even
        ones to even.
Source  M. Dishal 1951 (short all but one); J. Ness 1998 for the delays, from memory. Loss shortens the delay of even
        steps and lengthens that of odd ones: the values here are those of the coupling matrix with the Q stated.
Holds   From the first port; the far half is tuned from the other port in the same way, or by the whole response.
"""

import numpy as np
import numpy.typing as npt

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.resonators import CoupledFilter, coupled_scattering

SHIFT = 1e-4  # of the width, for the slope of the phase
UNLOADED = 1e12  # external Q of a side that nothing is connected to


def lossless_delay_s(goal: FilterGoal, step: int) -> float:
    """Reflected delay at the centre with the first ``step`` resonators working, by the sum of g. [s]"""
    g = goal.elements
    return float(4 * g[step - 1 :: -2].sum() / (2 * np.pi * goal.width_hz))


def step_delays_s(goal: FilterGoal, *, unloaded_q: float) -> npt.NDArray[np.float64]:
    """Reflected delay at the centre, step after step, with loss; the last step has the far port open. [s]"""
    delays = []
    f = goal.centre_hz + SHIFT * goal.width_hz * np.array([-1.0, 1.0])
    for step in range(1, goal.poles + 1):
        made = CoupledFilter(
            resonator_hz=np.full(step, goal.centre_hz),
            couplings=goal.couplings[: step - 1],
            q_first=goal.external_q,
            q_last=UNLOADED,
            unloaded_q=unloaded_q,
        )
        phase = np.unwrap(np.angle(coupled_scattering(made, f)[:, 0, 0]))
        delays.append(-(phase[1] - phase[0]) / (2 * np.pi * (f[1] - f[0])))
    return np.array(delays)
