"""Drive: power, shoulder and MER against drive with the chosen setting marked, and the spectra laid over one another.

Theory  Ink is the fitted curve with its 95 % band, dashed where no reading stands behind it; pencil are the readings,
        an open arrow downwards where a reading is only a bound. The target is a wall along the shoulder's drawing.
Source  our own design, see theme.py.
Holds   What jobs/drive_tables.drive_picture hands over; the spectra are there only for recordings.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from tepui.ground.finding_text import label_text, value_parts, value_text
from tepui.report.theme import (
    COLUMN,
    INK,
    INK_SOFT,
    LEFT,
    RIGHT,
    RULE,
    SHEET,
    WASH,
    Style,
    hatched,
    note,
    reading,
    sheet,
)

Data = Mapping[str, Any]
Floats = npt.NDArray[np.float64]
MINUS = "\N{MINUS SIGN}"
TALL_IN, SPECTRA_IN = 8.4, 10.6
EDGE_DB = 0.3


def drive(data: Data, style: Style) -> tuple[Figure, str, str]:
    """The sheet of a drive series."""
    crossing, chosen = data["crossing"], data["finding"]
    title = "Drive"
    target = f"{data['target_db']:g}".replace("-", MINUS)
    sentence = f"The target of {target} dB is crossed at {value_text(crossing).replace('-', MINUS)}."
    tall = SPECTRA_IN if data["spectra"] else TALL_IN
    figure = sheet(title, sentence, data["mode"], style=style, height_in=tall)
    rows = ["shoulder_db", "mer_db", *(["power_dbm"] if data["power_dbm"] is not None else [])]
    low, high, gap = (0.4 if data["spectra"] else 0.12), 0.86, 0.035
    height = (high - low - gap * (len(rows) - 1)) / len(rows)
    for number, key in enumerate(rows):
        axes = figure.add_axes((LEFT, high - (number + 1) * height - number * gap, RIGHT - LEFT, height))
        _panel(axes, key, data, style, last=number == len(rows) - 1)
    if data["spectra"]:
        _spectra(figure.add_axes((LEFT, 0.1, RIGHT - LEFT, 0.22)), data, style)
    value, doubt, unit = value_parts(chosen)
    reading(figure, label=label_text(chosen.key), value=value, doubt=doubt, unit=unit, standing=chosen.standing,
            style=style, top=0.86)  # fmt: skip
    lines = [
        f"{label_text(crossing.key)} {value_text(crossing)}",
        *(f"{label_text(f.key)} {value_text(f)}" for f in data["at_recommended"]),
    ]
    lines += [
        "",
        "Ink: fitted, with its 95 % band; dashed:",
        "carried on by theory. Discs: read, the",
        "baseline taken off.",
    ]
    lines += ["Arrows: no more than a bound.", "Ring: the recommended setting."]
    if any(curve is not None for curve in data["sides"]):
        lines += ["Thin: each side at the output."]
    for number, line in enumerate(lines):
        figure.text(COLUMN, 0.86 - 1.45 / tall - 0.21 / tall * number, line.replace("-", MINUS), fontsize=8.6,
                    color=INK_SOFT)  # fmt: skip
    spoken = f"Drive series {data['name']} of {data['mode']}: target {target} dB crossed at {value_text(crossing)}"
    return figure, title, f"{spoken}; recommended {value_text(chosen)}."


def _panel(axes: Axes, key: str, data: Data, style: Style, *, last: bool) -> None:
    setting, value = np.asarray(data["setting_dbm"]), np.asarray(data[key])
    first, end = data["read_between"]
    axes.set_facecolor(SHEET)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.tick_params(direction="out", length=4, width=0.8, labelbottom=last)
    axes.set_xlim(float(setting[0]) - EDGE_DB, float(setting[-1]) + EDGE_DB)
    if key == "shoulder_db":
        std = np.asarray(data["shoulder_std_db"])
        axes.fill_between(setting, value - 2 * std, value + 2 * std, color=WASH, linewidth=0)
    read = (setting >= first - 1e-9) & (setting <= end + 1e-9)
    axes.plot(setting[read], value[read], color=INK, linewidth=1.4)
    for part in (setting <= first + 1e-9, setting >= end - 1e-9):
        axes.plot(setting[part], value[part], color=INK, linewidth=0.9, dashes=(5, 3))
    if key == "shoulder_db":
        _shoulder_marks(axes, data, style)
    if key == "power_dbm":
        for at, level in data["powers"]:
            axes.plot([at], [level], **_disc(style))
    if key == "mer_db":
        for at, level in data["mers"]:
            axes.plot([at], [level], **_disc(style))
    if data["recommended_dbm"] is not None:
        axes.axvline(data["recommended_dbm"], color=INK, linewidth=0.7, dashes=(14, 3, 2, 3))
        chosen = float(np.interp(data["recommended_dbm"], setting, value))
        axes.plot([data["recommended_dbm"]], [chosen], "o", markersize=11, markerfacecolor="none", markeredgecolor=INK,
                  markeredgewidth=1.4, zorder=6)  # fmt: skip
    word = {"shoulder_db": "worse shoulder, dB", "mer_db": "MER ceiling, dB", "power_dbm": "output, dBm"}[key]
    note(axes, word, (0, 1), away=(0, 3), fraction=True, fontsize=9)
    if last:
        note(axes, "drive setting, dBm", (1, 0), away=(0, -30), fraction=True, ha="right", fontsize=9)


def _disc(style: Style) -> dict[str, Any]:
    face = SHEET if style.practice else style.trace
    return {"marker": "o", "markersize": 5.5, "markerfacecolor": face, "markeredgecolor": style.trace, "zorder": 5}


def _shoulder_marks(axes: Axes, data: Data, style: Style) -> None:
    target = data["target_db"]
    for word, curve in zip(("lower", "upper"), data["sides"], strict=True):
        if curve is not None:
            axes.plot(data["setting_dbm"], curve, color=INK_SOFT, linewidth=0.7)
            is_higher = curve[-1] >= max(float(other[-1]) for other in data["sides"] if other is not None) - 1e-9
            note(axes, word, (float(data["setting_dbm"][-1]), float(curve[-1])), away=(0, 5 if is_higher else -11),
                 ha="right", fontsize=8)  # fmt: skip
    low, high = axes.get_ylim()
    room = 0.05 * (high - low)
    axes.set_ylim(low, max(high, target + 2 * room))
    left, right = axes.get_xlim()
    axes.plot([left, right], [target, target], color=INK, linewidth=2.2, solid_capstyle="butt")
    hatched(axes, (left, right), (target, target + room))
    for at, level, half in data["points"]:
        if half is None:
            arrow = {"arrowstyle": "->", "color": style.trace, "lw": 1.2, "shrinkA": 0, "shrinkB": 0}
            axes.annotate("", (at, level - 2 * room), (at, level), arrowprops=arrow)
            continue
        axes.plot([at, at], [level - half, level + half], color=style.trace, linewidth=1.1, zorder=4)
        axes.plot([at], [level], **_disc(style))


def _spectra(axes: Axes, data: Data, style: Style) -> None:
    """Every recording's trace, the lowest drive lightest."""
    axes.set_facecolor(SHEET)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.tick_params(direction="out", length=4, width=0.8)
    traces = data["spectra"]
    for number, (_, offset, level) in enumerate(traces):
        part = (number + 1) / len(traces)
        axes.plot(np.asarray(offset) / 1e6, level, color=style.trace, linewidth=0.8, alpha=0.25 + 0.75 * part)
    axes.axhline(data["target_db"], color=RULE, linewidth=0.7, dashes=(1, 2))
    note(axes, "spectra of the recordings, dB below the highest value in band", (0, 1), away=(0, 3), fraction=True,
         fontsize=9)  # fmt: skip
    note(axes, "MHz from the centre", (1, 0), away=(0, -28), fraction=True, ha="right", fontsize=9)
