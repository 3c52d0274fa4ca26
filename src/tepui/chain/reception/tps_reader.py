"""Reading the transmission parameters from differential sums over the TPS carriers.

Theory  All TPS carriers carry the same bit, so the sum over them of (symbol) x (symbol before, conjugated) is positive
        for 0 and negative for 1. The sync word turns over from frame to frame; all mode fields repeat, so their sums
        add over frames, and a recording shorter than a frame may still show all of them, cut in two.
Source  [EN300744] clause 4.6.
Holds   A word is proved by its BCH code where one whole frame was seen; ``proved`` tells.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from tepui.ground.errors import InputError
from tepui.signals.dvbt.mode import Mode
from tepui.signals.dvbt.tps import SYNC_WORDS, TpsFields, correct_bch, read_tps

FRAME = 68
SYNC_SHARE = 0.6
LEAST_SYNC_BITS = 14
LENGTH_WITH_CELL_ID = 31
Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, kw_only=True)
class FrameLock:
    """Where frames begin and what they say.

    start   symbol, 0 to 67 or before, where some frame with number ``fields.frame`` begins
    proved  the BCH code agreed in at least one frame
    """

    start: int
    fields: TpsFields
    cell_id: int | None
    proved: bool

    def mode(self, width_hz: float) -> Mode:
        """The mode, in a channel of this width."""
        return self.fields.mode(width_hz=width_hz, cell_id=self.cell_id)

    def symbol_in_superframe(self, symbol: int) -> int:
        """Place, 0 to 271, of a symbol counted as ``start`` is."""
        return (symbol - self.start + FRAME * self.fields.frame) % (4 * FRAME)


def _sync(parity: int) -> npt.NDArray[np.float64]:
    bits = (SYNC_WORDS[parity] >> np.arange(15, -1, -1)) & 1
    return np.asarray(1.0 - 2.0 * bits, dtype=np.float64)


def find_frames(sums: npt.NDArray[np.float64], *, n_fft: int, n_guard: int) -> FrameLock | None:
    """Find the frame structure in differential sums.

    sums     (n,) one per symbol, the first one unused; positive for bit 0
    returns  None where no sync word stands out, or what it says contradicts the FFT size and guard found
    """
    n = sums.size
    limited = np.clip(sums, -3 * np.median(np.abs(sums[1:])), 3 * np.median(np.abs(sums[1:]))) if n > 1 else sums
    ranked = []
    for start in range(-FRAME + 1, min(n, FRAME)):
        if start < 0 and n > 3 * FRAME:
            continue
        for parity in (0, 1):
            agree, total, count = 0.0, 0.0, 0
            for frame, begin in enumerate(range(start, n, FRAME)):
                places = begin + 1 + np.arange(16)
                seen = (places >= 1) & (places < n)
                values = limited[places[seen]]
                agree += float(values @ _sync((parity + frame) % 2)[seen])
                total += float(np.abs(values).sum())
                count += int(seen.sum())
            if count >= LEAST_SYNC_BITS and agree > SYNC_SHARE * total:
                ranked.append((agree, start, parity))
    for _, start, parity in sorted(ranked, reverse=True)[:6]:
        found = _read(limited, start=start, parity=parity, n_fft=n_fft, n_guard=n_guard)
        if found is not None:
            return found
    return None


def _read(sums: npt.NDArray[np.float64], *, start: int, parity: int, n_fft: int, n_guard: int) -> FrameLock | None:
    n = sums.size
    begins = np.arange(start, n, FRAME)
    fields: TpsFields | None = None
    first = start
    proved = False
    halves: dict[int, int] = {}
    for begin in begins:
        if begin < 0 or begin + FRAME > n:
            continue
        try:
            word, _ = correct_bch((sums[begin + 1 : begin + FRAME] < 0).astype(np.uint8))
            seen = read_tps(word)
        except InputError:
            continue
        if seen.n_fft != n_fft or int(seen.n_fft * seen.guard) != n_guard:
            continue
        if fields is None:
            fields, first, proved = seen, int(begin), True
        if seen.cell_id_half is not None:
            halves[seen.frame % 2] = seen.cell_id_half
    if fields is None:
        fields = _combined(sums, begins=begins, parity=parity)
        if fields is None or fields.n_fft != n_fft or int(fields.n_fft * fields.guard) != n_guard:
            return None
    if fields.length >= LENGTH_WITH_CELL_ID:
        number = fields.frame - (first - start) // FRAME
        halves = {**_halves_in_part(sums, begins=begins, first_number=number), **halves}
    cell_id = halves[0] << 8 | halves[1] if len(halves) == 2 else None
    return FrameLock(start=first, fields=fields, cell_id=cell_id, proved=proved)


def _halves_in_part(sums: Floats, *, begins: npt.NDArray[np.int64], first_number: int) -> dict[int, int]:
    """Halves of the cell id from frames that were not seen whole: sums of s40 to s47 over all frames of one parity."""
    n = sums.size
    found = {}
    for parity in (0, 1):
        total = np.zeros(8)
        seen = False
        for ahead, begin in enumerate(begins):
            places = begin + np.arange(40, 48)
            if (first_number + ahead) % 2 == parity and places[0] >= 1 and places[-1] < n:
                total += sums[places]
                seen = True
        if seen and np.all(np.abs(total) > 0):
            found[parity] = int((total < 0) @ (1 << np.arange(7, -1, -1)))
    return found


def _combined(sums: npt.NDArray[np.float64], *, begins: npt.NDArray[np.int64], parity: int) -> TpsFields | None:
    """Fields from sums added over whatever of each frame was seen; the BCH code is not asked."""
    n = sums.size
    total = np.zeros(FRAME)
    weight = np.zeros(FRAME)
    for begin in begins:
        places = begin + np.arange(FRAME)
        seen = (places >= 1) & (places < n)
        total[seen] += sums[places[seen]]
        weight[seen] += np.abs(sums[places[seen]])
    needed = np.r_[17:23, 25:40]
    if np.any(weight[needed] == 0) or np.any(np.abs(total[needed]) < 0.3 * weight[needed]):
        return None
    bits = (total[1:] < 0).astype(np.uint8)
    bits[39:] = 0
    best: tuple[float, int] | None = None
    for frame in range(parity, 4, 2):
        score = 0.0
        for ahead, begin in enumerate(begins):
            number = (frame + ahead) % 4
            for place, bit in ((23, number >> 1), (24, number & 1)):
                at = begin + place
                if 1 <= at < n:
                    score += float(sums[at]) * (1 - 2 * bit)
        if best is None or score > best[0]:
            best = (score, frame)
    if best is None or best[0] <= 0:
        return None
    frame = best[1]
    bits[:16] = (_sync(frame % 2) < 0).astype(np.uint8)
    bits[22], bits[23] = frame >> 1, frame & 1
    try:
        return replace(read_tps(bits), cell_id_half=None)
    except InputError:
        return None
