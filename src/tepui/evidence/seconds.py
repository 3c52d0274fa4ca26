"""Seconds without an error, and the share of time without one.

Theory  Packets of a run follow each other evenly from its beginning to its end. A whole second is free of errors if
        every packet in it came out whole and no gap between runs lies in it; the share counts packets as time.
Source  ITU-T G.826 (errored second: a second with at least one errored block), here of transport packets, from memory.
Holds   Runs in order of time; what was before the first lock and after the last counts for nothing.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

GAP_S = 1e-4  # between runs, from which it counts as time without packets; ours


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """One run: begin and end, and whether each packet came out whole, in order."""

    begin_s: float
    end_s: float
    good: npt.NDArray[np.bool_]


@dataclass(frozen=True, kw_only=True)
class ErrorFree:
    """Whole seconds from the first lock on, those of them free of errors, and the share of time free of them."""

    whole_seconds: int
    clean_seconds: int
    share: float
    duration_s: float


def error_free(stretches: list[Stretch]) -> ErrorFree | None:
    """Seconds and share free of errors, or None where no packet came out."""
    held = [part for part in stretches if part.good.size and part.end_s > part.begin_s]
    if not held:
        return None
    begin, end = held[0].begin_s, held[-1].end_s
    whole = math.floor(end - begin + 1e-9)
    broken = np.zeros(whole + 1, bool)
    free_s = 0.0
    last = begin
    for part in held:
        span = part.end_s - part.begin_s
        if part.begin_s - last > GAP_S:
            broken[int(last - begin) : int(part.begin_s - begin) + 1] = True
        last = part.end_s
        times = part.begin_s - begin + (np.flatnonzero(~part.good) + 0.5) / part.good.size * span
        broken[times.astype(int)] = True
        free_s += span * float(part.good.mean())
    duration = end - begin
    return ErrorFree(
        whole_seconds=whole,
        clean_seconds=int((~broken[:whole]).sum()),
        share=min(free_s / duration, 1.0),
        duration_s=duration,
    )
