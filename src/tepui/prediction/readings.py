"""Readings against the prediction: every reading sharpens the levels before and behind it.

Theory  Unknowns: the source's level, each gain, each instrument's own offset, all independent and Gaussian in dB
        beforehand. A reading is the sum of what lies before its point, its instrument's offset and its own error:
        linear, so the posterior is exact. Readings are judged by leaving each out: one more than three standard
        uncertainties from what all else says is held back, not absorbed; of two that contradict each other while
        neither stands against the plan, and no third decides, both are.
Source  Bayes' rule for linear Gaussian models (the Kalman update, in the form of P. D. Joseph); [GUM] for the terms.
Holds   Levels below compression. Sequence of the readings does not matter.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.ground.doubt import Estimate
from tepui.prediction.cascade import Link

Floats = npt.NDArray[np.float64]
OUTLIER_SIGMA = 3.0
RECHECK_SIGMA = 2.0
FIXED_STD_DB = 1e-6  # a gain stated without any doubt


@dataclass(frozen=True, kw_only=True)
class LevelReading:
    """A level read behind a stage.

    level_dbm   mean power at the point, the instrument's factor and pads taken out
    std_db      of this reading alone
    instrument  whose offset it shares; None where the operator named none
    """

    point: str
    level_dbm: float
    std_db: float
    instrument: str | None = None
    text: str = ""


@dataclass(frozen=True, kw_only=True)
class Judged:
    """A reading and how it stands against everything else said.

    expected    level foreseen by plan and the other accepted readings; its std without the reading's own error
    sigma       departure in standard uncertainties of the difference
    accepted    whether it was taken into the levels
    """

    reading: LevelReading
    expected: Estimate
    sigma: float
    accepted: bool

    @property
    def departure_db(self) -> float:
        """Read less expected. [dB]"""
        return self.reading.level_dbm - self.expected.value


@dataclass(frozen=True, kw_only=True)
class Contradiction:
    """Two readings that cannot both be true: their difference against what lies between."""

    first: LevelReading
    second: LevelReading
    difference_db: float
    expected_db: float
    sigma: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Updated:
    """What plan and readings say together.

    levels   by stage, in order; ``gains`` likewise, offsets by instrument
    """

    levels: tuple[Estimate, ...]
    gains: tuple[Estimate, ...]
    offsets: dict[str, Estimate]
    judged: tuple[Judged, ...]
    contradictions: tuple[Contradiction, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class Model:
    """The linear model: mean and covariance of all unknowns, and the row of each stage's level."""

    links: tuple[Link, ...]
    instruments: tuple[str, ...]
    mean: Floats
    covariance: Floats

    def row(self, point: str, instrument: str | None) -> Floats:
        """What a reading sums up."""
        names = [link.name for link in self.links]
        row = np.zeros(len(self.mean))
        row[: names.index(point) + 1] = 1.0
        if instrument is not None and instrument in self.instruments:
            row[len(names) + self.instruments.index(instrument)] = 1.0
        return row


def model_of(links: Sequence[Link], offsets_std_db: dict[str, float]) -> Model:
    """The model before any reading.

    offsets_std_db  standard uncertainty of each instrument's own offset
    """
    std = [max(link.std_db, FIXED_STD_DB) for link in links] + list(offsets_std_db.values())
    mean = [link.gain_db for link in links] + [0.0] * len(offsets_std_db)
    return Model(
        links=tuple(links),
        instruments=tuple(offsets_std_db),
        mean=np.array(mean),
        covariance=np.diag(np.square(std)),
    )


def conditioned(model: Model, readings: Sequence[LevelReading]) -> Model:
    """The model with readings taken in."""
    if not readings:
        return model
    h = np.stack([model.row(one.point, one.instrument) for one in readings])
    noise = np.diag([one.std_db**2 for one in readings])
    read = np.array([one.level_dbm for one in readings])
    gain = np.linalg.solve(h @ model.covariance @ h.T + noise, h @ model.covariance).T
    keep = np.eye(len(model.mean)) - gain @ h
    covariance = keep @ model.covariance @ keep.T + gain @ noise @ gain.T  # stays symmetric and positive
    return Model(
        links=model.links,
        instruments=model.instruments,
        mean=model.mean + gain @ (read - h @ model.mean),
        covariance=(covariance + covariance.T) / 2,
    )


def update(model: Model, readings: Sequence[LevelReading]) -> Updated:
    """Judge all readings, take in those that stand, and say what is then known."""
    accepted = list(range(len(readings)))
    while True:
        sigma = _sigmas(model, readings, accepted)
        suspects = [n for n in accepted if sigma[n] > OUTLIER_SIGMA]
        if not suspects:
            break
        held = _held_back(model, readings, accepted, suspects)
        accepted = [n for n in accepted if n not in held]
    after = conditioned(model, [readings[n] for n in accepted])
    judged = []
    for n, one in enumerate(readings):
        expected, sigma_of = _left_out(model, readings, n, accepted)
        judged.append(Judged(reading=one, expected=expected, sigma=sigma_of, accepted=n in accepted))
    return Updated(
        levels=levels_of(after),
        gains=_parts(after, 0, len(model.links)),
        offsets=dict(zip(model.instruments, _parts(after, len(model.links), len(model.mean)), strict=True)),
        judged=tuple(judged),
        contradictions=_contradictions(model, readings),
    )


