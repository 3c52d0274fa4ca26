"""Soft values to bits: the inner code undone in units of one fixed size.

Theory  A Viterbi decoder forgets: some ten constraint lengths (more where the code is punctured) after a start from
        no knowledge, and as far before the end, its choice no longer depends on what lies beyond. So the stream is
        cut into lanes that overlap by a margin on both sides and are decoded independently.
Source  [EN300744] V1.6.2 clause 4.3.3; the margins are found by trial (tests hold the loss to nothing measurable).
Holds   Lanes and units are counted from the start of the stream, so a bit does not depend on block size or threads.
"""

import threading
from fractions import Fraction
from functools import cache

import numpy as np
import numpy.typing as npt

from tepui.chain.reception import viterbi_kernels as kernels
from tepui.ground.errors import RangeError
from tepui.ground.tasks import map_tasks
from tepui.signals.dvbt.inner_code import puncturing

GROUPS = 2
UNIT_BITS = GROUPS * kernels.LANES * kernels.LANE_BITS
SOFT_LIMIT = kernels.SOFT_LIMIT
_ALIGNMENT = 64
# bits decoded before and after a lane and dropped: whole puncturing periods and whole bytes
MARGIN_BITS = {Fraction(1, 2): 112, Fraction(2, 3): 112, Fraction(3, 4): 120, Fraction(5, 6): 120, Fraction(7, 8): 112}
Soft = npt.NDArray[np.int8]
Packed = npt.NDArray[np.uint8]


@cache
def depuncturing_plan(code_rate: Fraction, n_steps: int) -> npt.NDArray[np.int32]:
    """Where each trellis step finds its two soft values.

    returns  (3, n_steps + 1): coded values used before the step; index of its X and of its Y value, -1 if not sent

    >>> depuncturing_plan(Fraction(2, 3), 2).tolist()
    [[0, 2, 3], [0, -1, -1], [1, 2, -1]]
    """
    sent, period = puncturing(code_rate), code_rate.numerator
    steps = np.arange(n_steps + 1)
    before = np.array([np.count_nonzero(sent[:, 0] < step) for step in range(period)])
    plan = np.full((3, n_steps + 1), -1, np.int32)
    plan[0] = steps // period * len(sent) + before[steps % period]
    for position, (step, output) in enumerate(sent):
        at = np.arange(step, n_steps, period)
        plan[1 + output, at] = at // period * len(sent) + position
    return plan


def _aligned(n_bytes: int) -> Packed:
    raw = np.zeros(n_bytes + _ALIGNMENT, np.uint8)
    start = -raw.ctypes.data % _ALIGNMENT
    return raw[start : start + n_bytes]


class InnerDecoder:
    """Decodes units of ``UNIT_BITS`` bits of one code rate; one object serves many threads.

    unit_coded    coded values a unit sends
    margin_coded  coded values needed before the unit, and after it
    window_coded  their sum: what ``decode_unit`` is given
    """

    def __init__(self, code_rate: Fraction) -> None:
        self.code_rate = Fraction(code_rate)
        self._n_sent = len(puncturing(self.code_rate))
        self.margin_bits = MARGIN_BITS[self.code_rate]
        self.unit_coded = self._coded(UNIT_BITS)
        self.margin_coded = self._coded(self.margin_bits)
        self.window_coded = self.unit_coded + 2 * self.margin_coded
        self._plan = depuncturing_plan(self.code_rate, kernels.LANE_BITS + 2 * self.margin_bits)
        self._threads = threading.local()

    def _coded(self, n_bits: int) -> int:
        return n_bits * self._n_sent // self.code_rate.numerator

    def _workspace(self) -> tuple[Packed, Packed, Packed, Packed]:
        """This thread's own scratch space: metrics, rows of soft values, decisions, bits."""
        if not hasattr(self._threads, "workspace"):
            n_decisions = (kernels.EMIT + self.margin_bits) * kernels.STEP_BYTES
            sizes = (kernels.METRIC_BYTES, kernels.ROWS_BYTES, n_decisions, kernels.BITS_BYTES)
            self._threads.workspace = tuple(_aligned(size) for size in sizes)
        workspace: tuple[Packed, Packed, Packed, Packed] = self._threads.workspace
        return workspace

    def decode_unit(self, soft_window: Soft) -> Packed:
        """The bits of one unit.

        soft_window  (window_coded,): positive where 0 is likely, 0 where erased or beyond either end
                     of the stream; beyond +-9 taken as +-9
        returns      (UNIT_BITS / 8,), the first bit on the most significant side
        raises       RangeError if the window has another length
        """
        if soft_window.shape != (self.window_coded,):
            raise RangeError(
                f"soft_window must hold {self.window_coded} values at code rate {self.code_rate} (one unit and its"
                f" margins), not {soft_window.size}."
            )
        soft_window = np.require(soft_window, np.int8, ["C", "W"])  # what the kernel takes; copied only if it must be
        out = np.empty(UNIT_BITS // 8, np.uint8)
        stride = self._coded(kernels.LANE_BITS)
        metrics, rows, decisions, scratch = self._workspace()
        for part, bits in enumerate(np.split(out, GROUPS)):
            base = part * kernels.LANES * stride
            kernels.decode_lanes(soft_window, base, stride, self._plan, self.margin_bits,
                                 metrics.view(np.int8), rows.view(np.int8), decisions, scratch, bits)  # fmt: skip
        return out

    def window(self, soft: Soft, unit: int) -> Soft:
        """The soft values ``decode_unit`` needs for one unit of a stream that is in memory, zeros beyond its ends."""
        start = unit * self.unit_coded - self.margin_coded
        window = np.zeros(self.window_coded, np.int8)
        low, high = max(start, 0), min(start + self.window_coded, len(soft))
        if high > low:
            window[low - start : high - start] = soft[low:high]
        return window

    def decode(self, soft: Soft, *, workers: int | None = 1) -> Packed:
        """The whole bytes of a stream that is in memory.

        soft     (n_coded,), starting with the first value of a puncturing period
        workers  threads, as in ``map_tasks``
        returns  (n,) bytes; bits of a last, incomplete byte are left out
        """
        n_bits = len(soft) // self._n_sent * self.code_rate.numerator
        units = range(-(-n_bits // UNIT_BITS))
        parts = map_tasks(lambda unit: self.decode_unit(self.window(soft, unit)), units, workers=workers)
        return np.concatenate([np.zeros(0, np.uint8), *parts])[: n_bits // 8]
