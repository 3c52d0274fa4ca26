"""Sweeps at different pads made comparable: how much gain lies ahead of the receiver's distortion in each.

Theory  A pad always lies ahead of it, a front-end gain too where it is named as such. A gain that is not told apart may
        have moved on either side: two sweeps that differ in it do not show what a pad does. Steps are nominal.
Source  common practice; the limits are this program's own: a pad within 0.5 dB, a front-end step within 1.4 dB (95 %).
Holds   Settings as the recordings name them; None where they name none.
"""

import math
from collections.abc import Sequence

from tepui.evidence.narrow import NarrowSpectrum
from tepui.evidence.stitch_set import gain_ahead_db

PAD_STD_DB, FRONT_END_STD_DB = 0.25, 0.7
SAME_DB = 0.1

Sweep = Sequence[NarrowSpectrum]


def gains_are_comparable(sweeps: Sequence[Sweep]) -> bool:
    """Whether all sweeps name a gain ahead of the distortion, and no untold gain moved among them."""
    if any(gain_ahead_db(one[0].settings) is None for one in sweeps):
        return False
    untold = [_untold_gain_db(one) for one in sweeps]
    told = [value for value in untold if value is not None]
    return len(told) in (0, len(untold)) and (not told or max(told) - min(told) < SAME_DB)


def _untold_gain_db(sweep: Sweep) -> float | None:
    """Gain that a sweep does not tell apart, where the most power is seen; None where all is told apart. [dB]"""
    settings = max(sweep, key=lambda one: float(one.converter.spread.sum())).settings
    if "frontend_gain_db" in settings or "gain_db" not in settings:
        return None
    return float(settings["gain_db"])


def gain_step_std_db(sweep: Sweep, highest: Sweep) -> float:
    """Standard uncertainty of a sweep's gain ahead of the distortion, less that of the highest. [dB]"""
    parts = (("attenuator_db", PAD_STD_DB), ("frontend_gain_db", FRONT_END_STD_DB))
    moved = (std for name, std in parts if sweep[0].settings.get(name, 0.0) != highest[0].settings.get(name, 0.0))
    return math.hypot(*moved)


def sweep_label(sweep: Sweep) -> str:
    """A sweep by what lies ahead of the distortion, in words."""
    settings, words = sweep[0].settings, []
    if "attenuator_db" in settings:
        words.append(f"pad {float(settings['attenuator_db']):g} dB")
    if "frontend_gain_db" in settings:
        words.append(f"front end {float(settings['frontend_gain_db']):g} dB")
    return ", ".join(words) or "one setting, not named"
