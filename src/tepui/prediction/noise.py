"""Noise at the antenna's terminals: what the surroundings send, and what the receiver adds.

Theory  Each stage adds the noise its figure says, divided by the gain before it; a passive loss at 290 K has the noise
        figure of its loss. The surroundings add an external figure, fa = Ta/290 K. Referred to the antenna's terminals
        the whole is f = fa + F - 1, in units of k T0.
Source  [Friis1944]; [P.372] eq (10) and its table noise_p372 (to 250 MHz); k from scipy.constants.
Holds   Matched stages, losses at 290 K. Above 250 MHz no place is tabulated and the operator states the noise.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from scipy.constants import Boltzmann

from tepui.ground.checks import require_one_of
from tepui.ground.decibels import db_from_ratio, ratio_from_db
from tepui.ground.errors import RangeError
from tepui.tables.load import load_table

T0_K = 290.0
HIGHEST_TABLED_HZ = 250e6


@dataclass(frozen=True, kw_only=True)
class ReceiveStage:
    """One stage behind the antenna: gain (negative for a loss) and noise figure. [dB]"""

    name: str
    gain_db: float
    noise_figure_db: float


def passive(name: str, loss_db: float) -> ReceiveStage:
    """A feeder, pad or filter at 290 K: its noise figure is its loss."""
    return ReceiveStage(name=name, gain_db=-loss_db, noise_figure_db=loss_db)


def cascade_factor(stages: Sequence[ReceiveStage]) -> float:
    """Noise factor of stages in signal order. [1]"""
    factor, gain = 1.0, 1.0
    for stage in stages:
        factor += (ratio_from_db(stage.noise_figure_db) - 1.0) / gain
        gain *= ratio_from_db(stage.gain_db)
    return factor


def system_noise_db(*, external_db: float, stages: Sequence[ReceiveStage]) -> float:
    """Noise at the antenna's terminals over k T0. [dB]"""
    return db_from_ratio(ratio_from_db(external_db) + cascade_factor(stages) - 1.0)


def noise_power_dbm(*, system_db: float, width_hz: float) -> float:
    """k T0 B and the system's figure. [dBm]"""
    return 10 * math.log10(Boltzmann * T0_K * width_hz * 1e3) + system_db


def external_from_temperature_db(antenna_k: float) -> float:
    """External figure of an antenna at a noise temperature. [dB]"""
    return db_from_ratio(antenna_k / T0_K)


def external_from_place_db(place: str, *, frequency_hz: float) -> float:
    """Median external figure of a kind of place, Fam = c - d log10(f / MHz). [dB]

    raises  ChoiceError, RangeError above 250 MHz
    """
    table = load_table("noise_p372")
    require_one_of("noise place", place, table.column("environment"), source="ITU-R P.372")
    if frequency_hz > HIGHEST_TABLED_HZ:
        raise RangeError(
            f"The external noise of places is tabulated to 250 MHz (ITU-R P.372), not {frequency_hz / 1e6:g} MHz; "
            "state --external-noise or --antenna-temperature."
        )
    c, d = (float(table.cell(name, environment=place)) for name in ("c", "d"))
    return c - d * math.log10(frequency_hz / 1e6)
