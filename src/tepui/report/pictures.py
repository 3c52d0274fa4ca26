"""The pictures of a reception, each with the number it exists for beside it.

Theory  A picture is drawn from the arrays a job hands back under its name; nothing is computed here but scales.
Source  our own design, see theme.py.
Holds   Names in DRAWN; another name is our own fault.
"""

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.colors import LinearSegmentedColormap
from matplotlib.figure import Figure
from scipy.constants import speed_of_light

from tepui.ground.finding_text import label_text, value_parts
from tepui.ground.findings import Finding
from tepui.report.drive_peaks_picture import drive_peaks
from tepui.report.drive_picture import drive
from tepui.report.map_picture import coverage
from tepui.report.path_picture import path_profile
from tepui.report.plan_picture import frequency_plan
from tepui.report.spectrum_pictures import ccdf, spectrum
from tepui.report.stitched_picture import stitched
from tepui.report.theme import (
    COLUMN,
    INK,
    INK_SOFT,
    RULE,
    SHEET,
    TOP,
    Style,
    dimension,
    drawing,
    letter,
    note,
    plot,
    reading,
    save,
    sheet,
    style_for,
    wall,
)
from tepui.report.trend_picture import far_reports, trend
from tepui.report.tune_picture import tune

Data = Mapping[str, Any]


def draw_pictures(pictures: Mapping[str, Data], folder: Path, *, practice: bool) -> list[Path]:
    """Write every picture as SVG and PNG into a folder that exists.

    returns  the files, in the order drawn
    raises   KeyError for a name nobody can draw
    """
    style = style_for(practice=practice)
    files: list[Path] = []
    with drawing():
        for name, data in pictures.items():
            figure, title, description = DRAWN[name](data, style)
            files += save(figure, folder, name, title=title, description=description)
    return files


def _beside(figure: Figure, finding: Finding, style: Style) -> str:
    value, doubt, unit = value_parts(finding)
    reading(
        figure,
        label=label_text(finding.key),
        value=value,
        doubt=doubt,
        unit=unit,
        standing=finding.standing,
        style=style,
    )
    return f"{label_text(finding.key)} {value} {doubt} {unit}".replace("  ", " ").strip()


def _notes(figure: Figure, lines: list[str], *, top: float = TOP - 0.22) -> None:
    for number, line in enumerate(lines):
        figure.text(COLUMN, top - 0.042 * number, line, fontsize=8.8, color=INK_SOFT)


def _constellation(data: Data, style: Style) -> tuple[Figure, str, str]:
    counts, reach = np.asarray(data["counts"], dtype=float), float(data["reach"])
    title = "Constellation density"
    figure = sheet(title, "Equalised data cells; the denser the cells, the darker.", data["mode"], style=style)
    axes = figure.add_axes((0.085, 0.15, 0.386, 0.638), facecolor=SHEET)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    shades = LinearSegmentedColormap.from_list("cells", [SHEET, style.wash, style.trace, INK])
    seen = np.log1p(counts) / max(np.log1p(counts.max()), 1e-9)
    axes.imshow(seen, origin="lower", extent=(-reach, reach, -reach, reach), cmap=shades, interpolation="nearest")
    axes.axhline(0, color=RULE, linewidth=0.5, dashes=(12, 3, 2, 3))
    axes.axvline(0, color=RULE, linewidth=0.5, dashes=(12, 3, 2, 3))
    axes.set_xticks([-1, 0, 1])
    axes.set_yticks([-1, 0, 1])
    axes.tick_params(length=4, width=0.8)
    spoken = _beside(figure, data["finding"], style)
    total = int(counts.sum())
    _notes(figure, [f"{total:,} cells".replace(",", " "), "I across, Q up; mean power of the", "ideal points is 1"])
    return figure, title, f"Density of {total} equalised data cells of {data['mode']}; {spoken}."


