"""A measured filter over its goal, and beside it the line for each screw.

Theory  Nothing but scales; the goal's own curve lies soft beneath the measured one.
Source  our own design, see theme.py.
Holds   One trace. The lines are those of the findings, cut to the column.

``tune`` takes frequency_hz (n,), s21_db and s11_db (n,) or None where not measured; goal_db (n,) of the goal's |S21| or
None; finding (the number beside the curve); lines (one a screw); name of the trace.
"""

import textwrap
from collections.abc import Mapping
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from tepui.ground.finding_text import label_text, value_parts
from tepui.report.theme import COLUMN, INK_SOFT, RULE, TOP, Style, note, plot, reading, sheet

Data = Mapping[str, Any]
DEEPEST_DB, HIGHEST_DB = -70.0, 3.0
COLUMN_LETTERS, MOST_LINES = 34, 14


def tune(data: Data, style: Style) -> tuple[Figure, str, str]:
    """The sheet of one trace."""
    title, finding = "Filter, measured", data["finding"]
    sentence = f"{data['name']} over its goal." if data["goal_db"] is not None else f"{data['name']}."
    figure = sheet(title, sentence, "Solid S21, dashed S11; soft: the goal's S21.", style=style)
    axes = plot(figure)
    f = np.asarray(data["frequency_hz"]) / 1e6
    if data["goal_db"] is not None:
        axes.plot(f, np.maximum(data["goal_db"], DEEPEST_DB - 10), color=RULE, linewidth=1.2)
    for key, dashes in (("s21_db", "-"), ("s11_db", (0, (5, 2)))):
        if data[key] is not None:
            axes.plot(f, np.maximum(data[key], DEEPEST_DB - 10), color=style.trace, linewidth=1.3, linestyle=dashes)
    axes.set_ylim(DEEPEST_DB, HIGHEST_DB)
    axes.set_xlim(f[0], f[-1])
    note(axes, "dB", (0, 1), away=(0, 3), fraction=True, fontsize=9)
    note(axes, "MHz", (1, 0), away=(0, -28), fraction=True, ha="right", fontsize=9)
    value, doubt, unit = value_parts(finding)
    reading(figure, label=label_text(finding.key), value=value, doubt=doubt, unit=unit, standing=finding.standing,
            style=style)  # fmt: skip
    wrapped = [part for line in data["lines"] for part in textwrap.wrap(line, COLUMN_LETTERS, subsequent_indent="  ")]
    for number, part in enumerate(wrapped[:MOST_LINES]):
        figure.text(COLUMN, TOP - 0.22 - 0.042 * number, part, fontsize=8.8, color=INK_SOFT)
    spoken = f"{label_text(finding.key)} {value} {doubt} {unit}".replace("  ", " ").strip()
    return figure, title, f"Measured response of {data['name']}: {spoken}. {'; '.join(data['lines'])}"
