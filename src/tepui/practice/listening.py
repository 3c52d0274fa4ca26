"""Listening with a practice receiver: blocks and recordings of one tuning, gain and pad, from a loop on the air.

Theory  One turn of the loop goes through the front end once for each pad and front-end gain; what a tuning hears is a
        slice of that turn's transform, filtered and read at the receiver's own instants (chirp.py), so that the
        products of the whole transmission fall into the narrow window. Thermal noise joins ahead of the filter.
Source  tuner.py and front_end.py for the receiver; noise k T0 F at the connector, the pad and the source at 290 K.
Holds   Time runs round the loop without end. Phase noise repeats with the loop; thermal noise never does.
"""

from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
import numpy.typing as npt
import scipy.fft

from tepui.ground.checks import require_between, require_positive
from tepui.ground.decibels import amplitude_from_db, watts_from_dbm
from tepui.practice.air import Air
from tepui.practice.chirp import ChirpReader
from tepui.practice.front_end import through_front_end
from tepui.practice.path import noise_w_hz
from tepui.practice.receiver import PhaseNoise
from tepui.practice.tuner import FILTER_EDGES, SteppedReceiver
from tepui.signals.recording import Recording, Stretch, recording_from_samples

Samples = npt.NDArray[np.complex64]
KEPT_TURNS = 4  # transforms behind the front end that are kept, of about 20 MB each
HEADROOM_DB = 12.0  # of the signal's mean below full scale: it passes 10 dB above its mean once in 10 000 samples


@dataclass(frozen=True, kw_only=True)
class ReceiverSetting:
    """What the operator sets. terminated: a resistor in place of the signal."""

    tuned_hz: float
    attenuator_db: float = 0.0
    frontend_gain_db: float
    if_gain_db: float
    terminated: bool = False


