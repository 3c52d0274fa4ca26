"""From transmitter to carrier-to-noise: level, noise, MER, and what a preamplifier, a pad or less power does to them.

Theory  Level = e.i.r.p. - loss + gain; C/N = level - noise. MER is that of the data cells, 0.33 dB below C/N for the
        boosted pilots, joined by the transmitter's own errors. A pad behind a preamplifier weakens signal and the
        preamplifier's noise alike, so the pad at which the picture fails overstates the margin; less power tells it.
Source  [P.525] and [P.341] for the terms of a link; [EN300744] 4.5 for the pilots.
Holds   Noise that is Gaussian within the occupied width; transmitter errors that do not depend on the path.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from tepui.ground.decibels import db_from_ratio, ratio_from_db
from tepui.ground.doubt import Estimate, estimate
from tepui.prediction.noise import ReceiveStage, noise_power_dbm, passive, system_noise_db

PILOTS_DB = 10 * math.log10(1.0803)
PAD_MOST_DB = 80.0


@dataclass(frozen=True, kw_only=True)
class Radiated:
    """What leaves the transmit antenna towards the other station."""

    power: Estimate
    feeder: Estimate
    gain: Estimate
    pointing_loss_db: float = 0.0

    @property
    def eirp(self) -> Estimate:
        """Mean e.i.r.p. on the antenna's axis. [dBm]"""
        parts = {**self.power.contributions, **self.feeder.contributions, **self.gain.contributions}
        return estimate(self.power.value - self.feeder.value + self.gain.value, **parts)


@dataclass(frozen=True, kw_only=True)
class Receiving:
    """The far end: antenna, surroundings, and the stages behind the terminals in signal order."""

    gain_dbi: float
    external_noise_db: float
    stages: tuple[ReceiveStage, ...]
    pointing_loss_db: float = 0.0
    polarisation_loss_db: float = 0.0

    @property
    def system_db(self) -> float:
        """Noise at the terminals over k T0. [dB]"""
        return system_noise_db(external_db=self.external_noise_db, stages=self.stages)


@dataclass(frozen=True, kw_only=True)
class LinkBudget:
    """Levels at the receive antenna's terminals. [dBm], [dB]"""

    eirp: Estimate
    level: Estimate
    system_noise_db: float
    noise_dbm: float
    cn: Estimate
    mer: Estimate


def link_budget(
    *, radiated: Radiated, loss: Estimate, receiving: Receiving, width_hz: float, transmitter_mer_db: float | None
) -> LinkBudget:
    """Join both ends and the path.

    loss   basic transmission loss with its doubt
    width  occupied width, in which noise counts
    """
    level_dbm = (
        radiated.eirp.value
        - radiated.pointing_loss_db
        - loss.value
        + receiving.gain_dbi
        - receiving.pointing_loss_db
        - receiving.polarisation_loss_db
    )
    parts = {**loss.contributions, **radiated.eirp.contributions}
    system = receiving.system_db
    noise = noise_power_dbm(system_db=system, width_hz=width_hz)
    cn_db = level_dbm - noise
    mer_db = mer_from_cn_db(cn_db, transmitter_mer_db=transmitter_mer_db)
    slope = ratio_from_db(mer_db - (cn_db - PILOTS_DB))
    return LinkBudget(
        eirp=radiated.eirp,
        level=estimate(level_dbm, **parts),
        system_noise_db=system,
        noise_dbm=noise,
        cn=estimate(cn_db, **parts),
        mer=estimate(mer_db, **{name: part * slope for name, part in parts.items()}),
    )


def mer_from_cn_db(cn_db: float, *, transmitter_mer_db: float | None) -> float:
    """MER to expect: the data cells' share of C/N and the transmitter's own errors, added as powers. [dB]"""
    errors = ratio_from_db(-(cn_db - PILOTS_DB))
    if transmitter_mer_db is not None:
        errors += ratio_from_db(-transmitter_mer_db)
    return -db_from_ratio(errors)


def margin_with_errors_db(cn_db: float, *, required_cn_db: float, transmitter_mer_db: float | None) -> float:
    """How far the level may fall until the mode fails, the transmitter's own errors counted as noise. [dB]

    minus infinity where those errors alone are more than the mode stands
    """
    room = ratio_from_db(-(required_cn_db - PILOTS_DB))
    if transmitter_mer_db is not None:
        room -= ratio_from_db(-transmitter_mer_db)
    if room <= 0:
        return -math.inf
    return cn_db - PILOTS_DB + db_from_ratio(room)


def preamplifier_stages(
    *, feeder_loss_db: float, receiver: ReceiveStage, preamplifier: ReceiveStage | None, place: str
) -> tuple[ReceiveStage, ...]:
    """Stages behind the antenna with the preamplifier at the "mast" or at the "receiver", or without ("none")."""
    feeder = passive("feeder", feeder_loss_db)
    if preamplifier is None or place == "none":
        return feeder, receiver
    return (preamplifier, feeder, receiver) if place == "mast" else (feeder, preamplifier, receiver)


def pad_margin_db(*, cn_db: float, required_cn_db: float, receiving: Receiving, after: int) -> float | None:
    """The pad behind the first ``after`` stages at which C/N falls to what is required; None beyond 80 dB. [dB]

    What an operator would read as margin, were the pad put there.
    """
    if cn_db <= required_cn_db:
        return 0.0

    def cn_with(pad_db: float) -> float:
        stages = (*receiving.stages[:after], passive("pad", pad_db), *receiving.stages[after:])
        system = system_noise_db(external_db=receiving.external_noise_db, stages=stages)
        return cn_db + receiving.system_db - system

    low, high = 0.0, PAD_MOST_DB
    if cn_with(high) > required_cn_db:
        return None
    while high - low > 1e-4:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if cn_with(middle) > required_cn_db else (low, middle)
    return 0.5 * (low + high)


@dataclass(frozen=True, kw_only=True)
class WindDownStep:
    """One step of lowering the transmitter. [dB], [dBm]"""

    reduction_db: int
    level_dbm: float
    cn_db: float
    mer_db: float
    margin_db: float


def wind_down(
    budget: LinkBudget, *, required_cn_db: float, transmitter_mer_db: float | None, steps: Sequence[int]
) -> tuple[WindDownStep, ...]:
    """What the far station should read as the transmitter is lowered; below zero margin the picture is gone."""
    rows = []
    for step in steps:
        cn_db = budget.cn.value - step
        rows.append(
            WindDownStep(
                reduction_db=step,
                level_dbm=budget.level.value - step,
                cn_db=cn_db,
                mer_db=mer_from_cn_db(cn_db, transmitter_mer_db=transmitter_mer_db),
                margin_db=margin_with_errors_db(
                    cn_db, required_cn_db=required_cn_db, transmitter_mer_db=transmitter_mer_db
                ),
            )
        )
    return tuple(rows)
