"""The doubt bar: a number as a dimension line, its limit as a hatched wall, on a ruler of its own.

Theory  Geometry in per cent of the drawing, lettering in rem, so that one drawing serves every width. The ruler spans
        what is known and the limit with room beside; its steps are 1, 2 or 5 times a power of ten.
Source  our own design: docs/look.md.
Holds   Findings that are numbers; a bound has an open arrow, unknown an empty frame.
"""

import math
from collections.abc import Callable, Iterator

from markupsafe import Markup

from tepui.ground.finding_text import label_text, scale_for, value_text
from tepui.ground.findings import Finding
from tepui.web.marks import number

WIDTH_PX = 260
Across = Callable[[float], float]
MIDDLE, RULER = 42.0, 84.0


def doubt_bar(finding: Finding, *, practice: bool = False) -> Markup:
    """An SVG of the finding's doubt; empty for what is no number or is exact."""
    if not finding.is_number or finding.low == finding.high:
        return Markup("")
    low, high, step = _ruler(finding)

    def across(amount: float) -> float:
        return 100 * (min(max(amount, low), high) - low) / (high - low)

    parts = [_line(0, RULER, 100, RULER, "hair"), *_ticks(low, high, step, across)]
    if finding.limit is not None:
        parts += _wall(finding, across)
    parts += _dimension(finding, across, practice=practice)
    text = f"{label_text(finding.key)}: {value_text(finding)}"
    if finding.limit is not None:
        text += f", limit {finding.limit:g}"
    return Markup('<svg class="doubt" role="img" aria-label="{}">{}{}</svg>').format(
        number(text), Markup("".join(parts)), _figures(finding, low, high, step, across)
    )


def plan_bar(*, planned: float, before: float, now: Finding, reach: float, read: float | None) -> Markup:
    """A level against its plan: dotted the doubt before any reading, solid what is left of it, a disc what was read.

    before  95 % doubt before any reading; reach  what the ruler spans on either side of the plan [dB]
    """

    def across(amount: float) -> float:
        return 50 + 50 * min(max((amount - planned) / reach, -1.0), 1.0)

    assert now.low is not None
    assert now.high is not None
    low, high, place = across(now.low), across(now.high), across(float(now.value))  # type: ignore[arg-type]
    a, b = across(planned - before), across(planned + before)
    ticks = [50 + 50 * step / reach for step in range(-int(reach), int(reach) + 1)]
    marks = "".join(
        f'<svg x="{x:.2f}%" y="{RULER}%" overflow="visible"><path class="rule" d="M0 0V-3"/></svg>' for x in ticks
    )
    solid = _line(low, 60, high, 60, "thin") + _arrow(low, 180, "f-ink", 60) + _arrow(high, 0, "f-ink", 60)
    shown = "" if read is None else f'<circle class="f-pencil" cx="{across(read):.2f}%" cy="60%" r="3.6"/>'
    ring = f'<circle class="pen f-sheet" cx="{place:.2f}%" cy="60%" r="3.4"/>' if read is None else shown
    text = f"planned {planned:.1f} ± {before:.1f} dBm, now {value_text(now)}"
    return Markup('<svg class="doubt" role="img" aria-label="{}">{}</svg>').format(
        number(text),
        Markup(
            _line(0, RULER, 100, RULER, "hair")
            + marks
            + '<line class="chainline" x1="50%" x2="50%" y1="-10%" y2="104%"/>'
            + _line(a, 24, b, 24, "before")
            + solid
            + ring
        ),
    )


def _ruler(finding: Finding) -> tuple[float, float, float]:
    known = [end for end in (finding.low, finding.high, finding.limit) if end is not None]
    known.append(float(finding.value))  # type: ignore[arg-type]
    low, high = min(known), max(known)
    room = 0.35 * (high - low) or abs(high) * 0.1 or 1.0
    low, high = low - room, high + room
    raw = (high - low) / 8
    power = 10 ** math.floor(math.log10(raw))
    step = power * next(times for times in (1, 2, 5, 10) if times * power >= raw)
    return low, high, step


