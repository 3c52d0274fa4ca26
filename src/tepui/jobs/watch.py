"""Edge watch: a running receiver alternates between the edges of the channel, and both shoulders are told every time.

Theory  Each look tunes, listens for a quarter of a second, and reads both shoulders from the newest look at every
        tuning. The floor comes from the guard interval, or from a look with the input terminated; the pad test tells
        what of it the receiver made. No screen here: ``step`` gives a snapshot, and whoever shows it decides how.
Source  evidence/edge.py, evidence/edge_tunings.py; [TR101290] 9.7.
Holds   One drive setting within a pad test. A signal that changes faster than two looks shows edges of two times.
"""

import math
import time
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import replace
from functools import partial

from tepui.chain.reception.search import occupied_hz
from tepui.chain.reception.slices import symbols_of_slice
from tepui.evidence.converter import IDEAL_LSB2
from tepui.evidence.edge import EdgeShoulders, edge_floor, edge_shoulders
from tepui.evidence.edge_tunings import EdgeTuning, edge_tunings
from tepui.evidence.floor import Floor
from tepui.evidence.narrow import NarrowSpectrum, narrow_spectra
from tepui.evidence.shoulders import Construction
from tepui.evidence.unrest import unrest_beside
from tepui.ground.errors import RangeError
from tepui.jobs.watch_drift import Drift
from tepui.jobs.watch_pad import pad_verdicts
from tepui.jobs.watch_plan import WatchPlan
from tepui.jobs.watch_state import (
    FIT_PAD,
    FLOOR,
    IDLE,
    RECEIVER,
    TAKE_OFF,
    TERMINATE,
    UNKNOWN,
    WITH_PAD,
    Moment,
    ReceiverState,
    Side,
    Snapshot,
    Verdict,
)
from tepui.jobs.watch_trace import BLOCK_S, RunningTraces
from tepui.signals.live import LiveReceiver, listen
from tepui.signals.recording import Recording

MINUTE_S = 60.0
TEST_LOOKS = 3  # of every tuning, for each half of a pad test
SPACINGS_OF_RESOLUTION = 2.2  # fine enough to be smoothed to ten
SEARCH_EVERY = 4  # readings between two attempts to find the symbols
FLOOR_STD = 0.05  # of a floor read once, relative (this program's limit)
LEVEL_MOVED_DB = 1.0
PRACTICE_DRIVE = "DRIVE"
LEAST_SIGNAL_DB = 6.0  # of the signal over what lies beside it


