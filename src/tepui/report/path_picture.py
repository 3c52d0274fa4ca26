"""The profile of a path: ground on the curved Earth, the straight ray, its Fresnel zone, what stands in it.

Theory  The line between the antennas is drawn straight, so the Earth bulges under it by d1 d2/(2 ae). What reaches into
        0.6 of the first Fresnel zone costs; the obstacle is the point with the largest diffraction parameter.
Source  [P.526] 4.1; [P.530] for 0.6, from memory; our own design, see theme.py.
Holds   Heights above the sea; the vertical scale is many times the horizontal one, which the foot says.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from tepui.ground.finding_text import label_text, value_parts
from tepui.report.theme import COLUMN, INK, INK_SOFT, RULE, TOP, WASH, Style, depth, note, plot, reading, sheet

Data = Mapping[str, Any]
CLEAR_SHARE = 0.6
HEADROOM = 0.18
LEAST_SHARE = 0.35  # of the height: ground that begins above it is drawn without the sea


def path_profile(data: Data, style: Style) -> tuple[Figure, str, str]:
    """Ground, ray and Fresnel zone, the obstacle dimensioned, and the heights that clear it."""
    distance_km = np.asarray(data["distance_m"], dtype=float) / 1e3
    bulge, ground = np.asarray(data["bulge_m"], dtype=float), np.asarray(data["ground_m"], dtype=float)
    line, zone = np.asarray(data["line_m"], dtype=float), np.asarray(data["fresnel_m"], dtype=float)
    worst = int(data["worst"])
    seen = "the antennas see each other" if data["visible"] else "the ground stands in the line of sight"
    title = "Profile of the path"
    sentence = f"{data['name']}, {distance_km[-1]:.1f} km: {seen}."
    figure = sheet(title, sentence, str(data["foot"]), style=style)
    axes = plot(figure)
    top = ground + bulge
    axes.fill_between(distance_km, np.minimum(bulge + min(0.0, float(ground.min())), top), top, color=WASH, linewidth=0)
    axes.plot(distance_km, top, color=INK, linewidth=1.2)
    axes.plot(distance_km, bulge, color=RULE, linewidth=0.8, dashes=(1, 3))
    for share, dashes in ((1.0, (5, 3)), (CLEAR_SHARE, (2, 2))):
        for sign in (1, -1):
            axes.plot(distance_km, line + sign * share * zone, color=INK_SOFT, linewidth=0.7, dashes=dashes)
    axes.plot(distance_km, line, color=INK, linewidth=1.0)
    for end, rise in ((0, -1), (-1, 1)):
        axes.plot([distance_km[end]] * 2, [top[end], line[end]], color=INK, linewidth=2.0, solid_capstyle="butt")
        axes.plot(distance_km[end], line[end], "o", markersize=5, markerfacecolor="white", markeredgecolor=INK)
        note(axes, data["ends"][0 if rise < 0 else 1], (distance_km[end], line[end]), away=(4 * -rise, 8),
             ha="left" if rise < 0 else "right", color=INK)  # fmt: skip
    high, lowest = float(max(top.max(), (line + zone).max())), float(top.min())
    low = lowest - 0.12 * (high - lowest) if lowest > LEAST_SHARE * high else min(lowest, 0.0)
    axes.set_xlim(0, distance_km[-1])
    axes.set_ylim(low, high + HEADROOM * (high - low))
    _obstacle(axes, distance_km[worst], top[worst], line[worst])
    note(axes, "km", (1, 0), away=(6, -12), fraction=True, fontsize=9.5)
    note(axes, "m", (0, 1), away=(-20, 6), fraction=True, fontsize=9.5)
    finding = data["finding"]
    value, doubt, unit = value_parts(finding)
    reading(figure, label=label_text(finding.key), value=value, doubt=doubt, unit=unit, standing=finding.standing,
            style=style)  # fmt: skip
    lines = [*data["lines"], "dashes: first Fresnel zone and 0.6 of it", "dots: the sea, bulging as the Earth does"]
    for number, words in enumerate(lines):
        figure.text(COLUMN, TOP - 0.22 - 0.042 * number, words, fontsize=8.8, color=INK_SOFT)
    spoken = f"{label_text(finding.key)} {value} {doubt} {unit}".replace("  ", " ").strip()
    return figure, title, f"Profile of {sentence} {spoken}; {'; '.join(data['lines'])}."


def _obstacle(axes: Any, at_km: float, top_m: float, line_m: float) -> None:
    """What stands most in the way, dimensioned against the line."""
    axes.plot(at_km, top_m, "v", markersize=6, color=INK)
    if abs(top_m - line_m) > 0.02 * np.ptp(axes.get_ylim()):
        depth(axes, x=at_km, y=(min(top_m, line_m), max(top_m, line_m)), label=f"{abs(top_m - line_m):.0f} m")