class Listener:
    """One receiver on one loop; asking again for what was asked gives the same samples.

    level_dbm  mean power of the transmission at the pad's input
    """

    def __init__(self, receiver: SteppedReceiver, air: Air, *, level_dbm: float, seed: int) -> None:
        self.receiver, self.air, self.level_dbm = receiver, air, level_dbm
        self._seed = seed
        self._turns: OrderedDict[tuple[float, ...], Samples] = OrderedDict()

    def block(self, setting: ReceiverSetting, *, start_s: float, n_samples: int) -> Samples:
        """Samples from ``start_s`` on (any time from 0 on), by the receiver's clock. (n,) full scale 1 on each axis."""
        require_between("start_s", start_s, 0, 1e6, unit="s", source="this bench")
        require_positive("n_samples", n_samples, unit="samples")
        a_turn = max(1, int(self.air.period_s * self.receiver.sample_rate_hz))
        rate_hz = self._true(self.receiver.sample_rate_hz)
        parts = []
        for at in range(0, n_samples, a_turn):
            count = min(a_turn, n_samples - at)
            parts.append(self._part(setting, start_s=start_s + at / rate_hz, n_samples=count))
        return np.concatenate(parts) if len(parts) > 1 else parts[0]

    def record(self, setting: ReceiverSetting, *, duration_s: float, start_s: float = 0.0, name: str) -> Recording:
        """A recording with its settings, marked as practice."""
        samples = self.block(setting, start_s=start_s, n_samples=round(duration_s * self.receiver.sample_rate_hz))
        rate_hz = self.receiver.sample_rate_hz
        bare = recording_from_samples(name, samples, sample_rate_hz=rate_hz, practice=True)
        stretch = Stretch(start=0, count=len(samples), frequency_hz=setting.tuned_hz, settings=settings_of(setting))
        return replace(bare, stretches=(stretch,), sample_type=self.receiver.sample_type)

    def behind_front_end(self, setting: ReceiverSetting, *, name: str) -> Recording:
        """One turn of all that stands behind the front end, wide and without noise: the truth of a stitching."""
        turn = scipy.fft.ifft(self._turn(setting))
        turn *= np.float32(0.25 / np.sqrt(np.mean(np.abs(turn) ** 2)))
        air = self.air
        return recording_from_samples(name, turn, sample_rate_hz=air.rate_hz, frequency_hz=air.centre_hz, practice=True)

    def _true(self, stated: float) -> float:
        return stated * (1 + 1e-6 * self.receiver.crystal_ppm)

    def _turn(self, setting: ReceiverSetting) -> Samples:
        """Transform of one turn at the mixer's output, phase noise in it; only the last few are kept."""
        receiver, air = self.receiver, self.air
        filtered = receiver.front_end.rf_width_hz is not None
        key = (setting.attenuator_db, setting.frontend_gain_db, setting.tuned_hz if filtered else 0.0)
        if key in self._turns:
            self._turns.move_to_end(key)
            return self._turns[key]
        pad_db = setting.attenuator_db * (1 + receiver.pad_error_db)
        scale = np.sqrt(watts_from_dbm(self.level_dbm - pad_db) / air.mean_w)
        heard = through_front_end(
            air.samples * np.float32(scale),
            front_end=receiver.front_end,
            gain_db=receiver.frontend_gain.true_db("frontend_gain_db", setting.frontend_gain_db),
            rate_hz=air.rate_hz,
            tuned_offset_hz=setting.tuned_hz - air.centre_hz,
        )
        if receiver.phase_noise is not None:
            heard = heard * _loop_phase(receiver.phase_noise, len(heard), air.rate_hz, self._seed)
        self._turns[key] = scipy.fft.fft(heard)
        if len(self._turns) > KEPT_TURNS:
            self._turns.popitem(last=False)
        return self._turns[key]

    def _part(self, setting: ReceiverSetting, *, start_s: float, n_samples: int) -> Samples:
        """At most one turn."""
        receiver, air = self.receiver, self.air
        n, step_hz = len(air.samples), 1 / air.period_s
        rate_hz = self._true(receiver.sample_rate_hz)
        away_hz = self._true(setting.tuned_hz) - air.centre_hz
        middle = round(away_hz / step_hz)
        half = min(int(FILTER_EDGES[1] * receiver.sample_rate_hz / step_hz) + 1, n // 2 - 1)
        bins = middle + np.arange(-half, half + 1)
        shape = receiver.filter_amplitude(np.asarray(bins * step_hz - away_hz, np.float64))
        known = np.abs(bins) < n // 2
        lines = np.zeros(len(bins), np.complex64)
        if not setting.terminated:
            lines[known] = self._turn(setting)[bins[known]]
        gain_db = receiver.if_gain.true_db("if_gain_db", setting.if_gain_db) - receiver.full_scale_dbm + 30
        generator = np.random.default_rng([4, self._seed, *_whole_numbers(setting, start_s)])
        lines += self._noise(setting, len(bins), generator)
        first = (start_s * air.rate_hz) % n
        reader = _reader(n, len(bins), air.rate_hz / rate_hz, n_samples)
        heard = reader.read(lines * (shape * amplitude_from_db(gain_db)).astype(np.complex64), first=first)
        turn = (middle * step_hz - away_hz) * (start_s + np.arange(n_samples) / rate_hz)
        heard = heard * np.exp(2j * np.pi * (turn - np.floor(turn))).astype(np.complex64)
        return converted(heard, receiver, generator)

    def _noise(self, setting: ReceiverSetting, count: int, generator: np.random.Generator) -> Samples:
        """Thermal noise behind the front-end gain, as lines of a transform of one turn."""
        gain_db = self.receiver.frontend_gain.true_db("frontend_gain_db", setting.frontend_gain_db)
        density = noise_w_hz(self.receiver.front_end.noise_figure_db(gain_db)) * 10 ** (gain_db / 10)
        n = len(self.air.samples)
        deviation = np.sqrt(density / self.air.period_s / 2) * n
        pairs = generator.standard_normal((count, 2), dtype=np.float32) * np.float32(deviation)
        return np.asarray(pairs.view(np.complex64)[:, 0])


def settings_of(setting: ReceiverSetting) -> dict[str, float | bool]:
    """The settings in the names that recordings carry."""
    found: dict[str, float | bool] = {
        "attenuator_db": setting.attenuator_db,
        "frontend_gain_db": setting.frontend_gain_db,
        "if_gain_db": setting.if_gain_db,
        "practice": True,
    }
    return {**found, "terminated": True} if setting.terminated else found


def _whole_numbers(setting: ReceiverSetting, start_s: float) -> list[int]:
    """What the noise of a block is drawn from: the same question, the same noise."""
    parts = (setting.tuned_hz, setting.attenuator_db * 1e3, setting.frontend_gain_db * 1e3, setting.if_gain_db * 1e3)
    return [*(round(part) % (1 << 63) for part in parts), int(setting.terminated), round(start_s * 1e9)]


@lru_cache(maxsize=4)
def _reader(n_block: int, n_bins: int, step: float, n_out: int) -> ChirpReader:
    return ChirpReader(n_block=n_block, n_bins=n_bins, step=step, n_out=n_out)


@lru_cache(maxsize=2)
def _loop_phase(noise: PhaseNoise, n: int, rate_hz: float, seed: int) -> Samples:
    """exp(i angle) over one turn, closed: lines of the plateau's shape. (n,)"""
    generator = np.random.default_rng([5, seed])
    frequency = scipy.fft.rfftfreq(n, 1 / rate_hz)
    density = 2 * 10 ** (noise.plateau_dbc_hz / 10) / (1 + (frequency / noise.corner_hz) ** 2)  # one-sided, rad^2/Hz
    pairs = generator.standard_normal((len(frequency), 2), dtype=np.float32).view(np.complex64)[:, 0]
    pairs[0] = 0
    angle = scipy.fft.irfft(pairs * (np.sqrt(density * n * rate_hz) / 2).astype(np.float32), n)
    return np.asarray(np.exp(1j * angle), dtype=np.complex64)


def converted(heard: Samples, receiver: SteppedReceiver, generator: np.random.Generator) -> Samples:
    """Image, line at zero, converter: (n,) on its codes, full scale 1 on each axis."""
    image = amplitude_from_db(receiver.image_db) * np.exp(1j * receiver.image_phase_rad)
    seen = np.asarray(heard + np.complex64(image) * np.conj(heard), dtype=np.complex64)
    if receiver.dc_dbfs is not None:
        seen += np.complex64(amplitude_from_db(receiver.dc_dbfs) * np.exp(1j * np.pi / 5))
    axes = seen.view(np.float32)
    half = 2.0 ** (receiver.bits - 1)
    offset = 0.5 if receiver.bits == 8 else 0.0  # 8-bit receivers count from 0, with zero between two codes
    axes *= np.float32(1 / _step(receiver.bits))
    if receiver.converter_noise_lsb:
        axes += generator.standard_normal(len(axes), dtype=np.float32) * np.float32(receiver.converter_noise_lsb)
    np.clip(np.rint(axes - np.float32(offset)), -half, half - 1, out=axes)
    axes += np.float32(offset)
    axes *= np.float32(_step(receiver.bits))
    return seen


def _step(bits: int) -> float:
    """One step of the converter as a file of the receiver's sample type has it, full scale 1."""
    return 1 / 127.5 if bits == 8 else 2.0 ** (16 - bits) / 32767


def filled(listener: Listener, setting: ReceiverSetting, *, headroom_db: float = HEADROOM_DB) -> ReceiverSetting:
    """The setting with the gain at the intermediate frequency that fills the converter best, with room for peaks."""
    receiver = listener.receiver
    steps = receiver.if_gain.nominal_db
    quiet = replace(setting, if_gain_db=steps[len(steps) // 2])
    wanted = -headroom_db
    count = min(1 << 15, int(listener.air.period_s * receiver.sample_rate_hz))
    for _ in range(3):  # a converter that clips, or is starved, misleads once
        rms = 10 * np.log10(np.mean(np.abs(listener.block(quiet, start_s=0.0, n_samples=count)) ** 2))
        best = min(steps, key=lambda step: (abs(step - quiet.if_gain_db - (wanted - rms)), step))
        quiet = replace(quiet, if_gain_db=best)
    return quiet


def sweep(
    listener: Listener, settings: Sequence[ReceiverSetting], *, duration_s: float, name: str, start_s: float = 0.0
) -> tuple[Recording, ...]:
    """One recording after another, each of a time of its own."""
    return tuple(
        listener.record(
            setting, duration_s=duration_s, start_s=start_s + number * duration_s, name=f"{name}_{number + 1:02d}"
        )
        for number, setting in enumerate(settings)
    )