class EdgeWatch:
    """The watch; ``step`` makes one look and says all there is to show.

    raises  RangeError on building where the receiver is too narrow
    """

    def __init__(self, receiver: LiveReceiver, plan: WatchPlan, *, clock: Callable[[], float] = time.monotonic) -> None:
        self._receiver, self.plan, self._clock = receiver, plan, clock
        self.occupied_hz = occupied_hz(plan.width_hz)
        self.tunings: tuple[EdgeTuning, ...] = edge_tunings(
            centre_hz=plan.centre_hz,
            occupied_width_hz=self.occupied_hz,
            reach_hz=plan.reach_hz,
            dc_half_width_hz=plan.dc_half_width_hz,
        )
        self.symbols = plan.symbols
        self.looks = self.lost = self._reduced = 0
        self.verdicts: dict[str, Verdict] = {}
        self.task, self._share = IDLE, 0.0
        self._begun = clock()
        self._heard: dict[str, Recording] = {}
        self._minute: deque[Moment] = deque()
        self._floor: Floor | None = None  # from a terminated input
        self._floor_heard: list[float] = []
        self.pad_db = float(plan.settings.get("attenuator_db", 0.0))
        self._behind_short_db = 0.0
        self._readings: list[tuple[float, list[Moment]]] = []
        self._padded: list[Moment] = []
        self.found: EdgeShoulders | None = None
        self.state: ReceiverState | None = None
        self.problem = "listening"
        self.traces: RunningTraces | None = None
        self._drift = Drift()

    # What the operator asks for.

    def ask_pad_test(self) -> None:
        """Begin a pad test, or go on with it once the pad is in or out, as the task says."""
        if self.task == IDLE and self._minute and not self.problem:
            if not self.verdicts_now():
                self._readings = [(self.pad_db, list(self._minute)[-TEST_LOOKS:])]
            if self.plan.pad_element is None:
                self.task = FIT_PAD
            else:
                self._set_pad(self.pad_db + self.plan.pad_db)
                self._begin_padded()
        elif self.task == FIT_PAD:
            self.pad_db += self.plan.pad_db
            self._begin_padded()
        elif self.task == TAKE_OFF:
            self.pad_db -= self.plan.pad_db
            self._move_behind(-self.plan.pad_db)
            self.task = IDLE

    def ask_floor(self) -> None:
        """Begin a reading of the floor with the input terminated, or go on once it is."""
        if self.task == IDLE:
            self.task = TERMINATE
        elif self.task == TERMINATE:
            self.task, self._floor_heard = FLOOR, []

    def set_gain(self, name: str, gain_db: float) -> float:
        """Change a gain; what was heard before it counts no more."""
        value = self._receiver.set_gain(name, gain_db)
        self._heard.clear()
        self._floor = None
        return value

    def turn_practice_drive(self, change_db: float) -> None:
        """Turn the drive of the practice station, which stands in for the operator's other hand."""
        element = self._receiver.info.gain_named(PRACTICE_DRIVE)
        if element is None or not self._receiver.info.practice:
            return
        now = self._receiver.gains_db.get(element.name, 0.0)
        self._receiver.set_gain(element.name, min(max(now + change_db, element.low_db), element.high_db))
        self.verdicts = {}
        self._heard.clear()

    def _set_pad(self, pad_db: float) -> None:
        assert self.plan.pad_element is not None
        self.pad_db = -self._receiver.set_gain(self.plan.pad_element, -pad_db)
        self._heard.clear()

    def _move_behind(self, change_db: float) -> None:
        """Move the gain behind the front end with the pad, as far as it goes, so that the floor stays where it was.

        What it could not move up is not taken off again when the pad goes.
        """
        name = self.plan.behind_element
        element = None if name is None else self._receiver.info.gain_named(name)
        now = None if element is None else self._receiver.gains_db.get(element.name)
        if element is not None and now is not None:
            wanted = change_db + self._behind_short_db
            value = self._receiver.set_gain(element.name, min(max(now + wanted, element.low_db), element.high_db))
            self._behind_short_db = wanted - (value - now)
        self._heard.clear()

    def _begin_padded(self) -> None:
        self._move_behind(self.plan.pad_db)
        self._padded, self._share, self.task = [], 0.0, WITH_PAD

    # Looking.

    def step(self) -> Snapshot:
        """Tune to the next edge, listen, and read.

        raises  ReceiverStoppedError
        """
        heard = self.look()
        if heard is not None:
            self.reduce(heard)
        return self.snapshot()

    def look(self) -> Mapping[str, Recording] | None:
        """Tune to the next edge and listen; what is to be read then, None while an edge was not heard yet.

        The receiver is this caller's alone meanwhile; ``reduce`` may go on in another thread, but for a pad test.

        raises  ReceiverStoppedError
        """
        tuning = self.tunings[self.looks % len(self.tunings)]
        tuned_hz = self._receiver.tune(tuning.frequency_hz)
        recording, losses = listen(
            self._receiver,
            name=tuning.side,
            frequency_hz=tuned_hz,
            duration_s=self.plan.look_s,
            settings={**self.plan.settings, "attenuator_db": self.pad_db},
            block_s=None if self.traces is None else BLOCK_S,
            heard=None if self.traces is None else partial(self.traces.hear, tuning, tuned_hz),
        )
        self.looks += 1
        self.lost += losses
        if self.task == FLOOR:
            self._hear_floor(recording)
            return None
        self._heard[tuning.side] = recording
        return dict(self._heard) if len(self._heard) == len(self.tunings) else None

    def _spacing_hz(self) -> float:
        return 1 / self.symbols.useful_s if self.symbols is not None else 8 * self.plan.width_hz / 7 / 8192

    def reduce(self, heard: Mapping[str, Recording]) -> None:
        """Read both shoulders from one recording of every tuning."""
        if self.symbols is None and self._reduced % SEARCH_EVERY == 0:
            self.symbols = symbols_of_slice(heard["lower"], width_hz=self.plan.width_hz)
        self._reduced += 1
        order = [tuning.side for tuning in self.tunings]
        recordings = [heard[side] for side in order]
        try:
            spectra = self._spectra(recordings)
            floor = self._floor_now(recordings, spectra)
            self.found = edge_shoulders(
                list(zip(order, spectra, strict=True)),
                centre_hz=self.plan.centre_hz,
                occupied_width_hz=self.occupied_hz,
                carrier_spacing_hz=self._spacing_hz(),
                floor=floor,
                tuning_std_hz=self.plan.centre_hz * 1e-6 * self.plan.tuning_ppm,
                unrest=self._unrest(heard),
                guard=None if self.symbols is None else self.symbols.guard,
            )
        except RangeError as refusal:
            self.found, self.problem = None, str(refusal)
            self.state = None
            return
        self.state = self._state(recordings, spectra, floor, self.found)
        if self.found.step_db < LEAST_SIGNAL_DB:
            self.found = None
            self.problem = "No edge of a signal is seen: is the transmitter on, are centre and width right?"
            return
        self.problem = ""
        self._remember(self.found)

    def _spectra(self, recordings: list[Recording]) -> tuple[NarrowSpectrum, ...]:
        return narrow_spectra(
            recordings,
            resolution_bandwidth_hz=SPACINGS_OF_RESOLUTION * self._spacing_hz(),
            usable_share=min(2 * self.plan.reach_hz / recordings[0].sample_rate_hz, 1.0),
        )

    def _floor_now(self, recordings: list[Recording], spectra: tuple[NarrowSpectrum, ...]) -> Floor | None:
        if self._floor is not None:
            return self._floor
        if self.symbols is None:
            return None
        beside = [
            pair
            for pair, tuning in zip(zip(recordings, spectra, strict=True), self.tunings, strict=True)
            if tuning.side != "middle"
        ]
        return edge_floor(
            beside,
            centre_hz=self.plan.centre_hz,
            occupied_width_hz=self.occupied_hz,
            useful_s=self.symbols.useful_s,
            guard_s=self.symbols.guard_s,
        )

    def _unrest(self, heard: Mapping[str, Recording]) -> float:
        sides = [heard[side] for side in ("lower", "upper")]
        return max(
            unrest_beside(
                recording.read(0, recording.n_samples),
                sample_rate_hz=recording.sample_rate_hz,
                centre_offset_hz=self.plan.centre_hz - float(recording.centre_hz or 0.0),
                occupied_width_hz=self.occupied_hz,
            )
            for recording in sides
        )

    def _hear_floor(self, recording: Recording) -> None:
        """The density of a terminated input, line at zero left out, from every tuning once."""
        self._floor_heard.append(self._terminated_density(recording))
        self._share = len(self._floor_heard) / len(self.tunings)
        if len(self._floor_heard) < len(self.tunings):
            return
        mean = sum(self._floor_heard) / len(self._floor_heard)
        spread = (max(self._floor_heard) - min(self._floor_heard)) / 2
        self._floor = Floor(
            density=mean, std=math.hypot(spread, FLOOR_STD * mean), at_most=False, method="terminated input"
        )
        self._heard.clear()
        self.task, self._share = IDLE, 0.0

    def _terminated_density(self, recording: Recording) -> float:
        """Noise of a terminated input, and never less than rounding adds once a signal moves the converter."""
        bits = self._receiver.info.bits
        rounding = 0.0 if bits is None else IDEAL_LSB2 / (2 ** (bits - 1) - 1) ** 2 / recording.sample_rate_hz
        try:
            (spectrum,) = self._spectra([recording])
        except RangeError:  # one and the same code: the converter is at rest
            return rounding
        if spectrum.converter.is_starved:  # it rests, but for a code now and then
            return rounding
        return max(float(spectrum.density[spectrum.usable].mean()), rounding)

    def _state(
        self,
        recordings: list[Recording],
        spectra: tuple[NarrowSpectrum, ...],
        floor: Floor | None,
        found: EdgeShoulders,
    ) -> ReceiverState:
        samples = recordings[-1].read(0, 1 << 16)
        power = max(float((abs(samples) ** 2).mean()), 1e-12)
        bits = [one.converter.used_bits for one in spectra if one.converter.used_bits is not None]
        return ReceiverState(
            level_db=10 * math.log10(power),
            clipped_share=max(one.converter.clipped_share for one in spectra),
            used_bits=max(bits) if bits else None,
            floor_db=found.floor_db,
            floor_method="" if floor is None else floor.method,
            lost=self.lost,
        )

    def _remember(self, found: EdgeShoulders) -> None:
        assert self.state is not None
        moment = Moment(
            time_s=self._clock() - self._begun,
            lower=Side(shown=found.shown_lower, received=found.lower),
            upper=Side(shown=found.shown_upper, received=found.upper),
            level_db=self.state.level_db,
        )
        if self.task == WITH_PAD:
            self._padded.append(moment)
            self._share = len(self._padded) / TEST_LOOKS
            if len(self._padded) >= TEST_LOOKS:
                self._finish_pad_test()
            return
        self._drift.add(moment, centre_hz=found.centre_hz.value)
        self._minute.append(moment)
        while self._minute and moment.time_s - self._minute[0].time_s > MINUTE_S:
            self._minute.popleft()

    def _finish_pad_test(self) -> None:
        """Say what the test told; a pad that is not needed goes, one that is stays."""
        self._readings.append((self.pad_db, self._padded))
        told = pad_verdicts(self._readings, kept_level_db=self._padded[-1].level_db)
        keep = any(one.origin in (RECEIVER, UNKNOWN) for one in told.values()) or len(self._readings) > 2
        self._share, self.task = 0.0, IDLE
        if not keep:
            level_db = self._readings[-2][1][-1].level_db
            told = {side: replace(one, level_db=level_db) for side, one in told.items()}
            if self.plan.pad_element is None:
                self.task = TAKE_OFF
            else:
                self._set_pad(self.pad_db - self.plan.pad_db)
                self._move_behind(-self.plan.pad_db)
        self.verdicts = told
        self._minute.extend(self._padded if keep else ())

    def verdicts_now(self) -> dict[str, Verdict]:
        """Those that still hold: the level has not moved since the test."""
        if self.state is None:
            return {}
        level_db = self.state.level_db
        return {side: one for side, one in self.verdicts.items() if abs(one.level_db - level_db) < LEVEL_MOVED_DB}

    @property
    def setting(self) -> tuple[tuple[str, float], ...]:
        """All that must stay as it is for what is heard to be averaged."""
        gains = sorted(self._receiver.gains_db.items())
        return (*gains, ("pad", self.pad_db), (self.task, 0.0))

    @property
    def minute(self) -> tuple[Moment, ...]:
        """The last minute, oldest first."""
        return tuple(self._minute)

    def snapshot(self) -> Snapshot:
        """Everything to be shown now."""
        info = self._receiver.info
        now = self._clock() - self._begun
        moment = self._minute[-1] if self._minute and not self.problem else None
        symbols = f" {self.symbols.text}" if self.symbols is not None else ""
        return Snapshot(
            time_s=now,
            practice=info.practice,
            receiver=info.key,
            channel=f"{self.plan.centre_hz / 1e6:.10g} MHz, {self.plan.width_hz / 1e6:g} MHz wide{symbols}",
            moment=moment,
            state=self.state,
            minute=self.minute,
            verdicts=self.verdicts_now() if self.task == IDLE else self.verdicts,
            task=self.task,
            pad_db=self.pad_db,
            pad_step_db=self.plan.pad_db,
            share=self._share,
            problem=self.problem,
            centre_hz=None if self.found is None else self.found.centre_hz.value,
            gains_db=dict(self._receiver.gains_db),
            occupied_hz=self.occupied_hz,
            lines={} if self.found is None else _lines(self.found),
            drift=self._drift.slots,
        )


def _lines(found: EdgeShoulders) -> dict[str, Construction]:
    """The lifted line of each side, for the drawing."""
    return {"lower": found.shape.lower.construction, "upper": found.shape.upper.construction}
