"""An own receiver beside an own transmitter: what each side's filter must keep out.

Theory  The transmitter's noise at the receive frequency falls into the receiver and no filter there can help, so the
        filter stands at the transmitter. Its carrier drives the receiver's first stage, so that filter stands at the
        receiver. Noise 6 dB below the receiver's own costs 1 dB.
Source  own arithmetic on powers; 6 dB for 1 dB is 10 log(1 + 10^-0.6).
Holds   Filters that add up with the antennas' isolation; no intermodulation on masts and joints.
"""

import math
from dataclasses import dataclass

from tepui.prediction.noise import noise_power_dbm

BELOW_NOISE_DB = 6.0


@dataclass(frozen=True, kw_only=True)
class Beside:
    """Both ends at one site.

    power_dbm          mean, of the transmitter
    tx_noise_dbc_hz    its noise at the receive frequency, before any filter
    isolation_db       between both antennas, or of the circulator
    receive_width_hz, noise_figure_db, blocking_dbm   of the receiver
    """

    power_dbm: float
    tx_noise_dbc_hz: float
    isolation_db: float
    receive_width_hz: float
    noise_figure_db: float
    blocking_dbm: float

    @property
    def own_noise_dbm(self) -> float:
        """k T0 B F of the receiver. [dBm]"""
        return noise_power_dbm(system_db=self.noise_figure_db, width_hz=self.receive_width_hz)

    @property
    def arriving_noise_dbm(self) -> float:
        """The transmitter's noise at the receiver, without filters. [dBm]"""
        return self.power_dbm + self.tx_noise_dbc_hz + 10 * math.log10(self.receive_width_hz) - self.isolation_db

    @property
    def arriving_carrier_dbm(self) -> float:
        """The transmitter's carrier at the receiver, without filters. [dBm]"""
        return self.power_dbm - self.isolation_db

    @property
    def transmitter_filter_db(self) -> float:
        """What the transmitter's filter must take off at the receive frequency. [dB]"""
        return max(0.0, self.arriving_noise_dbm - (self.own_noise_dbm - BELOW_NOISE_DB))

    @property
    def receiver_filter_db(self) -> float:
        """What the receiver's filter must take off at the transmit frequency. [dB]"""
        return max(0.0, self.arriving_carrier_dbm - self.blocking_dbm)

    @property
    def desensitised_db(self) -> float:
        """How much the noise floor rises without filters. [dB]"""
        return 10 * math.log10(1 + 10 ** ((self.arriving_noise_dbm - self.own_noise_dbm) / 10))
