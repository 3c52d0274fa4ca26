"""A frequency plan: products over frequency with their true widths and shapes, the filter's curve over them.

Theory  Each product is drawn as the n-fold convolution of the signal, its level its total power spread over its width;
        a line of the oscillator is a stroke. Doubts are left to the table. The filter's curve hangs from the top,
        dashed below what may be claimed of an unmeasured one. Ink only: nothing here was read.
Source  our own design, see theme.py.
Holds   What jobs/frequencies hands over.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from tepui.ground.finding_text import value_text
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
TALL_IN = 8.2
LOWEST_DB, HIGHEST_DB = -125.0, 12.0
CLAIM_DB = 60.0
SHAPE_POINTS = 81
NAMED = 9


def frequency_plan(data: Data, style: Style) -> tuple[Figure, str, str]:
    """The sheet of one plan."""
    title = "Frequency plan"
    sentence = (
        f"IF {data['if_hz'] / 1e6:g} MHz and LO {data['lo_hz'] / 1e6:g} MHz make {data['wanted_hz'] / 1e6:g} MHz."
    )
    foot = f"{data['design']}; levels of products are typical, widths are exact"
    figure = sheet(title, sentence, foot, style=style, height_in=TALL_IN)
    wide = figure.add_axes((LEFT, 0.53, RIGHT - LEFT, 0.3))
    reach = float(data["frequency_hz"][-1] - data["wanted_hz"])
    _panel(wide, data, reach_hz=reach)
    close = figure.add_axes((LEFT, 0.13, RIGHT - LEFT, 0.3))
    _panel(close, data, reach_hz=1.6 * data["near_hz"])
    note(wide, "dB over the wanted signal's density; all around", (0, 1), away=(0, 6), fraction=True, fontsize=9)
    note(close, "the same, near the channel", (0, 1), away=(0, 6), fraction=True, fontsize=9)
    note(close, "MHz", (1, 0), away=(0, -28), fraction=True, ha="right", fontsize=9)
    needed = data["finding"]
    value = f"{needed.value:.0f}"
    doubt = f"± {(needed.high - needed.low) / 2:.0f}"
    reading(figure, label="Rejection needed at the LO", value=value, doubt=doubt, unit="dB", standing=needed.standing,
            style=style, top=0.83)  # fmt: skip
    _list(figure, data)
    spoken = f"Frequency plan, rank {data['rank']}: {sentence} Rejection needed at the LO {value_text(needed)}; "
    near = [one for one in data["products"] if one[7] in ("channel", "near")]
    return figure, title, spoken + (f"{len(near)} products in or near the channel." if near else "no product near.")


def _panel(axes: Axes, data: Data, *, reach_hz: float) -> None:
    low, high = max(data["wanted_hz"] - reach_hz, 0.0), data["wanted_hz"] + reach_hz
    axes.set_facecolor(SHEET)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.tick_params(direction="out", length=4, width=0.8)
    axes.set_xlim(low / 1e6, high / 1e6)
    axes.set_ylim(LOWEST_DB, HIGHEST_DB)
    for start, stop in data["protected"]:
        hatched(axes, (start / 1e6, stop / 1e6), (LOWEST_DB, HIGHEST_DB))
    half = data["signal_width_hz"] / 2
    edges = np.array([data["wanted_hz"] - half, data["wanted_hz"] + half]) / 1e6
    axes.fill_between(edges, [0, 0], LOWEST_DB, color=WASH, linewidth=0)
    axes.plot([edges[0], edges[0], edges[1], edges[1]], [LOWEST_DB, 0, 0, LOWEST_DB], color=INK, linewidth=1.6)
    letters = {one[0]: chr(ord("A") + n) for n, one in enumerate(_named(data))}
    for text, n, centre, start, stop, level, _, _, _ in data["products"]:
        if stop < low or start > high or level < LOWEST_DB:
            continue
        _product(axes, n, centre_hz=centre, level_db=level, width_hz=data["signal_width_hz"], letter=letters.get(text),
                 bounds=(low, high))  # fmt: skip
    frequency, loss = np.asarray(data["frequency_hz"]) / 1e6, -np.asarray(data["filter_loss_db"])
    sure = loss >= -CLAIM_DB
    axes.plot(frequency, np.where(sure, loss, np.nan), color=INK_SOFT, linewidth=1.1)
    axes.plot(frequency, np.where(sure, np.nan, loss), color=INK_SOFT, linewidth=0.9, dashes=(5, 3))


def _product(
    axes: Axes,
    n: int,
    *,
    centre_hz: float,
    level_db: float,
    width_hz: float,
    letter: str | None,
    bounds: tuple[float, float],
) -> None:
    if n == 0:
        axes.plot([centre_hz / 1e6] * 2, [LOWEST_DB, level_db], color=INK, linewidth=1.3)
        top = level_db
    else:
        x = np.linspace(-n / 2, n / 2, SHAPE_POINTS)
        spread = level_db + 10 * np.log10(np.maximum(_density(x, n), 1e-30))
        shape = np.r_[LOWEST_DB, np.maximum(spread, LOWEST_DB), LOWEST_DB]
        place = (centre_hz + np.r_[x[0], x, x[-1]] * width_hz) / 1e6
        axes.fill_between(place, shape, LOWEST_DB, color=RULE, alpha=0.25, linewidth=0)
        axes.plot(place, shape, color=INK, linewidth=0.9)
        top = float(shape.max())
    if letter is not None:
        at = min(max(centre_hz, bounds[0]), bounds[1])
        note(
            axes,
            letter,
            (at / 1e6, min(top, HIGHEST_DB)),
            away=(0, 3),
            ha="center",
            color=INK,
            fontsize=8.5,
            knock=True,
        )


def _density(x: Any, n: int) -> Any:
    """The n-fold convolution of a flat signal, from drawn samples of it: scales only, exact enough for a drawing."""
    steps = 2 * SHAPE_POINTS
    flat = np.ones(steps) / steps
    shape = flat.copy()
    for _ in range(n - 1):
        shape = np.convolve(shape, flat)
    place = np.linspace(-n / 2, n / 2, len(shape))
    return np.interp(x, place, shape * steps)


def _named(data: Data) -> list[Any]:
    """Products that get a letter: those in or near the channel and those with a name."""
    chosen = [one for one in data["products"] if one[7] in ("channel", "near", "protected") or one[8]]
    return sorted(chosen, key=lambda one: abs(one[2] - data["wanted_hz"]))[:NAMED]


def _list(figure: Figure, data: Data) -> None:
    lines = ["Letters:"]
    for number, (text, n, centre, _, _, level, doubt, _, _) in enumerate(_named(data)):
        wide = "a line" if n == 0 else f"{n * data['signal_width_hz'] / 1e6:.1f} wide"
        lines.append(f"{chr(ord('A') + number)}  {text}: {centre / 1e6:g} MHz, {wide}")
        lines.append(f"     {level:.0f} ± {doubt:.0f} dB before the filter")
    lines += ["", "Open outline: the wanted signal.", "Soft curve: the filter; dashed: theory",
              "beyond what may be claimed unmeasured."]  # fmt: skip
    for number, line in enumerate(lines):
        figure.text(COLUMN, 0.64 - 0.205 / TALL_IN * number, line.replace("-", "\N{MINUS SIGN}"), fontsize=8.4,
                    color=INK_SOFT)  # fmt: skip
