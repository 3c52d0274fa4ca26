"""A ring of samples in shared memory: one process writes, another reads, and neither waits for the other.

Samples are numbered from the first one written, for ever. The writer never looks at the reader: where the reader
falls behind by more than the ring holds, what was written over is counted as lost and never given twice. A change
of frequency begins an epoch: samples from before it are not read after it.
"""

from dataclasses import dataclass
from multiprocessing.shared_memory import SharedMemory
from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.ground.errors import UnfinishedError

RING_BYTES = 1 << 25
HEAD_BYTES = 4096
MOST_BREAKS = 256
LOCK_S = 2.0
WRITTEN, EPOCH_START, STATE, N_BREAKS, BREAKS = 0, 1, 2, 3, 8
RUNNING, ENDED = 1, 2


@dataclass(frozen=True, kw_only=True)
class Given:
    """What a read gave: bytes of whole samples (a copy), how many were lost before, and breaks within."""

    stored: npt.NDArray[np.uint8]
    count: int
    lost: int
    breaks: tuple[int, ...]


class Ring:
    """Either end of the ring. ``lock`` guards the head for the few instructions that change or read it."""

    def __init__(self, memory: SharedMemory, lock: Any, *, sample_bytes: int) -> None:
        self._memory, self._lock, self.sample_bytes = memory, lock, sample_bytes
        buffer = memory.buf
        assert buffer is not None
        self._head: npt.NDArray[np.int64] | None = np.frombuffer(buffer, np.int64, HEAD_BYTES // 8)
        self._body: npt.NDArray[np.uint8] | None = np.frombuffer(buffer, np.uint8, RING_BYTES, HEAD_BYTES)
        self.capacity = RING_BYTES // sample_bytes
        self.most = self.capacity // 16  # written at once, and so kept clear ahead of the writer
        self.position = 0

    def close(self) -> None:
        """Let go of the memory; the arrays into it must be gone first."""
        self._head = self._body = None
        self._memory.close()

    def _guarded(self) -> npt.NDArray[np.int64]:
        if self._head is None or not self._lock.acquire(timeout=LOCK_S):
            raise UnfinishedError("the capture process holds its memory and does not answer; start again.")
        return self._head

    # The writer's end.

    def space(self, count: int) -> npt.NDArray[np.uint8]:
        """Room for the next samples, at most ``count`` of them, in one piece."""
        assert self._head is not None
        assert self._body is not None
        at = int(self._head[WRITTEN]) % self.capacity
        count = min(count, self.most, self.capacity - at)
        return self._body[at * self.sample_bytes : (at + count) * self.sample_bytes]

    def advance(self, count: int, *, after_break: bool) -> None:
        """Samples were written; ``after_break`` where the driver lost some before them."""
        head = self._guarded()
        try:
            if after_break:
                head[BREAKS + int(head[N_BREAKS]) % MOST_BREAKS] = head[WRITTEN]
                head[N_BREAKS] += 1
            head[WRITTEN] += count
            head[STATE] = RUNNING
        finally:
            self._lock.release()

    def begin_epoch(self) -> None:
        """What is written from here on belongs to a new setting."""
        head = self._guarded()
        head[EPOCH_START] = head[WRITTEN]
        self._lock.release()

    def end(self) -> None:
        """Nothing more will come."""
        head = self._guarded()
        head[STATE] = ENDED
        self._lock.release()

    # The reader's end.

    def seek_epoch(self) -> None:
        """Go on from the first sample of the newest setting."""
        head = self._guarded()
        self.position = int(head[EPOCH_START])
        self._lock.release()

    def written(self) -> tuple[int, bool]:
        """Samples written so far, and whether the writer has ended."""
        head = self._guarded()
        state = int(head[WRITTEN]), int(head[STATE]) == ENDED
        self._lock.release()
        return state

    def read(self, count: int) -> Given | None:
        """The next samples, at most ``count``; None where there are none yet."""
        assert self._body is not None
        size, lost = self.sample_bytes, 0
        while True:
            written, _ = self.written()
            lost += self._overtaken(written)
            n = min(count, written - self.position)
            if n <= 0:
                return None
            at = self.position % self.capacity
            first = min(n, self.capacity - at)
            stored = np.empty(n * size, np.uint8)
            stored[: first * size] = self._body[at * size : (at + first) * size]
            stored[first * size :] = self._body[: (n - first) * size]
            written, _ = self.written()
            overtaken = self._overtaken(written)
            if not overtaken:
                break
            lost += overtaken  # it was written over while it was copied
        breaks = self._breaks(self.position, n)
        self.position += n
        return Given(stored=stored, count=n, lost=lost, breaks=breaks)

    def _overtaken(self, written: int) -> int:
        """Step over what was written over; how many samples that were."""
        oldest = written - self.capacity + 2 * self.most
        if self.position >= oldest:
            return 0
        resume = written - self.capacity // 2
        lost, self.position = resume - self.position, resume
        return lost

    def _breaks(self, start: int, count: int) -> tuple[int, ...]:
        head = self._guarded()
        found = head[BREAKS : BREAKS + min(int(head[N_BREAKS]), MOST_BREAKS)].copy()
        self._lock.release()
        inside = found[(found >= start) & (found < start + count)]
        return tuple(sorted(int(place - start) for place in inside))
