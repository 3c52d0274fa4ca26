"""Following one run: rounds in, soft values to the decoders, and the judgement of what came out.

Theory  The TPS names the mode; from there on every round is weighed, demapped and decoded, and once its packets are
        corrected the cells are compared with what had been sent.
Source  [EN300744] 4.6; [TR101290] for what is measured.
Holds   One mode; where the TPS stops to say what the mode sends, the run ends.
"""

from collections import deque
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tepui.chain.reception.acquire import Acquired
from tepui.chain.reception.demap import SoftDemapper
from tepui.chain.reception.phase import cell_power, phase_taken_out
from tepui.chain.reception.quality import (
    Alphabet,
    Quality,
    alphabet,
    indices_of_bits,
    nearest_points,
    scatter_by_carrier,
)
from tepui.chain.reception.rounds import BATCH, Round, shortened
from tepui.chain.reception.runs import Run, pace_of
from tepui.chain.reception.stream import PacketSink, StreamDecoder
from tepui.chain.reception.tps_reader import FrameLock, find_frames
from tepui.ground.tasks import map_tasks
from tepui.signals.dvbt.carriers import tps_carriers
from tepui.signals.dvbt.tps import tps_word
from tepui.signals.recording import Recording

FIRST_LOOK_ROWS = 32
HIT_RATIO = 3.0
MISREAD_BALANCE = 12.0
MOST_UNREAD = 3
LEAST_ROUND = 4
MOST_BEHIND = 2
ALL_JUDGED, JUDGED_OF = 2, 8
# What the decoder makes of pure noise differs from it in 17, 12, 9, 7 and 6 % of the coded bits (by trial); a symbol or
# two may come closer by chance, half of them do not.
TRUSTED_SHARE = {
    Fraction(1, 2): 0.135,
    Fraction(2, 3): 0.085,
    Fraction(3, 4): 0.065,
    Fraction(5, 6): 0.05,
    Fraction(7, 8): 0.026,
}
ONE_SHARE = 1.2
MOSTLY_CLEAN = 0.5
Floats = npt.NDArray[np.float64]


def _tps_sums(cells: npt.NDArray[np.complex64], before: npt.NDArray[np.complex64] | None, n_fft: int) -> Floats:
    """Differential sums over the TPS carriers, one per symbol; the first is 0 without a symbol before it."""
    columns = cells[:, tps_carriers(n_fft)].astype(complex)
    first = columns[:1] * 0 if before is None else before[None, tps_carriers(n_fft)]
    earlier = np.concatenate([first, columns[:-1]])
    product = (columns * np.conj(earlier)).real
    usual = np.median(np.abs(product[::4]), axis=0, keepdims=True) + 1e-30
    return np.asarray(np.clip(product, -3 * usual, 3 * usual).sum(axis=1))


@dataclass
class _Waiting:
    """A round whose cells wait for the decoder to tell what was sent."""

    item: Round
    inverse: npt.NDArray[np.complex64]


