"""The stitched spectrum of a set: whole, with its doubt, the floor and whose each part is; both slopes; the pads.

Theory  Sheet A shows the whole spectrum over the mean in band with its 95 % band, the floor stippled, and below it a
        ribbon of the recordings each part is from. B and C are the slopes with the line that reads the shoulder. D sets
        every reading against the gain ahead of the receiver's distortion, with what was sent beside it.
Source  our own design, see theme.py; the construction is [TR101290] 9.7.
Holds   Levels in dB over the mean in band; offsets from the signal's centre in Hz.

``stitched`` takes frequency_hz, level_db, low_db, high_db, floor_db, source (n,); names; occupied_width_hz;
resolution_hz; constructions {"lower": {...}, "upper": {...}} with offset_hz, level_db, read_db, or None; finding (worse
shoulder as sent), lower, upper, shown; readings [{label, gain_db, lower, upper: (level, doubt) or None}]; sweep;
centre_hz; mode.
"""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from tepui.ground.finding_text import label_text, value_parts, value_text
from tepui.report.theme import (
    COLUMN,
    INK,
    INK_SOFT,
    LEFT,
    RIGHT,
    RULE,
    SHEET,
    Style,
    dimension,
    hatched,
    note,
    reading,
    sheet,
)

Data = Mapping[str, Any]
Floats = npt.NDArray[np.float64]
TALL_IN = 10.6
MINUS = "\N{MINUS SIGN}"
SIDES = ("lower", "upper")
SLOPE_HZ = (100e3, 900e3)
DEEPEST_DB = -70.0


def stitched(data: Data, style: Style) -> tuple[Figure, str, str]:
    """The sheet of a set."""
    finding = data["finding"]
    title = "Stitched spectrum and shoulders"
    told = finding.standing != "unknown"
    sentence = (
        "What was sent is parted from what the receiver made."
        if told
        else "What was sent is not told from what the receiver made: another pad would."
    )
    figure = sheet(title, sentence, data["mode"], style=style, height_in=TALL_IN)
    low = _lowest(data)
    _whole(figure, data, style, low)
    if data["constructions"] is not None:
        for side, left in (("lower", LEFT), ("upper", LEFT + 0.32)):
            _slope(figure, data, side, left, style)
    _pads(figure, data, style)
    value, doubt, unit = value_parts(finding)
    reading(figure, label="Worse shoulder, as sent", value=value, doubt=doubt, unit=unit, standing=finding.standing,
            style=style, top=0.86)  # fmt: skip
    _rows(figure, data)
    spoken = ", ".join(f"{label_text(data[side].key)} {value_text(data[side])}" for side in SIDES)
    return figure, title, f"Stitched spectrum of {data['mode']} from {len(data['names'])} recordings: {spoken}."


def _lowest(data: Data) -> float:
    seen = np.concatenate([np.asarray(data["level_db"]), np.asarray(data["floor_db"])])
    return 10 * math.floor(max(float(np.percentile(seen, 3)), DEEPEST_DB) / 10 - 0.3)


def _bare(axes: Axes) -> None:
    axes.set_facecolor(SHEET)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.tick_params(direction="out", length=4, width=0.8)


def _whole(figure: Figure, data: Data, style: Style, low: float) -> None:
    axes = figure.add_axes((LEFT, 0.56, RIGHT - LEFT, 0.28))
    _bare(axes)
    x, level = np.asarray(data["frequency_hz"]) / 1e6, np.asarray(data["level_db"])
    seen = np.asarray(data["source"]) >= 0
    ends = (np.maximum(data["low_db"], low), np.maximum(data["high_db"], low))
    axes.fill_between(x, *ends, where=seen, color=style.wash, linewidth=0)
    axes.plot(x, np.where(seen, np.maximum(level, low), np.nan), color=style.trace, linewidth=0.9)
    floor = np.maximum(np.asarray(data["floor_db"]), low)
    axes.fill_between(x, low, floor, facecolor="none", edgecolor=RULE, hatch="..", linewidth=0)
    axes.plot(x, floor, color=INK_SOFT, linewidth=0.6, dashes=(1, 2))
    axes.set_xlim(float(x[0]), float(x[-1]))
    axes.set_ylim(low, 7)
    half = data["occupied_width_hz"] / 2e6
    for edge in (-half, half):
        axes.plot([edge, edge], [0.5, 5], color=RULE, linewidth=0.7)
    dimension(axes, x=(-half, half), y=3.0, label=f"{2 * half:.3f} MHz occupied")
    note(axes, "A  dB over the mean in band", (0, 1), away=(0, 6), fraction=True, fontsize=9.5)
    ribbon = figure.add_axes((LEFT, 0.505, RIGHT - LEFT, 0.018), sharex=axes)
    ribbon.set_axis_off()
    _ribbon(ribbon, data, x, style)
    caption = (
        f"MHz from {data['centre_hz'] / 1e6:.3f} MHz, {data['resolution_hz'] / 1e3:.3g} kHz resolution; {data['sweep']}"
    )
    note(ribbon, caption, (0, 0), away=(0, -12), fraction=True)


def _ribbon(axes: Axes, data: Data, x: Floats, style: Style) -> None:
    """Whose each part is, as a ribbon of numbers."""
    source = np.asarray(data["source"])
    starts = np.flatnonzero(np.diff(source, prepend=-2))
    ends = np.append(starts[1:], len(source))
    axes.set_ylim(0, 1)
    for start, end in zip(starts, ends, strict=True):
        who = int(source[start])
        left, right = float(x[start]), float(x[min(end, len(x) - 1)])
        shade = style.wash if who % 2 else SHEET
        axes.add_patch(Rectangle((left, 0), right - left, 1, facecolor=shade, edgecolor=RULE, linewidth=0.5))
        if who >= 0 and right - left > 0.025 * (x[-1] - x[0]):
            note(axes, f"{who + 1}", ((left + right) / 2, 0.5), ha="center", va="center", fontsize=7, color=INK)


