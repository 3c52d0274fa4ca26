"""Looks that overlap, and their traces as bytes: what a page hears while the other hand turns the drive."""

import struct
from dataclasses import replace

import numpy as np
import pytest

from live_receivers import Direct
from tepui.desk.watch_frames import packed_traces, stamped
from tepui.desk.watch_looks import looking
from tepui.jobs.watch import EdgeWatch
from tepui.jobs.watch_plan import WatchPlan
from tepui.jobs.watch_state import IDLE, WITH_PAD
from tepui.jobs.watch_trace import BLOCK_S, LiveTraces, TracePart

PLAN = WatchPlan(
    centre_hz=1286e6, width_hz=7e6, reach_hz=0.9e6, dc_half_width_hz=50e3, pad_element="PAD", behind_element="IF"
)


class Screen:
    """Keeps what it is shown."""

    def __init__(self):
        self.shown, self.traces = [], []
        self.hear = self.traces.append

    def show(self, snapshot):
        self.shown.append(snapshot)

    def pressed(self):
        return ""


def test_law_looks_overlap_and_a_pad_test_goes_through():
    receiver, screen = Direct(), Screen()
    watch = EdgeWatch(receiver, PLAN)
    with looking(watch, receiver, screen) as looks:
        for _ in range(4):
            looks.step()
        looks.settle()
        assert len(screen.traces) == 4 * round(PLAN.look_s / BLOCK_S)
        assert {trace.fresh for trace in screen.traces} == {"lower", "upper"}
        newest = screen.shown[-1]
        assert newest.moment is not None
        watch.ask_pad_test()
        assert watch.task == WITH_PAD
        while watch.task == WITH_PAD:
            looks.step()
        assert watch.task == IDLE
        for _ in watch.tunings:  # the level without the pad is read anew
            looks.step()
        looks.settle()
        assert set(screen.shown[-1].verdicts) == {"lower", "upper"}


# The lines of a reading stand on the trace that was heard: at 300 and 700 kHz within the trace's scatter.
def test_limit_the_lifted_line_lies_on_the_live_trace():
    receiver, screen = Direct(), Screen()
    watch = EdgeWatch(receiver, PLAN)
    with looking(watch, receiver, screen) as looks:
        for _ in range(4):
            looks.step()
        looks.settle()
    snapshot, trace = screen.shown[-1], screen.traces[-1]
    for part, sign in zip(trace.parts, (-1, 1), strict=True):
        line = snapshot.lines[part.side]
        place = part.offset_hz + part.bin_hz * np.arange(len(part.level_db))
        for offset_hz, level_db in zip(line.offset_hz, line.level_db, strict=True):
            near = np.abs(place - sign * (snapshot.occupied_hz / 2 + offset_hz)) < 15e3
            assert np.nanmean(part.level_db[near]) == pytest.approx(level_db, abs=1.5)


def test_law_without_a_wish_for_traces_nothing_overlaps():
    receiver, screen = Direct(), Screen()
    screen.hear = None
    watch = EdgeWatch(receiver, replace(PLAN, look_s=0.05))
    with looking(watch, receiver, screen) as looks:
        looks.step()
    assert watch.traces is None
    assert len(screen.shown) == 1


# Read by the layout that the module's head gives, with no code of its own.
def test_law_a_frame_is_laid_out_as_its_head_says():
    level = np.array([0.1, -10.3, np.nan, -90.0], np.float32)
    part = TracePart(side="upper", offset_hz=3.1e6, bin_hz=4687.5, level_db=level, averages=150.0, heard_s=2.5)
    traces = LiveTraces(
        number=70_000, time_s=2.5, fresh="upper", practice=True, zeroed=False, clipping=True, parts=(part,)
    )
    frame = stamped(packed_traces(traces), 1234.5)
    version, flags, parts, fresh, number, time_s, stamp = struct.unpack_from("<BBBBIdd", frame)
    assert (version, flags, parts, fresh, number, time_s, stamp) == (1, 0b101, 1, 0, 70_000, 2.5, 1234.5)
    side, points, averages, offset, step, heard, top, decibel = struct.unpack_from("<BxHfdddff", frame, 32)
    assert (side, points, averages, offset, step, heard) == (1, 4, 150.0, 3.1e6, 4687.5, 2.5)
    told = np.frombuffer(frame, np.uint8, points, 72)
    assert len(frame) == 76
    assert told[2] == 0
    assert top + decibel * (told[:2] - 255.0) == pytest.approx([0.1, -10.3], abs=decibel / 2)
    assert told[3] == 1  # below the range: the lowest there is
