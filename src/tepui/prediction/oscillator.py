"""What the oscillator costs: phase noise through its multiplier, a MER budget, and the reference's error.

Theory  A multiplier by M raises phase noise by 20 lg M. Independent errors add as powers: 10^(-MER/10). Third-order
        distortion has the shape of the threefold convolution, so a shoulder read at an offset from the edge tells the
        mean inside the channel: MER = -shoulder + 10 lg(p3(1/2 + d) / (2/3)), d the offset in widths.
Source  Weighting and integrals: conversion/phase_noise.py. Shape: conversion/shape.py; shoulder 500 kHz out:
        [TR101290] 9.7.
Holds   Shoulders of third order, without side-lobes of the signal itself or a receiver's floor in them.
"""

import math
from dataclasses import dataclass
from fractions import Fraction

from tepui.chain.conversion.phase_noise import PhaseNoiseEffect, PhaseNoiseProfile, effect_on_symbols, integrated_db
from tepui.chain.conversion.shape import density, share_below
from tepui.ground.doubt import Estimate
from tepui.signals.dvbt.mode import FFT_SIZES, Mode

SHOULDER_OFFSET_HZ = 500e3
PROFILE_STD_DB = 0.5  # of what follows from points of a data sheet or from a shoulder read: a guess
COMMON_REFERENCES_HZ = tuple(Fraction(mhz) * 10**6 for mhz in (
    "10", "12", "12.8", "13", "14.4", "16", "19.2", "20", "24", "25", "26", "27", "30", "38.4", "40", "50", "100",
))  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class PhaseNoiseAtChannel:
    """One FFT size under a profile.

    quick_db  both sidebands from one carrier spacing to half the channel, without a weight
    """

    n_fft: int
    carrier_spacing_hz: float
    effect: PhaseNoiseEffect
    quick_db: float


def phase_noise_by_size(profile: PhaseNoiseProfile, *, mode: Mode, multiplied: int) -> tuple[PhaseNoiseAtChannel, ...]:
    """Common error and interference for 2K, 4K and 8K at the mode's width, behind the multiplier."""
    raised = profile.raised(multiplication_penalty_db(multiplied))
    half = mode.occupied_width_hz / 2
    found = []
    for n_fft in FFT_SIZES:
        useful_s = n_fft * mode.elementary_period_s
        found.append(
            PhaseNoiseAtChannel(
                n_fft=n_fft,
                carrier_spacing_hz=1 / useful_s,
                effect=effect_on_symbols(raised, useful_s=useful_s, highest_hz=half),
                quick_db=integrated_db(raised, lowest_hz=1 / useful_s, highest_hz=half),
            )
        )
    return tuple(found)


def oscillator_mer(profile: PhaseNoiseProfile, *, mode: Mode, multiplied: int) -> Estimate:
    """MER ceiling that the oscillator's phase noise leaves for this mode. [dB]"""
    own = next(one for one in phase_noise_by_size(profile, mode=mode, multiplied=multiplied) if one.n_fft == mode.n_fft)
    return Estimate(value=own.effect.mer_ceiling_db, std=PROFILE_STD_DB, contributions={"profile": PROFILE_STD_DB})


def multiplication_penalty_db(multiplied: int) -> float:
    """What an ideal multiplier adds to phase noise and lines. [dB]"""
    return 20 * math.log10(multiplied)


def distortion_ceiling_db(shoulder_db: float, *, signal_width_hz: float) -> float:
    """MER that third-order distortion of this shoulder leaves. [dB]"""
    away = 0.5 + SHOULDER_OFFSET_HZ / signal_width_hz
    if away >= 1.5:
        return math.nan
    inside = float(share_below([0.5], n=3)[0] - share_below([-0.5], n=3)[0])
    return -shoulder_db + 10 * math.log10(float(density([away], n=3)[0]) / inside)


def joined_mer_db(*parts_db: float) -> float:
    """MER that independent errors leave together. [dB]

    >>> round(joined_mer_db(22.1, 31.0, 38.0), 1)
    21.5
    """
    return -10 * math.log10(sum(10 ** (-part / 10) for part in parts_db))


def rest_mer_db(whole_db: float, known_db: float) -> float | None:
    """MER of what is left of a whole once a known part is taken off; None where nothing is left. [dB]

    >>> round(rest_mer_db(19.6, 21.5), 1)
    24.1
    """
    rest = 10 ** (-whole_db / 10) - 10 ** (-known_db / 10)
    return None if rest <= 0 else -10 * math.log10(rest)


def wrong_reference_hz(lo_hz: Fraction, *, true_hz: Fraction, entered_hz: Fraction) -> Fraction:
    """Where an oscillator lands whose settings were worked out for another reference than it has. [Hz]

    >>> wrong_reference_hz(Fraction(1_000_000_000), true_hz=Fraction(25), entered_hz=Fraction(10))
    Fraction(2500000000, 1)
    """
    return lo_hz * true_hz / entered_hz
