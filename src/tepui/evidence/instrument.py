"""Is the instrument lying? One level read with different pads, parted into what was sent and what the receiver made.

Theory  With power gain g ahead of the receiver's distortion a cell beside the signal shows, over the signal,
        S + B g + C g^2 + N/g: S transmitted, C made by the receiver (third order), B their cross term of either sign,
        |B| <= 2 sqrt(S C), N its input noise. With r = C g0^2 / S at the highest gain g0, B g0 = 2 k sqrt(r) S and
        |k| <= 1 every possible receiver is a point (r, k); at each S follows by least squares. All S whose misfit is
        within 3.84 of the best are possible. One reading leaves S open; two that differ leave an interval; three that
        differ solve it. Two that agree over a fair step of gain settle it: receiver and transmitter would have to
        cancel at both gains alike.
Source  third-order products of amplitude: common practice (no published source); likelihood interval: Wilks 1938, Ann.
        Math. Stat. 9, 60-62; 3.84 is the 95 % point of chi squared with one degree of freedom.
Holds   Receivers whose products are nearly of third order at every gain used (what departs is counted as doubt), and
        a transmitter that did not move between the readings. A receiver's gain counts only where it is known to lie
        ahead of the distortion; a pad always counts.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.ground.errors import RangeError

Floats = npt.NDArray[np.float64]

CHI_SQUARED_95 = 3.84
RATIOS_DB = np.linspace(-60.0, 40.0, 401)  # of r: from a receiver that adds nothing seen to one that drowns the signal
PHASES = np.sin(np.linspace(-np.pi / 2, np.pi / 2, 121))  # of k, closer together where it cancels
LEAST_STEP_DB = 5.0  # of gain, between readings that are to settle something by agreeing (this program's limit)
AGREE_STD = 2.0
REGION_DB = 1.0  # further than this from the truth, a reading is the receiver's or noise (this program's limit)
PADS_DB = (3.0, 6.0, 10.0, 16.0, 20.0)
MODEL_STD_DB = 0.05  # of a reading: orders above the third, and the step of the grid (this program's limit)
# Of the mean power over the intercept: doubt of the third-order product's amplitude. 4.5 for tanh by its Hermite
# expansion at a Gaussian input (Gauss-Laguerre sums); the share of it is this program's choice.
HIGHER_ORDERS = 3.0
MOST_DRIVEN = 0.3  # of the intercept: beyond, nothing goes by orders any more (this program's limit)
NEARLY = 1.2  # times the least width: of pads that do nearly as well the smallest, for noise grows with the pad
SAME_GAIN_DB = 0.05
SMALLEST = 1e-12


@dataclass(frozen=True, kw_only=True)
class PadReading:
    """What one setting showed.

    name        how findings call it
    gain_db     ahead of the distortion, from any common zero: front-end gain known to lie there less the pad
    shown_db    level of the cell over the signal, the converter's floor taken off if known
    std_db      standard uncertainty of that
    noise_db    of the receiver's input noise over the signal in the same cell at this setting; None where not known
    gain_std_db standard uncertainty of ``gain_db`` less the highest gain; None takes that of all steps
    """

    name: str
    gain_db: float
    shown_db: float
    std_db: float
    noise_db: float | None = None
    gain_std_db: float | None = None


@dataclass(frozen=True, kw_only=True)
class Judged:
    """What a reading is worth.

    made_db    shown less true, as the fit has it; None where the truth is open
    region     "true", "receiver-made", "noise" or "unknown"
    """

    reading: PadReading
    made_db: float | None
    region: str


@dataclass(frozen=True, kw_only=True)
class Transmitted:
    """What was sent, and how well that is known.

    kind       "unknown" (one setting), "interval" (no best value), "agreed" or "solved"
    value_db   most likely level; None for unknown and interval
    low_db, high_db   95 %; None where open
    receiver_db       the receiver's own product at the highest gain, over the signal; None where open
    misfit     chi squared left by the best fit
    next_pad_db       change of pad (more is positive, from the lowest gain used) for the one reading that would help
                      most; None where none would
    best_gain_db      gain at which what is shown lies nearest to what was sent; None where open
    """

    kind: str
    value_db: float | None
    low_db: float | None
    high_db: float | None
    receiver_db: float | None
    judged: tuple[Judged, ...]
    misfit: float
    next_pad_db: float | None
    best_gain_db: float | None


@dataclass(frozen=True, kw_only=True)
class _Possible:
    """Every receiver on the grid: shown over sent (n_r, n_k, n) in dB, best S in dB, its misfit and its doubt."""

    shape_db: Floats
    sent_db: Floats
    misfit: Floats
    chi_squared: Floats
    std_db: Floats

    def interval(self) -> tuple[float, float]:
        spare = CHI_SQUARED_95 - (self.misfit - float(self.misfit.min()))
        possible = spare >= 0
        reach = self.std_db * np.sqrt(np.maximum(spare, 0.0))
        low = float((self.sent_db - reach)[possible].min())
        return low, float((self.sent_db + reach)[possible].max())


def _shape_db(
    gain_db: Floats, ratios_db: Floats = RATIOS_DB, phases: Floats = PHASES, made_db: Floats | float = 0.0
) -> Floats:
    """Shown over sent for every receiver on the grid at gains over the highest, (n_r, n_k, n).

    made_db  what the product is more than of third order, (n_r, n_k, n) or one figure
    """
    gain = 10 ** ((gain_db + made_db) / 10)
    ratio = 10 ** (ratios_db / 10)[:, None, None]
    shown = 1 + 2 * phases[None, :, None] * np.sqrt(ratio) * gain + ratio * gain**2
    return np.asarray(10 * np.log10(np.maximum(shown, SMALLEST)))


def _possible(
    gain_db: Floats, level_db: Floats, std_db: Floats, ratios_db: Floats = RATIOS_DB, phases: Floats = PHASES
) -> _Possible:
    """The grid fitted to readings of level_db (n,), at gains over the highest.

    A stage whose mean power is u of its intercept makes u^2 of a Gaussian signal beside it. One that bends as tanh
    departs from the third order by 4.5 u of the product's amplitude, a pure cubic by nothing: two thirds of that are in
    doubt.
    """
    shape_db = _shape_db(gain_db, ratios_db, phases)
    weight = 1 / std_db**2
    first = (level_db - shape_db) @ weight / weight.sum()
    share = 10 ** ((first[..., None] + ratios_db[:, None, None] + 2 * gain_db) / 20)
    # the shape takes amplitudes of the product as powers of the gain
    beyond_db = 10 * np.log10(1 + HIGHER_ORDERS * np.minimum(share, MOST_DRIVEN))
    more, less = (_shape_db(gain_db, ratios_db, phases, sign * beyond_db) for sign in (1, -1))
    variance = std_db**2 + ((more - less) / 2) ** 2
    weight = 1 / variance
    apart = level_db - shape_db
    total = weight.sum(axis=-1)
    sent = (apart * weight).sum(axis=-1) / total
    chi_squared = ((apart - sent[..., None]) ** 2 * weight).sum(axis=-1)
    # minus twice the logarithm of the likelihood, S taken out of it: what widens the doubt must not win by that
    misfit = chi_squared + np.log(variance / std_db**2).sum(axis=-1) + np.log(total * std_db.min() ** 2)
    return _Possible(shape_db=shape_db, sent_db=sent, misfit=misfit, chi_squared=chi_squared, std_db=total**-0.5)


def _without_noise(reading: PadReading) -> tuple[float, float] | None:
    """Level and doubt with known input noise taken off as power; None where it is all noise."""
    if reading.noise_db is None:
        return reading.shown_db, reading.std_db
    left = 1 - 10 ** ((reading.noise_db - reading.shown_db) / 10)
    if left < 10 ** (-0.3):
        return None
    return reading.shown_db + 10 * math.log10(left), reading.std_db / left


def transmitted_level(readings: Sequence[PadReading], *, gain_std_db: float) -> Transmitted:
    """What was sent, from readings of one cell at different gains ahead of the receiver's distortion.

    gain_std_db  standard uncertainty of the steps between the gains (pads and front end)
    raises       RangeError for no reading, or a doubt that is not above zero
    """
    if not readings:
        raise RangeError("There is no reading to judge: give at least one.")
    if any(one.std_db <= 0 for one in readings) or gain_std_db < 0:
        raise RangeError("The doubt of a reading must be above 0 dB: say how well it repeats.")
    clean = [(one, left) for one in readings if (left := _without_noise(one)) is not None]
    gains = np.array([one.gain_db for one, _ in clean])
    if not clean or float(np.ptp(gains)) < SAME_GAIN_DB:
        return _open(readings, clean)
    top_db = float(gains.max())
    level = np.array([value for _, (value, _) in clean])
    std = np.hypot([spread for _, (_, spread) in clean], MODEL_STD_DB)
    if (agreed := _agreed(readings, gains, level, std)) is not None:
        return agreed
    found = _possible(gains - top_db, level, std)
    # A step of gain that is wrong moves every reading of the model by its own slope there.
    best = np.unravel_index(int(np.argmin(found.misfit)), found.misfit.shape)
    nudged = _shape_db(gains - top_db + 0.1, RATIOS_DB[[best[0]]], PHASES[[best[1]]])[0, 0] - found.shape_db[best]
    steps = np.array([gain_std_db if one.gain_std_db is None else one.gain_std_db for one, _ in clean])
    std = np.hypot(std, steps * np.abs(nudged) / 0.1)
    found = _possible(gains - top_db, level, std)
    best = np.unravel_index(int(np.argmin(found.misfit)), found.misfit.shape)
    low, high = found.interval()
    solved = len({round(gain / SAME_GAIN_DB) for gain in gains}) >= 3
    value = float(found.sent_db[best])
    ratio_db = float(RATIOS_DB[best[0]])
    return Transmitted(
        kind="solved" if solved else "interval",
        value_db=_middle(found) if solved else None,
        low_db=low,
        high_db=high,
        receiver_db=value + ratio_db if solved else None,
        judged=tuple(_judge(one, value if solved else None, low, high) for one in readings),
        misfit=float(found.chi_squared[best]),
        next_pad_db=_next_pad_db(gains, level, std),
        best_gain_db=_best_gain_db(found, best, readings, top_db) if solved else None,
    )


def _middle(found: _Possible) -> float:
    """Mean of S over all receivers, each weighted by its likelihood: steadier than the single best on a flat ridge."""
    weight = np.exp(-(found.misfit - found.misfit.min()) / 2)
    return float((found.sent_db * weight).sum() / weight.sum())


def _open(readings: Sequence[PadReading], clean: Sequence[tuple[PadReading, tuple[float, float]]]) -> Transmitted:
    judged = tuple(
        Judged(
            reading=one,
            made_db=None,
            region="unknown" if any(one is kept for kept, _ in clean) else "noise",
        )
        for one in readings
    )
    return Transmitted(
        kind="unknown",
        value_db=None,
        low_db=None,
        high_db=None,
        receiver_db=None,
        judged=judged,
        misfit=0.0,
        next_pad_db=10.0 if clean else None,
        best_gain_db=None,
    )


def _agreed(
    readings: Sequence[PadReading],
    gains: Floats,
    level: Floats,
    std: Floats,
) -> Transmitted | None:
    """The lowest gain's reading, where all agree with it and one is far enough from it; None otherwise."""
    order = np.argsort(gains)
    least = int(order[0])
    apart_of, doubt_of = level - level[least], np.hypot(std, std[least])
    far = [int(i) for i in order if gains[i] - gains[least] >= LEAST_STEP_DB]
    if not far or bool((np.abs(apart_of) > AGREE_STD * doubt_of).any()):
        return None
    other = far[-1]
    apart, doubt = float(apart_of[other]), float(doubt_of[other])
    if doubt > REGION_DB / 2:
        return None
    # What the receiver adds at the lower gain is what it adds at the higher, less the step: at least linear in gain.
    step = 10 ** ((gains[other] - gains[least]) / 10)
    left_db = max(abs(apart), doubt) / (step - 1)
    value, spread = float(level[least]), math.hypot(float(std[least]), left_db)
    low, high = value - 2 * spread, value + 2 * spread
    return Transmitted(
        kind="agreed",
        value_db=value,
        low_db=low,
        high_db=high,
        receiver_db=None,
        judged=tuple(_judge(one, value, low, high) for one in readings),
        misfit=(apart / doubt) ** 2,
        next_pad_db=None,
        best_gain_db=float(gains[least]),
    )


