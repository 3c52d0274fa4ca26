"""A filter on paper: the cutting drawing at 1:1 as SVG and PDF, and the predicted trace.

Theory  One millimetre of the box is one millimetre of paper: print at 100 %, not fitted to the page; a ruler of 50 mm
        on the sheet tells whether the printer obeyed. Front view without its plate; dimensions in millimetres.
Source  our own design, see theme.py; dimension lines as in ISO 129-1, from memory.
Holds   Round-rod filters; other structures have no drawing.
"""

from collections.abc import Mapping
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_pdf import FigureCanvasPdf
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Rectangle

from tepui.chain.filters.rod_box import POST_M, SCREW_SHARE, RodBox
from tepui.chain.filters.rod_design import RodDesign
from tepui.report.theme import INK, INK_SOFT, RULE, SHEET, WASH, drawing, note, plot, save, sheet, style_for

MM_PER_INCH = 25.4
MARGIN_MM, SIDE_MM, FOOT_MM = 22.0, 30.0, 30.0
RULER_MM = 50.0


def draw_filter(pictures: Mapping[str, Mapping[str, Any]], folder: Path) -> list[Path]:
    """Write the drawing (SVG and PDF) and the trace (SVG and PNG) of a design into a folder that exists."""
    if "filter" not in pictures:
        return []
    data = pictures["filter"]
    design: RodDesign = data["design"]
    with drawing():
        files = _save_true(cutting_drawing(design), folder)
        figure, title, description = trace_picture(data)
        files += save(figure, folder, "filter-trace", title=title, description=description)
    return files


def _save_true(figure: Figure, folder: Path) -> list[Path]:
    """Both files at their true size; the same figure gives the same bytes."""
    vector, paper = folder / "filter-drawing.svg", folder / "filter-drawing.pdf"
    figure.set_canvas(FigureCanvasSVG(figure))
    figure.savefig(vector, format="svg", facecolor="white", metadata={"Date": None, "Title": "Cutting drawing, 1:1"})
    figure.set_canvas(FigureCanvasPdf(figure))
    figure.savefig(paper, format="pdf", facecolor="white", metadata={"CreationDate": None, "Title": "Cutting drawing"})
    return [vector, paper]


def cutting_drawing(design: RodDesign) -> Figure:
    """Front and side view with every dimension a builder needs, at 1:1."""
    box = design.box
    wide, high, deep = box.width_m * 1e3, box.box_length_m * 1e3, box.plates_m * 1e3
    paper = (max(wide + SIDE_MM + deep + 3 * MARGIN_MM, 150.0), high + 2 * MARGIN_MM + FOOT_MM + 12 * 1.0)
    figure = Figure(figsize=(paper[0] / MM_PER_INCH, paper[1] / MM_PER_INCH), facecolor="white")
    axes = figure.add_axes((0, 0, 1, 1), facecolor="white")
    axes.set_xlim(-MARGIN_MM, paper[0] - MARGIN_MM)
    axes.set_ylim(-MARGIN_MM - FOOT_MM, paper[1] - MARGIN_MM - FOOT_MM)
    axes.set_axis_off()
    _front(axes, box, design)
    _side(axes, box, left=wide + SIDE_MM)
    _ruler(axes, y=-MARGIN_MM - FOOT_MM + 6)
    goal = design.goal
    told = (
        f"{box.structure} filter, {goal.centre_hz / 1e6:g} MHz, {goal.width_hz / 1e6:g} MHz wide, {goal.poles} rods of "
        f"{box.diameter_m * 1e3:g} mm, scale 1:1, dimensions in mm (inside)"
    )
    axes.text(0, -MARGIN_MM - FOOT_MM + 14, told, fontsize=7.5, color=INK)
    return figure


def _front(axes: Axes, box: RodBox, design: RodDesign) -> None:
    wide, high, thick = box.width_m * 1e3, box.box_length_m * 1e3, box.diameter_m * 1e3
    axes.add_patch(Rectangle((0, 0), wide, high, facecolor="none", edgecolor=INK, linewidth=1.6))
    length, screw = box.length_m * 1e3, thick * SCREW_SHARE
    for rod, (x, up) in enumerate(zip(box.centres_m * 1e3, box.from_bottom, strict=True)):
        low = 0.0 if up else high - length
        axes.add_patch(Rectangle((x - thick / 2, low), thick, length, facecolor=WASH, edgecolor=INK, linewidth=0.9))
        axes.plot([x, x], [low - 2, low + length + 2], color=RULE, linewidth=0.5, dashes=(8, 2, 2, 2))
        depth = design.screw_m[rod]
        if depth is not None:
            foot = high - depth * 1e3 if up else 0.0
            axes.add_patch(
                Rectangle(
                    (x - screw / 2, foot), screw, depth * 1e3, facecolor=SHEET, edgecolor=INK, hatch="////", lw=0.6
                )
            )
            axes.text(x + screw, high + 1.2 if up else -3.4, f"screw in {depth * 1e3:.1f}", fontsize=6, color=INK)
    for x, tap, up in (
        (box.centres_m[0], box.taps_m[0], box.from_bottom[0]),
        (box.centres_m[-1], box.taps_m[1], box.from_bottom[-1]),
    ):
        y = tap * 1e3 if up else high - tap * 1e3
        axes.add_patch(Circle((x * 1e3, y), POST_M * 500, facecolor=INK, edgecolor=INK))
        axes.text(x * 1e3 + thick / 2 + 1, y - 0.8, f"tap {tap * 1e3:.2f}", fontsize=6, color=INK)
    marks = [0.0, *(box.centres_m * 1e3), wide]
    for one, two in pairwise(marks):
        _level(axes, one, two, -8.0)
    _level(axes, 0.0, wide, -14.0)
    _upright(axes, 0.0, high, -8.0)
    low = 0.0 if box.from_bottom[0] else high - length
    _upright(axes, low, low + length, box.centres_m[0] * 1e3 - thick / 2 - 3)


