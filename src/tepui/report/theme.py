"""How pictures look: a workshop drawing sheet. One palette, one face, and the few marks everything is drawn with.

Theory  Ink is said, pencil is read: the warm colour means that a value came from a reading, and nothing else. A doubt
        is a dimension line, a limit is a hatched wall. In practice ink stands for pencil and the mark is hatched.
Source  our own design; face National Park, SIL Open Font License (fonts/OFL.txt).
Holds   Literal colours, so that a picture prints and travels alone.
"""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib import font_manager
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle

from tepui.report import palette

SHEET, WASH, INK, INK_SOFT, RULE, HAIR = (
    palette.SHEET,
    palette.WASH,
    palette.INK,
    palette.INK_SOFT,
    palette.RULE,
    palette.HAIR,
)
PENCIL, PENCIL_WASH = palette.PENCIL, palette.PENCIL_WASH
FACE = "National Park"
FONTS = Path(__file__).parent / "fonts"
WIDTH_IN, HEIGHT_IN, DPI = 8.6, 5.2, 150
LEFT, RIGHT, BOTTOM, TOP = 0.085, 0.655, 0.215, 0.775
COLUMN, COLUMN_END = 0.705, 0.955


@dataclass(frozen=True, kw_only=True)
class Style:
    """Ink or pencil for what was read: ``trace`` and its ``wash``, and whether it is practice."""

    trace: str
    wash: str
    practice: bool


def style_for(*, practice: bool) -> Style:
    """Pencil for readings, ink for practice."""
    return Style(trace=INK if practice else PENCIL, wash=WASH if practice else PENCIL_WASH, practice=practice)


@cache
def _register_face() -> None:
    for path in sorted(FONTS.glob("*.ttf")):
        font_manager.fontManager.addfont(path)


@contextmanager
def drawing() -> Iterator[None]:
    """Settings under which every picture is made; they are put back afterwards."""
    _register_face()
    settings: Any = {
        "font.family": [FACE, "DejaVu Sans"],
        "font.size": 9.5,
        "text.color": INK,
        "axes.edgecolor": RULE,
        "axes.labelcolor": INK_SOFT,
        "xtick.color": RULE,
        "ytick.color": RULE,
        "xtick.labelcolor": INK_SOFT,
        "ytick.labelcolor": INK_SOFT,
        "axes.linewidth": 0.8,
        "svg.fonttype": "none",
        "svg.hashsalt": "tepui",
        "axes.unicode_minus": True,
        "path.simplify": True,
        "hatch.linewidth": 0.6,
    }
    with mpl.rc_context(settings):
        yield


def sheet(title: str, sentence: str, foot: str, *, style: Style, height_in: float = HEIGHT_IN) -> Figure:
    """An empty sheet: frame with the mountain's flat top, title, one sentence, title block."""
    figure = Figure(figsize=(WIDTH_IN, height_in), facecolor=SHEET)

    def down(inches: float) -> float:
        return 1 - inches / height_in

    left, right, low, high, top = 0.018, 0.982, 0.156 / height_in, down(0.286), down(0.094)
    outline = [
        (left, low),
        (left, high),
        (0.03, high),
        (0.036, top),
        (0.125, top),
        (0.131, high),
        (right, high),
        (right, low),
        (left, low),
    ]
    figure.add_artist(Line2D([x for x, _ in outline], [y for _, y in outline], color=INK, linewidth=1.6))
    figure.text(0.0805, down(0.247), "tepui", ha="center", fontsize=11, weight="bold")
    figure.text(0.04, down(0.624), title, fontsize=16)
    figure.text(0.04, down(0.858), sentence, fontsize=9.5, color=INK_SOFT)
    figure.add_artist(Line2D([left, right], [0.442 / height_in] * 2, color=INK, linewidth=1.0))
    figure.text(0.04, 0.234 / height_in, foot, fontsize=8.5, color=INK_SOFT)
    if style.practice:
        _stamp(figure, right=COLUMN_END, top=down(0.42), height=0.26 / height_in)
    return figure


def _stamp(figure: Figure, *, right: float, top: float, height: float) -> None:
    """What was not read: a hatched field and the words, in one frame."""
    width, field = 0.215, 0.03
    figure.add_artist(
        Rectangle((right - width, top - height), field, height, facecolor="none", edgecolor=RULE, hatch="////", lw=0)
    )
    figure.add_artist(Rectangle((right - width, top - height), width, height, facecolor="none", edgecolor=INK, lw=1))
    figure.add_artist(Line2D([right - width + field] * 2, [top - height, top], color=INK, linewidth=1))
    middle = right - (width - field) / 2
    figure.text(middle, top - height / 2, "practice, nothing measured", ha="center", va="center_baseline", fontsize=8.5)


