"""The spectrum with the shoulder construction, and the peaks against Gaussian noise.

Theory  Sheet A shows the whole signal, B and C the two slopes enlarged: crosses where the line is laid, a ring where it
        touches, a square where it is read, a disc with its doubt where the true shoulder stands. What lies below the
        recording's floor is stippled: there the transmitter shows only by what it adds to the noise.
Source  our own design, see theme.py; the construction is [TR101290] 9.7.
Holds   Levels in dB below the highest value in band; offsets from the signal's centre in Hz.

``spectrum`` takes frequency_hz, level_db (n,) of the trace; occupied_width_hz; resolution_hz; finding (the worse
shoulder; another number where there are no constructions), lower and upper (findings of the sides); constructions
{"lower": {...}, "upper": {...}} with offset_hz, level_db, touch_hz, touch_db, read_db, or None where the recording is
too narrow; floor_db, limit_db and centre_hz, each a number or None; mode.
``ccdf`` takes level_db, probability (n,) as read; gaussian_level_db, gaussian_probability (m,); finding; mode.
"""

import math
from collections.abc import Mapping
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Ellipse, Rectangle

from tepui.ground.finding_text import label_text, value_parts, value_text
from tepui.ground.findings import Finding
from tepui.report.theme import (
    COLUMN,
    INK,
    INK_SOFT,
    LEFT,
    RIGHT,
    RULE,
    SHEET,
    Style,
    depth,
    dimension,
    doubt_bar,
    hatched,
    letter,
    note,
    plot,
    reading,
    sheet,
)

Data = Mapping[str, Any]
Floats = npt.NDArray[np.float64]
TALL_IN = 8.4
MINUS = "\N{MINUS SIGN}"
SLOPE_HZ = (120e3, 880e3)
SLOPE_WIDTH = 0.235
LOW_DB, LOWEST_DB = -90, -140  # where the scale's steps widen, and where it ends


def _decibels(value: float, digits: int = 1) -> str:
    return f"{value:.{digits}f}".replace("-", MINUS)


def spectrum(data: Data, style: Style) -> tuple[Figure, str, str]:
    """Sheet with the whole spectrum and both slopes; the spectrum alone where the recording shows no slopes."""
    if data["constructions"] is None:
        return _without_slopes(data, style)
    finding, sides = data["finding"], {"lower": data["lower"], "upper": data["upper"]}
    worse = "lower" if data["lower"].value == finding.value else "upper"
    title = "Spectrum and shoulders"
    sentence = f"The {worse} shoulder {'is' if finding.standing == 'measured' else 'may be'} the worse one."
    if data["limit_db"] is not None and isinstance(finding.value, int | float):
        met = "meets" if finding.value <= data["limit_db"] else "misses"
        sentence = f"The {worse} shoulder decides: it {met} the target of {_decibels(data['limit_db'])} dB."
    figure = sheet(title, sentence, data["mode"], style=style, height_in=TALL_IN)
    _whole(figure, data, style, box=(LEFT, 0.505, RIGHT - LEFT, 0.325))
    _heading(figure, "A", "The whole signal", LEFT, 0.858)
    scale = _slope_scale(data)
    for side, left in (("lower", LEFT), ("upper", LEFT + SLOPE_WIDTH + 0.1)):
        _slope(figure, data, side, left=left, scale=scale, style=style)
    value, doubt, unit = value_parts(finding)
    reading(figure, label=f"Worse shoulder, {worse}", value=value, doubt=doubt, unit=unit, standing=finding.standing,
            style=style, top=0.855)  # fmt: skip
    _bars(figure, data, sides, style)
    _rows(figure, data, sides)
    spoken = f"{label_text(finding.key)} {value_text(finding)}; lower {value_text(data['lower'])}, "
    return figure, title, f"Spectrum of {data['mode']}: {spoken}upper {value_text(data['upper'])}."