def levels_of(model: Model) -> tuple[Estimate, ...]:
    """Level behind every stage, with the share of each unknown in its doubt."""
    found = []
    names = [*(link.name for link in model.links), *(f"offset of {name}" for name in model.instruments)]
    for n in range(len(model.links)):
        row = np.zeros(len(model.mean))
        row[: n + 1] = 1.0
        shares = row * (model.covariance @ row)
        variance = float(row @ model.covariance @ row)
        parts = {name: math.sqrt(share) for name, share in zip(names, shares, strict=True) if share > 0}
        found.append(Estimate(value=float(row @ model.mean), std=math.sqrt(max(variance, 0.0)), contributions=parts))
    return tuple(found)


def _parts(model: Model, first: int, last: int) -> tuple[Estimate, ...]:
    std = np.sqrt(np.maximum(np.diag(model.covariance), 0.0))
    return tuple(Estimate(value=float(model.mean[n]), std=float(std[n])) for n in range(first, last))


def _left_out(
    model: Model, readings: Sequence[LevelReading], n: int, accepted: Sequence[int]
) -> tuple[Estimate, float]:
    """What the plan and the other accepted readings foresee for reading ``n``, and its departure in sigmas."""
    rest = conditioned(model, [readings[m] for m in accepted if m != n])
    one = readings[n]
    row = rest.row(one.point, one.instrument)
    variance = float(row @ rest.covariance @ row)
    expected = Estimate(value=float(row @ rest.mean), std=math.sqrt(max(variance, 0.0)))
    return expected, abs(one.level_dbm - expected.value) / max(math.hypot(expected.std, one.std_db), FIXED_STD_DB)


def _sigmas(model: Model, readings: Sequence[LevelReading], accepted: Sequence[int]) -> dict[int, float]:
    """Departure of each accepted reading from all the others and the plan."""
    return {n: _left_out(model, readings, n, accepted)[1] for n in accepted}


def _held_back(
    model: Model, readings: Sequence[LevelReading], accepted: Sequence[int], suspects: Sequence[int]
) -> set[int]:
    """Which readings to hold back: the one without which the others agree; several where nothing decides."""
    left = {}
    for n in suspects:
        rest = [m for m in accepted if m != n]
        left[n] = max(_sigmas(model, readings, rest).values(), default=0.0)
    mending = [n for n in suspects if left[n] <= OUTLIER_SIGMA]
    if not mending:
        return {min(suspects, key=lambda n: left[n])}
    against_plan = [n for n in mending if _left_out(model, readings, n, [n])[1] > OUTLIER_SIGMA]
    return set(against_plan or mending)


def _contradictions(model: Model, readings: Sequence[LevelReading]) -> tuple[Contradiction, ...]:
    found = []
    for n, first in enumerate(readings):
        for m in range(n + 1, len(readings)):
            second = readings[m]
            row = model.row(second.point, second.instrument) - model.row(first.point, first.instrument)
            std = math.sqrt(float(row @ model.covariance @ row) + first.std_db**2 + second.std_db**2)
            expected = float(row @ model.mean)
            difference = second.level_dbm - first.level_dbm
            sigma = abs(difference - expected) / std
            if sigma > OUTLIER_SIGMA:
                found.append(
                    Contradiction(
                        first=first, second=second, difference_db=difference, expected_db=expected, sigma=sigma
                    )
                )
    return tuple(found)


@dataclass(frozen=True, kw_only=True)
class NextReading:
    """The reading worth most: where, with what, and what it leaves of the doubt at the last point."""

    point: str
    instrument: str | None
    std_db: float
    gain: float
    last_before_db: float
    last_after_db: float


def next_reading(
    model: Model, accepted: Sequence[LevelReading], candidates: Sequence[LevelReading]
) -> NextReading | None:
    """The candidate that takes away the most of the summed variance of all levels; None where there is none."""
    now = conditioned(model, accepted)
    before = [level.std for level in levels_of(now)]
    best: NextReading | None = None
    for one in candidates:
        after = [level.std for level in levels_of(conditioned(now, [one]))]
        gain = sum(b * b for b in before) - sum(a * a for a in after)
        if best is None or gain > best.gain + 1e-12:
            best = NextReading(
                point=one.point,
                instrument=one.instrument,
                std_db=one.std_db,
                gain=gain,
                last_before_db=before[-1],
                last_after_db=after[-1],
            )
    return best
