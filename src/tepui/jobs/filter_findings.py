"""What a filter design amounts to, one finding each, and the cautions that go with it.

Theory  Centre and width carry the model's doubt; loss that of the unloaded Q; the theoretical rejection is never stated
        alone: what a home-made box keeps far out is common practice.
Source  chain/filters; common practice where said.
Holds   Round-rod designs.
"""

import math
from typing import TYPE_CHECKING

import numpy as np

from tepui.chain.filters.goal import midband_loss_db
from tepui.chain.filters.loss import expansion_per_k, open_end_voltage_v, resonator_energy_j
from tepui.chain.filters.resonators import tuned
from tepui.chain.filters.rod_box import SCREW_SHARE
from tepui.chain.filters.rod_design import POOR_FIT, WIDTH_DOUBT, RodDesign, midband_loss_of, shape_of
from tepui.chain.filters.rod_line import rod_scattering
from tepui.chain.filters.rod_screws import reentrant_hz, screw_rates_hz
from tepui.chain.filters.rod_textbook import rod_impedance_ohm
from tepui.ground.findings import Finding
from tepui.jobs.filter_response import channel_findings, rejection_findings
from tepui.jobs.statements import exact
from tepui.signals.twoport import TwoPort

if TYPE_CHECKING:
    from tepui.jobs.filter_question import FilterQuestion

TEM = "coupled-line (TEM) analysis of the dimensions, chain/filters/rod_line.py"
PROTOTYPE = "G. Matthaei, L. Young, E. Jones 1964, from memory; table kq_values"
Q_DOUBT = 0.4  # 95 % of an unloaded Q, relative: joints and screws differ from one builder to the next
HEAT_K = 40.0
RATE_DOUBT = 0.3  # 95 % of a screw's rate, relative
PITCHES_M = {3.0: 0.5e-3, 4.0: 0.7e-3, 5.0: 0.8e-3, 6.0: 1.0e-3, 8.0: 1.25e-3, 10.0: 1.5e-3}  # ISO 261, from memory
WARM_W = 0.1  # power through a filter from which on its open ends are told of


def _computed(about: str, key: str, value: float, unit: str, std: float, *, source: str, remark: str = "",
              least: float = -math.inf) -> Finding:  # fmt: skip
    return Finding(
        about=about,
        key=key,
        value=float(value),
        unit=unit,
        low=max(float(value - 2 * std), least),
        high=float(value + 2 * std),
        standing="computed",
        source=source,
        remark=remark,
    )


def design_findings(
    about: str, question: "FilterQuestion", design: RodDesign, trace: TwoPort, *, q_origin: str
) -> list[Finding]:
    """Every statement about one design."""
    goal, box = design.goal, design.box
    found = [
        Finding(about=about, key="structure", value=box.structure, standing="given", source="asked"),
        exact(about, "poles", goal.poles, "1", source="asked", standing="given"),
        exact(about, "ripple_db", goal.ripple_db, "dB", source="asked", standing="given",
              remark="Butterworth: the width is that of 3 dB." if goal.ripple_db == 0 else ""),
        _q_finding(about, box.unloaded_q, q_origin),
        exact(about, "external_q", goal.external_q, "1", source=PROTOTYPE, standing="computed"),
        exact(about, "impedance_ohm", rod_impedance_ohm(diameter_m=box.diameter_m, plates_m=box.plates_m), "Ohm",
              source="59.952 ln(4 h / pi d), a rod between plates", standing="computed"),
        exact(about, "quarter_wave_m", 299792458.0 / goal.centre_hz / 4, "m", source="[SI9] 2.3.1",
              standing="computed"),
        exact(about, "box_length_m", box.box_length_m, "m", source=TEM, standing="computed",
              remark=f"Inner height along the rods: rods of {box.length_m * 1e3:.2f} mm and a gap of "
                     f"{box.gap_m * 1e3:.2f} mm."),
        exact(about, "box_width_m", box.width_m, "m", source=TEM, standing="computed"),
    ]  # fmt: skip
    found += _trace_findings(about, design, trace)
    found += _screw_findings(about, design)
    found += _far_findings(about, question, design)
    found += channel_findings(question, lambda f: rod_scattering(design.box, f), source=TEM)
    found += _power_findings(about, question, design)
    found += _shop_findings(about, question, design)
    return found


