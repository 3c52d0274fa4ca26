"""What the sheet of a stitched spectrum is drawn from.

Theory  As report/stitched_picture.py, which says what each name means.
Source  our own design.
Holds   The reference sweep of a set.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from tepui.ground.findings import Finding, finding_named
from tepui.jobs.set_findings import SIDES, Judgement
from tepui.jobs.set_sweeps import SetSeen
from tepui.jobs.set_tables import Trace

LEAST = 1e-7


def picture(findings: Sequence[Finding], seen: SetSeen, found: Judgement, trace: Trace) -> dict[str, Any]:
    """Arrays and findings of the sheet."""
    sweep = found.reference
    assert sweep is not None
    assert sweep.stitched is not None
    stitched, channel = sweep.stitched, seen.channel
    symbols = channel.symbols
    mode = f"{channel.width_hz / 1e6:g} MHz"
    if symbols is not None and channel.n_fft is not None:
        mode += f" {channel.n_fft // 1024}K guard {symbols.guard.numerator}/{symbols.guard.denominator}"
    step = max(1, trace.step // 2)
    cut = slice(None, None, step)
    constructions = None
    if sweep.sides is not None:
        shape = sweep.sides.shape
        zero_db = 10 * np.log10(shape.reference_density)
        constructions = {
            side: {
                "offset_hz": getattr(shape, side).construction.offset_hz,
                "level_db": [value + zero_db for value in getattr(shape, side).construction.level_db],
                "read_db": getattr(shape, side).construction.read_db + zero_db,
            }
            for side in SIDES
        }
    return {
        "frequency_hz": trace.offset_hz[cut],
        "level_db": 10 * np.log10(np.maximum(trace.level, LEAST))[cut],
        "low_db": 10 * np.log10(np.maximum(trace.level - 2 * trace.std, LEAST))[cut],
        "high_db": 10 * np.log10(np.maximum(trace.level + 2 * trace.std, LEAST))[cut],
        "floor_db": 10 * np.log10(np.maximum(trace.floor, LEAST))[cut],
        "source": trace.source[cut],
        "names": stitched.names,
        "occupied_width_hz": channel.occupied_hz,
        "resolution_hz": trace.resolution_hz,
        "constructions": constructions,
        "finding": finding_named(findings, "shoulder_worst_db"),
        "lower": finding_named(findings, "shoulder_lower_db"),
        "upper": finding_named(findings, "shoulder_upper_db"),
        "shown": finding_named(findings, "shoulder_worst_shown_db"),
        "readings": [
            {
                "label": one.label,
                "gain_db": one.gain_db,
                **{
                    side: None
                    if one.sides is None
                    else (getattr(one.sides, side).value, 2 * getattr(one.sides, side).std)
                    for side in SIDES
                },
            }
            for one in seen.sweeps
        ],
        "sweep": sweep.label,
        "centre_hz": channel.centre_hz,
        "mode": mode,
    }
