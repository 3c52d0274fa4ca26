"""``record`` at the desk: files appear, and whatever interrupts leaves shorter recordings that are whole.

Every recording is a SigMF pair that appears when it is complete or was stopped; a disk that refuses leaves none of
the one being written and all those before it. Room is looked for before the work and while it goes on.
"""

import shutil
import signal
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from itertools import chain
from pathlib import Path
from types import FrameType

from tepui.desk.keep import require_folder
from tepui.desk.live import ReceiverChoice, capture_settings, completed, opened
from tepui.desk.progress import Progress
from tepui.desk.recordings import text_of
from tepui.files.sigmf import sigmf_files, write_sigmf
from tepui.files.tunings import Tuning, read_tunings
from tepui.ground.document import build_document, document_text, utc_now
from tepui.ground.errors import FormatError, InputError, UnfinishedError
from tepui.instruments.capture import CapturedReceiver
from tepui.jobs.record import Take, Taken, fill_converter, record_outcome, taken_blocks

SPARE_BYTES = 1 << 23  # left free on the disk: the metadata and whatever else writes there
STORED_BYTES = {"ci8": 2, "ci16_le": 4, "cf32_le": 8}
USUAL_S = 1.0
LOOK_EVERY = 1 << 23  # bytes written between two looks at what the disk has left
BREAK = "Samples were lost before this one; the driver did not count how many."
PRACTICE_WORDS = "Practice: made by the simulated bench, not measured on any transmitter."


@dataclass(frozen=True, kw_only=True)
class RecordRequest:
    """What the operator asked for; ``out`` is a stem, or the folder of a list.

    tunings, rows, frequency_hz   a list from a file, a list made already, or one frequency
    fill   set the gain behind the front end anew for every row that does not name it, so that the converter is filled
    """

    receiver: ReceiverChoice
    out: Path
    tunings: Path | None = None
    rows: tuple[Tuning, ...] = ()
    fill: bool = False
    frequency_hz: float | None = None
    duration_s: float | None = None
    setting_dbm: float | None = None
    terminated: bool = False
    as_json: bool = False
    settings: Mapping[str, float] = field(default_factory=dict)

    @property
    def is_list(self) -> bool:
        """Whether ``out`` is a folder."""
        return self.tunings is not None or bool(self.rows)


@dataclass(frozen=True, kw_only=True)
class Recorded:
    """What came: recordings that hold samples, their files, and whether all of it is practice."""

    kept: list[Taken]
    files: list[Path]
    practice: bool


class _Stop:
    """Ctrl-C while a recording is being written ends it, whole; a second one stops at once."""

    def __init__(self) -> None:
        self.asked = False

    def __call__(self, _number: int, _frame: FrameType | None) -> None:
        if self.asked:
            raise KeyboardInterrupt
        self.asked = True


@contextmanager
def _stop_softly() -> Iterator[_Stop]:
    stop, before = _Stop(), {}
    try:
        for name in ("SIGINT", "SIGTERM", "SIGHUP", "SIGBREAK"):
            number = getattr(signal, name, None)
            if number is not None:
                before[number] = signal.signal(number, stop)
    except ValueError:  # not the main thread: whoever called us keeps the signals
        pass
    try:
        yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


class _Room:
    """Whether the disk has room for more; says why not."""

    def __init__(self, folder: Path, taken: Taken, *, sample_bytes: int) -> None:
        self._folder, self._taken, self._sample_bytes = folder, taken, sample_bytes
        self._looked = -LOOK_EVERY

    def is_left(self) -> bool:
        """False ends the recording."""
        written = self._taken.n_samples * self._sample_bytes
        if written - self._looked < LOOK_EVERY:
            return True
        self._looked = written
        if shutil.disk_usage(self._folder).free > SPARE_BYTES:
            return True
        self._taken.stopped = f"the disk with {self._folder} is nearly full, so the recording was ended"
        return False


def run_record(request: RecordRequest, *, ask: Callable[[str], bool]) -> int:
    """The verb: record every row, print what came, return the exit code.

    ask     shows a sentence and waits until the operator has done it; False where nobody is there
    raises  InputError before anything is written; UnfinishedError or KeyboardInterrupt after an interruption
    """
    recorded = record_all(request, ask=ask)
    files = [str(path) for path in recorded.files]
    outcome = record_outcome(recorded.kept)
    document = build_document(verb="record", outcomes=[outcome], files=files, practice=recorded.practice)
    text = text_of([outcome], files, practice=recorded.practice, tables=())
    sys.stdout.write(document_text(document) if request.as_json else text)
    return 0


