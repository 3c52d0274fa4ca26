"""Tables of a tuning: resonators, the guided sequence, and losses at named places.

Theory  Values beside the goal, one row each.
Source  docs/machine-interface.md.
Holds   Frequencies in hertz, delays in seconds.
"""

from collections.abc import Mapping

import numpy as np

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.sequence import step_delays_s
from tepui.evidence.filter_extraction import Extraction
from tepui.ground.findings import Table
from tepui.jobs.tune_advice import rod_advice
from tepui.signals.twoport import TwoPort

ACCEPTED = 0.05
TYPICAL_Q = 1200.0


def resonator_table(found: Extraction, goal: FilterGoal | None, rates: Mapping[int, float]) -> Table:
    """One row a resonator, with its line of advice where there is a goal."""
    rows = []
    for number, one in enumerate(found.resonator_hz, start=1):
        advice = (
            None
            if goal is None
            else rod_advice(number, one, goal_hz=goal.centre_hz, width_hz=goal.width_hz, rate_hz=rates.get(number))
        )
        k = found.couplings[number - 1] if number <= len(found.couplings) else None
        rows.append(
            (
                number,
                one.value,
                one.low,
                one.high,
                None if goal is None else one.value - goal.centre_hz,
                None if k is None else k.value,
                None if advice is None else advice.way,
                None if advice is None else advice.turns,
                None if advice is None else advice.line,
            )
        )
    columns = (
        ("rod", "1"),
        ("resonator_hz", "Hz"),
        ("low_hz", "Hz"),
        ("high_hz", "Hz"),
        ("resonator_error_hz", "Hz"),
        ("k_to_next", "1"),
        ("screw_way", ""),
        ("screw_turns", "1"),
        ("advice", ""),
    )
    return Table(name="resonators", columns=columns, rows=tuple(rows))


def sequence_table(goal: FilterGoal, *, unloaded_q: float | None) -> Table:
    """Step by step: which screw to turn, what the reflected delay at the centre must read, and between what."""
    delays = step_delays_s(goal, unloaded_q=unloaded_q or TYPICAL_Q)
    rows = []
    for step, delay in enumerate(delays, start=1):
        others = shorted_words(step, goal.poles)
        turn = f"turn screw {step} until the delay is even about the centre"
        ends = sorted((float(delay * (1 - ACCEPTED)), float(delay * (1 + ACCEPTED))))
        rows.append((step, f"{others}: {turn}", float(delay), ends[0], ends[1]))
    columns = (("rod", "1"), ("instruction", ""), ("delay_s", "s"), ("low_s", "s"), ("high_s", "s"))
    return Table(name="sequence", columns=columns, rows=tuple(rows))


def shorted_words(step: int, poles: int) -> str:
    """What is to be shorted while the first ``step`` resonators work."""
    if step == poles:
        return "far port open"
    return f"screw {poles} fully in" if step == poles - 1 else f"screws {step + 1} to {poles} fully in"


def place_table(port: TwoPort, places_hz: Mapping[str, float]) -> Table:
    """Loss of the measured curve where wanted signal, oscillator and image fall; empty outside the sweep."""
    loss = -20 * np.log10(np.maximum(np.abs(port.s[:, 1, 0]), 1e-10))
    rows = []
    for name, place in places_hz.items():
        inside = port.frequency_hz[0] <= place <= port.frequency_hz[-1]
        rows.append((name, place, float(np.interp(place, port.frequency_hz, loss)) if inside else None))
    return Table(name="places", columns=(("place", ""), ("frequency_hz", "Hz"), ("loss_db", "dB")), rows=tuple(rows))
