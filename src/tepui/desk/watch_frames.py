"""Live traces as bytes for a page: a head, then one part for each tuning, a byte for each point.

Theory  Little endian. Head, 32 bytes: version (1), flags (1 practice, 2 zeroed, 4 clipping), parts, number of the fresh
        part, frame number (u32), time of the watch in s (f64), the stamp of the page's credit (f64, put in when sent),
        8 bytes free. Each part, 40 bytes: side (0 lower, 1 upper, 2 middle), 1 free, points (u16), averages (f32),
        offset of the first point from the centre in Hz (f64), step in Hz (f64), time heard in s (f64), level of byte
        255 in dB (f32), dB a byte (f32); then its points. Byte 0: nothing of the signal is seen there.
Source  our own design.
Holds   A range of 254 steps of a quarter decibel below the highest point; what lies lower is told as the lowest.
"""

import struct
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:  # for their types alone: the bench stamps frames without the libraries behind them
    from tepui.jobs.watch_trace import LiveTraces, TracePart

VERSION = 1
HEAD, PART = struct.Struct("<BBBBIdd8x"), struct.Struct("<BxHfdddff")
STAMP_AT = 16
STEP_DB = 0.25
SIDES = ("lower", "upper", "middle")


def packed_traces(traces: "LiveTraces") -> bytes:
    """The frame, its stamp zero."""
    flags = traces.practice | traces.zeroed << 1 | traces.clipping << 2
    fresh = next((n for n, part in enumerate(traces.parts) if part.side == traces.fresh), 0)
    parts = [_packed(part) for part in traces.parts]
    return HEAD.pack(VERSION, flags, len(parts), fresh, traces.number, traces.time_s, 0.0) + b"".join(parts)


def stamped(frame: bytes, stamp: float) -> bytes:
    """The frame with the stamp of the credit it answers."""
    return frame[:STAMP_AT] + struct.pack("<d", stamp) + frame[STAMP_AT + 8 :]


def _packed(part: "TracePart") -> bytes:
    seen = np.isfinite(part.level_db)
    top_db = float(np.ceil(part.level_db[seen].max())) if seen.any() else 0.0
    steps = np.rint((np.where(seen, part.level_db, top_db) - top_db) / STEP_DB)
    points = np.where(seen, np.clip(255 + steps, 1, 255), 0).astype(np.uint8)
    side = SIDES.index(part.side)
    head = PART.pack(side, len(points), part.averages, part.offset_hz, part.bin_hz, part.heard_s, top_db, STEP_DB)
    return head + points.tobytes()
