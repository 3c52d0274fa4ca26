"""The checks of the months, a panel a quantity, with the band of repeatability; and far reports against the prediction.

Theory  Discs are rounds as read, the line joins the months' means; the washed band about the first month holds what two
        checks of an unchanged station differ by in 95 of 100 cases. Far reports: zero is the prediction, the band its
        doubt.
Source  our own design, see theme.py.
Holds   What jobs.log_trend and jobs.log_far hand over.
"""

from collections.abc import Mapping, Sequence
from datetime import date, datetime
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure

from tepui.ground.finding_text import label_text, scale_for, value_parts
from tepui.report.theme import COLUMN, INK, INK_SOFT, LEFT, RIGHT, SHEET, WASH, Style, note, reading, sheet

Data = Mapping[str, Any]
PANEL_IN, ROOM_IN, LEAST_IN = 1.55, 2.0, 5.0
MARKS = ("o", "s", "^", "D", "v", "P")
WORDS = {"receive_level_dbm": "level", "mer_db": "MER", "margin_db": "margin"}


def trend(data: Data, style: Style) -> tuple[Figure, str, str]:
    """A panel for every quantity that is checked."""
    panels: Sequence[Data] = data["panels"]
    tall = max(LEAST_IN, ROOM_IN + PANEL_IN * len(panels))
    title = "Checks of the month"
    months = sorted({month for panel in panels for month in panel["months"]})
    figure = sheet(title, "Each quantity since its first month.", f"{months[0]} to {months[-1]}", style=style,
                   height_in=tall)  # fmt: skip
    high, low = 1 - 1.25 / tall, 0.95 / tall
    gap = 0.42 / tall
    height = (high - low - gap * (len(panels) - 1)) / len(panels)
    spoken = []
    for number, panel in enumerate(panels):
        axes = figure.add_axes((LEFT, high - (number + 1) * height - number * gap, RIGHT - LEFT, height))
        _panel(axes, panel, months, style, last=number == len(panels) - 1)
        spoken.append(_said(panel))
    _beside(figure, data["finding"], style, tall, [
        "Discs: rounds as read; the line joins",
        "the means of the months. Band: what two",
        "checks of a station that stayed as it",
        "was differ by in 95 of 100 cases.",
        "Without a band no round was repeated.",
    ])  # fmt: skip
    return figure, title, f"Checks of the month, {months[0]} to {months[-1]}. {' '.join(spoken)}"


def _panel(axes: Axes, panel: Data, months: Sequence[str], style: Style, *, last: bool) -> None:
    _open(axes, last=last)
    sizes = [abs(value) for rounds in panel["rounds"] for value in rounds]
    scale = scale_for(max(sizes), panel["unit"])
    factor = 10.0**-scale.exponent
    days = [_day(month) for month in panel["months"]]
    if panel["limit"] is not None:
        first = panel["means"][0] * factor
        half = panel["limit"] * factor
        span = [_day(months[0]), _day(months[-1])]
        axes.fill_between(span, first - half, first + half, color=WASH, linewidth=0)
        for end in (first - half, first + half):
            axes.plot(span, [end, end], color=INK_SOFT, linewidth=0.8, dashes=(1, 2))
    axes.plot(days, [mean * factor for mean in panel["means"]], color=INK, linewidth=1.1)
    for day, rounds in zip(days, panel["rounds"], strict=True):
        axes.plot([day] * len(rounds), [value * factor for value in rounds], linestyle="none", **_disc(style))
    low, high = axes.get_ylim()
    room = 0.15 * (high - low) or 1.0
    axes.set_ylim(low - room, high + room)
    _months(axes, months)
    note(axes, f"{label_text(panel['key'])}, {scale.unit}", (0, 1), away=(0, 4), fraction=True, fontsize=9)


def _said(panel: Data) -> str:
    first, last = panel["means"][0], panel["means"][-1]
    scale = scale_for(max(abs(first), abs(last)), panel["unit"])
    factor = 10.0**-scale.exponent
    text = f"{label_text(panel['key'])} from {first * factor:.4g} to {last * factor:.4g} {scale.unit}"
    return text + ("." if panel["limit"] is None else f", by chance up to {panel['limit'] * factor:.2g}.")


