"""A measured trace of the filter, over the trace predicted for it where that is at hand.

Theory  Pencil is what the analyser read, ink what the dimensions promise.
Source  our own design, see theme.py.
Holds   Decibels over frequency; reflection where the file has it.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from tepui.report.theme import INK, INK_SOFT, Style, note, plot, sheet

Data = Mapping[str, Any]
LOWEST_DB = -80.0


def filter_measured(data: Data, style: Style) -> tuple[Figure, str, str]:
    """Transmission and reflection as read, the prediction beneath."""
    f = np.asarray(data["frequency_hz"], dtype=float) / 1e6
    through = np.maximum(np.asarray(data["transmission_db"], dtype=float), LOWEST_DB)
    best = int(np.argmax(through))
    top = float(through[best])
    wide = f[through >= top - 3.0]
    title = "Filter, measured"
    sentence = f"Least loss {-top:.2f} dB at {f[best]:.2f} MHz; 3 dB below it from {wide[0]:.2f} to {wide[-1]:.2f} MHz."
    figure = sheet(title, sentence, f"{data['stage']}: {data['name']}", style=style)
    axes = plot(figure, right=0.955)
    if data["predicted"] is not None:
        expected_hz, expected_db, expected_back_db = data["predicted"]
        for curve, dashes in ((expected_db, (1, 0)), (expected_back_db, (5, 2))):
            shown = np.maximum(np.asarray(curve, dtype=float), LOWEST_DB)
            axes.plot(np.asarray(expected_hz) / 1e6, shown, color=INK, linewidth=0.8, dashes=dashes)
    axes.plot(f, through, color=style.trace, linewidth=1.5)
    if data["reflection_db"] is not None:
        back = np.maximum(np.asarray(data["reflection_db"], dtype=float), LOWEST_DB)
        axes.plot(f, back, color=style.trace, linewidth=1.0, dashes=(5, 2))
    axes.set_xlim(f[0], f[-1])
    low = max(LOWEST_DB, float(np.percentile(through, 1)) - 5)
    axes.set_ylim(min(low, -30.0), 3)
    note(axes, "dB; solid through, dashed back", (0, 1), away=(0, 3), fraction=True, fontsize=9)
    note(axes, "MHz", (1, 0), away=(0, -28), fraction=True, ha="right", fontsize=9)
    words = "thin: predicted from the dimensions" if data["predicted"] is not None else ""
    note(axes, words, (1, 1), away=(0, 3), fraction=True, ha="right", fontsize=8.5, color=INK_SOFT)
    return figure, title, f"Measured trace {data['name']} of {data['stage']}. {sentence}"
