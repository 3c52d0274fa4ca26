"""A receiver that is heard while it runs: what it can do, what it gives, and how it says that it stopped.

Theory  Samples come without end; each block says how many were lost before it, so that nothing is joined that was not
        adjacent. After a change of frequency or gain only samples taken after it are given.
Source  own definition; full scale as in recording.py.
Holds   Complex samples of one channel.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from tepui.ground.errors import UnfinishedError
from tepui.signals.recording import Recording, SampleSource, Stretch

Samples = npt.NDArray[np.complex64]


class ReceiverStoppedError(UnfinishedError):
    """The receiver no longer delivers: unplugged, or its driver failed."""


@dataclass(frozen=True, kw_only=True)
class GainElement:
    """One gain that can be set. step_db is None where the driver names none."""

    name: str
    low_db: float
    high_db: float
    step_db: float | None


@dataclass(frozen=True, kw_only=True)
class ReceiverInfo:
    """What a receiver says of itself; measured is nothing of it.

    key          how the operator names it
    bits         of the converter; None where the driver names no whole-number format
    sample_type  in which samples leave it and are kept, in SigMF's names
    rates_hz, frequencies_hz   (low, high) each; a single rate has low = high
    gains        in signal order, as far as the driver keeps it
    practice     simulated: nothing it gives is a measurement
    """

    key: str
    label: str
    driver: str
    bits: int | None
    sample_type: str
    rates_hz: tuple[tuple[float, float], ...]
    frequencies_hz: tuple[tuple[float, float], ...]
    gains: tuple[GainElement, ...]
    practice: bool = False

    def gain_named(self, name: str) -> GainElement | None:
        """The element of this name, whatever its case; None where there is none."""
        return next((one for one in self.gains if one.name.casefold() == name.casefold()), None)


@dataclass(frozen=True, kw_only=True, eq=False)
class LiveBlock:
    """Samples as they came.

    samples   (n,) complex64, full scale 1
    lost      samples that were lost just before the first of them, as far as they were counted
    breaks    places in ``samples`` before which the driver lost an unknown number
    """

    samples: Samples
    lost: int = 0
    breaks: tuple[int, ...] = ()


class LiveReceiver(Protocol):
    """A receiver that runs."""

    @property
    def info(self) -> ReceiverInfo:
        """What it says of itself."""
        ...

    @property
    def rate_hz(self) -> float:
        """Sample rate as the driver reports it. [Hz]"""
        ...

    @property
    def gains_db(self) -> Mapping[str, float]:
        """Gains in force, by element. [dB]"""
        ...

    def tune(self, frequency_hz: float) -> float:
        """Tune; samples read afterwards were taken afterwards. The frequency in force is returned. [Hz]"""
        ...

    def set_gain(self, name: str, gain_db: float) -> float:
        """Set one gain element; samples read afterwards were taken afterwards. Returns what is in force. [dB]"""
        ...

    def read(self, count: int) -> LiveBlock:
        """The next ``count`` samples; fewer only where some were lost on the way.

        raises  ReceiverStoppedError
        """
        ...


@dataclass(frozen=True)
class _Held:
    samples: Samples

    def read(self, start: int, count: int) -> Samples:
        return self.samples[start : start + count]


def listen(
    receiver: LiveReceiver,
    *,
    name: str,
    frequency_hz: float,
    duration_s: float,
    settings: Mapping[str, float | bool] | None = None,
    block_s: float | None = None,
    heard: Callable[[Samples], None] | None = None,
) -> tuple[Recording, int]:
    """A short recording held in memory, and how many places samples were lost at; where some were, from there on.

    frequency_hz   what the receiver is tuned to already
    block_s        at most so much is read at once; ``heard`` gets each piece as it comes, none of it with a loss inside
    raises         ReceiverStoppedError
    """
    wanted = max(1, round(duration_s * receiver.rate_hz))
    most = wanted if block_s is None else max(1, round(block_s * receiver.rate_hz))
    kept: list[Samples] = []
    held = losses = 0
    while held < wanted:
        block = receiver.read(min(wanted - held, most))
        samples = block.samples
        losses += len(block.breaks) + bool(block.lost)
        if block.lost or block.breaks:  # start anew after the last loss: a spectrum must not run over it
            samples = samples[block.breaks[-1] :] if block.breaks else samples
            if losses <= 20:
                kept, held = [], 0
        kept.append(samples)
        held += len(samples)
        if heard is not None:
            heard(samples)
    samples = np.concatenate(kept)[:wanted]
    samples.flags.writeable = False
    stretch = Stretch(start=0, count=wanted, frequency_hz=frequency_hz, settings=settings or {})
    source: SampleSource = _Held(samples)
    recording = Recording(
        name=name,
        sample_rate_hz=receiver.rate_hz,
        n_samples=wanted,
        stretches=(stretch,),
        sample_type=receiver.info.sample_type,
        practice=receiver.info.practice,
        source=source,
    )
    return recording, losses
