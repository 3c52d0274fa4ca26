"""Simulated drive series with a known crossing: amplifiers of many forms, readings with scatter and a baseline."""

from dataclasses import dataclass

import numpy as np

from tepui.chain.amplifiers.drive_curve import drive_curve
from tepui.chain.amplifiers.fit import DriveData, fit_amplifier
from tepui.prediction.drive import crossing

STD_DB, POWER_STD_DB = 0.15, 0.1
FINE = np.arange(-22, 0, 0.02)


@dataclass(frozen=True)
class Interval:
    """What was stated about a crossing, and where it truly lies."""

    true: float
    value: float
    low: float
    high: float
    recommended: float | None


def amplifier_of(rng):
    """An amplifier of one of three forms; two of them are none of the families that are fitted."""
    kind = rng.integers(3)
    if kind == 0:
        p, phase, power = rng.uniform(1, 4), np.deg2rad(rng.uniform(0, 25)), rng.uniform(0.7, 1.5)

        def turning_limit(x):
            w = np.abs(x) ** 2
            return x * (1 + w**p) ** (-0.5 / p) * np.exp(1j * phase * w**power / (1 + w**power))

        return turning_limit
    if kind == 1:
        a, phase, c = rng.uniform(0.05, 0.3), rng.uniform(0, 0.4), rng.uniform(1, 3)

        def two_stages(x):
            w = np.abs(x) ** 2
            return x / (1 + a * w) * np.exp(1j * phase * w / (1 + c * w)) * (1 + w**4) ** -0.125

        return two_stages
    third = 0.1 * np.exp(1j * rng.uniform(-1, 1))
    fifth = rng.uniform(-0.01, 0.02) * np.exp(1j * rng.uniform(-1, 1))
    return lambda x: x * (1 - third * np.abs(x) ** 2 + fifth * np.abs(x) ** 4)


def case(seed):
    """Everything random about one series, drawn from its seed."""
    rng = np.random.default_rng(seed)
    return rng, amplifier_of(rng)


def interval(drawn, view):
    """Read the series, fit it, state the crossing; None where the drawn numbers make no series."""
    rng, amplifier = drawn
    curve = drive_curve(amplifier, 10 ** (FINE / 10), view)
    rising = np.maximum.accumulate(curve.shoulder_db)
    target = rng.uniform(-36, -29)
    if not rising[0] < target < rising[-1]:
        return None
    true = float(np.interp(target, rising, FINE))
    n, step = rng.integers(4, 8), rng.uniform(0.7, 1.5)
    setting = true + rng.uniform(0.3, 2.5) - step * np.arange(n)[::-1]
    if setting[0] < FINE[0] or setting[-1] > FINE[-1] or setting[0] > true:
        return None
    base = rng.uniform(-46, -38)
    shoulder = np.interp(setting, FINE, curve.shoulder_db)
    shown = 10 * np.log10(10 ** (shoulder / 10) + 10 ** (base / 10)) + STD_DB * rng.standard_normal(n)
    power = np.interp(setting, FINE, 10 * np.log10(curve.power_w)) + 30 + POWER_STD_DB * rng.standard_normal(n)
    data = DriveData(
        setting_db=setting,
        shoulder_db=shown,
        shoulder_std_db=np.full(n, STD_DB),
        common_std_db=np.zeros(n),
        on_baseline=np.ones(n, bool),
        baseline_db=base + STD_DB * rng.standard_normal(),
        baseline_std_db=STD_DB,
        power_setting_db=setting,
        power_dbm=power,
        power_std_db=np.full(n, POWER_STD_DB),
    )
    found = crossing(
        fit_amplifier(data, view),
        target_db=target,
        confidence=0.9,
        first=float(setting[0]),
        last=float(setting[-1]),
        step_db=0.1,
    )
    value = found.value if found.value is not None else (found.last if found.met_everywhere else found.first)
    return Interval(true=true, value=value, low=found.low, high=found.high, recommended=found.recommended)
