"""What a trace says of the filter behind it, one finding each, beside the goal.

Theory  Resonators and couplings with the doubts of the fit; a coupling or external Q beyond its tolerance cannot be
        mended by a screw and is told with what can.
Source  evidence/filter_extraction.
Holds   Complex traces; of |S21| alone single rods stay unknown.
"""

import math
from collections.abc import Mapping, Sequence

from tepui.chain.filters.goal import FilterGoal
from tepui.chain.filters.rod_design import Shape
from tepui.evidence.filter_extraction import Extraction
from tepui.ground.doubt import Estimate
from tepui.ground.findings import Finding
from tepui.jobs.statements import estimated, exact, text, unknown
from tepui.jobs.tune_advice import rod_advice

FIT = "least squares on the coupled-resonator model, evidence/filter_extraction.py"
CURVE = "read off the measured curve"
EDGE_DOUBT = 0.3  # of the distance of two points: standard uncertainty of an edge read between them
LOSS_DOUBT_DB = 0.05  # standard uncertainty of a calibrated analyser's transmission near 0 dB: common practice
COUPLING_TOLERANCE = 0.05
LOAD_TOLERANCE = 0.10
CHEAPEST = (
    "a trace with phase settles it: a one-port or two-port analyser's .s1p or .s2p, or the delay of a single bridge"
)


def shape_findings(about: str, shape: Shape | None, goal: FilterGoal | None, remarks: Sequence[str]) -> list[Finding]:
    """3 dB points and least loss as they stand on the trace."""
    remark = " ".join(remarks)
    if shape is None:
        return [
            unknown(about, "width_3db_hz", "Hz", source=CURVE,
                    remark=("The trace has no transmission curve that falls 3 dB on both sides; sweep S21 over four "
                            "bandwidths. " + remark).strip()),
        ]  # fmt: skip
    edge = EDGE_DOUBT * shape.step_hz
    found = [
        estimated(about, "centre_hz", Estimate(value=shape.centre_hz, std=edge), "Hz", source=CURVE, remark=remark),
        estimated(about, "width_3db_hz", Estimate(value=shape.width_hz, std=2 * edge), "Hz", source=CURVE,
                  remark="" if goal is None else f"The goal's own is {goal.width_3db_hz / 1e6:.4g} MHz."),
        estimated(about, "insertion_loss_db", Estimate(value=shape.loss_db, std=LOSS_DOUBT_DB), "dB", source=CURVE),
    ]  # fmt: skip
    if goal is not None and abs(shape.centre_hz - 3 * goal.centre_hz) < 0.4 * goal.centre_hz:
        found.append(
            Finding(about=about, key="reentrant_seen", kind="caution", value=True, standing="measured", source=CURVE,
                    remark="This pass band lies near three times the goal's centre: it is the re-entrant response, not "
                           "the wanted one.")
        )  # fmt: skip
    return found


def extraction_findings(
    name: str, found: Extraction, goal: FilterGoal | None, rates: Mapping[int, float]
) -> list[Finding]:
    """Resonators with their advice, couplings, loads, unloaded Q and delays."""
    whole = f"recording:{name}"
    findings: list[Finding] = []
    for number, one in enumerate(found.resonator_hz, start=1):
        findings += _rod(number, one, goal, rates.get(number))
    for number, k in enumerate(found.couplings, start=1):
        findings.append(_coupling(number, k, goal))
    findings += [_load(1, found.q_first, goal), _load(2, found.q_last, goal)]
    if found.unloaded_q is None:
        findings.append(
            unknown(whole, "unloaded_q", "1", source=FIT,
                    remark="The fit sees no loss: calibrate the reflection anew, or sweep S21 as well.")
        )  # fmt: skip
    else:
        findings.append(estimated(whole, "unloaded_q", found.unloaded_q, "1", source=FIT, least=0.0))
    for port, delay in enumerate(found.delay_s, start=1):
        if delay is not None:
            findings.append(estimated(f"stage:port {port}", "port_delay_s", delay, "s", source=FIT))
    findings.append(
        exact(whole, "fit_misfit", found.misfit, "1", source=FIT,
              remark=f"Rms of what the model leaves; the trace's own noise is {found.noise:.2g}.")
    )  # fmt: skip
    if not found.trusted:
        findings.append(
            Finding(about=whole, key="fit_poor", kind="caution", value=True, standing="measured", source=FIT,
                    remark="The model does not explain the trace to its noise: check the number of resonators, the "
                           "calibration and the width of the sweep before believing a single rod.")
        )  # fmt: skip
    return findings