def _without_slopes(data: Data, style: Style) -> tuple[Figure, str, str]:
    title, finding = "Spectrum", data["finding"]
    figure = sheet(title, "The recording does not reach far enough to read the shoulders.", data["mode"], style=style)
    _whole(figure, data, style, box=(LEFT, 0.2, RIGHT - LEFT, 0.55))
    value, doubt, unit = value_parts(finding)
    reading(figure, label=label_text(finding.key), value=value, doubt=doubt, unit=unit, standing=finding.standing,
            style=style)  # fmt: skip
    return figure, title, f"Spectrum of {data['mode']}: {label_text(finding.key)} {value_text(finding)}."


def _whole(figure: Figure, data: Data, style: Style, *, box: tuple[float, float, float, float]) -> None:
    axes = figure.add_axes(box, facecolor=SHEET)
    _plain(axes)
    frequency, level = np.asarray(data["frequency_hz"]) / 1e6, np.asarray(data["level_db"])
    half = data["occupied_width_hz"] / 2e6
    low = 10 * math.floor(max(min(float(np.percentile(level, 2)), data["floor_db"] or 0.0), LOWEST_DB) / 10 - 0.4)
    reach = min(float(-frequency[0]), float(frequency[-1]), 2.2 * half)
    shown = np.abs(frequency) <= reach
    axes.fill_between(frequency[shown], level[shown], low, color=style.wash, linewidth=0)
    axes.plot(frequency[shown], level[shown], color=style.trace, linewidth=0.9)
    axes.set_xlim(-reach, reach)
    axes.set_ylim(low, 7)
    axes.set_yticks(range(0, low - 1, -10 if low > LOW_DB else -20))
    axes.plot([0, 0], [low, 6], color=INK, linewidth=0.7, dashes=(14, 3, 2, 3))
    _below_floor(axes, data, (-reach, reach), low)
    axes.plot([-half, -half], [0.5, 5], color=RULE, linewidth=0.7)
    axes.plot([half, half], [0.5, 5], color=RULE, linewidth=0.7)
    dimension(axes, x=(-half, half), y=3.5, label=f"{2 * half:.3f} MHz occupied")
    if data["constructions"] is not None:
        _both_depths(axes, data, half=half, reach=reach, low=low)
    tuned = data["centre_hz"]
    centre = f"{tuned / 1e6:.3f} MHz" if tuned else "the centre"
    caption = f"MHz from {centre}; dB below the highest value in band; {_resolution(data)} resolution"
    note(axes, caption, (0, 0), away=(0, -30), fraction=True)
    note(axes, "dB", (0, 1), away=(-20, 6), fraction=True, fontsize=9.5)


def _both_depths(axes: Axes, data: Data, *, half: float, reach: float, low: float) -> None:
    """How deep each shoulder stands, as shown, and a ring around what the other sheets enlarge."""
    width, height = 0.055 * 2 * reach, 0.055 * 2 * (7 - low)
    for sign, side, name in ((-1, "lower", "B"), (1, "upper", "C")):
        built = data["constructions"][side]
        where, read = sign * (half + 0.5), built["read_db"]
        away = sign * min(half + 0.5 + 0.62 * (reach - half - 0.5), half + 2.0)
        axes.plot([sign * half, away + sign * 0.1], [0, 0], color=RULE, linewidth=0.7)
        axes.plot([where, away + sign * 0.1], [read, read], color=RULE, linewidth=0.7)
        depth(axes, x=away, y=(read, 0.0), label=f"{_decibels(-read)} dB as shown")
        axes.add_patch(Ellipse((where, read), width, height, facecolor="none", edgecolor=INK, linewidth=0.9, zorder=4))
        letter(axes, name, (where - sign * 0.08 * reach, read - 0.8 * height), away=(0, -8))


def _slope_scale(data: Data) -> tuple[float, float]:
    """One scale for both slopes: all that is marked, and the trace beyond 250 kHz."""
    limit = data["limit_db"]
    marks: list[float] = []
    away = np.abs(np.asarray(data["frequency_hz"])) - data["occupied_width_hz"] / 2
    trace = np.asarray(data["level_db"])[(away > 250e3) & (away < SLOPE_HZ[1])]
    marks += [float(trace.min()), float(trace.max())]
    for side in ("lower", "upper"):
        marks += [*data["constructions"][side]["level_db"], data["constructions"][side]["read_db"]]
        marks += [end for end in (data[side].value, data[side].low, data[side].high) if end is not None]
    if limit is not None and min(marks) - 6 < limit < max(marks) + 6:
        marks.append(limit)
    return min(marks) - 1.0, max(marks) + 1.2


