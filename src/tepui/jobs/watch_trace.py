"""The trace of a watch while it listens: spectra of short blocks, each told as soon as it is there.

Theory  A look lasts a quarter of a second; within it every fortieth gives a spectrum of its own, and the mean of the
        newest ten at one tuning is shown: a sliding average over one look's length, of nothing but what was heard. What
        was averaged at another gain, pad or drive is forgotten. The zero is that of the newest reading, the highest in
        band; before the first it is the signal's mean beside the edge.
Source  signals/spectrum.py for the estimate; our own choice of lengths. Scatter of a point: 4.3 dB / sqrt(averages).
Holds   For the eye: every figure comes from the whole look (evidence/edge.py), none from here. The receiver's filter
        falls within a trace and is not taken off.
"""

import math
import time
from collections import deque
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from tepui.evidence.edge import MOST_SIGNAL_HZ, EdgeShoulders
from tepui.evidence.edge_tunings import EdgeTuning
from tepui.signals.spectrum import SpectrumEstimator

Floats = npt.NDArray[np.float64]
Samples = npt.NDArray[np.complex64]

BLOCK_S = 1 / 40
KEPT_BLOCKS = 10
FINEST_HZ = 4e3  # of a point; a shoulder is read through 10 kHz at 7 MHz and 8K
CLEAR_HZ = 20e3
TAIL = 1e-4  # of the power: the least level looked at is far above


@dataclass(frozen=True, kw_only=True, eq=False)
class TracePart:
    """The trace at one tuning.

    offset_hz   of the first point from the channel's centre; bin_hz between two
    level_db    (n,) over the zero; NaN where the receiver shows nothing of its own: its ends, its line at zero
    averages    independent averages of a point
    heard_s     when its newest block came
    """

    side: str
    offset_hz: float
    bin_hz: float
    level_db: npt.NDArray[np.float32]
    averages: float
    heard_s: float


@dataclass(frozen=True, kw_only=True)
class LiveTraces:
    """Everything heard, with the tuning that is new. zeroed: whether the zero is that of a reading."""

    number: int
    time_s: float
    fresh: str
    practice: bool
    zeroed: bool
    clipping: bool
    parts: tuple[TracePart, ...]


class Watched(Protocol):
    """What of a watch is needed here."""

    @property
    def setting(self) -> tuple[tuple[str, float], ...]:
        """What must not change within an average."""
        ...

    @property
    def found(self) -> EdgeShoulders | None:
        """The newest reading."""
        ...


@dataclass(kw_only=True)
class _Heard:
    tuned_hz: float
    density: deque[Floats]
    averages: float
    heard_s: float


class RunningTraces:
    """Hears the blocks of a watch and tells the traces."""

    def __init__(
        self,
        watch: Watched,
        *,
        rate_hz: float,
        reach_hz: float,
        dc_half_width_hz: float,
        centre_hz: float,
        occupied_hz: float,
        practice: bool,
        tell: Callable[[LiveTraces], None],
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        self._watch, self._tell, self._clock, self._practice = watch, tell, clock, practice
        self._rate_hz, self._reach_hz, self._dc_hz = rate_hz, reach_hz, dc_half_width_hz
        self._centre_hz, self._half_hz = centre_hz, occupied_hz / 2
        self.n_fft = 1 << max(6, math.floor(math.log2(rate_hz / FINEST_HZ)))
        self._begun, self._number = clock(), 0
        self._setting: tuple[tuple[str, float], ...] | None = None
        self._heard: dict[str, _Heard] = {}
        offsets = (np.arange(self.n_fft) - self.n_fft // 2) * (rate_hz / self.n_fft)
        self._shown = np.flatnonzero(np.abs(offsets) <= reach_hz)
        self._offsets = offsets[self._shown]
        self._unseen = np.abs(self._offsets) <= dc_half_width_hz

    def hear(self, tuning: EdgeTuning, tuned_hz: float, samples: Samples) -> None:
        """Take a block and tell what there is now."""
        if len(samples) < self.n_fft:
            return
        if self._watch.setting != self._setting:
            self._setting = self._watch.setting
            self._heard.clear()
        estimator = SpectrumEstimator(n_fft=self.n_fft, sample_rate_hz=self._rate_hz)
        estimator.push(samples)
        spectrum = estimator.result()
        kept = self._heard.get(tuning.side)
        if kept is None or abs(kept.tuned_hz - tuned_hz) > 0.5 * self._rate_hz / self.n_fft:
            kept = _Heard(tuned_hz=tuned_hz, density=deque(maxlen=KEPT_BLOCKS), averages=0.0, heard_s=0.0)
            self._heard[tuning.side] = kept
        kept.density.append(spectrum.density[self._shown])
        kept.averages = spectrum.n_averages * len(kept.density)
        kept.heard_s = self._clock() - self._begun
        self._number += 1
        axes = samples.view(np.float32)
        self._tell(
            LiveTraces(
                number=self._number,
                time_s=kept.heard_s,
                fresh=tuning.side,
                practice=self._practice,
                zeroed=self._watch.found is not None,
                clipping=bool(np.mean(np.abs(axes) >= 1.0) > TAIL),
                parts=self._parts(),
            )
        )

    def _parts(self) -> tuple[TracePart, ...]:
        means = {side: np.mean(np.stack(tuple(one.density)), axis=0) for side, one in self._heard.items()}
        zero = self._zero(means)
        found = []
        for side, one in self._heard.items():
            level = 10 * np.log10(np.maximum(means[side], 1e-30) / zero)
            level[self._unseen] = np.nan
            found.append(
                TracePart(
                    side=side,
                    offset_hz=one.tuned_hz + float(self._offsets[0]) - self._centre_hz,
                    bin_hz=self._rate_hz / self.n_fft,
                    level_db=level.astype(np.float32),
                    averages=one.averages,
                    heard_s=one.heard_s,
                )
            )
        return tuple(found)

    def _zero(self, means: Mapping[str, Floats]) -> float:
        """Density that counts as 0 dB: of the newest reading, else the signal's own mean beside the edges."""
        found = self._watch.found
        if found is not None:
            return found.shape.reference_density
        beside = []
        for side, mean in means.items():
            inwards = self._half_hz - np.abs(self._offsets + self._heard[side].tuned_hz - self._centre_hz)
            part = mean[(inwards > CLEAR_HZ) & (inwards < MOST_SIGNAL_HZ) & ~self._unseen]
            if part.size:
                beside.append(float(part.mean()))
        return max(beside, default=0.0) or max(float(mean.max()) for mean in means.values()) or 1.0
