"""Tables of a filter: rods, prototype and trace.

Theory  Arrays as rows; nothing is computed here but decibels.
Source  docs/machine-interface.md.
Holds   Lengths in metres; the trace at every point given.
"""

import numpy as np

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.rod_box import POST_M, SCREW_SHARE, RodBox
from tepui.ground.findings import Table
from tepui.signals.twoport import TwoPort

LEAST_DB = -200.0
SCREW_HEAD_M = 12e-3  # of a screw, for wall, lock nut and hand


def rods_table(name: str, box: RodBox, screws_m: tuple[float | None, ...]) -> Table:
    """One row a rod, from the first port on."""
    rows = []
    for rod in range(box.poles):
        first, last = rod == 0, rod == box.poles - 1
        rows.append(
            (
                rod + 1,
                float(box.length_m),
                None if last else float(box.spacings_m[rod]),
                float(box.wall_m) if first or last else None,
                float(box.taps_m[0]) if first else (float(box.taps_m[1]) if last else None),
                screws_m[rod],
                float(box.load_f[rod]),
                "bottom" if box.from_bottom[rod] else "top",
            )
        )
    columns = (
        ("rod", "1"),
        ("length_m", "m"),
        ("to_next_m", "m"),
        ("to_wall_m", "m"),
        ("tap_m", "m"),
        ("screw_m", "m"),
        ("load_f", "F"),
        ("shorted_at", ""),
    )
    return Table(name=name, columns=columns, rows=tuple(rows))


def cut_list(box: RodBox) -> Table:
    """What to cut and turn: one row a kind of part, inner sizes of the box."""
    thread_m = box.gap_m + SCREW_HEAD_M
    rows = (
        ("rod", box.poles, box.length_m, None, box.diameter_m),
        ("tuning screw", box.poles, thread_m, None, SCREW_SHARE * box.diameter_m),
        ("tap post", 2, box.post_length_m, None, POST_M),
        ("plate", 2, box.width_m, box.box_length_m, None),
        ("end wall", 2, box.width_m, box.plates_m, None),
        ("side wall", 2, box.box_length_m, box.plates_m, None),
    )
    columns = (("part", ""), ("part_count", "1"), ("length_m", "m"), ("breadth_m", "m"), ("diameter_m", "m"))
    return Table(name="cut_list", columns=columns, rows=rows)


def prototype_table(goal: FilterGoal) -> Table:
    """g, k and external Q, one row a resonator."""
    g, k = goal.elements, goal.couplings
    rows = tuple(
        (
            n + 1,
            float(g[n]),
            float(k[n]) if n < goal.poles - 1 else None,
            goal.external_q if n in (0, goal.poles - 1) else None,
        )
        for n in range(goal.poles)
    )
    return Table(
        name="prototype", columns=(("rod", "1"), ("g", "1"), ("k_to_next", "1"), ("q_external", "1")), rows=rows
    )


def trace_table(trace: TwoPort) -> Table:
    """Reflection and transmission in decibels."""
    with np.errstate(divide="ignore"):
        levels = np.maximum(20 * np.log10(np.abs(trace.s)), LEAST_DB)
    rows = tuple((float(f), float(s[0, 0]), float(s[1, 0])) for f, s in zip(trace.frequency_hz, levels, strict=True))
    return Table(name="trace", columns=(("frequency_hz", "Hz"), ("s11_db", "dB"), ("s21_db", "dB")), rows=rows)