def cancels_db(step_db: float) -> float:
    """How far above two readings that agree the truth may lie, where the receiver cancels alike at both gains. [dB]

    S + B g + C g^2 is the same at g and G g where B = -C (1 + G) g; with B^2 <= 4 S C the truth is at most
    1 / (1 - 4 G / (1 + G)^2) times what both show. A third reading rules it out.
    """
    ratio = 10 ** (abs(step_db) / 10)
    return -10 * math.log10(1 - 4 * ratio / (1 + ratio) ** 2)


def _judge(one: PadReading, value_db: float | None, low_db: float, high_db: float) -> Judged:
    clean = _without_noise(one)
    if clean is None:
        return Judged(reading=one, made_db=None, region="noise")
    if value_db is not None:
        made = clean[0] - value_db
        return Judged(reading=one, made_db=made, region="true" if abs(made) <= REGION_DB else "receiver-made")
    outside = clean[0] < low_db - REGION_DB or clean[0] > high_db + REGION_DB
    return Judged(reading=one, made_db=None, region="receiver-made" if outside else "unknown")


def _next_pad_db(gains: Floats, level: Floats, std: Floats) -> float | None:
    """The pad, over the lowest gain used, whose reading parts the possible receivers best; None where all agree."""
    ratios, phases = RATIOS_DB[::10], PHASES[::4]
    top_db, doubt = float(gains.max()), float(std.max())
    found = _possible(gains - top_db, level, std, ratios, phases)
    fits = found.misfit <= float(found.misfit.min()) + CHI_SQUARED_95
    sent, places = found.sent_db[fits], np.argwhere(fits)
    if float(np.ptp(sent)) < 2 * float(found.std_db[fits].min()):
        return None
    few = places[np.argsort(sent)][:: max(1, len(places) // 8)]
    widths = []
    for pad in PADS_DB:
        padded_db = np.append(gains, gains.min() - pad) - top_db
        shape = _shape_db(padded_db, ratios, phases)
        total = []
        for r, k in few:
            shown = float(found.sent_db[r, k] + shape[r, k, -1])
            low, high = _possible(padded_db, np.append(level, shown), np.append(std, doubt), ratios, phases).interval()
            total.append(high - low)
        widths.append(float(np.mean(total)))
    return next(pad for pad, width in zip(PADS_DB, widths, strict=True) if width <= NEARLY * min(widths))


def _best_gain_db(found: _Possible, best: tuple[np.intp, ...], readings: Sequence[PadReading], top_db: float) -> float:
    """Where receiver's products and input noise together move the reading least, within 40 dB below the highest gain.

    Where no noise is known, the highest gain at which the products move the reading by less than a tenth of a dB.
    """
    below = np.arange(0.0, 40.5, 0.5)
    made = np.abs(_shape_db(-below, RATIOS_DB[[best[0]]], PHASES[[best[1]]])[0, 0])
    known = [one for one in readings if one.noise_db is not None]
    if not known:
        good = np.flatnonzero(np.maximum.accumulate(made[::-1])[::-1] <= 0.1)
        return top_db - float(below[good[0]] if len(good) else below[-1])
    one = known[0]
    noise_db = float(one.noise_db or 0.0) + one.gain_db - (top_db - below) - float(found.sent_db[best])
    error = made + 10 * np.log10(1 + 10 ** (noise_db / 10))
    return top_db - float(below[int(np.argmin(error))])
