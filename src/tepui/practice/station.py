"""Marl Bay: the imaginary station of the demo, the tests and the first lesson.

Theory  A 7 MHz channel in the 23 cm band, 8K, QPSK 3/4, guard 1/16: the mode most often found on such paths. The
        amplifier is backed off 8 dB at its input, so that its shoulders are near -36 dB.
Source  Mode: common practice (no published source). Amplifier: Rapp with p = 3.0 as in EURASIP JWCN 2014:199; gain
        and power are those of a small final stage, invented. Callsigns beginning with Q are not allocated (ITU).
Holds   Nothing here was measured; all of it is marked as practice.
"""

from dataclasses import dataclass
from fractions import Fraction

import numpy as np
import numpy.typing as npt

from tepui.chain.amplifiers.models import RAPP_SMOOTHNESS_STUDY, rapp
from tepui.ground.decibels import ratio_from_db, watts_from_dbm
from tepui.practice.path import Echo, PracticePath
from tepui.practice.receiver import PracticeReceiver
from tepui.signals.dvbt.mode import Mode


@dataclass(frozen=True, kw_only=True)
class PracticeAmplifier:
    """A final stage after Rapp. backoff_db: mean drive below the drive that would just saturate it."""

    gain_db: float
    saturated_dbm: float
    smoothness: float
    backoff_db: float

    @property
    def drive_w(self) -> float:
        """Mean power at the input. [W]"""
        return watts_from_dbm(self.saturated_dbm - self.gain_db - self.backoff_db)

    def __call__(self, envelope: npt.NDArray[np.complex64]) -> npt.NDArray[np.complexfloating]:
        """Output envelope of an input envelope, both in sqrt(W)."""
        return rapp(
            envelope,
            gain_ratio=ratio_from_db(self.gain_db),
            saturated_w=watts_from_dbm(self.saturated_dbm),
            smoothness=self.smoothness,
        )


@dataclass(frozen=True, kw_only=True)
class PracticeStation:
    """What is sent, by whom, over what, and with what it is recorded."""

    call: str
    name: str
    locator: str
    service_name: str
    centre_hz: float
    mode: Mode
    amplifier: PracticeAmplifier
    path: PracticePath
    receiver: PracticeReceiver


MARL_BAY = PracticeStation(
    call="Q1ABC",
    name="Marl Bay",
    locator="HI45kt",
    service_name="Marl Bay TV",
    centre_hz=1286e6,
    mode=Mode(
        width_hz=7e6,
        n_fft=8192,
        guard=Fraction(1, 16),
        constellation="QPSK",
        code_rate=Fraction(3, 4),
        cell_id=0x0B1A,
    ),
    amplifier=PracticeAmplifier(gain_db=30.0, saturated_dbm=46.0, smoothness=RAPP_SMOOTHNESS_STUDY, backoff_db=8.0),
    path=PracticePath(
        level_dbm=-76.0,
        echoes=(
            Echo(delay_s=1.7e-6, level_db=-11.0, phase_rad=2.1),
            Echo(delay_s=9.3e-6, level_db=-18.0, phase_rad=-0.6),
        ),
        frequency_offset_hz=12_300.0,
        sample_clock_ppm=6.0,
    ),
    receiver=PracticeReceiver(sample_rate_hz=10e6, full_scale_dbm=-63.0),
)
