"""Drawings of a frequency plan: products with their true widths near the channel, the whole range, the rulers below.

Theory  Geometry in per cent, traces in a stretched view with strokes that do not scale, lettering outside of it: one
        drawing serves every width. Ink only: nothing here was read. Hatched is where not to be.
Source  our own design: docs/look.md.
Holds   What desk/plan_look hands over.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from markupsafe import Markup, escape

from tepui.web.marks import number

if TYPE_CHECKING:  # it brings the numerical libraries; the bench starts without them
    from tepui.desk.plan_look import Look, Reach

TOP_DB, BOTTOM_DB = 14.0, -126.0
RULED_DB = (0, -30, -60, -90, -120)
MOST_LETTERS = 9
TICKS = 6


def letters_of(look: "Look") -> dict[str, str]:
    """A letter for every product drawn near the channel and every one with a name, the nearest first."""
    low, high = look.close_hz
    chosen = [one for one in look.products if one["name"] or (one["high_hz"] > low and one["low_hz"] < high)]
    chosen.sort(key=lambda one: abs(one["centre_hz"] - look.wanted_hz))
    return {one["text"]: chr(ord("A") + n) for n, one in enumerate(chosen[:MOST_LETTERS])}


def close_drawing(look: "Look") -> Markup:
    """Around the channel."""
    near = [one for one in look.products if one["place"] in ("channel", "near")]
    said = ", ".join(f"{one['text']} at {_mhz(one['centre_hz'])} MHz, {one['level_db']:.0f} dB" for one in near[:6])
    label = f"Around the channel: {said}." if near else "Around the channel: no product touches it or its surroundings."
    return _drawing(look, look.close_hz, look.curves["close"], label=label, needed=False)


def whole_drawing(look: "Look") -> Markup:
    """Everything from zero up."""
    label = (
        f"All around: modulator {_mhz(look.if_hz)} MHz, oscillator {_mhz(look.lo_hz)} MHz, channel "
        f"{_mhz(look.wanted_hz)} MHz; {look.needed_db:.0f} dB of rejection needed at the oscillator."
    )
    return _drawing(look, look.whole_hz, look.curves["whole"], label=label, needed=True)


def ribbon(reach: "Reach", side: str) -> Markup:
    """Which modulator frequencies are rejected (a hatched wall) and which marginal (stipple), over the slider."""
    span = reach.high_hz - reach.low_hz or 1.0

    def across(place_hz: float) -> float:
        return 100 * min(max((place_hz - reach.low_hz) / span, 0.0), 1.0)

    parts = []
    for low, high, verdict in reach.runs.get(side, ()):
        x, width = across(low), across(high) - across(low)
        if verdict == "rejected":
            parts.append(f'<rect class="f-hatch" x="{x:.2f}%" width="{width:.2f}%" y="0" height="100%"/>')
            parts.append(_line(x, 0, x, 100, "pen") + _line(x + width, 0, x + width, 100, "pen"))
        elif verdict == "marginal":
            parts.append(f'<rect class="f-stipple" x="{x:.2f}%" width="{width:.2f}%" y="0" height="100%"/>')
    for low, high in reach.locals_hz:
        if high > reach.low_hz and low < reach.high_hz:
            parts.append(_line(across(low), 100, across(high), 100, "thick"))
    bad = ", ".join(f"{_mhz(a)} to {_mhz(b)}" for a, b, verdict in reach.runs.get(side, ()) if verdict == "rejected")
    label = f"Rejected: {bad} MHz." if bad else "No modulator frequency of this range is rejected."
    return Markup('<svg class="ribbon" role="img" aria-label="{}">{}</svg>').format(label, Markup("".join(parts)))


def ruler(low_hz: float, high_hz: float, *, turned: bool = False) -> Markup:
    """Figures under a slider; ``turned`` from high to low."""
    span = high_hz - low_hz or 1.0
    parts = []
    for place in _ticks(low_hz, high_hz):
        x = 100 * (place - low_hz) / span
        x = 100 - x if turned else x
        parts.append(_tick(x, 0, 5) + _text(x, 0, _mhz(place), dy=18, anchor=_anchor(x)))
    return Markup('<svg class="figures" aria-hidden="true">{}</svg>').format(Markup("".join(parts)))


def _drawing(
    look: "Look", ends: tuple[float, float], curve: Sequence[tuple[float, float]], *, label: str, needed: bool
) -> Markup:
    def across(place_hz: float) -> float:
        return 100 * (place_hz - ends[0]) / (ends[1] - ends[0])

    half = look.width_hz / 2
    edges = across(look.wanted_hz - half), across(look.wanted_hz + half)
    parts = [_line(0, _down(level), 100, _down(level), "hair") for level in RULED_DB]
    parts.append(
        f'<rect class="f-wash" x="{edges[0]:.3f}%" width="{edges[1] - edges[0]:.3f}%" y="{_down(0):.2f}%" '
        f'height="{100 - _down(0):.2f}%"/>'
    )
    for low, high in look.protected_hz:
        x = max(across(low), 0.0)
        parts.append(f'<rect class="f-hatch" x="{x:.2f}%" width="{min(across(high), 100) - x:.2f}%" height="100%"/>')
    traces, lettered = [], []
    letters = letters_of(look)
    for one in look.products:
        if one["high_hz"] < ends[0] or one["low_hz"] > ends[1] or one["level_db"] < BOTTOM_DB:
            continue
        traces.append(_product(one, across))
        top = max((level for _, level in one["shape"]), default=one["level_db"])
        if one["text"] in letters:
            x = min(max(across(one["centre_hz"]), 1.5), 98.5)
            lettered.append(_text(x, _down(min(top, TOP_DB)), letters[one["text"]], dy=-4, css="knock t-firm"))
    wanted = [(edges[0], BOTTOM_DB), (edges[0], 0.0), (edges[1], 0.0), (edges[1], BOTTOM_DB)]
    traces.append(f'<path class="thick" d="{_path(wanted)}"/>')
    traces += _filter(curve, across)
    if needed:
        lettered.append(_needed(look, across))
    parts.append(
        '<svg viewBox="0 0 1000 1000" preserveAspectRatio="none" width="100%" height="100%">'
        + "".join(traces)
        + "</svg>"
    )
    scale = [_text(0, _down(level), number(f"{level}"), dx=-8, dy=4, anchor="end", css="t-soft") for level in RULED_DB]
    scale += [_tick(across(place), 100, 5) for place in _ticks(*ends)]
    scale += [_text(across(place), 100, _mhz(place), dy=20, anchor=_anchor(across(place)), css="t-soft")
              for place in _ticks(*ends)]  # fmt: skip
    frame = _line(0, 100, 100, 100, "pen")
    return Markup('<div class="drawing ruled"><svg class="d-plan" role="img" aria-label="{}">{}</svg></div>').format(
        label, Markup("".join([*parts, frame, *scale, *lettered]))
    )


def _product(one: Mapping[str, Any], across: Any) -> str:
    if not one["shape"]:
        x = 10 * across(one["centre_hz"])
        return f'<path class="pen" d="M{x:.1f} 1000V{10 * _down(one["level_db"]):.1f}"/>'
    points = [(across(one["low_hz"]), BOTTOM_DB), *((across(place), level) for place, level in one["shape"]),
              (across(one["high_hz"]), BOTTOM_DB)]  # fmt: skip
    return f'<path class="product" d="{_path(points)}"/>'


def _filter(curve: Sequence[tuple[float, float]], across: Any) -> list[str]:
    """Solid as far as may be claimed of an unmeasured filter, dashed beyond."""
    found = []
    for css, low, high in (("filter", -60.0, 1e9), ("filter beyond", -1e9, -60.0)):
        run: list[tuple[float, float]] = []
        for place, loss in [*curve, (math.nan, math.nan)]:
            if low <= -loss < high:
                run.append((across(place), max(-loss, BOTTOM_DB)))
            elif run:
                found.append(f'<path class="{css}" d="{_path(run)}"/>')
                run = []
    return found


def _needed(look: "Look", across: Any) -> str:
    """A dimension line from the oscillator's line down to where it has to be."""
    line = next((one for one in look.products if one["name"] == "oscillator"), None)
    if line is None or look.needed_db <= 0:
        return ""
    x, top, bottom = across(line["centre_hz"]), _down(line["level_db"]), _down(line["level_db"] - look.needed_db)
    aside = x + 1.2 if x < 80 else x - 1.2
    arrows = "".join(
        f'<svg x="{aside:.2f}%" y="{y:.2f}%" overflow="visible"><path class="f-ink" transform="rotate({turn})" '
        'd="M0 0L-8 -2.5V2.5Z"/></svg>'
        for y, turn in ((top, -90), (bottom, 90))
    )
    anchor, dx = ("start", 6) if x < 80 else ("end", -6)
    return (
        _line(aside, top, aside, bottom, "thin")
        + _line(x, bottom, aside, bottom, "thin")
        + arrows
        + _text(aside, (top + bottom) / 2, f"{look.needed_db:.0f} dB needed", dx=dx, dy=4, anchor=anchor, css="knock")
    )


