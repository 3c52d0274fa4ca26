"""Decibels to ratios and back; the two never mix inside one function.

Theory  Power ratios: 10 log10. dBm is decibels above one milliwatt.
Source  [IEC60027-3] logarithmic quantities and units.
Holds   Ratios above zero; a ratio of zero has no level and is refused by the caller.
"""

import math

MILLIWATT_W = 1e-3


def db_from_ratio(ratio: float) -> float:
    """Level of a power ratio. [dB]"""
    return 10.0 * math.log10(ratio)


def ratio_from_db(level_db: float) -> float:
    """Power ratio of a level. [1]"""
    return float(10.0 ** (level_db / 10.0))


def amplitude_from_db(level_db: float) -> float:
    """Amplitude ratio of a power level, 10^(L/20). [1]"""
    return float(10.0 ** (level_db / 20.0))


def dbm_from_watts(power_w: float) -> float:
    """Level above one milliwatt. [dBm]"""
    return db_from_ratio(power_w / MILLIWATT_W)


def watts_from_dbm(level_dbm: float) -> float:
    """Power of a level above one milliwatt. [W]"""
    return MILLIWATT_W * ratio_from_db(level_dbm)