def plot(figure: Figure, *, left: float = LEFT, right: float = RIGHT, bottom: float = BOTTOM) -> Axes:
    """Axes with rulers on two sides only, ticks outside, no grid."""
    axes = figure.add_axes((left, bottom, right - left, TOP - bottom), facecolor=SHEET)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.tick_params(direction="out", length=4, width=0.8)
    return axes


def reading(
    figure: Figure, *, label: str, value: str, doubt: str, unit: str, standing: str, style: Style, top: float = TOP
) -> None:
    """The number a picture exists for, large, beside it, with its mark and doubt."""
    down = HEIGHT_IN / figure.get_figheight()
    figure.add_artist(Line2D([COLUMN, COLUMN_END], [top, top], color=INK, linewidth=1.4))
    figure.text(COLUMN, top - 0.05 * down, label, fontsize=10)
    colour = style.trace if standing == "measured" else INK
    _mark(figure, COLUMN + 0.012, top - 0.121 * down, standing=standing, style=style)
    value, doubt = (text.replace("-", "\N{MINUS SIGN}") for text in (value, doubt))
    number = figure.text(COLUMN + 0.032, top - 0.14 * down, value, fontsize=26, color=colour)
    beside = figure.text(0, top - 0.14 * down, f"{doubt} {unit}".strip(), fontsize=11, color=colour)
    figure.draw_without_rendering()
    room = (COLUMN_END - COLUMN - 0.04) * figure.bbox.width - beside.get_window_extent().width
    if number.get_window_extent().width > room:
        number.set_fontsize(26 * room / number.get_window_extent().width)
        figure.draw_without_rendering()
    beside.set_x(number.get_window_extent().x1 / figure.bbox.width + 0.008)


def _mark(figure: Figure, x: float, y: float, *, standing: str, style: Style) -> None:
    """How the number stands: disc, ring, wall and arrow, or four corners; hatched in practice."""
    wide = 0.0065
    tall = wide * WIDTH_IN / figure.get_figheight()

    def stroke(points: Sequence[tuple[float, float]]) -> None:
        across, up = [x + wide * a for a, _ in points], [y + tall * b for _, b in points]
        figure.add_artist(Line2D(across, up, color=INK, linewidth=1.2))

    if standing in ("at_most", "at_least"):
        side = 1 if standing == "at_most" else -1
        stroke([(side, -1), (side, 1)])
        stroke([(side, 0), (-side, 0)])
        stroke([(-0.3 * side, 0.7), (-side, 0), (-0.3 * side, -0.7)])
        return
    if standing == "unknown":
        for a, b in ((-1, -1), (-1, 1), (1, 1), (1, -1)):
            stroke([(0.4 * a, b), (a, b), (a, 0.4 * b)])
        return
    measured = standing == "measured"
    face = style.trace if measured and not style.practice else SHEET
    edge = style.trace if measured else INK
    ring: Any = {
        "marker": "o",
        "markersize": 8,
        "markerfacecolor": face,
        "markeredgecolor": edge,
        "markeredgewidth": 1.4,
    }
    figure.add_artist(Line2D([x], [y], linestyle="none", **ring))
    if measured and style.practice:
        for away in (-0.35, 0.35):
            stroke([(away - 0.35, -0.45), (away + 0.35, 0.45)])


def wall(axes: Axes, *, x: float, side: str, width: float, label: str) -> None:
    """A limit on the x axis: a thick line, hatched on the side not to be on."""
    low, high = axes.get_ylim()
    start = x if side == "right" else x - width
    hatched(axes, (start, start + width), (low, high))
    axes.plot([x, x], [low, high], color=INK, linewidth=2.2, solid_capstyle="butt")
    note(axes, label, (x, high), away=(0, 3), ha="center")


def dimension(axes: Axes, *, x: tuple[float, float], y: float, label: str) -> None:
    """A dimension line along x with arrows at both ends."""
    _arrows(axes, (x[0], y), (x[1], y))
    note(axes, label, (sum(x) / 2, y), away=(0, 2), ha="center", va="bottom", color=INK, knock=True)


def depth(axes: Axes, *, x: float, y: tuple[float, float], label: str) -> None:
    """A dimension line along y with arrows at both ends, lettered so as to be read from the right."""
    _arrows(axes, (x, y[0]), (x, y[1]))
    note(axes, label, (x, sum(y) / 2), away=(-2, 0), ha="right", va="center", color=INK, knock=True, rotation=90)


def _arrows(axes: Axes, start: tuple[float, float], end: tuple[float, float]) -> None:
    style = {"arrowstyle": "<|-|>", "color": INK, "lw": 0.8, "shrinkA": 0, "shrinkB": 0, "mutation_scale": 8}
    axes.annotate("", start, end, arrowprops=style, annotation_clip=False)


