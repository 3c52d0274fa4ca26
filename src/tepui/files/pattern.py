"""An antenna's pattern from a table: loss against the axis over the angle away from it.

Theory  Comma- or semicolon-separated text with the heading angle_deg,loss_db; rows from 0 to 180 degrees, rising. A
        table that tells both sides (-180 to 180, or 0 to 360) takes the smaller loss of the two at each angle: exposure
        and interference must not be understated.
Source  tepui's own. [RFC4180] for the text.
Holds   Loss from 0 dB on, at most 80 dB. Lines that begin with # are left out. What lies beyond the last row keeps its
        loss, which must reach 90 degrees at least.
"""

from pathlib import Path

import numpy as np

from tepui.chain.antenna.pattern import Pattern
from tepui.files.separated import bare_number, checked_heading, separated_rows
from tepui.ground.errors import FormatError

COLUMNS = ("angle_deg", "loss_db")
HEADING = ",".join(COLUMNS)
KIND = "pattern of an antenna"
FARTHEST_DEG, LEAST_REACH_DEG, MOST_LOSS_DB = 360.0, 90.0, 80.0


def read_pattern(path: Path) -> Pattern:
    """The pattern of a table.

    raises  FormatError naming the line or the column
    """
    rows = separated_rows(path, kind=KIND)
    if len(rows) < 3:
        raise FormatError(f"{path} holds {max(len(rows) - 1, 0)} angles; a pattern needs two or more under {HEADING}.")
    heading = checked_heading(path, rows[0][0], rows[0][1], COLUMNS, kind=KIND)
    if sorted(heading) != sorted(COLUMNS):
        raise FormatError(f"{path}, line {rows[0][0]}: the heading of a pattern is {HEADING}.")
    lines = [line for line, _ in rows[1:]]
    told: dict[str, list[float]] = {name: [] for name in COLUMNS}
    for line, cells in rows[1:]:
        if len(cells) != len(heading):
            raise FormatError(f"{path}, line {line}: {len(cells)} cells under {HEADING}; write decimals with a point.")
        for name, cell in zip(heading, cells, strict=True):
            told[name].append(bare_number(path, line, name, cell))
    angle, loss = (np.array(told[name]) for name in COLUMNS)
    for line, one, lost in zip(lines, angle, loss, strict=True):
        if not -180 <= one <= FARTHEST_DEG:
            raise FormatError(f"{path}, line {line}: angle_deg runs from 0 to 180 (or -180 to 180), not {one:g}.")
        if not 0 <= lost <= MOST_LOSS_DB:
            raise FormatError(
                f"{path}, line {line}: loss_db runs from 0 at the axis to {MOST_LOSS_DB:g}, not {lost:g}."
            )
    turned = np.abs((angle + 180) % 360 - 180)
    turned = np.where(angle == 180, 180.0, turned)
    kept = np.unique(turned)
    if kept[-1] < LEAST_REACH_DEG:
        raise FormatError(
            f"{path} tells angles to {kept[-1]:g} degrees; a pattern must reach {LEAST_REACH_DEG:g}, better 180."
        )
    if kept[0] > 0:
        raise FormatError(f"{path} begins at {kept[0]:g} degrees; a pattern needs its axis, angle_deg 0, too.")
    both = angle.min() < 0 or angle.max() > 180
    sides = [angle % 360 < 180, angle % 360 >= 180] if both else [np.ones(len(angle), bool)]
    curves = []
    for side in sides:
        at, lost = turned[side], loss[side]
        order = np.argsort(at, kind="stable")
        if len(at):
            curves.append(np.interp(kept, at[order], lost[order]))
    return Pattern(angle_deg=kept, loss_db=np.min(curves, axis=0), source=f"pattern {path.name}")
