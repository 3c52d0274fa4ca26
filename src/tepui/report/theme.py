"""How pictures look: a workshop drawing sheet. One palette, one face, and the few marks everything is drawn with.

Theory  Ink is said, pencil is read: the warm colour means that a value came from a reading, and nothing else. A doubt
        is a dimension line, a limit is a hatched wall. In practice ink stands for pencil and the mark is hatched.
Source  our own design; face National Park, SIL Open Font License (fonts/OFL.txt).
Holds   Literal colours, so that a picture prints and travels alone.
"""

from collections.abc import Iterator
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

SHEET, WASH, INK, INK_SOFT, RULE, HAIR = "#f8f8f4", "#eceee7", "#14202a", "#435059", "#74818a", "#cdd2cc"
PENCIL, PENCIL_WASH = "#a93406", "#f2ddcf"
FACE = "National Park"
FONTS = Path(__file__).parent / "fonts"
WIDTH_IN, HEIGHT_IN, DPI = 8.6, 5.2, 150
LEFT, RIGHT, BOTTOM, TOP = 0.085, 0.655, 0.215, 0.775
COLUMN = 0.705


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
    settings: dict[str, Any] = {
        "font.family": [FACE, "DejaVu Sans"], "font.size": 9.5, "text.color": INK, "axes.edgecolor": RULE,
        "axes.labelcolor": INK_SOFT, "xtick.color": RULE, "ytick.color": RULE, "xtick.labelcolor": INK_SOFT,
        "ytick.labelcolor": INK_SOFT, "axes.linewidth": 0.8, "svg.fonttype": "none", "svg.hashsalt": "tepui",
        "axes.unicode_minus": True, "path.simplify": True, "hatch.linewidth": 0.6,
    }  # fmt: skip
    with mpl.rc_context(settings):
        yield


def sheet(title: str, sentence: str, foot: str, *, style: Style) -> Figure:
    """An empty sheet: frame with the mountain's flat top, title, one sentence, title block."""
    figure = Figure(figsize=(WIDTH_IN, HEIGHT_IN), facecolor=SHEET)
    left, right, low, high, top = 0.018, 0.982, 0.03, 0.945, 0.982
    outline = [
        (left, low), (left, high), (0.03, high), (0.036, top), (0.125, top), (0.131, high), (right, high), (right, low),
        (left, low),
    ]  # fmt: skip
    figure.add_artist(Line2D([x for x, _ in outline], [y for _, y in outline], color=INK, linewidth=1.6))
    figure.text(0.0805, 0.9525, "tepui", ha="center", fontsize=11, weight="bold")
    figure.text(0.04, 0.88, title, fontsize=16)
    figure.text(0.04, 0.835, sentence, fontsize=9.5, color=INK_SOFT)
    figure.add_artist(Line2D([left, right], [0.085, 0.085], color=INK, linewidth=1.0))
    figure.text(0.04, 0.045, foot, fontsize=8.5, color=INK_SOFT)
    if style.practice:
        figure.text(
            0.965, 0.955, "practice", ha="right", fontsize=10, weight="bold",
            bbox={"boxstyle": "square,pad=0.25", "facecolor": SHEET, "edgecolor": INK, "hatch": "////", "linewidth": 1},
        )  # fmt: skip
    return figure


def plot(figure: Figure, *, right: float = RIGHT, bottom: float = BOTTOM) -> Axes:
    """Axes with rulers on two sides only, ticks outside, no grid."""
    axes = figure.add_axes((LEFT, bottom, right - LEFT, TOP - bottom), facecolor=SHEET)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.tick_params(direction="out", length=4, width=0.8)
    return axes


def reading(
    figure: Figure, *, label: str, value: str, doubt: str, unit: str, standing: str, style: Style, top: float = TOP
) -> None:
    """The number a picture exists for, large, beside it, with its mark and doubt."""
    figure.add_artist(Line2D([COLUMN, 0.955], [top, top], color=INK, linewidth=1.4))
    figure.text(COLUMN, top - 0.05, label, fontsize=10)
    colour = style.trace if standing == "measured" else INK
    _mark(figure, COLUMN + 0.012, top - 0.121, standing=standing, style=style)
    number = figure.text(COLUMN + 0.032, top - 0.14, value, fontsize=26, color=colour)
    figure.draw_without_rendering()
    box = number.get_window_extent()
    end = box.x1 / figure.bbox.width
    figure.text(end + 0.008, top - 0.14, f"{doubt} {unit}".strip(), fontsize=11, color=colour)


def _mark(figure: Figure, x: float, y: float, *, standing: str, style: Style) -> None:
    measured = standing == "measured"
    face = style.trace if measured and not style.practice else SHEET
    marker = Line2D(
        [x], [y], marker="o", markersize=8, markerfacecolor=face, markeredgecolor=style.trace if measured else INK,
        markeredgewidth=1.4, linestyle="none",
    )  # fmt: skip
    figure.add_artist(marker)
    if measured and style.practice:  # hatched disc: two strokes inside the ring
        for away in (-0.0022, 0.0022):
            figure.add_artist(Line2D([x + away - 0.0022, x + away + 0.0022], [y - 0.005, y + 0.005], color=INK, lw=0.9))


def wall(axes: Axes, *, x: float, side: str, width: float, label: str) -> None:
    """A limit on the x axis: a thick line, hatched on the side not to be on."""
    low, high = axes.get_ylim()
    start = x if side == "right" else x - width
    axes.add_patch(Rectangle((start, low), width, high - low, facecolor="none", edgecolor=RULE, hatch="////", linewidth=0))
    axes.plot([x, x], [low, high], color=INK, linewidth=2.2, solid_capstyle="butt")
    axes.annotate(label, (x, high), xytext=(0, 3), textcoords="offset points", ha="center", fontsize=8.5, color=INK_SOFT)


def dimension(axes: Axes, *, x: tuple[float, float], y: float, label: str) -> None:
    """A dimension line along x with arrows at both ends."""
    axes.annotate("", (x[0], y), (x[1], y), arrowprops={"arrowstyle": "<|-|>", "color": INK, "lw": 0.8, "shrinkA": 0,
                                                         "shrinkB": 0, "mutation_scale": 8})  # fmt: skip
    axes.annotate(label, (sum(x) / 2, y), xytext=(0, 2), textcoords="offset points", ha="center", va="bottom", fontsize=8.5,
                  bbox={"facecolor": SHEET, "edgecolor": "none", "pad": 1})  # fmt: skip


def save(figure: Figure, folder: Path, name: str, *, title: str, description: str) -> list[Path]:
    """Write NAME.svg and NAME.png; the same figure gives the same bytes."""
    vector, pixels = folder / f"{name}.svg", folder / f"{name}.png"
    figure.set_canvas(FigureCanvasSVG(figure))
    figure.savefig(vector, format="svg", facecolor=SHEET, metadata={"Date": None, "Title": title, "Description": description})
    text = vector.read_text(encoding="utf-8")
    spoken = f'<title>{_escaped(title)}</title>\n <desc>{_escaped(description)}</desc>\n '
    vector.write_text(text.replace(" <metadata>", f" {spoken}<metadata>", 1), encoding="utf-8")
    figure.set_canvas(FigureCanvasAgg(figure))
    figure.savefig(pixels, format="png", dpi=DPI, facecolor=SHEET, metadata={"Software": None, "Description": description})
    return [vector, pixels]


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