def _down(level_db: float) -> float:
    return 100 * (TOP_DB - level_db) / (TOP_DB - BOTTOM_DB)


def _path(points: Iterable[tuple[float, float]]) -> str:
    return "M" + "L".join(f"{10 * x:.1f} {10 * _down(level):.1f}" for x, level in points)


def _ticks(low_hz: float, high_hz: float) -> list[float]:
    raw = (high_hz - low_hz) / TICKS
    if raw <= 0:
        return [low_hz]
    power = 10 ** math.floor(math.log10(raw))
    step = power * next(times for times in (1, 2, 5, 10) if times * power >= raw)
    return [count * step for count in range(math.ceil(low_hz / step), math.floor(high_hz / step) + 1)]


def _mhz(place_hz: float) -> str:
    return f"{place_hz / 1e6:.8g}"


def _anchor(x: float) -> str:
    return "start" if x < 3 else "end" if x > 97 else "middle"


def _line(x1: float, y1: float, x2: float, y2: float, css: str) -> str:
    return f'<line class="{css}" x1="{x1:.2f}%" y1="{y1:.2f}%" x2="{x2:.2f}%" y2="{y2:.2f}%"/>'


def _tick(x: float, y: float, size: float) -> str:
    return f'<svg x="{x:.2f}%" y="{y}%" overflow="visible"><path class="rule" d="M0 0V{size}"/></svg>'


def _text(x: float, y: float, text: str, *, dx: float = 0, dy: float = 0, anchor: str = "middle", css: str = "") -> str:
    place = f'x="{x:.2f}%" y="{y:.2f}%" dx="{dx}" dy="{dy}"'
    return f'<text {place} text-anchor="{anchor}" class="{css}">{escape(text)}</text>'