def _slope(figure: Figure, data: Data, side: str, left: float, style: Style) -> None:
    axes = figure.add_axes((left + 0.035, 0.305, 0.235, 0.135))
    _bare(axes)
    sign = -1 if side == "lower" else 1
    away = (sign * np.asarray(data["frequency_hz"]) - data["occupied_width_hz"] / 2) / 1e3
    order = np.argsort(away)
    away = away[order]
    shown = (away >= SLOPE_HZ[0] / 1e3) & (away <= SLOPE_HZ[1] / 1e3)
    level, low, high = (np.asarray(data[key])[order][shown] for key in ("level_db", "low_db", "high_db"))
    axes.fill_between(away[shown], low, high, color=style.wash, linewidth=0)
    axes.plot(away[shown], level, color=style.trace, linewidth=0.9)
    built = data["constructions"][side]
    at = np.asarray(built["offset_hz"]) / 1e3
    near, _, far = built["level_db"]
    slope = (far - near) / (at[2] - at[0])
    ends = np.array([200.0, 800.0])
    axes.plot(at[[0, 2]], [near, far], "x", color=INK, markersize=6)
    axes.plot(ends, built["read_db"] + slope * (ends - at[1]), color=INK, linewidth=1.3)
    axes.plot([at[1]], [built["read_db"]], "s", color=INK, markersize=6, markerfacecolor=SHEET)
    inner = level[(away[shown] > 250) & (away[shown] < 750)]
    axes.set_ylim(float(inner.min()) - 1.5, float(inner.max()) + 2.0)
    axes.set_xlim(*((900, 0) if sign < 0 else (0, 900)))
    axes.set_xticks([300, 500, 700])
    letter = "B" if side == "lower" else "C"
    note(axes, f"{letter}  {side} slope, kHz from the edge", (0, 1), away=(0, 5), fraction=True, fontsize=9.5)


def _pads(figure: Figure, data: Data, style: Style) -> None:
    """Readings against the gain ahead of the distortion, and what was sent."""
    axes = figure.add_axes((LEFT + 0.035, 0.09, RIGHT - LEFT - 0.035, 0.145))
    _bare(axes)
    gains = [one["gain_db"] for one in data["readings"] if one["gain_db"] is not None]
    middle = float(np.mean(gains)) if gains else 0.0
    reach = (max(gains) - min(gains)) / 2 + 3 if gains else 3.0
    axes.set_xlim(middle - reach, middle + reach)
    levels: list[float] = []
    for side, away in (("lower", -0.008 * 2 * reach), ("upper", 0.008 * 2 * reach)):
        finding = data[side]
        ends = [end for end in (finding.low, finding.high) if end is not None]
        if len(ends) == 2:
            bottom = max(ends[0], float(finding.value) - 8)
            axes.add_patch(
                Rectangle(
                    (middle - reach, bottom), 2 * reach, ends[1] - bottom, facecolor=style.wash, linewidth=0, alpha=0.6
                )
            )
            levels += [bottom, ends[1]]
        elif finding.standing == "at_most":
            hatched(axes, (middle - reach, middle + reach), (ends[0], ends[0] + 0.4))
            levels.append(ends[0])
        for one in data["readings"]:
            if one[side] is None:
                continue
            level, half = one[side]
            at = (middle if one["gain_db"] is None else one["gain_db"]) + away
            axes.plot([at, at], [level - half, level + half], color=style.trace, linewidth=1.1, zorder=4)
            face = SHEET if side == "upper" or style.practice else style.trace
            axes.plot([at], [level], "o", markersize=6, markerfacecolor=face, markeredgecolor=style.trace, zorder=5)
            levels += [level - half, level + half]
    if levels:
        axes.set_ylim(min(levels) - 1.0, max(levels) + 1.0)
    note(axes, "D  shoulder behind the front end, dB (disc lower, ring upper); ground: what was sent, 95 %", (0, 1),
         away=(0, 5), fraction=True, fontsize=9.5)  # fmt: skip
    note(axes, "gain ahead of the receiver's distortion, dB", (1, 0), away=(0, -28), fraction=True, ha="right")


def _rows(figure: Figure, data: Data) -> None:
    rows = [(f"{side} shoulder", value_text(data[side])) for side in SIDES]
    rows.append(("worse, as shown", value_text(data["shown"])))
    rows.append(("recordings", f"{len(data['names'])}"))
    for number, (name, value) in enumerate(rows):
        y = 0.665 - 0.028 * number
        figure.text(COLUMN, y, name, fontsize=8.8, color=INK_SOFT)
        figure.text(COLUMN + 0.01, y - 0.0125, value.replace("-", MINUS), fontsize=8.8)
    words = [
        "Shaded: 95 % of where it may be.",
        "Stippled: the converter's floor, taken off.",
        "Ribbon: which recording tells each part,",
        "counted upwards in frequency.",
        "Line: through the trace 300 and 700 kHz",
        "out, moved up to the highest value",
        "between, read at 500 kHz (square).",
    ]
    for number, line in enumerate(words):
        figure.text(COLUMN, 0.43 - 0.019 * number, line, fontsize=8.5, color=INK_SOFT)