class Follower:
    """Follows one run: from rounds to soft values, packets and quality."""

    def __init__(self, recording: Recording, found: Acquired, *, workers: int | None, sink: PacketSink | None) -> None:
        base = found.settled.base
        rate_hz = recording.sample_rate_hz
        self.recording = recording
        self.found = found
        self.workers = workers
        self.sink = sink
        self.run = Run(
            start_s=base.begin(0) / rate_hz,
            end_s=base.begin(0) / rate_hz,
            width_hz=found.width_hz,
            n_fft=base.n_fft,
            guard=Fraction(base.n_guard, base.n_fft),
            inverted=base.inverted,
            first_sample=base.begin(0),
            centre=base.centre,
        )
        self.frames: FrameLock | None = None
        self.stream: StreamDecoder | None = None
        self.demap: SoftDemapper | None = None
        self.letters: Alphabet | None = None
        self._before: npt.NDArray[np.complex64] | None = None
        self._early: list[tuple[Round, Floats]] = []
        self._waiting: deque[_Waiting] = deque()
        self._pool = ThreadPoolExecutor(max_workers=1)
        self._tasks: deque[Future[None]] = deque()
        self.ratio: Floats | None = None
        self._first = 0
        self._rounds = 0
        self._words: list[npt.NDArray[np.uint8]] = []

    def take(self, item: Round) -> bool:
        """One more round. Returns False where its TPS contradicts what was read before: the run ends before it."""
        sums = _tps_sums(item.cells, self._before, self.run.n_fft)
        self._before = item.cells[-1].copy()
        if self.frames is not None:
            return self._hold(item, sums)
        self._early.append((item, sums))
        n_guard = int(self.run.n_fft * self.run.guard)
        every = np.concatenate([part for _, part in self._early])
        found = find_frames(every, n_fft=self.run.n_fft, n_guard=n_guard)
        if found is None:
            if len(self._early) > MOST_UNREAD:
                self._account(self._early.pop(0)[0])  # nothing to decode with: only the physical layer is followed
            return not item.lost
        waiting, self._early = self._early, []
        # symbols are counted from the run's first; the search counted from the first that waits
        self.frames = replace(found, start=found.start + waiting[0][0].symbol)
        self._begin(waiting[0][0].symbol)
        return all(self._hold(early, part) for early, part in waiting)

    def _hold(self, item: Round, sums: Floats) -> bool:
        """Decode a round as far as its TPS says what the mode sends; False where the run ends with it."""
        held = self._agreeing(item, sums)
        if held < LEAST_ROUND:
            return False
        if held < sums.size:
            item = shortened(item, held)
        self._account(item)
        self._decode(item)
        return not item.lost

    def _agreeing(self, item: Round, sums: Floats) -> int:
        """Symbols before the TPS stops saying what the mode sends: samples were lost, or another signal began.

        A bit that agrees speaks for the run by ln 2, one that does not against it by more; where the balance is highest
        the run ends, unless it is hardly lower at the end.
        """
        assert self.run.mode is not None
        words = self._words
        places = (self._place(item.symbol) + np.arange(sums.size)) % 272
        fixed = (places % 68 >= 1) & (places % 68 <= 39)
        sent = np.concatenate(words)[places] == 1
        gain = np.where(sums == 0, 0.0, np.where((sums < 0) == sent, 0.7, -3.0)) * fixed
        balance = np.concatenate([[0.0], np.cumsum(gain)])
        top = int(np.argmax(balance))
        return top if balance[top] - balance[-1] > MISREAD_BALANCE else int(sums.size)

    def _account(self, item: Round) -> None:
        run, rate_hz = self.run, self.recording.sample_rate_hz
        n = item.cells.shape[0]
        run.symbols += n
        run.faded += int(item.faded.sum())
        run.end_s = item.base.begin(n) / rate_hz
        run.paces.append(pace_of(item, rate_hz=rate_hz, width_hz=run.width_hz))
        run.steady = run.steady and item.steady
        run.grid = item.grid
        run.noise = item.noise
        if run.base is None:
            run.base = item.after
            run.cell_power = cell_power(item)
        run.phase.add(item)

    def _begin(self, symbol: int) -> None:
        """The mode is known: decoding begins with this symbol of the run."""
        assert self.frames is not None
        run = self.run
        mode = self.frames.mode(run.width_hz)
        run.mode, run.proved = mode, self.frames.proved
        run.first_in_superframe = self._place(symbol)
        self._first = symbol
        self.letters = alphabet(mode)
        self._words = [tps_word(mode, frame) for frame in range(4)]
        self.demap = SoftDemapper(mode)
        self.stream = StreamDecoder(mode, symbol=run.first_in_superframe, workers=self.workers, sink=self.sink)
        run.counts = self.stream.counts
        run.quality = Quality(mode.n_carriers, workers=self.workers, mode=mode)

    def _decode(self, item: Round) -> None:
        letters, demap, stream, mode = self.letters, self.demap, self.stream, self.run.mode
        assert letters is not None
        assert demap is not None
        assert stream is not None
        assert mode is not None
        n = item.cells.shape[0]
        size = np.abs(item.channel)
        inverse = np.where(size > 1e-15, np.conj(item.channel) / np.maximum(size, 1e-15) ** 2, 0).astype(np.complex64)
        stride = max(1, n // FIRST_LOOK_ROWS)
        parity = self._place(item.symbol) % 2

        starts = list(range(0, n, BATCH))

        def scattered(start: int) -> tuple[Floats, Floats]:
            stop = min(start + BATCH, n)
            rows = inverse if inverse.shape[0] == 1 else np.ascontiguousarray(inverse[start:stop])
            error, looks = scatter_by_carrier(
                item.cells[start:stop], rows, phase=(item.phase + start) % 4, letters=letters, stride=stride
            )
            return error * looks, looks

        parts = map_tasks(scattered, starts, workers=self.workers)
        seen = np.sum([part[1] for part in parts], axis=0)
        error = np.sum([part[0] for part in parts], axis=0) / np.maximum(seen, 1)
        power = (np.abs(item.channel) ** 2).mean(axis=0)
        weight = self._weights(error * power, seen, item.noise)

        values = np.empty((n, stream.coded_per_symbol), np.int8)

        def soft(start: int) -> None:
            stop = min(start + BATCH, n)
            rows = item.channel if item.channel.shape[0] == 1 else np.ascontiguousarray(item.channel[start:stop])
            demap(
                item.cells[start:stop],
                rows,
                weight,
                phase=(item.phase + start) % 4,
                parity=(parity + start) % 2,
                out=values[start:stop],
            )

        map_tasks(soft, starts, workers=self.workers)
        if item.faded.any():
            values[item.faded] = 0
        self._behind(values, _Waiting(item=item, inverse=inverse))

    def _behind(self, values: npt.NDArray[np.int8], entry: _Waiting) -> None:
        """Decode and judge on a thread of its own, in order, while the next round is read."""

        def task() -> None:
            assert self.stream is not None
            self.stream.push(values)
            self._waiting.append(entry)
            self._judge_ready()

        if self.workers == 1:
            task()
            return
        while len(self._tasks) >= MOST_BEHIND:
            self._tasks.popleft().result()
        self._tasks.append(self._pool.submit(task))

    def _place(self, symbol: int) -> int:
        assert self.frames is not None
        return self.frames.symbol_in_superframe(symbol)

    def _weights(self, scatter: Floats, looks: Floats, noise: float) -> npt.NDArray[np.float32]:
        """One over the noise of each carrier: that of the pilots, raised where a carrier scatters far more."""
        known = looks > 0
        usual = float(np.median(scatter[known][::3])) if known.any() else 1.0
        ratio = np.where(known, scatter / max(usual, 1e-30), 1.0)
        limit = HIT_RATIO + 8.0 / np.sqrt(np.maximum(looks, 1))
        self.ratio = np.where(ratio > limit, ratio, 1.0)
        return np.asarray(1.0 / (max(noise, 1e-30) * self.ratio), dtype=np.float32)

    def _judge_ready(self, *, last: bool = False) -> None:
        stream = self.stream
        assert stream is not None
        while self._waiting:
            entry = self._waiting[0]
            end = entry.item.symbol + entry.item.cells.shape[0]
            if not last and stream.decoded_symbols + self._first < end:
                return
            self._waiting.popleft()
            self._rounds += 1
            if self._rounds > ALL_JUDGED and self._rounds % JUDGED_OF:
                continue  # a long run is judged on every eighth round: speed, at no loss that the doubt would show
            self._judge(entry, min(end, stream.decoded_symbols + self._first))

    def _judge(self, entry: _Waiting, decoded: int) -> None:
        run, stream, letters = self.run, self.stream, self.letters
        assert stream is not None
        assert letters is not None
        assert run.mode is not None
        assert run.quality is not None
        item = entry.item
        first = max(item.symbol, self._first + 1)
        start = first - item.symbol
        count = decoded - first
        sent: npt.NDArray[np.uint8] | None = None
        if run.mode.alpha == 0 and count > 0:
            coded = stream.sent_coded_bits(start=first - self._first, count=count)
            if coded is not None:
                parity = self._place(first) % 2
                sent = indices_of_bits(coded, first_parity=parity, letters=letters)
        rows = entry.inverse if entry.inverse.shape[0] == 1 else np.ascontiguousarray(entry.inverse[start:])
        cells = item.cells[start:]
        whole = ~item.faded[start:]
        if sent is not None and stream.counts.bit_errors + stream.counts.uncorrectable:
            covered = stream.covered(start=first - self._first, count=count)
            if covered.any():
                whole[:count] &= covered
                whole[count:] = False
        aided, clean = np.zeros(cells.shape[0], bool), np.zeros(cells.shape[0], bool)
        if sent is not None:
            clean[:count] = self._clean(first - self._first, count) & whole[:count]
        if sent is not None and clean.all():
            aided, index = clean, sent
        else:
            index = nearest_points(cells, rows, phase=(item.phase + start) % 4, letters=letters)
            if sent is not None:
                mostly = clean.sum() >= MOSTLY_CLEAN * whole[:count].sum()
                aided[:count] = clean[:count] if mostly else self._trusted(sent, index[:count]) & whole[:count]
                index[aided] = sent[aided[:count]]
        run.quality.add_pilots(
            item.channel, noise=item.noise, symbols=int(whole[:count].sum() if sent is not None else whole.sum())
        )
        run.quality.clean_symbols += int((aided & clean).sum())
        keep = whole & (aided | (not aided.any()))
        self._add(entry, index, keep, start=start, aided=bool(aided.any()))

    def _clean(self, start: int, count: int) -> npt.NDArray[np.bool_]:
        """Which symbols hold nothing of a packet that could not be corrected. (count,)"""
        stream = self.stream
        assert stream is not None
        if stream.is_clean(start=start, count=count):
            return np.ones(count, bool)
        return np.array([stream.is_clean(start=start + at, count=1) for at in range(count)])

    def _trusted(self, sent: npt.NDArray[np.uint8], seen: npt.NDArray[np.uint8]) -> npt.NDArray[np.bool_]:
        """Symbols whose re-encoded cells are believed: the decoder's word agrees with most of what was seen."""
        assert self.run.mode is not None
        share = np.bitwise_count(sent ^ seen).sum(axis=1) / (sent.shape[1] * self.run.mode.bits_per_cell)
        limit = TRUSTED_SHARE[self.run.mode.code_rate]
        return np.asarray((share < ONE_SHARE * limit) & (float(np.median(share)) < limit))

    def _add(
        self, entry: _Waiting, index: npt.NDArray[np.uint8], keep: npt.NDArray[np.bool_], *, start: int, aided: bool
    ) -> None:
        run, letters, item = self.run, self.letters, entry.item
        assert run.quality is not None
        assert letters is not None
        edges = np.flatnonzero(np.diff(np.concatenate([[0], keep.astype(np.int8), [0]])))
        turns = phase_taken_out(item, rate_hz=self.recording.sample_rate_hz)
        for low, high in zip(edges[::2], edges[1::2], strict=True):
            row, stop = start + int(low), start + int(high)
            inverse = entry.inverse if entry.inverse.shape[0] == 1 else entry.inverse[row:stop]
            run.quality.add(
                item.cells[row:stop],
                inverse,
                np.ascontiguousarray(index[low:high]),
                phase=(item.phase + row) % 4,
                number=item.symbol + row,
                letters=letters,
                aided=aided,
                steady=item.steady,
                turn=turns[row:stop],
            )

    def finish(self) -> Run:
        """Decode and judge what is left."""
        for item, _ in self._early:
            self._account(item)
        while self._tasks:
            self._tasks.popleft().result()
        self._pool.shutdown()
        if self.stream is not None:
            self.stream.finish()
            self._judge_ready(last=True)
        return self.run
