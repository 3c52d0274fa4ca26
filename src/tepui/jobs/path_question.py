"""What is asked about one path, and what the models answer before it is put into words.

Theory  The loss is that of the model named, plus what the operator adds for clutter. Its doubt joins what the model
        scatters against measurements, the clutter guess, the place among many, and the boxes of the locators.
Source  scatter of path models: common practice (no published source); [P.1812-8] 4.9 for locations (5.5 dB).
Holds   One path at a time; everything in SI, arrays as the profile has them.
"""

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from tepui.chain.antenna.geodesic import Way
from tepui.chain.propagation.edges import PathView, path_view
from tepui.chain.propagation.gases import gas_attenuation_db_km
from tepui.chain.propagation.models import PathCase, PathLoss, ground_with_clutter, path_loss
from tepui.chain.propagation.path_kernels import FREE, SCATTER, TOTAL
from tepui.ground.doubt import Estimate, estimate
from tepui.prediction.link import Radiated, Receiving
from tepui.signals.dvbt.mode import Mode

CLEAR_STD_DB, BLOCKED_STD_DB, SCATTER_STD_DB = 2.0, 6.0, 8.0
CLUTTER_GUESS_SHARE = 0.5  # of a clutter loss stated without doubt: its standard uncertainty
CLEAR_SHARE = 0.6
SCATTER_NEAR_DB = 3.0
AIR_FROM_HZ = 3e9  # below, air takes less than 0.01 dB/km
TIME_MODELS = ("p1812", "p452")
RARE_SHARE = {"p1812": 0.01, "p452": 0.01}


@dataclass(frozen=True, kw_only=True)
class LinkQuestion:
    """Both ends of the link and what is asked of it.

    mode          width, FFT size and guard; constellation and code rate are tried one after another
    channel       "auto", or one of gaussian, ricean, rayleigh
    margin_db     to keep after the receiver's implementation loss
    n_before_pad  receive stages up to and with the preamplifier; 0 where there is none
    pad_place     words for the remark: where a pad would stand
    """

    radiated: Radiated
    receiving: Receiving
    mode: Mode
    channel: str
    edition: str
    implementation_loss_db: float
    margin_db: float
    transmitter_mer_db: float | None = None
    n_before_pad: int = 0
    alternatives: tuple[tuple[str, Receiving], ...] = ()


@dataclass(frozen=True, kw_only=True)
class PathQuestion:
    """One path, its conditions, and the link over it where asked.

    name          for ``path:NAME``
    way           None where the ends are not known, only the profile
    clutter_loss  extra loss that the operator adds, with its doubt; None where none is
    stated        whether a doubt of it was stated
    """

    name: str
    case: PathCase
    way: Way | None = None
    declination_deg: float | None = None
    clutter_loss: Estimate | None = None
    link: LinkQuestion | None = None

    @cached_property
    def answer(self) -> PathLoss:
        """The model's terms."""
        return path_loss(self.case)

    @cached_property
    def view(self) -> PathView:
        """The profile as the wave meets it, at least three points."""
        profile = self.case.profile
        x, ground = profile.distance_m, ground_with_clutter(self.case)
        if len(x) == 2:
            x = np.array([0.0, x[1] / 2, x[1]])
            ground = np.interp(x, profile.distance_m, ground)
        return path_view(
            distance_m=x,
            ground_m=ground,
            tx_asl_m=float(profile.height_m[0]) + self.case.tx_height_m,
            rx_asl_m=float(profile.height_m[-1]) + self.case.rx_height_m,
            frequency_hz=self.case.frequency_hz,
            earth_radius_m=1e3 * self.case.median_radius_km,
        )

    @property
    def model_loss_db(self) -> float:
        """Basic transmission loss by the model, clutter guess left out. [dB]"""
        if self.case.model == "knife-edge":
            return self.answer.term(FREE) + self.view.edge_db
        return self.answer.loss_db

    @property
    def scattered(self) -> bool:
        """Whether troposcatter carries the signal."""
        if self.case.model not in TIME_MODELS:
            return False
        return self.answer.term(SCATTER) < self.answer.term(TOTAL) + SCATTER_NEAR_DB

    @cached_property
    def loss(self) -> Estimate:
        """Loss to expect, with every part of its doubt. [dB]"""
        parts = {"model": self._model_std_db}
        extra_db = 0.0
        if self.clutter_loss is not None:
            extra_db = self.clutter_loss.value
            parts["clutter guess"] = self.clutter_loss.std
        elif self.case.model != "free-space":
            parts["location"] = self.case.location_std_db
        if self.way is not None and self.way.distance.std > 0:
            share = self.way.distance.std / self.way.distance.value
            parts["locator boxes"] = 20 / math.log(10) * share
        return estimate(self.model_loss_db + extra_db, **parts)

    @cached_property
    def air_db(self) -> float:
        """What air takes from 3 GHz on where the model leaves it out; the link counts it, the model's loss does not."""
        case = self.case
        if case.model == "p452" or case.frequency_hz < AIR_FROM_HZ:
            return 0.0
        per_km = sum(
            gas_attenuation_db_km(
                frequency_hz=case.frequency_hz, pressure_hpa=case.pressure_hpa, temperature_k=case.temperature_k
            )
        )
        return per_km * case.profile.length_m / 1e3

    @property
    def link_loss(self) -> Estimate:
        """Loss between the antennas as the link meets it, air counted. [dB]"""
        return estimate(self.loss.value + self.air_db, **self.loss.contributions)

    @property
    def _model_std_db(self) -> float:
        if self.case.model == "free-space" or (self.view.visible and self.view.clearance_share >= CLEAR_SHARE):
            return CLEAR_STD_DB
        return SCATTER_STD_DB if self.scattered else BLOCKED_STD_DB

    @cached_property
    def fading_db(self) -> float | None:
        """Median loss less the loss of the best 1 % of time; None where the model knows no time. [dB]"""
        if self.case.model not in TIME_MODELS:
            return None
        median = path_loss(replace(self.case, time_share=0.5, location_share=0.5)).loss_db
        rare = replace(self.case, time_share=RARE_SHARE[self.case.model], location_share=0.5)
        return max(0.0, median - path_loss(rare).loss_db)


def clutter_estimate(value_db: float, *, low_db: float | None, high_db: float | None) -> Estimate:
    """A clutter loss with its doubt; where none is stated, half its value. [dB]"""
    if low_db is not None and high_db is not None:
        return Estimate(value=value_db, std=(high_db - low_db) / 4)
    return Estimate(value=value_db, std=CLUTTER_GUESS_SHARE * abs(value_db))
