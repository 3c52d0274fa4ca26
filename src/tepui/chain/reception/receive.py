"""The whole receiver: find a signal, follow it, decode it, judge it, and find it again when it was lost.

Theory  Search (search.py) gives a lock, settling (tracking.py) makes it exact, rounds (rounds.py) follow it, soft
        values go to the decoders (stream.py), and what was decoded tells what had been sent (quality.py).
Source  [EN300744]; [TR101290] for what is measured.
Holds   One signal at a time, the first found; a change of mode inside a recording ends one run and begins another.
"""

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

from tepui.chain.reception.acquire import Acquired, Nothing, acquire
from tepui.chain.reception.follow import Follower
from tepui.chain.reception.rounds import Round, RoundReader
from tepui.chain.reception.runs import Run
from tepui.chain.reception.search import WIDTHS_HZ
from tepui.chain.reception.stream import PacketSink
from tepui.chain.reception.symbols import SymbolReader
from tepui.signals.recording import Recording


@dataclass(frozen=True, kw_only=True)
class Reception:
    """What a recording held: runs in order of time, and what was seen where nothing could be held.

    unread   a run whose pilots were followed but whose TPS could not be read
    glimpse  a signal whose pilots were seen, too short to be followed
    """

    runs: tuple[Run, ...]
    nothing: Nothing | None
    unread: Run | None = None
    glimpse: Acquired | None = None

    @property
    def found(self) -> bool:
        """Whether any DVB-T signal was held and named."""
        return any(run.mode is not None for run in self.runs)


def receive(
    recording: Recording,
    *,
    width_hz: float | None = None,
    workers: int | None = None,
    packet_sink: PacketSink | None = None,
    progress: Callable[[float], None] | None = None,
) -> Reception:
    """Receive everything in a recording.

    width_hz     channel width, or None to find it among WIDTHS_HZ
    packet_sink  is given (n, 188) arrays of transport stream packets in order
    progress     is told the share of the recording that is done
    """
    widths = WIDTHS_HZ if width_hz is None else (width_hz,)
    runs: list[Run] = []
    nothing: Nothing | None = None
    unread: Run | None = None
    glimpse: Acquired | None = None
    for stretch in recording.stretches:
        position, end = stretch.start, stretch.start + stretch.count
        floor = position
        while position < end:
            found = acquire(recording, begin=position, end=end, floor=floor, widths_hz=widths)
            if isinstance(found, Nothing):
                nothing = nothing or found
                break
            run = _follow(recording, found, end=end, workers=workers, sink=packet_sink, progress=progress)
            stop = int(run.end_s * recording.sample_rate_hz) if run is not None else found.resume
            if run is not None and run.mode is not None:
                runs.append(run)
            elif run is not None:
                unread = unread or run
            else:
                glimpse = glimpse or found
            position = max(stop, position + 1024)
            floor = position
            if run is None or run.mode is None:
                position = max(position, found.resume)
        if progress is not None:
            progress(end / recording.n_samples)
    return Reception(runs=tuple(runs), nothing=nothing if not runs else None, unread=unread, glimpse=glimpse)


def _follow(
    recording: Recording,
    found: Acquired,
    *,
    end: int,
    workers: int | None,
    sink: PacketSink | None,
    progress: Callable[[float], None] | None,
) -> Run | None:
    reader = SymbolReader(recording, width_hz=found.width_hz)
    rounds = RoundReader(reader, found.settled, end=end, workers=workers)
    follower = Follower(recording, found, workers=workers, sink=sink)
    for item in _ahead(rounds, workers=workers):
        if not follower.take(item) or item.lost:
            break
        if progress is not None:
            progress(follower.run.end_s * recording.sample_rate_hz / recording.n_samples)
    return follower.finish() if follower.run.symbols else None


def _ahead(rounds: RoundReader, *, workers: int | None) -> Iterator[Round]:
    """The rounds in order, each read while the one before is decoded: a round needs nothing of what comes after it."""
    if workers == 1:
        while (item := rounds.next()) is not None:
            yield item
        return
    with ThreadPoolExecutor(max_workers=1) as reader:
        coming = reader.submit(rounds.next)
        while (item := coming.result()) is not None:
            if not item.lost:
                coming = reader.submit(rounds.next)
            yield item
            if item.lost:
                return
