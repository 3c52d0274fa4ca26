"""What a filter's own response keeps out and does to the channel, whatever it is made of.

Theory  Losses, tilt and delay of the scattering parameters of dimensions or parts. Far out no more is claimed than a
        home-made box keeps (common practice).
Source  the response handed in; ``source`` names it.
Holds   Responses defined at the frequencies asked.
"""

from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt

from tepui.chain.filters.resonators import coupled_scattering, tuned
from tepui.ground.findings import Finding
from tepui.jobs.filter_question import ABOUT, FilterQuestion
from tepui.jobs.statements import exact

Response = Callable[[npt.NDArray[np.float64]], npt.NDArray[Any]]
HOME_LOW_DB, HOME_HIGH_DB = 60.0, 70.0
HOME = "common practice: a home-made box keeps 60 to 70 dB"


def rejection_findings(question: FilterQuestion, scattering: Response, *, source: str) -> list[Finding]:
    """Loss at every frequency to be kept out, as far as it may be claimed."""
    found = []
    for one in question.rejections:
        place = np.array([one.frequency_hz])
        theory = float(-20 * np.log10(max(abs(scattering(place)[0, 1, 0]), 1e-12)))
        ideal = coupled_scattering(tuned(question.goal), place)[0, 1, 0]
        prototype = float(-20 * np.log10(max(abs(ideal), 1e-12)))
        claimed = min(theory, HOME_LOW_DB)
        told = f"theory of the design gives {theory:.1f} dB."
        if theory > HOME_LOW_DB:
            told = (
                f"theory gives {prototype:.0f} dB (prototype) or {theory:.0f} dB (this design); joints and lids leak, "
                f"so claim no more than {HOME_LOW_DB:.0f} to {HOME_HIGH_DB:.0f} dB until it is measured."
            )
        asked = one.wanted_db is not None
        found.append(
            Finding(
                about=f"stage:filter at {one.frequency_hz / 1e6:g} MHz", key="rejection_db", value=claimed, unit="dB",
                low=claimed, high=None, standing="at_least", source=source if theory < HOME_LOW_DB else HOME,
                limit=one.wanted_db, limit_sense="at_least" if asked else None, limit_source="asked" if asked else None,
                margin=None if one.wanted_db is None else claimed - one.wanted_db,
                remark=f"{one.name}: {told}" if one.name else f"{told[0].upper()}{told[1:]}",
            )
        )  # fmt: skip
    return found


def channel_findings(question: FilterQuestion, scattering: Response, *, source: str) -> list[Finding]:
    """Delay, tilt and drop over the channel, and what they cost an OFDM signal."""
    if question.channel_hz is None:
        return []
    f = np.linspace(-0.5, 0.5, 101) * question.channel_hz + question.goal.centre_hz
    s21 = scattering(f)[:, 1, 0]
    level = 20 * np.log10(np.abs(s21))
    delay = -np.gradient(np.unwrap(np.angle(s21)), 2 * np.pi * f)
    line = np.polyfit((f - f[0]) / (f[-1] - f[0]), level, 1)[0]
    return [
        exact(ABOUT, "group_delay_s", float(delay[50]), "s", source=source, standing="computed"),
        exact(ABOUT, "delay_spread_s", float(np.ptp(delay)), "s", source=source, standing="computed",
              remark="Inside any guard interval of DVB-T (7 us and more) it costs an OFDM signal no MER."),
        exact(ABOUT, "channel_tilt_db", float(line), "dB", source=source, standing="computed"),
        exact(ABOUT, "channel_drop_db", float(np.ptp(level)), "dB", source=source, standing="computed"),
    ]  # fmt: skip
