"""The profile of a path as a page draws it: curved Earth, ray, Fresnel zone, obstacle, and the heights that clear it.

Theory  Curves lie in a box of 1000 by 1000 that is stretched to the drawing, their strokes not; lettering and marks lie
        beside them in per cent, so that one drawing serves every width.
Source  our own design: docs/look.md; the table path_profile of the verb path.
Holds   Rows from the transmitter on, the ends included.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from markupsafe import Markup, escape

from tepui.web.marks import number
from tepui.web.rulers import nice_steps

CLEAR_SHARE, HEADROOM = 0.6, 0.16
LEAST_SHARE = 0.35  # of the height: ground that begins above it is drawn without the sea
LEFT = 6.0
Rows = Sequence[Sequence[float]]


def profile_drawing(document: Mapping[str, Any], *, about: str) -> Markup:
    """An SVG of one path's profile; empty where the document has none."""
    rows = profile_rows(document, about)
    found = {one["key"]: one for one in document["findings"] if one["about"] == about}
    if len(rows) < 3:
        return Markup("")
    x = [row[0] for row in rows]
    top = [row[1] + row[2] for row in rows]
    line, zone = [row[3] for row in rows], [row[4] for row in rows]
    high = max(*top, *(a + b for a, b in zip(line, zone, strict=True)))
    low = base_m(min(top), high)
    high += HEADROOM * (high - low)

    def across(metres: float) -> float:
        return 1000 * metres / x[-1]

    def down(metres: float) -> float:
        return 1000 * (high - metres) / (high - low)

    def curve(heights: Sequence[float]) -> str:
        return "M" + "L".join(f"{across(a):.1f} {down(b):.1f}" for a, b in zip(x, heights, strict=True))

    ground = f"{curve(top)}L1000 1000L0 1000Z"
    zones = [[a + sign * share * b for a, b in zip(line, zone, strict=True)] for share in (1.0, CLEAR_SHARE)
             for sign in (1, -1)]  # fmt: skip
    curves = Markup(
        '<svg x="{left}%" width="{width}%" height="100%" viewBox="0 0 1000 1000" preserveAspectRatio="none">'
        '<path class="f-wash" d="{ground}"/><path class="before" d="{sea}"/>'
        '<path class="hair" d="{a}"/><path class="hair" d="{b}"/><path class="planned" d="{c}"/>'
        '<path class="planned" d="{d}"/><path class="pen" d="{top}"/><path class="thin" d="{ray}"/>'
        '<path class="thick" d="M0 {t0:.1f}V{t1:.1f}"/><path class="thick" d="M1000 {r0:.1f}V{r1:.1f}"/></svg>'
    ).format(
        left=LEFT,
        width=100 - LEFT,
        ground=ground,
        sea=curve([row[2] for row in rows]),
        a=curve(zones[0]),
        b=curve(zones[1]),
        c=curve(zones[2]),
        d=curve(zones[3]),
        top=curve(top),
        ray=curve(line),
        t0=down(top[0]),
        t1=down(line[0]),
        r0=down(top[-1]),
        r1=down(line[-1]),
    )

    def place(metres: float) -> float:
        return LEFT + (100 - LEFT) * metres / x[-1]

    parts = [curves, *_rulers(x[-1], low, high, place, down), *_obstacle(found, rows, place, down)]
    return Markup('<svg class="d-profile" role="img" aria-label="{}">{}</svg>').format(
        _spoken(found, x[-1]), Markup("").join(parts)
    )


def base_m(lowest: float, high: float) -> float:
    """Where the drawing begins: at the sea, unless all of the ground lies high above it. [m]"""
    return lowest - 0.12 * (high - lowest) if lowest > LEAST_SHARE * high else min(lowest, 0.0)


def profile_rows(document: Mapping[str, Any], about: str) -> Rows:
    """Rows of the table of one path, numbers only."""
    table = document["tables"].get("path_profile")
    if table is None:
        return []
    if table["columns"][0]["key"] != "about":
        return list(table["rows"])
    return [row[1:] for row in table["rows"] if row[0] == about]


def _rulers(length_m: float, low: float, high: float, place: Any, down: Any) -> list[Markup]:
    parts = [Markup('<line class="rule" x1="{0}%" x2="{0}%" y1="0" y2="100%"/>').format(LEFT)]
    parts.append(Markup('<line class="rule" x1="{}%" x2="100%" y1="100%" y2="100%"/>').format(LEFT))
    for metres in nice_steps(low, high, 5):
        parts.append(
            Markup('<svg x="{}%" y="{:.2f}%" overflow="visible"><path class="rule" d="M0 0H-6"/>'
                   '<text class="t-soft" x="-9" y="4" text-anchor="end">{}</text></svg>').format(
                LEFT, down(metres) / 10, number(f"{metres:g}"))
        )  # fmt: skip
    for km in nice_steps(0, length_m / 1e3, 6):
        parts.append(
            Markup('<svg x="{:.2f}%" y="100%" overflow="visible"><path class="rule" d="M0 0V6"/>'
                   '<text class="t-soft" y="20" text-anchor="middle">{}</text></svg>').format(
                place(1e3 * km), f"{km:g}")
        )  # fmt: skip
    return parts


def _obstacle(found: Mapping[str, Any], rows: Rows, place: Any, down: Any) -> list[Markup]:
    """The worst point, dimensioned against the ray."""
    x, top, line = [row[0] for row in rows], [row[1] + row[2] for row in rows], [row[3] for row in rows]
    at = found.get("obstacle_distance_m")
    if at is None or at["value"] is None:
        return []
    n = min(range(len(x)), key=lambda i: abs(x[i] - at["value"]))
    above = float(found["obstacle_height_m"]["value"])
    left, upper, lower = place(x[n]), down(max(top[n], line[n])) / 10, down(min(top[n], line[n])) / 10
    anchor, shift = ("end", -8) if left > 70 else ("start", 8)
    words = f"{abs(above):.0f} m {'above' if above >= 0 else 'below'} the ray"
    return [
        Markup('<line class="thin" x1="{0:.2f}%" x2="{0:.2f}%" y1="{1:.2f}%" y2="{2:.2f}%"/>').format(
            left, upper, lower
        ),
        Markup('<circle class="pen f-sheet" cx="{:.2f}%" cy="{:.2f}%" r="4"/>').format(left, down(top[n]) / 10),
        Markup('<text class="knock" x="{:.2f}%" y="{:.2f}%" dx="{}" dy="-8" text-anchor="{}">{}</text>').format(
            left, upper, shift, anchor, words
        ),
    ]


def _spoken(found: Mapping[str, Any], length_m: float) -> str:
    seen = found.get("path_visible", {}).get("value")
    words = [
        f"Profile of {length_m / 1e3:.1f} km",
        "the antennas see each other" if seen else "the ground is in the way",
    ]
    clear = found.get("fresnel_clearance", {}).get("value")
    if clear is not None:
        words.append(number(f"clearance {clear:.2f} of the first Fresnel zone"))
    rise = found.get("clear_rise_m", {}).get("value")
    if rise is not None:
        words.append(f"both masts {rise:.0f} m higher clear 0.6 of it")
    return str(escape("; ".join(words)))
