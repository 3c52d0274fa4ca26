"""A trace as it was read: its rows near the filter, its shape, and what a picture of it needs.

Theory  None but decibels.
Source  files/touchstone and files/readings for what is read; evidence/filter_model for the rows.
Holds   One or two ports; losses alone as a two-port without phase.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.resonators import coupled_scattering, tuned
from tepui.chain.filters.rod_design import Shape, shape_of
from tepui.evidence.filter_model import Sweep
from tepui.ground.errors import RangeError
from tepui.ground.findings import Finding
from tepui.signals.oneport import OnePort
from tepui.signals.twoport import TwoPort

REACH_WIDTHS = 2.2
FEWEST = 41
BESIDE = ("reflected_delay_s", "width_3db_hz")


@dataclass(frozen=True, kw_only=True)
class MeasuredTrace:
    """One trace as it was read.

    forward  only S11 and S21 were measured;  scalar  only |S21|, held in ``port`` without phase
    """

    name: str
    port: TwoPort | OnePort
    forward: bool = False
    scalar: bool = False
    remarks: tuple[str, ...] = ()


def sweep_of(trace: MeasuredTrace, *, centre_hz: float, width_hz: float) -> Sweep:
    """The rows of a trace within a few bandwidths, where the model holds.

    raises  RangeError where the trace does not show the filter
    """
    f = trace.port.frequency_hz
    near = np.abs(f - centre_hz) <= REACH_WIDTHS * width_hz
    if near.sum() < FEWEST:
        near = np.abs(f - centre_hz) <= 2 * REACH_WIDTHS * width_hz
    if near.sum() < 5:
        raise RangeError(
            f"{trace.name} runs from {f[0] / 1e6:g} to {f[-1] / 1e6:g} MHz with {int(near.sum())} points near "
            f"{centre_hz / 1e6:g} MHz; sweep 201 points over four bandwidths about the centre."
        )
    if isinstance(trace.port, OnePort):
        rows = {"s11": trace.port.gamma[near]}
    else:
        s = trace.port.s[near]
        rows = {"s11": s[:, 0, 0], "s21": s[:, 1, 0] if trace.forward else (s[:, 1, 0] + s[:, 0, 1]) / 2}
        if not trace.forward:
            rows["s22"] = s[:, 1, 1]
    return Sweep(frequency_hz=f[near], rows=rows, centre_hz=centre_hz, width_hz=width_hz)


def trace_shape(trace: MeasuredTrace) -> Shape | None:
    """3 dB points and least loss of a trace with transmission."""
    if isinstance(trace.port, OnePort):
        return None
    return shape_of(trace.port.frequency_hz, trace.port.s[:, 1, 0])


def tune_picture(trace: MeasuredTrace, goal: FilterGoal | None, findings: Sequence[Finding]) -> dict[str, Any]:
    """Levels of a trace and of its goal, the number beside them, and the line for each screw."""
    f = trace.port.frequency_hz
    both = isinstance(trace.port, TwoPort)
    s21 = trace.port.s[:, 1, 0] if isinstance(trace.port, TwoPort) else None
    s11 = None if trace.scalar else trace.port.s[:, 0, 0] if isinstance(trace.port, TwoPort) else trace.port.gamma
    own = None if goal is None or not both else coupled_scattering(tuned(goal), np.maximum(f, 1.0))[:, 1, 0]
    level = [None if one is None else 20 * np.log10(np.maximum(np.abs(one), 1e-6)) for one in (s21, s11, own)]
    shown = {finding.key: finding for finding in reversed(findings) if finding.is_number}
    beside = next((shown[key] for key in BESIDE if key in shown), findings[0])
    return {
        "frequency_hz": f,
        "s21_db": level[0],
        "s11_db": level[1],
        "goal_db": level[2],
        "finding": beside,
        "lines": [str(finding.value) for finding in findings if finding.key == "advice"],
        "name": trace.name,
    }
