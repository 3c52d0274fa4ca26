"""What a frequency plan is asked for: the channel, what may be tuned, what must stay clean, and the parts in between.

Theory  The question carries every choice; the search invents none. What was assumed rather than said is listed in
        ``assumed``, so that the findings can tell.
Source  Limits in ``PlanLimits``: common practice, each to be replaced by the operator's own.
Holds   One transmitter, one wanted channel.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from tepui.chain.conversion.mixer import MixerDrive
from tepui.chain.filters.coupled import BandpassDesign
from tepui.ground.checks import require_between, require_one_of, require_positive
from tepui.ground.errors import RangeError
from tepui.prediction.plan_far import FarStation

SIDES = ("low", "high", "both")
MOST_PLANS = 400_000


@dataclass(frozen=True, kw_only=True)
class LocalService:
    """A strong local transmission that may leak into the modulator's cables."""

    centre_hz: float
    width_hz: float
    level_dbm: float | None = None


@dataclass(frozen=True, kw_only=True)
class Protected:
    """Spectrum near the output in which somebody else listens; the limit is relative to the wanted signal."""

    low_hz: float
    high_hz: float
    limit_db: float


@dataclass(frozen=True, kw_only=True)
class PlanLimits:
    """From where on a product costs a plan its place.

    in_channel_db  upper end of a product's level inside the channel
    near_db        the same beside it
    low_order      a product up to this order counts whatever its estimated level: it is the first a real part makes
    lo_thin_db     a filter that has less than this to spare on paper is thin
    error_hz       farthest the oscillator's step may put the channel off
    """

    in_channel_db: float = -50.0
    near_db: float = -45.0
    low_order: int = 5
    lo_thin_db: float = 10.0
    error_hz: float = 10e3


@dataclass(frozen=True, kw_only=True)
class Cascade:
    """A second mixer: where the second IF may lie, and the filter behind the first mixer."""

    second_if_hz: tuple[float, ...]
    n_poles: int = 3
    ripple_db: float = 0.1
    width_hz: float | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class MeasuredFilter:
    """The built filter's own curve: frequencies rising, loss, and where it comes from in words."""

    frequency_hz: npt.NDArray[np.float64]
    loss_db: npt.NDArray[np.float64]
    how: str

    def covers(self, frequency_hz: npt.ArrayLike) -> npt.NDArray[np.bool_]:
        """Which frequencies lie within the sweep."""
        f = np.asarray(frequency_hz, dtype=np.float64)
        return np.asarray((f >= self.frequency_hz[0]) & (f <= self.frequency_hz[-1]))

    def loss_at_db(self, frequency_hz: npt.ArrayLike) -> npt.NDArray[np.float64]:
        """Loss within the sweep. [dB]"""
        return np.asarray(np.interp(np.asarray(frequency_hz, dtype=np.float64), self.frequency_hz, self.loss_db))


@dataclass(frozen=True, kw_only=True)
class PlanQuestion:
    """One question for frequency plans.

    if_hz           signal frequencies to try
    side            "low", "high" or "both": the oscillator below or above the wanted channel
    near_hz         how far from the centre a product counts as near
    goal_db         how far the oscillator's line and the image must lie below the wanted signal
    oscillator_hz   range of the oscillator before its multiplier; None where any is taken
    step_hz         step of the oscillator before its multiplier; None where any frequency is made
    multiplied      the oscillator's frequency is multiplied by this
    harmonic_db     level of the multiplier's other harmonics over the wanted one, and the doubt of that
    modulator_hz    ranges the modulator tunes; None where ``if_hz`` says it all
    direct          also weigh sending the modulator's signal without a mixer
    shielding_db    between a local service in the shack and the mixer's signal port
    fars            stations that should receive the channel
    transmit_ppm    error of the oscillator's reference, 95 %
    measured        the built filter's curve, which stands before the prototype wherever it reaches
    assumed         words for what was not said and therefore assumed
    """

    wanted_hz: float
    width_hz: float
    signal_width_hz: float
    if_hz: tuple[float, ...]
    side: str
    near_hz: float
    drive: MixerDrive
    design: BandpassDesign
    mixer: str = "typical"
    own: Mapping[tuple[int, int], tuple[float, float | None]] | None = None
    order: int = 9
    max_m: int | None = None
    max_n: int | None = None
    goal_db: float = 60.0
    oscillator_hz: tuple[float, float] | None = None
    step_hz: float | None = None
    multiplied: int = 1
    harmonic_db: float = -30.0
    harmonic_doubt_db: float = 10.0
    modulator_hz: tuple[tuple[float, float], ...] | None = None
    locals_near: tuple[LocalService, ...] = ()
    protected: tuple[Protected, ...] = ()
    direct: bool = False
    cascade: Cascade | None = None
    limits: PlanLimits = field(default_factory=PlanLimits)
    shielding_db: float = 40.0
    fars: tuple[FarStation, ...] = ()
    transmit_ppm: float = 0.0
    measured: MeasuredFilter | None = None
    assumed: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        require_between("wanted channel", self.wanted_hz / 1e6, 1, 1e5, unit="MHz", source="this program's limit")
        require_positive("width", self.width_hz, unit="Hz")
        require_one_of("side", self.side, SIDES, source="where an oscillator can stand")
        require_between("near", self.near_hz / 1e6, self.width_hz / 2e6, 1000, unit="MHz", source="half the channel")
        require_between("shielding", self.shielding_db, 0, 150, unit="dB", source="this program's limit")
        require_between("goal", self.goal_db, 0, 120, unit="dB", source="a distance below the wanted signal")
        if not self.if_hz and not self.direct:
            raise RangeError("No signal frequency to try: give --if a range or a list, or say --direct.")
        if any(not 1e6 <= one <= 1e11 for one in self.if_hz):
            raise RangeError("Every IF must lie between 1 MHz and 100 GHz (this program's limit).")
        sides = 2 if self.side == "both" else 1
        seconds = 1 if self.cascade is None else 2 * len(self.cascade.second_if_hz)
        plans = len(self.if_hz) * sides * seconds
        if plans > MOST_PLANS:
            raise RangeError(
                f"{plans} plans are asked for and {MOST_PLANS} are looked through at once (this program's limit); "
                "take a coarser raster or a narrower range."
            )

    def known_by(self, frequency_hz: float) -> str:
        """How the filter's loss at a frequency is known: "measured" or "on paper"."""
        return "measured" if self.measured is not None and self.measured.covers(frequency_hz) else "on paper"