def _slope(figure: Figure, data: Data, side: str, *, left: float, scale: tuple[float, float], style: Style) -> None:
    """One slope with the construction, offsets counted from the outermost carrier, outwards."""
    sign = -1 if side == "lower" else 1
    axes = figure.add_axes((left, 0.205, SLOPE_WIDTH, 0.205), facecolor=SHEET)
    _plain(axes)
    half_hz = data["occupied_width_hz"] / 2
    away = (sign * np.asarray(data["frequency_hz"]) - half_hz) / 1e3
    order = np.argsort(away)
    away, level = away[order], np.asarray(data["level_db"])[order]
    shown = (away >= SLOPE_HZ[0] / 1e3) & (away <= SLOPE_HZ[1] / 1e3)
    built, finding, limit = data["constructions"][side], data[side], data["limit_db"]
    near, _, far = built["level_db"]
    x = np.asarray(built["offset_hz"]) / 1e3
    low, high = scale
    axes.set_xlim(0, 900) if sign > 0 else axes.set_xlim(900, 0)
    axes.set_ylim(low, high)
    _below_floor(axes, data, (0, 900), low)
    axes.plot(away[shown], level[shown], color=style.trace, linewidth=0.9)
    ends = np.array([170.0, 830.0])
    slope = (far - near) / (x[2] - x[0])
    axes.plot(x[[0, 2]], [near, far], color=INK, linewidth=0.8)
    axes.plot(ends, built["read_db"] + slope * (ends - x[1]), color=INK, linewidth=1.4)
    axes.plot(x[[0, 2]], [near, far], "x", color=INK, markersize=6)
    axes.plot([built["touch_hz"] / 1e3], [built["touch_db"]], "o", color=INK, markersize=8, markerfacecolor="none")
    axes.plot([x[1]], [built["read_db"]], "s", color=INK, markersize=6, markerfacecolor=SHEET)
    _true_mark(axes, float(x[1]), finding, style)
    if limit is not None and low < limit < high:
        hatched(axes, (300, 700), (limit, limit + 0.06 * (high - low)))
        axes.plot([300, 700], [limit, limit], color=INK, linewidth=2.2, solid_capstyle="butt")
        note(axes, f"target {_decibels(limit)}", (500, limit), away=(0, 9), ha="center", knock=True)
    axes.spines["left" if sign > 0 else "right"].set_visible(True)
    axes.yaxis.set_ticks_position("left" if sign > 0 else "right")
    axes.spines["right" if sign > 0 else "left"].set_visible(False)
    axes.set_xticks([])
    _offsets(figure, axes, left, sign)
    _heading(figure, "B" if sign < 0 else "C", f"{side.capitalize()} shoulder", left, 0.425)


def _offsets(figure: Figure, axes: Axes, left: float, sign: int) -> None:
    """The three offsets below the slope, from the outermost carrier as the one datum."""
    below = figure.add_axes((left, 0.105, SLOPE_WIDTH, 0.1), facecolor="none")
    below.set_axis_off()
    below.set_xlim(*axes.get_xlim())
    below.set_ylim(0, 3.3)
    low, high = axes.get_ylim()
    for number, offset in enumerate((300, 500, 700)):
        y = 2.4 - number * 0.95
        dimension(below, x=(0, offset), y=y, label=f"{offset}" + (" kHz" if offset == 700 else ""))
        below.plot([offset, offset], [y - 0.15, 3.3], color=RULE, linewidth=0.7)
        axes.plot([offset, offset], [low, low + 0.8 * (high - low)], color=RULE, linewidth=0.6, zorder=0)
    below.plot([0], [3.15], marker="^", color=INK, markersize=6, clip_on=False)
    note(below, "edge", (0, 0.5), away=(0, -14), ha="left" if sign > 0 else "right")


