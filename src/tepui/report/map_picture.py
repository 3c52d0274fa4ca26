"""The map of a transmitter: relief, the modes to expect on it, and the share that sees the most robust one.

Theory  Relief is the ground lit from the north-west; classes of margin lie over it as washes from light to dark, told
        apart by hatching as well, so that no colour carries meaning alone.
Source  our own design, see theme.py.
Holds   Rows from the north, one pixel a cell.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np
from matplotlib.colors import LightSource, LinearSegmentedColormap
from matplotlib.figure import Figure

from tepui.ground.finding_text import label_text, value_parts
from tepui.report.theme import COLUMN, INK, INK_SOFT, RULE, SHEET, TOP, WASH, Style, note, reading, sheet

Data = Mapping[str, Any]
FEWEST = 700  # pixels of the longer side that are drawn


def coverage(data: Data, style: Style) -> tuple[Figure, str, str]:
    """Relief with the margin of the most robust mode over it, and the share that keeps it."""
    step = max(1, max(np.asarray(data["margin_db"]).shape) // FEWEST)
    margin = np.asarray(data["margin_db"], dtype=float)[::step, ::step]
    height = np.asarray(data["height_m"], dtype=float)[::step, ::step]
    kept, reach_km = float(data["margin_kept_db"]), float(data["reach_km"])
    finding = data["finding"]
    title = "Who will see the picture"
    figure = sheet(title, str(data["sentence"]), str(data["foot"]), style=style, height_in=7.2)
    axes = figure.add_axes((0.085, 0.115, 0.57, 0.7), facecolor=SHEET)
    extent = (-reach_km, reach_km, -reach_km, reach_km)
    light = LightSource(azdeg=315, altdeg=45).hillshade(height, vert_exag=2.0, dx=data["pixel_m"], dy=data["pixel_m"])
    paper = LinearSegmentedColormap.from_list("relief", [RULE, WASH, SHEET])
    axes.imshow(light, cmap=paper, extent=extent, vmin=0, vmax=1, interpolation="bilinear")
    levels = [kept, kept + 10, kept + 20, 1e3]
    x = np.linspace(-reach_km, reach_km, margin.shape[1])
    y = np.linspace(reach_km, -reach_km, margin.shape[0])
    masked = np.ma.masked_invalid(margin)
    if masked.count() and masked.max() > kept:
        shades = LinearSegmentedColormap.from_list("margin", ["#a8b8c4", "#5f7f99", "#2a4f70"])
        axes.contourf(x, y, masked, levels=levels, cmap=shades, alpha=0.55, hatches=["....", "//", ""])
        axes.contour(x, y, masked, levels=[kept], colors=[INK], linewidths=0.9)
    axes.plot(0, 0, marker="^", markersize=8, color=INK, markerfacecolor=SHEET)
    axes.set_xlim(-reach_km, reach_km)
    axes.set_ylim(-reach_km, reach_km)
    axes.tick_params(length=4, width=0.8)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    note(axes, "km east", (1, 0), away=(0, -30), fraction=True, ha="right", fontsize=9.5)
    note(axes, "km north", (0, 1), away=(-30, 6), fraction=True, fontsize=9.5)
    value, doubt, unit = value_parts(finding)
    reading(figure, label=label_text(finding.key), value=value, doubt="", unit=unit, standing=finding.standing,
            style=style)  # fmt: skip
    lines = [
        doubt,
        f"line: the most robust mode keeps {kept:g} dB",
        "dots: kept by up to 10 dB",
        "strokes: by 10 to 20 dB; plain: by more",
        "triangle: the transmitter",
        *data["lines"],
    ]
    for number, line in enumerate(line for line in lines if line):
        figure.text(COLUMN, TOP - 0.16 - 0.03 * number, line, fontsize=8.8, color=INK_SOFT)
    return figure, title, f"Map of {reach_km:g} km around the transmitter; {label_text(finding.key)} {value} {doubt}."