def _impulse_response(data: Data, style: Style) -> tuple[Figure, str, str]:
    delay_us, level = np.asarray(data["delay_s"]) * 1e6, np.asarray(data["level_db"])
    guard_us, first_us = float(data["guard_s"]) * 1e6, float(data["first_s"]) * 1e6
    echoes = [(delay * 1e6, gain) for delay, gain in data["echoes"] if (delay, gain) != (0.0, 0.0)]
    echoes = [(delay, gain) for delay, gain in echoes if gain < -0.01 or abs(delay) > 0]
    title = "Impulse response"
    count = len(echoes)
    words = "no echo" if count == 0 else f"{count} echo" + ("es" if count > 1 else "")
    figure = sheet(title, f"Level over delay, the strongest path at zero: {words} found.", data["mode"], style=style)
    axes = plot(figure, bottom=0.26)
    floor = max(-60.0, float(np.percentile(level, 10)) - 5)
    low, high = -0.12 * guard_us + min(first_us, 0), first_us + 1.12 * guard_us
    shown = (delay_us >= low) & (delay_us <= high)
    axes.plot(delay_us[shown], np.maximum(level[shown], floor), color=style.trace, linewidth=1.1)
    axes.fill_between(delay_us[shown], np.maximum(level[shown], floor), floor, color=style.wash, linewidth=0)
    axes.set_xlim(low, high)
    axes.set_ylim(floor, 6)
    wall(axes, x=first_us + guard_us, side="right", width=high - first_us - guard_us, label="guard ends")
    ends = (first_us, first_us + guard_us)
    dimension(axes, x=ends, y=2.0, label=f"guard {guard_us:.3g} µs, {guard_us * speed_of_light * 1e-9:.3g} km")
    for number, (where, gain) in enumerate(echoes[:9]):
        letter(axes, chr(65 + number), (where, gain), away=(0, 9))
    across = axes.secondary_xaxis(-0.13, functions=(_to_km, _to_us))
    across.spines["bottom"].set_color(RULE)
    across.tick_params(length=4, width=0.8)
    note(axes, "µs", (1, 0), away=(6, -12), fraction=True, fontsize=9.5)
    note(axes, "km", (1, -0.13), away=(6, -12), fraction=True, fontsize=9.5)
    note(axes, "dB", (0, 1), away=(-20, 6), fraction=True, fontsize=9.5)
    lines = []
    for number, (where, gain) in enumerate(echoes[:9]):
        away_m = where * speed_of_light * 1e-6
        far = f"{away_m / 1e3:.2f} km" if abs(away_m) >= 1000 else f"{away_m:.0f} m"
        lines.append(f"{chr(65 + number)}   {gain:.1f} dB at {where:.2f} µs, {far}".replace("-", "\N{MINUS SIGN}"))
    if echoes:
        value, unit = f"{max(gain for _, gain in echoes):.1f}".replace("-", "\N{MINUS SIGN}"), "dB"
        reading(figure, label="Strongest echo", value=value, doubt="", unit=unit, standing="measured", style=style)
    else:
        reading(figure, label="Echoes", value="none", doubt="", unit="", standing="measured", style=style)
        lines = ["above 40 dB below the main path"]
    _notes(figure, lines)
    return figure, title, f"Impulse response of {data['mode']} against a guard of {guard_us:.3g} µs: {words} found."


def _to_km(delay_us: Any) -> Any:
    return delay_us * speed_of_light * 1e-9


def _to_us(path_km: Any) -> Any:
    return path_km / (speed_of_light * 1e-9)


def _mer_by_carrier(data: Data, style: Style) -> tuple[Figure, str, str]:
    frequency, level, hit = np.asarray(data["frequency_hz"]) / 1e6, np.asarray(data["mer_db"]), np.asarray(data["hit"])
    title = "MER by carrier"
    struck = int(hit.sum())
    words = "no carrier is hit by a line" if struck == 0 else f"{struck} carriers are hit by a line"
    figure = sheet(title, f"Each data carrier over all symbols; {words}.", data["mode"], style=style)
    axes = plot(figure)
    axes.plot(frequency, level, linestyle="none", marker=".", markersize=2.2, color=style.trace, rasterized=True)
    if struck:
        axes.plot(frequency[hit], level[hit], "o", markersize=6, markerfacecolor="none", color=INK)
    _mer_scale(axes, level, data["finding"])
    note(axes, "MHz from the centre", (1, 0), away=(0, -34), fraction=True, ha="right", fontsize=9.5)
    spoken = _beside(figure, data["finding"], style)
    _notes(figure, ["line across: MER of all carriers", *(["rings: hit by a line"] if struck else [])])
    return figure, title, f"MER of each carrier of {data['mode']}; {words}; {spoken}."


def _mer_by_symbol(data: Data, style: Style) -> tuple[Figure, str, str]:
    time, level = np.asarray(data["time_s"]), np.asarray(data["mer_db"])
    title = "MER over time"
    sentence = "All data carriers, symbol by symbol or in short groups of symbols."
    figure = sheet(title, sentence, data["mode"], style=style)
    axes = plot(figure)
    scale, unit = (1e3, "ms") if time.size and time.max() < 2 else (1.0, "s")
    axes.plot(time * scale, level, linestyle="none", marker=".", markersize=3, color=style.trace, rasterized=True)
    _mer_scale(axes, level, data["finding"])
    note(axes, f"{unit} from the first sample", (1, 0), away=(0, -34), fraction=True, ha="right", fontsize=9.5)
    spoken = _beside(figure, data["finding"], style)
    _notes(figure, ["line across: MER of all symbols"])
    return figure, title, f"MER over time of {data['mode']}; {spoken}."


def _mer_scale(axes: Any, level: Any, finding: Finding) -> None:
    if finding.is_number:
        axes.axhline(float(finding.value), color=INK, linewidth=0.9)  # type: ignore[arg-type]
    if level.size:
        low, high = float(np.percentile(level, 0.5)), float(np.percentile(level, 99.5))
        room = max(0.25 * (high - low), 0.5)
        axes.set_ylim(min(low, float(level.min())) - room, high + room)
    note(axes, "dB", (0, 1), away=(-20, 6), fraction=True, fontsize=9.5)


DRAWN: dict[str, Callable[[Data, Style], tuple[Figure, str, str]]] = {
    "constellation": _constellation,
    "impulse_response": _impulse_response,
    "mer_by_carrier": _mer_by_carrier,
    "mer_by_symbol": _mer_by_symbol,
    "spectrum": spectrum,
    "ccdf": ccdf,
    "drive": drive,
    "stitched": stitched,
    "drive_peaks": drive_peaks,
    "frequency_plan": frequency_plan,
    "coverage": coverage,
    "trend": trend,
    "far_reports": far_reports,
    "path_profile": path_profile,
    "tune": tune,
}