def far_reports(data: Data, style: Style) -> tuple[Figure, str, str]:
    """What far stations read less what was predicted."""
    points: Sequence[Data] = data["points"]
    title = "Far reports against the prediction"
    names = list(dict.fromkeys((str(one["call"]), str(one["quantity"])) for one in points))
    calls = ", ".join(sorted({call for call, _ in names}))
    figure = sheet(title, "Zero is what was predicted; above it, more arrived.", calls, style=style)
    axes = figure.add_axes((LEFT, 0.17, RIGHT - LEFT, 0.61))
    _open(axes, last=True)
    moments = [_moment(one["utc"]) for one in points]
    half = max(float(one["predicted_half_db"]) for one in points)
    early, late = min(moments), max(moments)
    axes.axhspan(-half, half, facecolor=WASH, edgecolor="none")
    axes.axhline(0, color=INK, linewidth=1.1)
    for end in (-half, half):
        axes.axhline(end, color=INK_SOFT, linewidth=0.8, dashes=(1, 2))
    for number, name in enumerate(names):
        own = [(when, one) for when, one in zip(moments, points, strict=True) if (one["call"], one["quantity"]) == name]
        for when, one in own:
            axes.plot([when, when], [one["departure_db"] - one["half_db"], one["departure_db"] + one["half_db"]],
                      color=style.trace, linewidth=1.0)  # fmt: skip
        disc = {**_disc(style), "marker": MARKS[number % len(MARKS)]}
        axes.plot([when for when, _ in own], [one["departure_db"] for _, one in own], linestyle="none", **disc)
    room = 0.06 * max(1.0, late - early)
    axes.set_xlim(early - room, late + room)
    low, high = axes.get_ylim()
    axes.set_ylim(min(low, -1.3 * half), max(high, 1.3 * half))
    note(axes, "read less predicted, dB", (0, 1), away=(0, 4), fraction=True, fontsize=9)
    axes.tick_params(labelrotation=0)
    _days(axes, moments)
    shapes = {"o": "disc", "s": "square", "^": "triangle", "D": "diamond", "v": "triangle down", "P": "cross"}
    lines = [f"{shapes[MARKS[n % len(MARKS)]]}: {WORDS[what]} at {call}" for n, (call, what) in enumerate(names)][:6]
    lines += ["Band: doubt of the prediction.", "Lines: doubt of a reading."]
    _beside(figure, data["finding"], style, figure.get_figheight(), lines)
    spoken = "; ".join(
        f"{WORDS[quantity]} at {call} {_last(points, call, quantity):+.1f} dB at the latest" for call, quantity in names
    )
    told = f"{len(points)} readings of far stations less the prediction: {spoken}."
    return figure, title, told.replace("-", "\N{MINUS SIGN}")


def _last(points: Sequence[Data], call: str, quantity: str) -> float:
    own = [one for one in points if (one["call"], one["quantity"]) == (call, quantity)]
    return float(max(own, key=lambda one: str(one["utc"]))["departure_db"])


def _beside(figure: Figure, finding: Any, style: Style, tall: float, lines: Sequence[str]) -> None:
    top = 1 - 1.25 / tall
    if finding is not None and finding.value is not None:
        value, doubt, unit = value_parts(finding)
        name = finding.about.split(":")[-1]
        word = "over chance" if finding.unit == "1" else label_text(finding.key).lower()
        reading(figure, label=f"{label_text(name) if finding.unit == '1' else name}: {word}",
                value=value, doubt=doubt, unit="" if unit == "1" else unit, standing=finding.standing, style=style,
                top=top)  # fmt: skip
        top -= 1.05 / tall
    for number, line in enumerate(lines):
        figure.text(COLUMN, top - (0.25 + 0.21 * number) / tall, line, fontsize=8.6, color=INK_SOFT)


def _open(axes: Axes, *, last: bool) -> None:
    axes.set_facecolor(SHEET)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.tick_params(direction="out", length=4, width=0.8, labelbottom=last)


def _disc(style: Style) -> dict[str, Any]:
    face = SHEET if style.practice else style.trace
    return {"marker": "o", "markersize": 5.5, "markerfacecolor": face, "markeredgecolor": style.trace, "zorder": 5}


def _day(month: str) -> float:
    """The first day of a month, in days."""
    return float(date(int(month[:4]), int(month[5:7]), 1).toordinal())


def _months(axes: Axes, months: Sequence[str]) -> None:
    shown = months if len(months) <= 8 else months[:: -(-len(months) // 8)]
    axes.set_xticks([_day(month) for month in shown], list(shown))
    first, last = _day(months[0]), _day(months[-1])
    room = max(10.0, (last - first) / 25)
    axes.set_xlim(first - room, last + room)


def _moment(utc: str) -> float:
    """A moment, in days."""
    told = datetime.fromisoformat(utc)
    return told.toordinal() + (told.hour * 3600 + told.minute * 60 + told.second) / 86400


def _days(axes: Axes, moments: Sequence[float]) -> None:
    """Ticks at days on which something was read, as many as there is room for."""
    days = sorted({int(moment) for moment in moments})
    shown = days if len(days) <= 5 else [days[round(n * (len(days) - 1) / 4)] for n in range(5)]
    axes.set_xticks([float(day) for day in shown], [date.fromordinal(day).isoformat() for day in shown])