def _side(axes: Axes, box: RodBox, *, left: float) -> None:
    deep, high, thick = box.plates_m * 1e3, box.box_length_m * 1e3, box.diameter_m * 1e3
    axes.add_patch(Rectangle((left, 0), deep, high, facecolor="none", edgecolor=INK, linewidth=1.6))
    middle, length = left + deep / 2, box.length_m * 1e3
    axes.add_patch(Rectangle((middle - thick / 2, 0), thick, length, facecolor=WASH, edgecolor=INK, linewidth=0.9))
    tap = box.taps_m[0] * 1e3
    axes.add_patch(
        Rectangle((left, tap - POST_M * 500), (deep - thick) / 2, POST_M * 1e3, facecolor=INK, edgecolor=INK, lw=0.4)
    )
    _level(axes, left, left + deep, -8.0)
    axes.text(left, high + 1.5, "plates left and right", fontsize=6, color=INK_SOFT)


def _arrow(axes: Axes, start: tuple[float, float], end: tuple[float, float]) -> None:
    style = {"arrowstyle": "<|-|>", "color": INK, "lw": 0.5, "shrinkA": 0, "shrinkB": 0, "mutation_scale": 5}
    axes.annotate("", start, end, arrowprops=style, annotation_clip=False)


def _level(axes: Axes, one: float, two: float, y: float) -> None:
    for x in (one, two):
        axes.plot([x, x], [y - 1, -0.5], color=RULE, linewidth=0.4)
    _arrow(axes, (one, y), (two, y))
    axes.text((one + two) / 2, y + 0.6, f"{two - one:.2f}", fontsize=6, ha="center", color=INK)


def _upright(axes: Axes, one: float, two: float, x: float) -> None:
    _arrow(axes, (x, one), (x, two))
    axes.text(x - 0.6, (one + two) / 2, f"{two - one:.2f}", fontsize=6, ha="right", va="center", rotation=90, color=INK)


def _ruler(axes: Axes, *, y: float) -> None:
    axes.plot([0, RULER_MM], [y, y], color=INK, linewidth=0.8)
    for mark in range(0, int(RULER_MM) + 1, 10):
        axes.plot([mark, mark], [y, y + 2], color=INK, linewidth=0.6)
    axes.text(RULER_MM + 2, y, "50 mm when printed at 100 %", fontsize=6, color=INK_SOFT)


def trace_picture(data: Mapping[str, Any]) -> tuple[Figure, str, str]:
    """Predicted reflection and transmission of the dimensions, the goal's own beneath."""
    design, trace, ideal = data["design"], data["trace"], data["ideal"]
    title = "Filter, predicted"
    goal = design.goal
    sentence = f"{goal.poles} rods, {goal.centre_hz / 1e6:g} MHz, {goal.width_hz / 1e6:g} MHz: trace of the dimensions."
    key = "Ink: dimensions. Grey: coupled resonators of the goal."
    if data.get("band"):
        key += " Washed: 95 % of boxes as the shop makes them; hatched: screws set."
    figure = sheet(title, sentence, key, style=style_for(practice=False))
    axes = plot(figure, right=0.955)
    if data.get("band"):
        place, low, high, made_low, made_high = np.array(data["band"], dtype=np.float64).T
        axes.fill_between(place / 1e6, made_low, made_high, facecolor=WASH, edgecolor=RULE, linewidth=0.4)
        axes.fill_between(place / 1e6, low, high, facecolor="none", edgecolor=INK_SOFT, hatch="////", linewidth=0.4)
    f = trace.frequency_hz / 1e6
    for row, column, width in ((1, 0, 1.4), (0, 0, 0.9)):
        shown = 20 * np.log10(np.maximum(np.abs(trace.s[:, row, column]), 1e-5))
        under = 20 * np.log10(np.maximum(np.abs(ideal[:, row, column]), 1e-5))
        axes.plot(f, under, color=RULE, linewidth=0.8)
        axes.plot(f, shown, color=INK, linewidth=width, linestyle="-" if row else (0, (5, 2)))
    axes.set_ylim(-70, 3)
    axes.set_xlim(f[0], f[-1])
    note(axes, "dB; solid S21, dashed S11", (0, 1), away=(0, 3), fraction=True, fontsize=9)
    note(axes, "MHz", (1, 0), away=(0, -28), fraction=True, ha="right", fontsize=9)
    return figure, title, f"Predicted response of a {design.box.structure} filter: {sentence}"
