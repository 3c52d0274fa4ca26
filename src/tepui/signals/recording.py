"""A recording of complex samples, read in blocks: never more of it in memory than is being worked on.

Theory  Samples are I + jQ with full scale 1 on each axis, at one rate; a stretch is a part with one tuned
        frequency and one receiver setting (one capture segment of SigMF).
Source  [SigMF] 1.x, captures and annotations.
Holds   Any length. The screen counts what it is shown once: blocks that overlap are counted twice.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from threading import Lock
from typing import Any, Protocol

import numpy as np
import numpy.typing as npt

from tepui.ground.checks import require_positive
from tepui.ground.errors import FormatError, RangeError

FULL_SCALE = 1.0 - 1e-6  # an axis at or beyond its largest code; the next code of 16 bits lies 3e-5 below
PROBE_SAMPLES = 65536
PROBE_COUNT = 32


class SampleSource(Protocol):
    """Where samples come from; files and receivers implement it."""

    def read(self, start: int, count: int) -> npt.NDArray[np.complex64]:
        """Samples start to start + count, full scale 1, cut to what exists; many threads may call at once."""
        ...


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """Part of a recording with one tuned frequency and one receiver setting.

    start, count   samples
    frequency_hz   what the receiver was told to tune to; None where unknown
    settings       attenuator_db, frontend_gain_db, if_gain_db, gain_db, setting_dbm, terminated, practice, agc
    """

    start: int
    count: int
    frequency_hz: float | None = None
    settings: Mapping[str, float | bool] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.start < 0 or self.count < 1:
            raise RangeError(f"A stretch starts at sample 0 or later and is not empty, not {self.start}, {self.count}.")
        if self.frequency_hz is not None and not math.isfinite(self.frequency_hz):
            raise RangeError(f"The frequency of a stretch must be a finite number of Hz, not {self.frequency_hz}.")
        object.__setattr__(self, "settings", dict(self.settings))


@dataclass(frozen=True, kw_only=True, eq=False)
class Recording:
    """Complex samples at one rate, behind a reader.

    stretches    in time order, not overlapping, within the samples; at least one
    sample_type  as stored, in SigMF's names (ci16_le, cu8, ...)
    annotations  as the file has them, untouched
    remarks      what the reader had to put up with, one sentence each
    practice     True where the samples come from the simulated bench
    utc          time of the first sample as ISO 8601 text; None where unknown
    raises       RangeError where the parts contradict each other
    """

    name: str
    sample_rate_hz: float
    n_samples: int
    stretches: tuple[Stretch, ...]
    sample_type: str
    annotations: tuple[Mapping[str, Any], ...] = ()
    remarks: tuple[str, ...] = ()
    practice: bool = False
    source: SampleSource
    utc: str | None = None

    def __post_init__(self) -> None:
        require_positive("sample_rate_hz", self.sample_rate_hz, unit="Hz")
        if self.n_samples < 1 or not self.stretches:
            raise RangeError(f"{self.name} must hold at least one sample in one stretch.")
        end = 0
        for stretch in self.stretches:
            if stretch.start < end or stretch.start + stretch.count > self.n_samples:
                raise RangeError(
                    f"{self.name}: the stretch at sample {stretch.start} overlaps another or leaves the recording."
                )
            end = stretch.start + stretch.count

    @property
    def centre_hz(self) -> float | None:
        """Tuned frequency of the first stretch; None where unknown. [Hz]"""
        return self.stretches[0].frequency_hz

    @property
    def duration_s(self) -> float:
        """Length in time. [s]"""
        return self.n_samples / self.sample_rate_hz

    def read(self, start: int, count: int) -> npt.NDArray[np.complex64]:
        """Samples start to start + count, full scale 1, cut to what exists.

        returns  (n,) complex64 with n <= count; empty beyond the end
        raises   RangeError for a negative start or count; UnfinishedError where the disk fails
        """
        if start < 0 or count < 0:
            raise RangeError(f"Samples are read from 0 on in counts from 0 on, not {count} from {start}.")
        return self.source.read(start, max(0, min(count, self.n_samples - start)))

    def codes(self, start: int, count: int) -> tuple[npt.NDArray[np.int16], float] | None:
        """Stored 16-bit codes (n, 2) and the value of one step, where the source keeps samples so; else None.

        Half the memory traffic of ``read`` for those who turn and scale samples themselves.
        """
        give = getattr(self.source, "codes", None)
        if give is None or start < 0 or start + count > self.n_samples:
            return None
        stored = give(start, count)
        return None if stored is None else (stored, float(self.source.code_scale))  # type: ignore[attr-defined]

    def part(self, start: int, count: int) -> "Recording":
        """Some of its samples as a recording of its own, numbered from 0, in the one stretch they lie in.

        raises  RangeError where they do not lie within one stretch
        """
        for stretch in self.stretches:
            if stretch.start <= start and start + count <= stretch.start + stretch.count:
                return replace(
                    self,
                    n_samples=count,
                    stretches=(replace(stretch, start=0, count=count),),
                    annotations=(),
                    source=_PartSamples(self.source, start, count),
                    utc=self.utc if start == 0 else None,
                )
        raise RangeError(f"{self.name}: {count} samples from {start} on do not lie within one of its stretches.")

    def blocks(self, size: int) -> Iterator[npt.NDArray[np.complex64]]:
        """The whole recording in order, ``size`` samples at a time; the last block may be shorter."""
        require_positive("size", size, unit="samples")
        for start in range(0, self.n_samples, size):
            yield self.read(start, size)


@dataclass(frozen=True)
class _ArraySamples:
    samples: npt.NDArray[np.complex64]

    def read(self, start: int, count: int) -> npt.NDArray[np.complex64]:
        return self.samples[start : start + count]


@dataclass(frozen=True)
class _PartSamples:
    source: SampleSource
    begin: int
    size: int

    def read(self, start: int, count: int) -> npt.NDArray[np.complex64]:
        return self.source.read(self.begin + start, max(0, min(count, self.size - start)))


def recording_from_samples(
    name: str,
    samples: npt.ArrayLike,
    *,
    sample_rate_hz: float,
    frequency_hz: float | None = None,
    practice: bool = False,
) -> Recording:
    """A recording held in memory: a read-only copy of ``samples`` (n,), complex, full scale 1.

    raises  RangeError for no samples, more than one axis or a rate that is not above zero
    """
    kept = np.array(samples, dtype=np.complex64)
    if kept.ndim != 1:
        raise RangeError(f"{name} must be one row of complex samples, not {kept.shape}.")
    kept.flags.writeable = False
    return Recording(
        name=name,
        sample_rate_hz=sample_rate_hz,
        n_samples=len(kept),
        stretches=(Stretch(start=0, count=len(kept), frequency_hz=frequency_hz),) if len(kept) else (),
        sample_type="cf32",
        practice=practice,
        source=_ArraySamples(kept),
    )


@dataclass(frozen=True, kw_only=True)
class SampleCounts:
    """What a screen saw.

    n_zero        samples with both axes exactly zero
    n_full_scale  samples with an axis at its last code; None for floating point, whose full scale is unknown
    peak          largest magnitude on either axis, full scale 1
    """

    n_samples: int
    n_zero: int
    n_full_scale: int | None
    peak: float


def _is_constant(block: npt.NDArray[np.complex64], value: np.complex64) -> bool:
    few = block[:: max(1, len(block) // 8)]
    return bool((few == value).all() and (block == value).all())


class SampleScreen:
    """Looks at each block on its way through and refuses samples nobody could use.

    Call ``look`` for every block (from any thread), ``finish`` at the end.
    """

    def __init__(self, recording: Recording) -> None:
        self._name = recording.name
        self._rate_hz = recording.sample_rate_hz
        self._has_full_scale = not recording.sample_type.startswith("cf")
        self._lock = Lock()
        self._n_samples = 0
        self._n_zero = 0
        self._n_full_scale = 0
        self._peak = 0.0
        self._constant: np.complex64 | None = None
        self._varies = False

    def look(self, block: npt.NDArray[np.complex64], *, start: int) -> None:
        """Count zeros, full scale and peak of ``block`` (n,), whose first sample is number ``start``.

        raises  FormatError at a NaN or infinite sample, saying where
        """
        if not len(block):
            return
        axes = np.ascontiguousarray(block).view(np.float32)
        low, high = float(axes.min()), float(axes.max())
        if not (math.isfinite(low) and math.isfinite(high)):
            bad = start + int(np.argmin(np.isfinite(axes))) // 2
            raise FormatError(
                f"{self._name}: sample {bad} ({bad / self._rate_hz:.6f} s) is not a finite number, and nothing can be "
                "computed from it; record or convert it again."
            )
        full_scale = 0
        if self._has_full_scale and (high >= FULL_SCALE or low <= -FULL_SCALE):
            full_scale = int(np.count_nonzero((np.abs(axes) >= FULL_SCALE).view(np.uint16)))  # two axes, one word
        # Integers cannot give a negative zero, so there the two axes are compared as one word: six times faster.
        n_filled = int(np.count_nonzero(axes.view(np.uint64) if self._has_full_scale else block))
        with self._lock:
            self._n_samples += len(block)
            self._n_zero += len(block) - n_filled
            self._n_full_scale += full_scale
            self._peak = max(self._peak, high, -low)
            self._constant = block[0] if self._constant is None else self._constant
            self._varies = self._varies or not _is_constant(block, self._constant)

    def finish(self) -> SampleCounts:
        """What was seen.

        raises  FormatError where every sample shown was zero, or the same
        """
        if self._n_samples and not self._varies:
            what = "zeros" if self._peak == 0.0 else "one and the same value"
            raise FormatError(
                f"{self._name} holds nothing but {what} ({self._n_samples} samples); "
                "check the receiver and its input, and record again."
            )
        return SampleCounts(
            n_samples=self._n_samples,
            n_zero=self._n_zero,
            n_full_scale=self._n_full_scale if self._has_full_scale else None,
            peak=self._peak,
        )


def require_usable_samples(recording: Recording) -> None:
    """A quick look: the first block must be numbers, and something somewhere must change.

    Only where the start and 32 places spread over the recording all hold one value is the whole of it read.

    raises  FormatError
    """
    screen = SampleScreen(recording)
    first = recording.read(0, PROBE_SAMPLES)
    screen.look(first, start=0)
    if not _is_constant(first, first[0]):
        return
    for place in range(1, PROBE_COUNT + 1):
        start = place * recording.n_samples // (PROBE_COUNT + 1)
        if not _is_constant(recording.read(start, PROBE_SAMPLES // PROBE_COUNT), first[0]):
            return
    screen = SampleScreen(recording)
    for number, block in enumerate(recording.blocks(PROBE_SAMPLES)):
        screen.look(block, start=number * PROBE_SAMPLES)
        if not _is_constant(block, first[0]):
            return
    screen.finish()
