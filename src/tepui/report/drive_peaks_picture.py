"""Peaks before and behind the amplifier: what it takes off them, and what recordings show of it.

Theory  Thin ink is the waveform before, ink what leaves the fitted amplifier, pencil what recordings hold (their noise
        and the receiver's filter included). Read where one in ten thousand passes.
Source  our own design, see theme.py.
Holds   What jobs/drive_pictures hands over.
"""

from collections.abc import Mapping
from typing import Any

import numpy as np
from matplotlib.figure import Figure

from tepui.ground.finding_text import label_text, value_parts, value_text
from tepui.report.theme import COLUMN, INK, INK_SOFT, SHEET, Style, note, plot, reading, sheet

Data = Mapping[str, Any]
LEAST = 1e-6
READ_AT = 1e-4


def drive_peaks(data: Data, style: Style) -> tuple[Figure, str, str]:
    """The sheet of peaks."""
    finding, level = data["finding"], np.asarray(data["level_db"])
    title = "Peaks through the amplifier"
    sentence = f"How often the envelope passes a level, at a drive of {data['setting_dbm']:.2f} dBm."
    figure = sheet(title, sentence.replace("-", "\N{MINUS SIGN}"), data["mode"], style=style)
    axes = plot(figure, left=0.155)
    axes.set_yscale("log")
    axes.set_xlim(0, 12)
    axes.set_ylim(LEAST, 1)
    axes.minorticks_off()
    axes.set_yticks([10.0**power for power in range(0, -7, -1)])
    axes.set_yticklabels(["1", *(f"1 in {10**power:,}".replace(",", " ") for power in range(1, 7))])
    for number, (_, recorded_level, probability) in enumerate(data["recorded"]):
        seen = np.asarray(probability) > LEAST
        part = (number + 1) / len(data["recorded"])
        axes.plot(np.asarray(recorded_level)[seen], np.asarray(probability)[seen], color=style.trace, linewidth=0.9,
                  alpha=0.25 + 0.75 * part)  # fmt: skip
    for key, width in (("before", 0.9), ("after", 1.5)):
        probability = np.asarray(data[key])
        seen = probability > LEAST / 10
        axes.plot(level[seen], probability[seen], color=INK, linewidth=width)
    axes.axhline(READ_AT, color=INK, linewidth=0.7, dashes=(14, 3, 2, 3))
    for word, at in (("before", data["before_db"]), ("behind", float(finding.value))):
        axes.plot([at], [READ_AT], "o", markersize=6, markerfacecolor=SHEET, markeredgecolor=INK, zorder=5)
        note(axes, word, (at, READ_AT), away=(6, 6) if word == "before" else (-44, -14), color=INK, knock=True)
    note(axes, "dB above the mean power", (1, 0), away=(0, -34), fraction=True, ha="right", fontsize=9.5)
    value, doubt, unit = value_parts(finding)
    reading(figure, label=label_text(finding.key), value=value, doubt=doubt, unit=unit, standing=finding.standing,
            style=style)  # fmt: skip
    lines = ["passed one time in 10 000;", "envelope over mean power, add", "3.01 dB for peak voltage"]
    if data["recorded"]:
        lines += ["thin, pencil: the recordings,", "the lowest drive lightest"]
    for number, line in enumerate(lines):
        figure.text(COLUMN, 0.555 - 0.042 * number, line, fontsize=8.8, color=INK_SOFT)
    spoken = f"Peaks of {data['mode']} behind the amplifier: {value_text(finding)} passed 1 in 10 000"
    return figure, title, f"{spoken}, {data['before_db']:.2f} dB before it."