def record_all(request: RecordRequest, *, ask: Callable[[str], bool]) -> Recorded:
    """Every row recorded and kept; ``ask`` and what is raised as in ``run_record``."""
    rows = _rows(request)
    takes = [_take(request, row, number, len(rows)) for number, row in enumerate(rows)]
    _require_places(request, takes)
    choice = replace(completed(request.receiver), rate_hz=takes[0].rate_hz)
    with _stop_softly() as stop, opened(choice, frequency_hz=takes[0].frequency_hz) as receiver:
        practice = receiver.info.practice
        _require_room(request.out, takes, receiver)
        if request.is_list:
            request.out.mkdir(exist_ok=True)
        taken = _all(receiver, choice, takes, request, stop, ask=ask)
    kept = [one for one in taken if one.n_samples]
    if stop.asked:
        _say_kept(kept)
        raise KeyboardInterrupt
    if taken[-1].stopped:
        raise UnfinishedError(_ended_early(kept, taken[-1]))
    files = [path for one in kept for path in sigmf_files(_stem(request, one.take))]
    return Recorded(kept=kept, files=files, practice=practice)


def _all(
    receiver: CapturedReceiver,
    choice: ReceiverChoice,
    takes: list[Take],
    request: RecordRequest,
    stop: _Stop,
    *,
    ask: Callable[[str], bool],
) -> list[Taken]:
    """One recording after another, until one is stopped."""
    taken: list[Taken] = []
    pads = choice.attenuator_db or 0.0
    for number, take in enumerate(takes):
        pads = _prepared(receiver, choice, take, pads, ask)
        if request.fill and choice.behind is not None and "if_gain_db" not in take.settings:
            receiver.tune(take.frequency_hz)
            fill_converter(receiver, choice.behind)
        taken.append(_recorded(receiver, choice, take, request, stop, place=f"{number + 1} of {len(takes)}"))
        if taken[-1].stopped:
            break
    return taken


def _ended_early(kept: list[Taken], last: Taken) -> str:
    """Why, and what there is of it."""
    why = last.stopped.rstrip(".")
    if not kept:
        return f"{why}; nothing was recorded."
    if kept[-1] is last:
        return f"{why}; {last.take.name} holds the {last.duration_s:.3g} s that came until then."
    return f"{why}; of {last.take.name} nothing was recorded, {len(kept)} before it are whole."


def _say_kept(kept: list[Taken]) -> None:
    if kept:
        last = kept[-1]
        print(f"tepui: {last.take.name} holds {last.duration_s:.3g} s; {len(kept)} recorded.", file=sys.stderr)


def _rows(request: RecordRequest) -> list[Tuning]:
    if request.rows:
        return list(request.rows)
    if request.tunings is not None:
        return list(read_tunings(request.tunings))
    assert request.frequency_hz is not None
    return [Tuning(place="--frequency", values={"frequency_hz": request.frequency_hz}, terminated=None, name=None)]


def _take(request: RecordRequest, row: Tuning, number: int, count: int) -> Take:
    values = dict(row.values)
    settings: dict[str, float | bool] = dict(request.settings)
    for name in ("attenuator_db", "frontend_gain_db", "if_gain_db", "gain_db", "setting_dbm"):
        if name in values:
            settings[name] = values[name]
    if "setting_dbm" not in settings and request.setting_dbm is not None:
        settings["setting_dbm"] = request.setting_dbm
    settings["terminated"] = request.terminated if row.terminated is None else row.terminated
    frequency_hz = values["frequency_hz"]
    digits = len(str(count))
    made = f"{number + 1:0{digits}d}-{frequency_hz / 1e6:.4f}MHz"
    return Take(
        name=row.name or made if request.is_list else request.out.name,
        frequency_hz=frequency_hz,
        duration_s=values.get("duration_s", request.duration_s or USUAL_S),
        rate_hz=values.get("rate_hz", request.receiver.rate_hz),
        settings=settings,
    )


def _stem(request: RecordRequest, take: Take) -> Path:
    return request.out / take.name if request.is_list else request.out


