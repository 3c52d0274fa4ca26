"""The practice path: the direct way and echoes, as one complex factor per frequency.

Theory  H(f) = sum over paths of a exp(-2 pi i f d): an echo inside the guard interval is one factor per carrier.
        The level at the receiver is that of all ways together, averaged over the occupied width.
Source  [EN300744] 4.4 (why a guard interval); common practice (no published source) for the discrete echo model.
Holds   Standing paths. Delays of either sign, up to a quarter of the receiver's block (1 ms in a 7 MHz channel).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.ground.decibels import amplitude_from_db, ratio_from_db

BOLTZMANN_T0_DBM_HZ = -173.975  # k 290 K: 4.0039e-21 W/Hz


@dataclass(frozen=True, kw_only=True)
class Echo:
    """One further way. delay_s after the direct one (negative: before it), level_db relative to it."""

    delay_s: float
    level_db: float
    phase_rad: float = 0.0


@dataclass(frozen=True, kw_only=True)
class PracticePath:
    """From the transmitter's connector to the receiver's.

    level_dbm            mean power of the wanted signal at the receiver, all ways together
    echoes               besides the direct way
    frequency_offset_hz  signal centre minus tuned frequency, as the file stands
    sample_clock_ppm     above zero: the transmitter's clock is fast
    inverted             spectrum turned over on the way (a mixer's lower sideband), before the offset
    """

    level_dbm: float
    echoes: tuple[Echo, ...] = ()
    frequency_offset_hz: float = 0.0
    sample_clock_ppm: float = 0.0
    inverted: bool = False


def response(frequency_hz: npt.NDArray[np.float64], *, echoes: tuple[Echo, ...]) -> npt.NDArray[np.complex128]:
    """H(f), the direct way being 1. Any shape."""
    total = np.ones(frequency_hz.shape, np.complex128)
    for echo in echoes:
        turn = echo.phase_rad - 2 * np.pi * frequency_hz * echo.delay_s
        total += amplitude_from_db(echo.level_db) * np.exp(1j * turn)
    return total


def mean_power_gain(*, echoes: tuple[Echo, ...], width_hz: float) -> float:
    """Mean |H|^2 over the occupied width. [1]"""
    frequency_hz = np.linspace(-width_hz / 2, width_hz / 2, 8193)
    return float(np.mean(np.abs(response(frequency_hz, echoes=echoes)) ** 2))


def level_for_cn_dbm(*, cn_db: float, width_hz: float, noise_figure_db: float) -> float:
    """Level at which carrier over noise in ``width_hz`` is ``cn_db``. [dBm]

    >>> round(level_for_cn_dbm(cn_db=20.0, width_hz=7.61e6, noise_figure_db=7.0), 2)
    -78.16
    """
    return cn_db + BOLTZMANN_T0_DBM_HZ + noise_figure_db + 10 * float(np.log10(width_hz))


def cn_db(*, level_dbm: float, width_hz: float, noise_figure_db: float) -> float:
    """Carrier over noise in ``width_hz`` at a level. [dB]"""
    return level_dbm - level_for_cn_dbm(cn_db=0.0, width_hz=width_hz, noise_figure_db=noise_figure_db)


def noise_w_hz(noise_figure_db: float) -> float:
    """Noise density at the receiver's input with a source at 290 K. [W/Hz]"""
    return 1e-3 * ratio_from_db(BOLTZMANN_T0_DBM_HZ + noise_figure_db)