def hatched(axes: Axes, x: tuple[float, float], y: tuple[float, float]) -> None:
    """Ground past a wall."""
    axes.add_patch(
        Rectangle((x[0], y[0]), x[1] - x[0], y[1] - y[0], facecolor="none", edgecolor=RULE, hatch="////", linewidth=0)
    )


def note(
    axes: Axes,
    text: str,
    where: tuple[float, float],
    *,
    away: tuple[float, float] = (0, 0),
    color: str = INK_SOFT,
    knock: bool = False,
    fraction: bool = False,
    **settings: Any,
) -> None:
    """Lettering beside a point, ``away`` in points; ``knock`` keeps lines out of it, ``fraction`` counts in axes."""
    box = {"facecolor": SHEET, "edgecolor": "none", "pad": 1} if knock else None
    axes.annotate(
        text,
        where,
        xytext=away,
        textcoords="offset points",
        color=color,
        bbox=box,
        annotation_clip=False,
        xycoords="axes fraction" if fraction else "data",
        **{"fontsize": 8.5, **settings},
    )


def letter(axes: Axes, text: str, where: tuple[float, float], *, away: tuple[float, float] = (0, 0)) -> None:
    """A circled letter that names a part of the drawing."""
    ring = {"boxstyle": "circle,pad=0.2", "facecolor": SHEET, "edgecolor": INK, "linewidth": 0.8}
    axes.annotate(text, where, xytext=away, textcoords="offset points", ha="center", va="bottom", fontsize=8, bbox=ring)


def doubt_bar(
    figure: Figure,
    place: tuple[float, float, float, float],
    *,
    scale: tuple[float, float],
    bars: Sequence[tuple[float, float, float]],
    limit: float | None,
    limit_label: str,
    style: Style,
) -> None:
    """Values with their doubts as dimension lines over one ruler, the limit a wall hatched above it.

    place  left, bottom, width, height of the figure;  bars  (low, value, high), drawn from the top down
    """
    axes = figure.add_axes(place, facecolor="none")
    axes.set_xlim(*scale)
    axes.set_ylim(0, len(bars) + 0.3)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.set_yticks([])
    axes.tick_params(length=3, width=0.8, labelsize=8.5)
    if limit is not None:
        hatched(axes, (limit, min(scale[1], limit + 0.06 * (scale[1] - scale[0]))), (0.15, len(bars) + 0.2))
        axes.plot([limit] * 2, [0, len(bars) + 0.3], color=INK, linewidth=2.2, solid_capstyle="butt")
        note(axes, limit_label, (limit, len(bars) + 0.3), away=(0, 3), ha="center")
    narrow = 0.12 * (scale[1] - scale[0])
    for number, (low, value, high) in enumerate(bars):
        y = len(bars) - number - 0.45
        axes.plot([low, low, high, high], [y, y, y, y], color=style.trace, linewidth=0.9)
        for end in (low, high):
            axes.plot([end, end], [y - 0.22, y + 0.22], color=style.trace, linewidth=0.9)
        if high - low < narrow:  # arrows come from outside, as on any drawing
            for end, start in ((low, low - narrow / 2), (high, high + narrow / 2)):
                arrow = {
                    "arrowstyle": "-|>",
                    "color": style.trace,
                    "lw": 0.9,
                    "shrinkA": 0,
                    "shrinkB": 0,
                    "mutation_scale": 7,
                }
                axes.annotate("", (end, y), (start, y), arrowprops=arrow)
        else:
            arrow = {
                "arrowstyle": "<|-|>",
                "color": style.trace,
                "lw": 0.9,
                "shrinkA": 0,
                "shrinkB": 0,
                "mutation_scale": 7,
            }
            axes.annotate("", (low, y), (high, y), arrowprops=arrow)
        face = SHEET if style.practice else style.trace
        axes.plot([value], [y], marker="o", markersize=5.5, markerfacecolor=face, markeredgecolor=style.trace)


def save(figure: Figure, folder: Path, name: str, *, title: str, description: str) -> list[Path]:
    """Write NAME.svg and NAME.png; the same figure gives the same bytes."""
    vector, pixels = folder / f"{name}.svg", folder / f"{name}.png"
    figure.set_canvas(FigureCanvasSVG(figure))
    told = {"Title": title, "Description": description}
    figure.savefig(vector, format="svg", facecolor=SHEET, metadata={"Date": None, **told})
    text = vector.read_text(encoding="utf-8")
    spoken = f"<desc>{_escaped(description)}</desc>\n "
    vector.write_text(text.replace(" <metadata>", f" {spoken}<metadata>", 1), encoding="utf-8")
    figure.set_canvas(FigureCanvasAgg(figure))
    figure.savefig(pixels, format="png", dpi=DPI, facecolor=SHEET, metadata={"Software": None, **told})
    return [vector, pixels]


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
