"""Is it the wanted side or the image? Where channel, oscillator and image fall on a measured curve.

Theory  A mixer gives |LO + IF| and |LO - IF|; a filter tuned without care may stand on either, or on the oscillator, or
        show its re-entrant response near three times its centre.
Source  arithmetic; rods of a quarter wave resonate again at three quarters.
Holds   Places inside the sweep; outside it nothing is said.
"""

from collections.abc import Mapping

import numpy as np
import numpy.typing as npt

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.rod_design import Shape
from tepui.ground.findings import Finding
from tepui.jobs.statements import text, unknown
from tepui.signals.twoport import TwoPort

Floats = npt.NDArray[np.float64]
CURVE = "read off the measured curve"
WORDS = {
    "wanted": "the wanted side",
    "image": "the image",
    "LO": "the oscillator",
    "re-entrant": "the re-entrant response",
}
NEAR = 0.02  # of the centre, or one width
APART_DB = 3.0


def places_of(places_hz: Mapping[str, float] | None, goal: FilterGoal | None) -> dict[str, float]:
    """The places asked, with the image where wanted and LO are known, and the re-entrant response of a goal."""
    places = dict(places_hz or {})
    if "wanted" in places and "LO" in places:
        places.setdefault("image", abs(2 * places["LO"] - places["wanted"]))
    if goal is not None and places:
        places.setdefault("re-entrant", 3 * goal.centre_hz)
    return places


def side_findings(about: str, port: TwoPort, shape: Shape | None, places: Mapping[str, float]) -> list[Finding]:
    """Which of the named places the pass band stands on, and the suppression of LO and image on this curve."""
    known = {name: place for name, place in places.items() if name in WORDS}
    if "wanted" not in known:
        return []
    if shape is None:
        return [
            unknown(about, "passband_on", "", source=CURVE, remark="the trace shows no pass band; sweep S21 wider.")
        ]
    reach = max(shape.width_hz, NEAR * shape.centre_hz)
    near = [(abs(shape.centre_hz - place), name) for name, place in known.items()]
    distance, name = min(near)
    standing = name if distance <= reach else "none"
    if standing == "none":
        remark = (
            f"The pass band at {shape.centre_hz / 1e6:.1f} MHz is on none of "
            f"{', '.join(f'{one} {place / 1e6:g} MHz' for one, place in known.items())}."
        )
    else:
        remark = (
            f"The pass band at {shape.centre_hz / 1e6:.1f} MHz stands on {WORDS[standing]}, "
            f"{places[standing] / 1e6:g} MHz."
        )
    found = [text(about, "passband_on", standing, source=CURVE, remark=remark)]
    if standing != "wanted":
        found.append(
            Finding(about=about, key="wrong_side", kind="caution", value=True, standing="measured", source=CURVE,
                    remark=f"{remark} The wanted signal is at {known['wanted'] / 1e6:g} MHz: tune the filter there "
                           "before anything behind it is driven.")
        )  # fmt: skip
    found += [_suppression(about, port, known, one) for one in ("LO", "image") if one in known]
    return found


def elsewhere_findings(about: str, frequency_hz: Floats, goal: FilterGoal) -> list[Finding]:
    """Of a sweep that has nothing of the goal's pass band, single rods are not told."""
    return [
        unknown(about, "resonator_hz", "Hz", source=CURVE,
                remark=f"The sweep from {frequency_hz[0] / 1e6:g} to {frequency_hz[-1] / 1e6:g} MHz has nothing of the "
                       f"goal at {goal.centre_hz / 1e6:g} MHz: bring the pass band there by turning all screws alike, "
                       "then sweep 201 points over four bandwidths.")
    ]  # fmt: skip


def _suppression(about: str, port: TwoPort, places: Mapping[str, float], name: str) -> Finding:
    """Loss at a place over the loss at the wanted signal."""
    key = "suppression_lo_db" if name == "LO" else "suppression_image_db"
    f = port.frequency_hz
    level = 20 * np.log10(np.maximum(np.abs(port.s[:, 1, 0]), 1e-10))
    for one in (name, "wanted"):
        if not f[0] <= places[one] <= f[-1]:
            return unknown(about, key, "dB", source=CURVE,
                           remark=f"{WORDS[one]}, {places[one] / 1e6:g} MHz, lies outside the sweep; sweep from there "
                                  "to the channel.")  # fmt: skip
    wanted, there = (float(np.interp(places[one], f, level)) for one in ("wanted", name))
    floor = float(np.median(np.sort(level)[: max(len(level) // 20, 1)]))
    value = wanted - there
    if there < floor + APART_DB:
        return Finding(about=about, key=key, value=value, unit="dB", low=value, high=None, standing="at_least",
                       source=CURVE, remark="At the analyser's own floor: the filter may be better.")  # fmt: skip
    return Finding(about=about, key=key, value=value, unit="dB", low=value - 1.0, high=value + 1.0, standing="measured",
                   source=CURVE, remark="Doubt of 1 dB: a calibrated analyser, common practice.")  # fmt: skip