def _require_places(request: RecordRequest, takes: list[Take]) -> None:
    """Refuse what could not be written, or would be written over.

    raises  InputError
    """
    rates = {take.rate_hz for take in takes}
    if len(rates) > 1:
        raise FormatError(
            f"{request.tunings or 'The list'} has more than one rate_hz; keep one rate a list, or make a list for each."
        )
    if request.is_list:
        require_folder(request.out)
    elif not request.out.absolute().parent.is_dir():
        raise InputError(f"the folder {request.out.absolute().parent} does not exist; make it, or name another place.")
    names = [take.name for take in takes]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise FormatError(f"{request.tunings} names {twice} twice; every recording needs a name of its own.")
    for take in takes:
        for path in sigmf_files(_stem(request, take)):
            if path.exists():
                raise InputError(f"{path} exists already and is not written over; name another place.")


def _require_room(out: Path, takes: list[Take], receiver: CapturedReceiver) -> None:
    need = sum(take.duration_s for take in takes) * receiver.rate_hz * STORED_BYTES[receiver.info.sample_type]
    free = shutil.disk_usage(out if out.is_dir() else out.absolute().parent).free
    if need + SPARE_BYTES > free:
        raise InputError(
            f"the recordings need {need / 1e6:.0f} MB and the disk has {max(free - SPARE_BYTES, 0) / 1e6:.0f} MB free: "
            "make room, or record for a shorter time."
        )


def _prepared(
    receiver: CapturedReceiver, choice: ReceiverChoice, take: Take, pads: float, ask: Callable[[str], bool]
) -> float:
    """Pads and gains as the row wants them; returns the pads at the input by hand.

    raises  InputError where a pad must be changed and nobody is there
    """
    wanted = float(take.settings.get("attenuator_db", pads))
    if choice.pad is not None:
        if "attenuator_db" in take.settings:
            receiver.set_gain(choice.pad, (choice.attenuator_db or 0.0) - wanted)
    elif abs(wanted - pads) > 0.01:
        if not ask(f"{take.name}: fit {wanted:g} dB of pads at the receiver's input in place of {pads:g} dB"):
            raise InputError(
                f"{take.name} wants {wanted:g} dB of pads and {pads:g} dB are fitted: say what is fitted with "
                "--attenuator, keep one pad a list, or run it from a terminal to be asked."
            )
        pads = wanted
    for setting, name in (("frontend_gain_db", choice.front), ("if_gain_db", choice.behind)):
        if setting in take.settings:
            if name is None:
                option = "--front" if setting == "frontend_gain_db" else "--behind"
                raise InputError(f"{take.name} wants {setting}: say with {option} which gain element that is.")
            receiver.set_gain(name, float(take.settings[setting]))
    if "gain_db" in take.settings:
        if len(receiver.info.gains) != 1:
            raise InputError(
                f"{take.name} wants gain_db, and the receiver has several gains: give frontend_gain_db or if_gain_db, "
                "with --front and --behind."
            )
        receiver.set_gain(receiver.info.gains[0].name, float(take.settings["gain_db"]))
    return pads


def _recorded(
    receiver: CapturedReceiver,
    choice: ReceiverChoice,
    take: Take,
    request: RecordRequest,
    stop: _Stop,
    *,
    place: str,
) -> Taken:
    """One recording, written; of one that was stopped what there is, and nothing of one with no samples.

    raises  UnfinishedError where the disk refuses
    """
    tuned_hz = receiver.tune(take.frequency_hz)
    taken = Taken(take=take, rate_hz=receiver.rate_hz, tuned_hz=tuned_hz)
    info = receiver.info
    settings = capture_settings(choice, receiver.gains_db, practice=info.practice)
    settings.update({name: take.settings[name] for name in ("setting_dbm", "attenuator_db") if name in take.settings})
    settings["terminated"] = bool(take.settings.get("terminated", False))
    stem = _stem(request, take)
    room = _Room(stem.absolute().parent, taken, sample_bytes=STORED_BYTES[info.sample_type])
    with Progress(f"{take.name} ({place})") as progress:
        blocks = taken_blocks(receiver, taken, go_on=lambda: not stop.asked and room.is_left(), tell=progress.tell)
        first = next(blocks, None)
        if first is None:
            return taken
        breaks = ({"core:sample_start": at, "core:comment": BREAK} for at in taken.breaks)  # filled meanwhile
        write_sigmf(
            stem,
            chain([first], blocks),
            sample_rate_hz=receiver.rate_hz,
            sample_type=info.sample_type,
            frequency_hz=tuned_hz,
            settings=settings,
            annotations=breaks,
            losses=taken.losses,
            practice=info.practice,
            utc=utc_now(),
            description=PRACTICE_WORDS if info.practice else None,
        )
    return taken