def _true_mark(axes: Axes, x: float, finding: Finding, style: Style) -> None:
    """The shoulder with its doubt: disc and ends, or an arrow to the side where the truth lies."""
    if not finding.is_number:
        return
    value = float(finding.value)  # type: ignore[arg-type]
    x += 16 if axes.get_xlim()[0] < axes.get_xlim()[1] else -16
    if finding.standing == "at_most":
        arrow = {"arrowstyle": "-|>", "color": style.trace, "lw": 1.2, "shrinkA": 0, "shrinkB": 0}
        axes.annotate("", (x, value - 1.5), (x, value), arrowprops=arrow)
        return
    face = SHEET if style.practice else style.trace
    ends = [value if end is None else end for end in (finding.low, finding.high)]
    axes.plot([x, x], ends, color=style.trace, linewidth=1.1, zorder=5)
    for end in ends:
        axes.plot([x - 14, x + 14], [end, end], color=style.trace, linewidth=1.1, zorder=5)
    axes.plot([x], [value], "o", markersize=6.5, markerfacecolor=face, markeredgecolor=style.trace, zorder=6)


def _below_floor(axes: Axes, data: Data, x: tuple[float, float], low: float) -> None:
    """Stippled ground below the recording's floor, where the transmitter shows only by what it adds."""
    floor = data["floor_db"]
    if floor is None or floor <= low:
        return
    ground = Rectangle((x[0], low), x[1] - x[0], floor - low, facecolor="none", edgecolor=RULE, hatch="..", linewidth=0)
    axes.add_patch(ground)
    axes.plot(x, [floor, floor], color=INK, linewidth=0.7, dashes=(1, 2))
    if floor - low > 0.07 * (axes.get_ylim()[1] - low):
        note(axes, "the recording's own noise", (sum(x) / 2, (floor + low) / 2), ha="center", va="center", knock=True)


def _bars(figure: Figure, data: Data, sides: Mapping[str, Finding], style: Style) -> None:
    bars = [(f.low, float(f.value), f.high) for f in sides.values() if f.is_number and None not in (f.low, f.high)]  # type: ignore[arg-type]
    if not bars:
        return
    limit = data["limit_db"]
    ends = [end for bar in bars for end in bar if end is not None] + ([limit] if limit is not None else [])
    low, high = math.floor(min(ends) - 0.5), math.ceil(max(ends) + 0.5)
    doubt_bar(figure, (COLUMN, 0.668, 0.25, 0.03 * len(bars)), scale=(low, high), bars=bars, limit=limit,  # type: ignore[arg-type]
              limit_label=f"target {_decibels(limit)}" if limit is not None else "", style=style)  # fmt: skip
    figure.text(COLUMN, 0.622, "lower over upper; 95 % between the ends", fontsize=8.5, color=INK_SOFT)


def _rows(figure: Figure, data: Data, sides: Mapping[str, Finding]) -> None:
    rows = [(f"{side} shoulder", value_text(finding).replace("-", MINUS)) for side, finding in sides.items()]
    rows += [(f"{side}, as shown", f"{_decibels(data['constructions'][side]['read_db'])} dB") for side in sides]
    floor = data["floor_db"]
    rows.append(("floor of the recording", "unknown" if floor is None else f"{_decibels(floor)} dB"))
    rows.append(("resolution", _resolution(data)))
    for number, (name, value) in enumerate(rows):
        y = 0.575 - 0.033 * number
        figure.text(COLUMN, y, name, fontsize=8.8, color=INK_SOFT)
        figure.text(0.955, y, value, fontsize=8.8, ha="right")
    words = [
        "Crosses: the trace 300 and 700 kHz out.",
        "The line through them is moved up until",
        "it touches the highest value between",
        "(ring) and is read at 500 kHz (square).",
        "Disc: without the recording's own floor",
        "and scatter. Stippled: the floor; what",
        "lies below shows only by what it adds.",
    ]
    for number, line in enumerate(words):
        figure.text(COLUMN, 0.34 - 0.0235 * number, line, fontsize=8.5, color=INK_SOFT)