def _ticks(low: float, high: float, step: float, across: Across) -> Iterator[str]:
    first = math.ceil(low / step - 1e-9)
    for count in range(first, math.floor(high / step + 1e-9) + 1):
        size = -5 if count % 5 == 0 else -3
        tick = f'<path class="rule" d="M0 0V{size}"/>'
        yield f'<svg x="{across(count * step):.2f}%" y="{RULER}%" overflow="visible">{tick}</svg>'


def _wall(finding: Finding, across: Across) -> list[str]:
    assert finding.limit is not None
    place = across(finding.limit)
    if finding.limit_sense == "at_least":
        left, width = max(0.0, place - 9), min(place, 9.0)
    else:
        left, width = place, min(100 - place, 9.0)
    return [
        f'<rect class="f-hatch" x="{left:.2f}%" y="8%" width="{width:.2f}%" height="{RULER - 8}%"/>',
        _line(place, 4, place, RULER, "thick"),
    ]


def _dimension(finding: Finding, across: Across, *, practice: bool) -> list[str]:
    place = across(float(finding.value))  # type: ignore[arg-type]
    if finding.standing in ("at_most", "at_least"):
        end, turn = (0, 180) if finding.standing == "at_most" else (100, 0)
        stop = f'<svg x="{place:.2f}%" y="{MIDDLE}%" overflow="visible"><path class="thick" d="M0 -8V8"/></svg>'
        return [_line(end, MIDDLE, place, MIDDLE, "thin"), _arrow(end, turn, "f-ink"), stop]
    read = finding.standing == "measured" and not practice
    pen, fill = ("pencil", "f-pencil") if read else ("thin", "f-ink")
    assert finding.low is not None
    assert finding.high is not None
    a, b = across(finding.low), across(finding.high)
    ends = [
        f'<svg x="{end:.2f}%" y="{MIDDLE}%" overflow="visible"><path class="{pen}" d="M0 -5.5V5.5"/></svg>'
        for end in (a, b)
    ]
    if (b - a) / 100 * WIDTH_PX < 34:
        out = 14 / WIDTH_PX * 100
        lines = [_line(a - out, MIDDLE, a, MIDDLE, pen), _line(b, MIDDLE, b + out, MIDDLE, pen)]
        arrows = [_arrow(a, 0, fill), _arrow(b, 180, fill)]
    else:
        lines, arrows = [], [_arrow(a, 180, fill), _arrow(b, 0, fill)]
    dot = (
        f'<circle class="f-pencil" cx="{place:.2f}%" cy="{MIDDLE}%" r="4.2"/>'
        if read
        else f'<circle class="pen f-sheet" cx="{place:.2f}%" cy="{MIDDLE}%" r="3.8"/>'
    )
    return [*ends, _line(a, MIDDLE, b, MIDDLE, pen), *lines, *arrows, dot]


def _figures(finding: Finding, low: float, high: float, step: float, across: Across) -> Markup:
    """A number under every fifth tick, in the unit the value is shown in."""
    scale = scale_for(max(abs(low), abs(high)), finding.unit)
    shown = []
    first = math.ceil(low / step - 1e-9)
    counts = [count for count in range(first, math.floor(high / step + 1e-9) + 1) if count % 5 == 0]
    if len(counts) < 2:
        counts = list(range(first, math.floor(high / step + 1e-9) + 1))[:: max(1, round((high - low) / step / 3))]
    for count in counts:
        place = across(count * step)
        side = "start" if place < 8 else "end" if place > 92 else "middle"
        text = number(f"{count * step / 10**scale.exponent:.6g}")
        shown.append(f'<text x="{place:.2f}%" y="{RULER}%" dy="15" text-anchor="{side}">{text}</text>')
    return Markup("".join(shown))


def _line(x1: float, y1: float, x2: float, y2: float, css: str) -> str:
    return f'<line class="{css}" x1="{x1:.2f}%" y1="{y1:.2f}%" x2="{x2:.2f}%" y2="{y2:.2f}%"/>'


def _arrow(x: float, turn: int, css: str, y: float = MIDDLE) -> str:
    head = f'<path class="{css}" transform="rotate({turn})" d="M0 0L-8 -2.5V2.5Z"/>'
    return f'<svg x="{x:.2f}%" y="{y}%" overflow="visible">{head}</svg>'
