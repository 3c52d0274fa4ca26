"""A drive series reduced: shoulders as shown, with what is not the amplifier's taken off, and what their sides say.

Theory  A baseline (the modulator alone at the same receiver level) adds to a shoulder as power:
        true = shown - baseline. Small differences are worth nothing: less than 3 dB above the baseline the true level
        is only known to lie below what is shown. A filter after the amplifier changes each side by its loss there less
        its least loss in the channel; that is the same at every drive. What grows with drive is memory.
Source  addition of independent powers; [GUM] 5.1 for the doubt; the 3 dB are common practice.
Holds   Baseline and signal independent, and the same receiver level for both.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.evidence.shoulders import Shoulder
from tepui.ground.doubt import Estimate, estimate
from tepui.ground.errors import RangeError

Floats = npt.NDArray[np.float64]
LEAST_ABOVE_BASELINE_DB = 3.0
READ_HZ = 500e3  # outside the outermost carrier, [TR101290] 9.7
HIGHEST_STD_DB = 0.1  # of "highest value in band", alike in a series: where pilots crowd, and how long was averaged
COMMON_PARTS = ("highest_of_trace", "window")  # of a shoulder's doubt, alike in all recordings of a series
RARE = "unrest"  # each recording's own, and alike where all hold one piece of a clip: it counts as both
LEAST_GROWTH_DB = 0.5
SKEW_EXPLAINED_DB = 0.7


@dataclass(frozen=True, kw_only=True)
class Baseline:
    """Shoulder shown by the modulator alone, and its standard uncertainty."""

    level_db: float
    std_db: float


@dataclass(frozen=True, kw_only=True)
class SideLevel:
    """One shoulder of one reading.

    shown_db       as shown
    own_std_db, common_std_db   standard uncertainty of what is fitted: this reading's own, and what all share
    true           the amplifier's own, at the instrument; None where only a bound is known: below ``shown_db``
    on_baseline    whether ``shown_db`` still holds the series' baseline
    """

    shown_db: float
    own_std_db: float
    common_std_db: float
    true: Estimate | None
    on_baseline: bool


def without_baseline(*, shown_db: float, std_db: float, baseline: Baseline | None) -> SideLevel:
    """A shoulder read from a display, the baseline taken off as power.

    std_db  standard uncertainty of the reading
    """
    if baseline is None:
        return SideLevel(
            shown_db=shown_db,
            own_std_db=std_db,
            common_std_db=0.0,
            true=estimate(shown_db, reading=std_db),
            on_baseline=False,
        )
    above_db = shown_db - baseline.level_db
    true = None
    if above_db >= LEAST_ABOVE_BASELINE_DB:
        left = 1 - 10 ** (-above_db / 10)
        value = shown_db + 10 * math.log10(left)
        true = estimate(value, reading=std_db / left, baseline=baseline.std_db * (1 / left - 1))
    return SideLevel(shown_db=shown_db, own_std_db=std_db, common_std_db=0.0, true=true, on_baseline=True)


def of_recording(shoulder: Shoulder) -> SideLevel:
    """A shoulder measured on a recording: its own floor is off already, or it is a bound."""
    shown = shoulder.shown
    source = shoulder.corrected or shown
    shared = math.hypot(*(source.contributions.get(name, 0.0) for name in COMMON_PARTS))
    own = math.sqrt(max(source.std**2 - shared**2, 1e-6))
    return SideLevel(
        shown_db=shown.value,
        own_std_db=own,
        common_std_db=math.hypot(shared, source.contributions.get(RARE, 0.0), HIGHEST_STD_DB),
        true=shoulder.corrected,
        on_baseline=False,
    )


@dataclass(frozen=True, kw_only=True)
class DriveReading:
    """One setting of the series.

    name   how findings call it
    worst  the higher of the two sides where both were read; None where no shoulder was read, only power or the like
    """

    name: str
    setting_dbm: float
    power_dbm: float | None
    lower: SideLevel | None
    upper: SideLevel | None
    worst: SideLevel | None
    mer_db: float | None = None
    supply_a: float | None = None
    case_c: float | None = None
    receiver_gain_db: float | None = None
    is_recording: bool = False


@dataclass(frozen=True, kw_only=True)
class FilterCurve:
    """Loss of the output filter.

    offset_hz  (n,) from the channel's centre, rising
    loss_db    (n,)
    """

    offset_hz: Floats
    loss_db: Floats

    def loss_at(self, offset_hz: float) -> float:
        """Loss at one offset. [dB]

        raises  RangeError beyond the ends of the curve
        """
        if not self.offset_hz[0] <= offset_hz <= self.offset_hz[-1]:
            raise RangeError(
                f"The filter's curve reaches from {self.offset_hz[0] / 1e6:g} to {self.offset_hz[-1] / 1e6:g} MHz "
                f"of the channel's centre; {offset_hz / 1e6:g} MHz is needed. Measure it there too."
            )
        return float(np.interp(offset_hz, self.offset_hz, self.loss_db))


@dataclass(frozen=True, kw_only=True)
class FilterEffect:
    """What the filter does to the channel.

    least_loss_db     in the channel: there the signal's highest value stands
    mean_loss_db      of the signal's power
    lower_db, upper_db   what must be added to each shoulder for the level before the filter
    lower_3db_hz, upper_3db_hz   where the loss passes 3 dB more than the least of all; None beyond the curve
    centre_offset_hz  middle between those; None where one is missing
    """

    least_loss_db: float
    mean_loss_db: float
    lower_db: float
    upper_db: float
    lower_3db_hz: float | None
    upper_3db_hz: float | None
    centre_offset_hz: float | None


def filter_effect(curve: FilterCurve, *, occupied_width_hz: float) -> FilterEffect:
    """Losses in and beside the channel, and where the filter is tuned.

    raises  RangeError where the curve does not reach 500 kHz outside the channel on both sides
    """
    half = occupied_width_hz / 2
    inside = np.linspace(-half, half, 401)
    loss = np.interp(inside, curve.offset_hz, curve.loss_db)
    least = float(loss.min())
    edges = _three_decibel_points(curve)
    centre = None if None in edges else (edges[0] + edges[1]) / 2  # type: ignore[operator]
    return FilterEffect(
        least_loss_db=least,
        mean_loss_db=float(-10 * np.log10(np.mean(10 ** (-loss / 10)))),
        lower_db=curve.loss_at(-half - READ_HZ) - least,
        upper_db=curve.loss_at(half + READ_HZ) - least,
        lower_3db_hz=edges[0],
        upper_3db_hz=edges[1],
        centre_offset_hz=centre,
    )


def _three_decibel_points(curve: FilterCurve) -> tuple[float | None, float | None]:
    """Where the loss first passes 3 dB above the least on either side of it."""
    fine = np.linspace(curve.offset_hz[0], curve.offset_hz[-1], 20001)
    loss = np.interp(fine, curve.offset_hz, curve.loss_db)
    limit, middle = float(loss.min()) + 3.0, int(np.argmin(loss))
    above = np.flatnonzero(loss > limit)
    before, after = above[above < middle], above[above > middle]
    lower = float(fine[before[-1]]) if len(before) else None
    upper = float(fine[after[0]]) if len(after) else None
    return lower, upper


@dataclass(frozen=True, kw_only=True)
class Asymmetry:
    """Upper less lower shoulder over a series.

    level         at the middle setting, the same sign at every drive if nothing grows
    middle_dbm    that setting, weighted by the readings
    slope         its change with drive [dB/dB]; None with one setting
    cause         none, filter tilt, constant with drive, or memory
    left          what the filter does not explain, at the middle setting; None without a filter's curve
    """

    level: Estimate
    middle_dbm: float
    slope: Estimate | None
    cause: str
    left: Estimate | None


def asymmetry_of(readings: Sequence[DriveReading], *, effect: FilterEffect | None) -> Asymmetry | None:
    """What the two sides say; None where no reading has both."""
    both = [
        (r.setting_dbm, r.upper.true, r.lower.true, math.hypot(r.upper.own_std_db, r.lower.own_std_db))
        for r in readings
        if r.upper is not None and r.lower is not None and r.upper.true is not None and r.lower.true is not None
    ]
    if not both:
        return None
    setting = np.array([one[0] for one in both])
    skew = np.array([one[1].value - one[2].value for one in both])
    std = np.array([max(math.hypot(one[1].std, one[2].std) if one[3] == 0 else one[3], 1e-3) for one in both])
    weight = 1 / std**2
    middle = float((weight * setting).sum() / weight.sum())
    level = estimate(float((weight * skew).sum() / weight.sum()), readings=float(weight.sum() ** -0.5))
    spread = float((weight * (setting - middle) ** 2).sum())
    slope = None
    grows = False
    if spread > 0 and len(np.unique(setting)) > 1:
        value = float((weight * (setting - middle) * skew).sum() / spread)
        slope = estimate(value, readings=spread**-0.5)
        grows = abs(value) > 2 * slope.std and abs(value) * float(np.ptp(setting)) > LEAST_GROWTH_DB
    left = None
    if effect is not None:
        left = estimate(level.value - (effect.lower_db - effect.upper_db), readings=level.std)
    return Asymmetry(level=level, middle_dbm=middle, slope=slope, cause=_cause(level, left, grows=grows), left=left)


def _cause(level: Estimate, left: Estimate | None, *, grows: bool) -> str:
    if grows:
        return "memory"
    if abs(level.value) <= max(2 * level.std, 0.2):
        return "none"
    if left is not None and abs(left.value) <= max(2 * left.std, SKEW_EXPLAINED_DB):
        return "filter tilt"
    return "constant with drive"


def slopes_between(setting_dbm: Sequence[float], level_db: Sequence[float]) -> list[float | None]:
    """Change of the shoulder per dB of drive from each setting to the next; None first, and where two are equal."""
    found: list[float | None] = [None] * min(1, len(setting_dbm))
    for number in range(1, len(setting_dbm)):
        step = setting_dbm[number] - setting_dbm[number - 1]
        found.append((level_db[number] - level_db[number - 1]) / step if step > 0 else None)
    return found


def slope_words(slope: float) -> str:
    """What a drive slope means, by the order of the product that would make it."""
    if slope < 1.2:
        return "not the stage whose drive moved, or a floor"
    if slope < 2.6:
        return "third order"
    return "higher orders: the amplifier begins to clip"
