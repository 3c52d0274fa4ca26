"""The Viterbi kernel: 64 stretches of the stream decoded side by side, one in each byte lane.

Theory  Path metrics live in signed bytes and wrap around: with soft values within +-9 two metrics never differ by
        more than 6 x 18, so their difference keeps its sign. new = u + min(v - u, 0), and the sign of v - u is the
        decision. A cost common to all branches decides nothing, so the branch (0, 0) is free. Decisions are packed
        eight to a byte and traced back every EMIT steps through the rows of all lanes at once.
Source  common practice (no published source) for the lanes; the trellis is [EN300744] V1.6.2 clause 4.3.3.
Holds   Soft values within +-9. A state holds the newest bit on the most significant side. The straight-line code
        of a step is written out by the functions below, for vectors of 64 bytes whatever the machine's own width.
"""

from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.ground.kernels import kernel

from llvmlite import ir  # isort: skip  (the cache folder is chosen first)
from numba.core import types  # isort: skip
from numba.extending import intrinsic  # isort: skip
from numba.np.arrayobj import make_array  # isort: skip

Bytes = npt.NDArray[np.uint8]
Soft = npt.NDArray[np.int8]
Code = tuple[Any, Any]
SOFT_LIMIT = 9
G1, G2 = 0o171, 0o133  # as in signals.dvbt.inner_code; repeated here because compiled code keeps its constants
LANES = 64
N_STATES = 64
LANE_BITS = 8400
EMIT = 400
BLOCK = 104
HEAD_ROWS = 17
OLD_TO_NEW = LANES * N_STATES + 2048 + 64
METRIC_BYTES = OLD_TO_NEW + LANES * N_STATES
STEP_BYTES = LANES * N_STATES // 8
ROWS_BYTES = LANES * (HEAD_ROWS + 2 * BLOCK)
BITS_BYTES = LANES * (LANE_BITS // 8 + 2)
_BYTE = ir.IntType(8)
_VECTOR = ir.VectorType(_BYTE, LANES)
_TILE = ir.VectorType(_BYTE, 16)


def _every_lane(value: int, kind: Any = _VECTOR) -> Any:
    """The same byte in every lane."""
    return ir.Constant(kind, [ir.Constant(_BYTE, value & 0xFF)] * kind.count)


class _Memory:
    """Vectors in a byte array, for one kernel's code."""

    def __init__(self, context: Any, builder: Any, array_type: Any, array: Any, at: Any, kind: Any = _VECTOR) -> None:
        self.builder, self.kind, self.at = builder, kind, at
        self.base = builder.bitcast(make_array(array_type)(context, builder, array).data, _BYTE.as_pointer())

    def _place(self, offset: Any) -> Any:
        offset = ir.Constant(ir.IntType(64), offset) if isinstance(offset, int) else offset
        place = self.builder.gep(self.base, [self.builder.add(self.at, offset)])
        return self.builder.bitcast(place, self.kind.as_pointer())

    def load(self, offset: Any = 0) -> Any:
        return self.builder.load(self._place(offset), align=1)

    def store(self, vector: Any, offset: Any = 0) -> None:
        self.builder.store(vector, self._place(offset), align=1)


def _push_sign(b: Any, packed: Any, value: Any) -> Any:
    """Shift a byte of bits down by one and set its top bit to the sign of the value."""
    sign = b.and_(value, _every_lane(0x80))
    return sign if packed is None else b.or_(b.and_(b.lshr(packed, _every_lane(1)), _every_lane(0x7F)), sign)


def _within_limit(b: Any, value: Any) -> Any:
    """The soft value, no further from zero than the limit that keeps the metrics from wrapping twice."""
    for sense, limit in ((">", SOFT_LIMIT), ("<", -SOFT_LIMIT)):
        value = b.select(b.icmp_signed(sense, value, _every_lane(limit)), _every_lane(limit), value)
    return value


def _parity(word: int) -> int:
    return bin(word).count("1") & 1


@intrinsic  # type: ignore[untyped-decorator]
def add_compare_select(
    _: Any, metrics: Any, old: Any, new: Any, soft: Any, x: Any, y: Any, decisions: Any, at: Any
) -> Code:
    """One step of all 64 states: metrics from offset old to offset new, 8 rows of decisions to offset at."""

    def write(context: Any, b: Any, signature: Any, arguments: Any) -> Any:
        kinds = signature.args
        before = _Memory(context, b, kinds[0], arguments[0], arguments[1])
        after = _Memory(context, b, kinds[0], arguments[0], arguments[2])
        first = _within_limit(b, _Memory(context, b, kinds[3], arguments[3], arguments[4]).load())
        second = _within_limit(b, _Memory(context, b, kinds[3], arguments[3], arguments[5]).load())
        rows = _Memory(context, b, kinds[6], arguments[6], arguments[7])
        zero = _every_lane(0)
        cost = {(0, 0): zero, (0, 1): second, (1, 0): first, (1, 1): b.add(first, second)}
        excess = {(x, y): b.sub(cost[1 - x, 1 - y], cost[x, y]) for x, y in cost}

        def choose(kept: int, start: Any, difference: Any) -> None:
            after.store(b.add(start, b.select(b.icmp_signed("<", difference, zero), difference, zero)), kept * LANES)

        for group in range(4):
            low = high = None
            for j in range(8 * group, 8 * group + 8):
                sent = (_parity(2 * j & G1), _parity(2 * j & G2))
                other = (1 - sent[0], 1 - sent[1])
                even, odd = before.load(2 * j * LANES), before.load((2 * j + 1) * LANES)
                gap = b.sub(odd, even)
                to_low, to_high = b.add(gap, excess[sent]), b.sub(gap, excess[sent])
                choose(j, b.add(even, cost[sent]), to_low)
                choose(j + 32, b.add(even, cost[other]), to_high)
                low, high = _push_sign(b, low, to_low), _push_sign(b, high, to_high)
            rows.store(low, group * LANES)
            rows.store(high, (group + 4) * LANES)
        return context.get_dummy_value()

    return types.void(metrics, old, new, soft, x, y, decisions, at), write


@intrinsic  # type: ignore[untyped-decorator]
def trace_back_byte(_: Any, decisions: Any, at: Any, states: Any, state_at: Any, bits: Any, bits_at: Any) -> Code:
    """Eight steps back from the step whose decisions stand at offset at; their bits, oldest first, to bits_at.

    The state of each lane stands in the top six bits of its byte.
    """

    def write(context: Any, b: Any, signature: Any, arguments: Any) -> Any:
        kinds = signature.args
        rows = _Memory(context, b, kinds[0], arguments[0], arguments[1])
        places = _Memory(context, b, kinds[2], arguments[2], arguments[3])
        out = _Memory(context, b, kinds[4], arguments[4], arguments[5])
        zero, packed, state = _every_lane(0), None, places.load()
        for step in range(8):
            packed = _push_sign(b, packed, state)
            row = [rows.load(i * LANES - step * STEP_BYTES) for i in range(8)]
            for bit in (7, 6, 5):
                upper = b.icmp_unsigned("!=", b.and_(state, _every_lane(1 << bit)), zero)
                row = [b.select(upper, second, first) for first, second in zip(row, row[len(row) // 2 :], strict=False)]
            (byte,) = row
            for bit, shift in ((4, 4), (3, 2), (2, 1)):
                upper = b.icmp_unsigned("!=", b.and_(state, _every_lane(1 << bit)), zero)
                byte = b.select(upper, b.lshr(byte, _every_lane(shift)), byte)
            oldest = b.shl(b.and_(byte, _every_lane(1)), _every_lane(2))
            state = b.or_(b.shl(state, _every_lane(1)), oldest)
        places.store(state)
        out.store(packed)
        return context.get_dummy_value()

    return types.void(decisions, at, states, state_at, bits, bits_at), write


@intrinsic  # type: ignore[untyped-decorator]
def transpose_tile(_: Any, source: Any, at: Any, stride: Any, target: Any, to: Any, target_stride: Any) -> Code:
    """16 rows of 16 bytes, turned: four perfect shuffles of the rows exchange row and column."""

    def write(context: Any, b: Any, signature: Any, arguments: Any) -> Any:
        kinds = signature.args
        read = _Memory(context, b, kinds[0], arguments[0], arguments[1], _TILE)
        put = _Memory(context, b, kinds[3], arguments[3], arguments[4], _TILE)
        step = [ir.Constant(ir.IntType(64), i) for i in range(16)]
        rows = [read.load(b.mul(arguments[2], i)) for i in step]
        for _round in range(4):
            turned = []
            for upper, lower in zip(rows[:8], rows[8:], strict=True):
                for half in (0, 8):
                    order = [half + i // 2 + 16 * (i % 2) for i in range(16)]
                    mask = ir.Constant(ir.VectorType(ir.IntType(32), 16), order)
                    turned.append(b.shuffle_vector(upper, lower, mask))
            rows = turned
        for i, row in zip(step, rows, strict=True):
            put.store(row, b.mul(arguments[5], i))
        return context.get_dummy_value()

    return types.void(source, at, stride, target, to, target_stride), write


@kernel("void(int8[::1], int64, int64, int32[:, ::1], int64, int8[::1], int8[::1], uint8[::1], uint8[::1], uint8[::1])")
def decode_lanes(
    soft: Soft,
    base: int,
    lane_stride: int,
    plan: npt.NDArray[np.int32],
    margin: int,
    metrics: Soft,
    rows: Soft,
    decisions: Bytes,
    bits: Bytes,
    out: Bytes,
) -> None:
    """Decode 64 lanes of LANE_BITS each; lane i reads its coded values from base + i lane_stride on.

    soft        soft values, positive for a likely 0, 0 where erased; beyond +-9 taken as +-9
    plan        (3, steps + 1): coded values used before each step; the step's X and Y value, -1 where punctured
    margin      steps before and after the lane's own bits, a multiple of 8
    metrics, rows, decisions, bits   workspace: METRIC_BYTES, ROWS_BYTES, (EMIT + margin) STEP_BYTES, BITS_BYTES
    out         64 LANE_BITS / 8 bytes, lane after lane, the first bit on the most significant side
    """
    depth = EMIT + margin
    for i in range(LANES):
        rows[i] = 0
    for i in range(METRIC_BYTES):
        metrics[i] = 0
    step, slot, side = 0, 0, 0
    states = LANES * (LANE_BITS // 8 + 1)
    for chunk in range(LANE_BITS // EMIT):
        end = margin + (chunk + 1) * EMIT + margin
        while step < end:
            stop = min(step + BLOCK, end)
            start_row, end_row = plan[0, step], plan[0, stop]
            at_row = start_row
            while at_row < end_row:
                tile = min(at_row, end_row - 16)
                for lane in range(0, LANES, 16):
                    transpose_tile(
                        soft,
                        base + lane * lane_stride + tile,
                        lane_stride,
                        rows,
                        (HEAD_ROWS + tile - start_row) * LANES + lane,
                        LANES,
                    )
                at_row = tile + 16
            for t in range(step, stop):
                x, y = plan[1, t], plan[2, t]
                x_at = (HEAD_ROWS + x - start_row) * LANES if x >= 0 else 0
                y_at = (HEAD_ROWS + y - start_row) * LANES if y >= 0 else 0
                add_compare_select(metrics, side, OLD_TO_NEW - side, rows, x_at, y_at, decisions, slot * STEP_BYTES)
                side = OLD_TO_NEW - side
                slot = slot + 1 if slot + 1 < depth else 0
            step = stop
        for lane in range(LANES):
            best, best_state = metrics[side + lane], 0
            for state in range(1, N_STATES):
                metric = metrics[side + state * LANES + lane]
                if np.int8(metric - best) < 0:
                    best, best_state = metric, state
            bits[states + lane] = best_state << 2
        from_slot = slot - 1 if slot > 0 else depth - 1
        first_byte = chunk * (EMIT // 8)
        for byte in range(depth // 8 - 1, -1, -1):
            target = first_byte + byte if byte < EMIT // 8 else LANE_BITS // 8
            trace_back_byte(decisions, from_slot * STEP_BYTES, bits, states, bits, target * LANES)
            from_slot = from_slot - 8 if from_slot >= 8 else depth - 1
    at_byte = 0
    while at_byte < LANE_BITS // 8:
        tile = min(at_byte, LANE_BITS // 8 - 16)
        for lane in range(0, LANES, 16):
            transpose_tile(bits, tile * LANES + lane, LANES, out, lane * (LANE_BITS // 8) + tile, LANE_BITS // 8)
        at_byte = tile + 16