def _resolution(data: Data) -> str:
    return f"{data['resolution_hz'] / 1e3:.3g} kHz"


def _plain(axes: Axes) -> None:
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.tick_params(direction="out", length=4, width=0.8)


def _heading(figure: Figure, name: str, text: str, x: float, y: float) -> None:
    ring = {"boxstyle": "circle,pad=0.2", "facecolor": SHEET, "edgecolor": INK, "linewidth": 1.0}
    figure.text(x + 0.008, y, name, fontsize=9, ha="center", va="center", bbox=ring)
    figure.text(x + 0.026, y, text, fontsize=11, va="center")


def ccdf(data: Data, style: Style) -> tuple[Figure, str, str]:
    """How often the envelope passes which level, beside what Gaussian noise does."""
    level, read = np.asarray(data["level_db"]), np.asarray(data["probability"])
    gaussian_level, gaussian = np.asarray(data["gaussian_level_db"]), np.asarray(data["gaussian_probability"])
    finding = data["finding"]
    title = "Peaks above the mean"
    sentence = "How often the envelope passes a level: read, and (thin) as Gaussian noise would."
    figure = sheet(title, sentence, data["mode"], style=style)
    axes = plot(figure, left=0.135)
    least = max(float(read[read > 0].min()), 1e-7) / 2
    axes.set_yscale("log")
    axes.set_xlim(0, max(11.0, float(level[read > 0].max()) + 0.5))
    axes.set_ylim(least, 1)
    axes.minorticks_off()
    axes.plot(gaussian_level, np.maximum(gaussian, least / 10), color=INK, linewidth=0.9)
    seen = read > 0
    axes.plot(level[seen], read[seen], color=style.trace, linewidth=1.5)
    powers = range(0, math.ceil(math.log10(least)) - 1, -1)
    axes.set_yticks([10.0**power for power in powers])
    axes.set_yticklabels(["1" if power == 0 else f"1 in {10**-power:,}".replace(",", " ") for power in powers])
    axes.axhline(1e-4, color=INK, linewidth=0.7, dashes=(14, 3, 2, 3))
    if isinstance(finding.value, int | float):
        _gap(axes, gaussian_level, gaussian, float(finding.value), style)
    note(axes, "dB above the mean power", (1, 0), away=(0, -34), fraction=True, ha="right", fontsize=9.5)
    value, doubt, unit = value_parts(finding)
    reading(figure, label=label_text(finding.key), value=value, doubt=doubt, unit=unit, standing=finding.standing,
            style=style)  # fmt: skip
    for number, line in enumerate(
        ("passed one time in 10 000;", "envelope over mean power, add", "3.01 dB for peak voltage")
    ):
        figure.text(COLUMN, 0.555 - 0.042 * number, line, fontsize=8.8, color=INK_SOFT)
    return figure, title, f"Peaks of {data['mode']} against Gaussian noise: {value_text(finding)} passed 1 in 10 000."


def _gap(axes: Axes, level: Floats, gaussian: Floats, value: float, style: Style) -> None:
    """The distance between the two curves at one in ten thousand."""
    theirs = float(np.interp(-4.0, np.log10(np.maximum(gaussian, 1e-30))[::-1], level[::-1]))
    axes.plot([value], [1e-4], "o", markersize=6.5, markeredgecolor=style.trace,
              markerfacecolor=SHEET if style.practice else style.trace, zorder=5)  # fmt: skip
    axes.plot([theirs], [1e-4], "o", markersize=6, markeredgecolor=INK, markerfacecolor=SHEET, zorder=5)
    if abs(theirs - value) < 0.05:
        return
    words = "below" if value < theirs else "above"
    for x in (value, theirs):
        axes.plot([x, x], [1e-4, 5.2e-4], color=RULE, linewidth=0.7)
    dimension(axes, x=(value, theirs), y=4e-4, label="")
    text = f"{abs(theirs - value):.2f} dB\n{words} Gaussian"
    note(axes, text, (max(value, theirs), 4e-4), away=(6, -4), color=INK, knock=True)