def _q_finding(about: str, unloaded_q: float, origin: str) -> Finding:
    given = origin == "given"
    return Finding(
        about=about,
        key="unloaded_q",
        value=float(unloaded_q),
        unit="1",
        low=float(unloaded_q * (1 if given else 1 - Q_DOUBT)),
        high=float(unloaded_q * (1 if given else 1 + Q_DOUBT)),
        standing="given" if given else "computed",
        source="asked" if given else "H. Wheeler 1942, from memory; workmanship is common practice",
        remark="" if given else f"{origin}; 800 to 2000 is what home-made rods reach (common practice).",
    )


def _trace_findings(about: str, design: RodDesign, trace: TwoPort) -> list[Finding]:
    goal, box = design.goal, design.box
    shape = shape_of(trace.frequency_hz, trace.s[:, 1, 0])
    lossless = box.changed(unloaded_q=1e7)
    band = np.linspace(-0.499, 0.499, 101) * goal.width_hz + goal.centre_hz
    reflected = 20 * np.log10(np.abs(rod_scattering(lossless, band)[:, 0, 0]).max())
    loss = midband_loss_of(box, goal.centre_hz)
    found = []
    if shape is not None:
        found += [
            _computed(about, "centre_hz", shape.centre_hz, "Hz", design.centre_std_hz, source=TEM,
                      remark="Middle of the 3 dB points with the screws at mid position; the doubt is that of the "
                             "model, which the screws take up."),
            _computed(about, "width_3db_hz", shape.width_hz, "Hz", WIDTH_DOUBT[box.structure] * shape.width_hz,
                      source=TEM, remark=f"The goal's own is {goal.width_3db_hz / 1e6:.4g} MHz."),
        ]  # fmt: skip
    found += [
        _computed(about, "insertion_loss_db", loss, "dB", Q_DOUBT / 2 * loss, source=TEM, least=0.0,
                  remark=f"By the prototype alone {midband_loss_db(goal, box.unloaded_q):.2f} dB (S. Cohn 1959, from "
                         "memory); the doubt is that of the unloaded Q."),
        exact(about, "return_loss_db", -float(reflected), "dB", source=TEM, standing="computed",
              remark=f"Least within the width, screws well set; the goal's own is {goal.return_loss_db:.2f} dB."),
        exact(about, "spacing_textbook_m", float(design.textbook.spacings_m[0]), "m", standing="computed",
              source="M. Dishal 1965" if box.structure == "interdigital" else "static capacitance of a pair"),
        exact(about, "tap_textbook_m", float(design.textbook.taps_m[0]), "m", standing="computed",
              source="Qe = pi R / (4 Z0 sin^2(pi l / 2 L)), post without inductance"),
    ]  # fmt: skip
    return found


def _screw_findings(about: str, design: RodDesign) -> list[Finding]:
    if design.reach_hz is None:
        return []
    low, high = design.reach_hz
    covered = low <= design.goal.centre_hz - 2 * design.centre_std_hz and (
        high >= design.goal.centre_hz + 2 * design.centre_std_hz
    )
    remark = "Covers the stated doubt of the centre." if covered else (
        "Less than the stated doubt of the centre: cut the rods a little long and shorten them to suit."
    )  # fmt: skip
    source = "axisymmetric electrostatics of rod end and screw, chain/filters/rod_end.py"
    return [
        exact(about, "screw_lowest_hz", low, "Hz", source=source, standing="computed", remark=remark),
        exact(about, "screw_highest_hz", high, "Hz", source=source, standing="computed"),
        *_rate_findings(design, source),
    ]


