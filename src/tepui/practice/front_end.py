"""The front end of a practice receiver: pad, filter, two stages that bend, and the noise they add.

Theory  A third-order stage y = v (1 - c |v|^2) on the envelope v, |v|^2 in watts, has c = exp(i phase) / IIP3: two
        equal tones of power P each give products P (P / IIP3)^2. A Gaussian signal of power P gives products of
        2 P (P / IIP3)^2 in all. They add to the transmitter's products as amplitudes: with the phase of the
        transmitter's own they make them larger, against it smaller. Beyond the top of the cubic, |v|^2 = IIP3 / 3, the
        amplitude is held, as a stage does that has run out of current.
        First stage: its intercept stands at the connector, ahead of all gain. Second (the mixer): behind the front-end
        gain, so that a step of that gain moves it; gain at the intermediate frequency comes later and does not.
        Noise: F = F1 + (F2 - 1) / G1.
Source  Third-order intercept by its definition with two tones; Gaussian moments; H. T. Friis 1944, Proc. IRE 32.
Holds   No memory in the front end, its products of fifth order and more are those of the held cubic alone.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import scipy.fft

from tepui.ground.checks import require_positive
from tepui.ground.decibels import amplitude_from_db, db_from_ratio, ratio_from_db, watts_from_dbm
from tepui.practice.blocks import roll_off

Samples = npt.NDArray[np.complex64]
RISES_TO = 1 / 3  # of the intercept
RF_SLOPE = 1.25  # the front end's filter is closed at this much of half its width


@dataclass(frozen=True, kw_only=True)
class FrontEnd:
    """Everything ahead of the intermediate frequency. Typical figures are common practice, from data of such parts.

    first_noise_figure_db    F1 of the first stage; 3 to 6 dB
    second_noise_figure_db   F2 of mixer and what follows, at the mixer's input; 10 to 15 dB
    input_intercept_dbm      IIP3 of the first stage at the connector; 0 dBm and more
    mixer_intercept_dbm      IIP3 of the mixer at its own input, behind the front-end gain; +5 to +25 dBm
    input_phase_rad, mixer_phase_rad   of c: 0 compresses, pi expands
    rf_width_hz              of the filter ahead of both, between the edges of its flat part; None where it passes
                             all that is on the air; tuners follow their tuning with some tens of MHz
    """

    first_noise_figure_db: float = 4.0
    second_noise_figure_db: float = 12.0
    input_intercept_dbm: float = 5.0
    mixer_intercept_dbm: float = 15.0
    input_phase_rad: float = 0.0
    mixer_phase_rad: float = 0.0
    rf_width_hz: float | None = None

    def __post_init__(self) -> None:
        if self.rf_width_hz is not None:
            require_positive("rf_width_hz", self.rf_width_hz, unit="Hz")

    def noise_figure_db(self, gain_db: float) -> float:
        """Of the whole receiver at a true front-end gain. [dB]"""
        first, second = ratio_from_db(self.first_noise_figure_db), ratio_from_db(self.second_noise_figure_db)
        return db_from_ratio(first + (second - 1) / ratio_from_db(gain_db))

    def intercept_dbm(self, gain_db: float) -> float:
        """IIP3 at the connector where the products of both stages add in phase. [dBm]"""
        both = 1 / watts_from_dbm(self.input_intercept_dbm) + 1 / watts_from_dbm(self.mixer_intercept_dbm - gain_db)
        return db_from_ratio(1e3 / both)


def third_order(v: Samples, *, intercept_w: float, phase_rad: float = 0.0) -> Samples:
    """A stage that bends by the third order.

    v            (n,) sqrt(W)
    intercept_w  IIP3, per tone
    """
    require_positive("intercept_w", intercept_w, unit="W")
    share = (v.real**2 + v.imag**2) * np.float32(1 / intercept_w)
    bent: Samples = v * (1 - np.complex64(np.exp(1j * phase_rad)) * np.minimum(share, np.float32(RISES_TO)))
    over = share > RISES_TO
    if over.any():
        bent[over] *= np.sqrt(RISES_TO / share[over])
    return bent


def through_front_end(
    v: Samples, *, front_end: FrontEnd, gain_db: float, rate_hz: float, tuned_offset_hz: float
) -> Samples:
    """What leaves the mixer, without noise, on one turn of a loop.

    v                (n,) sqrt(W) at the connector
    gain_db          true front-end gain
    tuned_offset_hz  where the front end's filter stands, from zero frequency of ``v``
    """
    if front_end.rf_width_hz is not None:
        half = front_end.rf_width_hz / 2
        away = scipy.fft.fftfreq(len(v), 1 / rate_hz) - tuned_offset_hz
        v = scipy.fft.ifft(scipy.fft.fft(v) * roll_off(away, pass_edge=half, stop_edge=RF_SLOPE * half).astype("f4"))
    first = third_order(
        v, intercept_w=watts_from_dbm(front_end.input_intercept_dbm), phase_rad=front_end.input_phase_rad
    )
    return third_order(
        first * np.float32(amplitude_from_db(gain_db)),
        intercept_w=watts_from_dbm(front_end.mixer_intercept_dbm),
        phase_rad=front_end.mixer_phase_rad,
    )