def moved_findings(earlier: str, before: Extraction, found: Extraction) -> list[Finding]:
    """How far each rod has moved since the trace before, where it did."""
    if len(before.resonator_hz) != len(found.resonator_hz):
        return []
    moved = []
    for number, (one, two) in enumerate(zip(before.resonator_hz, found.resonator_hz, strict=True), start=1):
        step = Estimate(value=two.value - one.value, std=math.hypot(one.std, two.std))
        if abs(step.value) > 2 * step.std:
            moved.append(estimated(f"stage:rod {number}", "rod_moved_hz", step, "Hz", source=FIT,
                                   remark=f"Since {earlier}."))  # fmt: skip
    return moved


def _rod(number: int, one: Estimate, goal: FilterGoal | None, rate_hz: float | None) -> list[Finding]:
    about = f"stage:rod {number}"
    if goal is None:
        return [estimated(about, "resonator_hz", one, "Hz", source=FIT)]
    advice = rod_advice(number, one, goal_hz=goal.centre_hz, width_hz=goal.width_hz, rate_hz=rate_hz)
    error = Estimate(value=one.value - goal.centre_hz, std=one.std, contributions=one.contributions)
    found = [
        estimated(about, "resonator_hz", one, "Hz", source=FIT),
        estimated(about, "resonator_error_hz", error, "Hz", source=FIT),
        text(about, "advice", advice.line, source=FIT),
    ]
    if rate_hz is not None:
        found.append(exact(about, "screw_rate_hz", rate_hz, "Hz", source="the last two traces and the turn told",
                           remark="Change of the rod's frequency per turn inwards."))  # fmt: skip
    return found


def _coupling(number: int, k: Estimate, goal: FilterGoal | None) -> Finding:
    about = f"stage:rods {number} and {number + 1}"
    if goal is None:
        return estimated(about, "coupling_k", k, "1", source=FIT)
    wanted = float(goal.couplings[number - 1])
    off = k.value / wanted - 1
    remark = f"The goal is {wanted:.4g}; this is {100 * off:+.1f} %."
    if abs(off) > COUPLING_TOLERANCE and abs(k.value - wanted) > 2 * k.std:
        cure = "move the rods apart, or set a short screw less deep between them" if off > 0 else (
            "bring the rods together, or set a screw from the plate between them"
        )  # fmt: skip
        remark += f" No tuning screw mends that: {cure}."
    return estimated(about, "coupling_k", k, "1", source=FIT, remark=remark)


def _load(port: int, q: Estimate | None, goal: FilterGoal | None) -> Finding:
    about = f"stage:port {port}"
    if q is None or not math.isfinite(q.std) or q.std > q.value:
        return unknown(about, "external_q", "1", source=FIT, remark="The trace does not tell it; sweep this port too.")
    if goal is None:
        return estimated(about, "external_q", q, "1", source=FIT)
    off = q.value / goal.external_q - 1
    remark = f"The goal is {goal.external_q:.4g}; this is {100 * off:+.1f} %."
    if abs(off) > LOAD_TOLERANCE and abs(q.value - goal.external_q) > 2 * q.std:
        way = "up" if off > 0 else "down"
        remark += f" No tuning screw mends that: move this tap {way} by about {abs(off) / 2:.0%} of its height."
    return estimated(about, "external_q", q, "1", source=FIT, remark=remark)


def scalar_findings(name: str, poles: int) -> list[Finding]:
    """What |S21| alone cannot tell."""
    source = "|S21| of a lossless filter and that of its mirror image are the same"
    del name
    found = [
        unknown(f"stage:rod {number}", "resonator_hz", "Hz", source=source,
                remark=f"|S21| alone tells neither single rods nor a filter from its mirror image; {CHEAPEST}.")
        for number in range(1, poles + 1)
    ]  # fmt: skip
    found.append(
        text("stage:filter", "advice", "peak the middle of the band, then turn the end screws for the widest flat top",
             source="common practice")
    )  # fmt: skip
    return found