def _rate_findings(design: RodDesign, source: str) -> list[Finding]:
    """What a turn of each screw should do, where its diameter is that of a usual thread."""
    pitch = PITCHES_M.get(round(SCREW_SHARE * design.box.diameter_m * 1e3, 2))
    if pitch is None or design.screws is None:
        return []
    rates = screw_rates_hz(design.box, design.screws, design.screw_m, centre_hz=design.goal.centre_hz)
    thread = f"M{SCREW_SHARE * design.box.diameter_m * 1e3:g} screw, {pitch * 1e3:g} mm a turn (ISO 261, from memory)"
    return [
        _computed(f"stage:rod {rod}", "screw_rate_hz", rate * pitch, "Hz", abs(RATE_DOUBT / 2 * rate * pitch),
                  source=source, remark=f"{thread}, about mid position; tune learns the true rate.")
        for rod, rate in enumerate(rates, start=1)
    ]  # fmt: skip


def _far_findings(about: str, question: "FilterQuestion", design: RodDesign) -> list[Finding]:
    again = reentrant_hz(design.box)
    found = [
        Finding(about=about, key="reentrant_hz", value=again, unit="Hz", low=0.95 * again, high=1.05 * again,
                standing="computed", source="three quarters of a wave on the loaded rod, chain/filters/rod_screws.py",
                remark=f"{again / design.goal.centre_hz:.2f} times the centre: what an amplifier makes there passes "
                       "this filter.")
    ]  # fmt: skip
    return [*found, *rejection_findings(question, lambda f: rod_scattering(design.box, f), source=TEM)]


def _power_findings(about: str, question: "FilterQuestion", design: RodDesign) -> list[Finding]:
    if question.power_w is None:
        return []
    goal, box = design.goal, design.box
    made = tuned(goal, unloaded_q=box.unloaded_q)
    f = np.linspace(-0.5, 0.5, 41) * goal.width_hz + goal.centre_hz
    energy = resonator_energy_j(made, f, power_w=question.power_w)
    heat = float((energy.sum(axis=1) * 2 * np.pi * f / box.unloaded_q)[20])
    impedance = rod_impedance_ohm(diameter_m=box.diameter_m, plates_m=box.plates_m)
    volts = open_end_voltage_v(float(energy.max()), impedance_ohm=impedance, frequency_hz=goal.centre_hz)
    source = "energy stored in the resonators of the coupling matrix"
    found = [
        _computed(about, "filter_heat_w", heat, "W", Q_DOUBT / 2 * heat, source=source, least=0.0),
        exact(about, "open_end_voltage_v", volts, "V", source=source, standing="computed",
              remark="At the mean power; peaks ten decibels higher raise it by 3.2."),
    ]  # fmt: skip
    if question.power_w >= WARM_W:
        found.append(
            Finding(about=about, key="filter_hot", kind="caution", value=True, standing="computed",
                    source="common practice",
                    remark="RF at an open screw burns and a filter warms: lid on, power off before any screw is "
                           "turned, and follow local codes and licensed practice.")
        )  # fmt: skip
    return found


def _shop_findings(about: str, question: "FilterQuestion", design: RodDesign) -> list[Finding]:
    goal = design.goal
    found = [
        _computed(about, "drift_hz", -expansion_per_k(question.metal) * goal.centre_hz * HEAT_K, "Hz",
                  0.1 * expansion_per_k(question.metal) * goal.centre_hz * HEAT_K, source="table metals",
                  remark=f"For {HEAT_K:g} K warmer, all of {question.metal}."),
    ]  # fmt: skip
    if design.fit.reflection_rms > POOR_FIT:
        found.append(
            Finding(about=about, key="fit_poor", kind="caution", value=True, standing="computed",
                    source="chain/filters/rod_fit.py",
                    remark="The dimensions do not reach the goal's response: another rod, gap or width is needed.")
        )  # fmt: skip
    if any(depth is None for depth in design.screw_m) and design.screws is not None:
        found.append(
            Finding(about=about, key="screw_beyond", kind="caution", value=True, standing="computed",
                    source="chain/filters/rod_end.py",
                    remark="A screw would stand outside its travel at mid position: change the gap with --end-gap.")
        )  # fmt: skip
    return found
