"""What is said of one frequency plan: edges, lines, levels, worst products, and the rejection it asks of the filter.

Theory  Levels and their doubts come from the mixer's model; a rejection computed from a prototype is what theory
        allows at most, and a built filter is trusted with no more than may be claimed until it has been measured.
Source  [EN300744] 4.4 for the edges; chain/conversion and chain/filters for the rest.
Holds   Plans as find_plans returns them.
"""

import math
from collections.abc import Sequence

from tepui.chain.filters.coupled import CLAIM_DB
from tepui.chain.filters.ladder import couplings, external_q
from tepui.ground.findings import Contribution, Finding
from tepui.jobs.frequencies_reasons import mhz, reason_for, row_line, span
from tepui.jobs.statements import exact
from tepui.prediction.plan import VERDICTS, Plans
from tepui.prediction.plan_lines import PlanLine
from tepui.prediction.plan_question import PlanQuestion
from tepui.prediction.plan_search import Worst

SEARCH = "search over all plans, prediction/plan.py"
ARITHMETIC = "arithmetic on m LO + n IF"
PROTOTYPE = "prototype of coupled resonators, J.-S. Hong and M. Lancaster 2001"
MEASURED_DOUBT_DB = 1.0
CLAIM = "common practice: an unmeasured filter's rejection is trusted to 60 to 70 dB"


def plan_findings(
    plans: Plans, number: int, question: PlanQuestion, lines: Sequence[PlanLine], *, rank: int
) -> list[Finding]:
    """The findings of one plan."""
    return [
        *_which(plans, number, question, rank),
        *_levels(plans, question),
        *_worst(plans, number, question, lines),
        *_filter(plans, number, question),
        *_cautions(plans, number, question),
    ]


def _count(key: str, value: int, remark: str = "") -> Finding:
    return exact("station", key, value, "1", source=SEARCH, standing="computed", remark=remark)


def _place(key: str, value: float, remark: str = "", *, source: str = ARITHMETIC) -> Finding:
    return exact("station", key, value, "Hz", source=source, standing="computed", remark=remark)


def _which(plans: Plans, number: int, question: PlanQuestion, rank: int) -> list[Finding]:
    half = question.signal_width_hz / 2
    counts = [int((plans.verdict == code).sum()) for code in range(3)]
    inverted = bool(plans.inverted[number])
    return [
        Finding(about="station", key="plan_verdict", value=VERDICTS[int(plans.verdict[number])], standing="computed",
                source=SEARCH, remark=reason_for(plans, number, question)),
        _count("plan_rank", rank),
        *(_count(f"plans_{word}", count) for word, count in zip(VERDICTS, counts, strict=True)),
        _place("wanted_hz", question.wanted_hz),
        _place("if_hz", float(plans.if_hz[number]), "What the modulator is set to."),
        _place("lo_hz", float(plans.lo_hz[number]),
               "" if question.multiplied == 1 else f"{question.multiplied} times "
               f"{mhz(plans.lo_hz[number] / question.multiplied)} MHz."),
        _place("image_hz", float(abs(2 * plans.signed_hz[number, -2] - question.wanted_hz)),
               "As strong as the wanted signal before the filter."),
        Finding(about="station", key="inverted", value=inverted, standing="computed", source=ARITHMETIC,
                remark="The spectrum comes out mirrored: set the modulator's inversion, most receivers follow either."
                if inverted else ""),
        _place("channel_low_hz", question.wanted_hz - half, "Outermost carrier.", source="[EN300744] 4.4"),
        _place("channel_high_hz", question.wanted_hz + half, "Outermost carrier.", source="[EN300744] 4.4"),
    ]  # fmt: skip


def _estimate(  # noqa: PLR0917 - read left to right, as statements.exact
    about: str, key: str, value: float, unit: str, source: str, remark: str, **parts: float
) -> Finding:
    """A number with the 95 % half widths of its parts joined as squares."""
    half = math.sqrt(sum(part * part for part in parts.values()))
    shares = tuple(
        Contribution(name=name.replace("_", " "), share=part * part / (half * half))
        for name, part in sorted(parts.items(), key=lambda item: -item[1])
        if part and half
    )
    return Finding(about=about, key=key, value=value, unit=unit, low=value - half, high=value + half,
                   standing="computed", source=source, remark=remark, contributions=shares)  # fmt: skip


def _levels(plans: Plans, question: PlanQuestion) -> list[Finding]:
    drive = question.drive
    mixer = "stage:mixer"
    parts = {"loss": drive.loss_doubt_db, "isolation": drive.lo_isolation_doubt_db}
    return [
        _estimate(mixer, "wanted_level_dbm", drive.wanted_dbm, "dBm", plans.levels.source,
                  f"{drive.signal_dbm:g} dBm less {drive.loss_db:g} dB of loss.", loss=drive.loss_doubt_db),
        _estimate(mixer, "lo_line_dbm", drive.lo_dbm - drive.lo_isolation_db, "dBm", plans.levels.source,
                  f"{drive.lo_dbm:g} dBm less {drive.lo_isolation_db:g} dB of isolation, before the filter.",
                  isolation=drive.lo_isolation_doubt_db),
        _estimate(mixer, "lo_over_wanted_db", drive.lo_line_db, "dB", plans.levels.source,
                  "The oscillator's line over the wanted signal, before the filter.", **parts),
        _estimate("stage:filter", "rejection_lo_db", plans.lo_needed_db, "dB", "the operator's goal",
                  f"Needed at the oscillator's line so that it ends {question.goal_db:g} dB below the wanted signal.",
                  **parts),
        exact("stage:filter", "rejection_image_db", plans.image_needed_db, "dB", source="the operator's goal",
              standing="computed", remark="Needed at the image, which leaves the mixer as strong as what is wanted."),
    ]  # fmt: skip


def _worst(plans: Plans, number: int, question: PlanQuestion, lines: Sequence[PlanLine]) -> list[Finding]:
    findings = [
        _one_worst("worst_in_channel_db", plans.in_channel, plans, number, question),
        _one_worst("worst_near_db", plans.beside, plans, number, question),
    ]
    far = [one for one in lines if one.place == "far"]
    if far:
        worst = max(far, key=lambda one: one.behind_db + one.doubt_db)
        findings.append(
            _estimate(
                "station",
                "worst_far_db",
                worst.behind_db,
                "dB",
                plans.levels.source,
                f"{worst.line.text()} ({span(worst.line)}), behind the filter as far as that may be claimed; "
                f"{worst.level_db:.0f} dB before it.",
                mixer=worst.doubt_db,
            )
        )
        short = worst.behind_db + worst.doubt_db + question.goal_db
        findings.append(
            exact(
                "stage:filter",
                "rejection_worst_db",
                round(max(short + worst.level_db - worst.behind_db, 0.0), 1),
                "dB",
                source="the operator's goal",
                standing="computed",
                remark=f"Needed at {worst.line.text()}, {mhz(worst.line.centre_hz)} MHz, for the upper end of its "
                "doubt.",
            )
        )
    return [one for one in findings if one is not None]


def _one_worst(key: str, worst: Worst, plans: Plans, number: int, question: PlanQuestion) -> Finding | None:
    row = int(worst.row[number])
    inside = key == "worst_in_channel_db"
    if row < 0:
        where = "the channel" if inside else f"the {question.near_hz / 1e6:g} MHz on either side"
        key = "products_in_channel" if inside else "products_near"
        return _count(key, 0, f"No product up to order {question.order} touches {where}.")
    line = row_line(plans, number, row, question)
    return _estimate("station", key, float(worst.level_db[number]), "dB", plans.levels.source,
                     f"{line.text()} ({span(line)}): its share {'inside the channel' if inside else 'beside it'}.",
                     mixer=float(worst.doubt_db[number]))  # fmt: skip


def _filter(plans: Plans, number: int, question: PlanQuestion) -> list[Finding]:
    design, stage = question.design, "stage:filter"
    q = external_q(design.elements, fraction=design.fraction)
    coupling = couplings(design.elements, fraction=design.fraction)
    findings = [
        exact(stage, "midband_loss_db", round(design.midband_loss_db, 3), "dB", source="S. Cohn 1959",
              standing="computed", remark=f"{design.text()}."),
        exact(stage, "external_q", round(q[0], 2), "1", source=PROTOTYPE, standing="computed"),
    ]  # fmt: skip
    if coupling:
        findings.append(exact(stage, "coupling_12", round(coupling[0], 6), "1", source=PROTOTYPE, standing="computed"))
    lo, image = float(plans.lo_hz[number]), abs(2 * float(plans.lo_hz[number]) - question.wanted_hz)
    known = [
        _known(question, stage, ("theory_lo_db", "suppression_lo_db"), plans.lo_theory_db[number], lo,
               f"LO {mhz(lo)} MHz"),
        _known(question, stage, ("theory_image_db", "suppression_image_db"), plans.image_theory_db[number], image,
               "the image"),
    ]  # fmt: skip
    findings += known
    if known[0].standing == "measured":
        return findings
    claim_high = min(CLAIM_DB[1], float(plans.lo_theory_db[number]))
    claim_low = min(CLAIM_DB[0], claim_high)
    value = (claim_low + claim_high) / 2
    findings.append(
        Finding(
            about=stage,
            key="claimed_rejection_db",
            value=value,
            unit="dB",
            low=claim_low,
            high=claim_high,
            standing="computed",
            source=CLAIM,
            remark="All that may be claimed at the oscillator's line until the built filter has been measured "
            "there, with the oscillator itself as the source and a narrow receiver behind pads.",
        )
    )
    return findings


def _known(  # noqa: PLR0917 - as long as a finding
    question: PlanQuestion, about: str, keys: tuple[str, str], loss_db: float, frequency_hz: float, name: str
) -> Finding:
    """The filter's loss at a place over that at the channel: measured, or a bound on paper."""
    value = float(loss_db)
    if question.measured is not None and question.known_by(frequency_hz) == "measured":
        return Finding(
            about=about,
            key=keys[1],
            value=value,
            unit="dB",
            low=value - MEASURED_DOUBT_DB,
            high=value + MEASURED_DOUBT_DB,
            standing="measured",
            source=f"{question.measured.how} of the station's filter",
            remark=f"At {name}; doubt of a calibrated analyser, common practice.",
        )
    return Finding(
        about=about,
        key=keys[0],
        value=value,
        unit="dB",
        high=value,
        standing="at_most",
        source=PROTOTYPE,
        remark=f"On paper, at {name}: a bound and no fact. Harmonic passbands, the box and the path round "
        "the filter decide what a built one does.",
    )


def _cautions(plans: Plans, number: int, question: PlanQuestion) -> list[Finding]:
    proven = question.known_by(float(plans.lo_hz[number])) == "measured"
    findings = [] if proven else [
        Finding(about="stage:filter", key="rejection_unproven", value=True, kind="caution", standing="computed",
                source=CLAIM,
                remark=f"Theory gives {plans.lo_theory_db[number]:.0f} dB at the oscillator's line. That is not a fact "
                f"of any filter: claim no more than {CLAIM_DB[0]:g} to {CLAIM_DB[1]:g} dB before it was measured"
                + (f", and {plans.lo_needed_db:.0f} dB are needed." if plans.lo_needed_db > 0 else ".")),
    ]  # fmt: skip
    findings += [
        Finding(about="stage:mixer", key="levels_typical", value=True, kind="caution", standing="computed",
                source=plans.levels.source,
                remark=f"Levels of products come from {plans.levels.source}: ±10 to ±15 dB for any one part. "
                "Frequencies and widths are exact."),
    ]  # fmt: skip
    if question.assumed:
        findings.append(
            Finding(
                about="station",
                key="plan_assumed",
                value=True,
                kind="caution",
                standing="given",
                source="defaults of this program",
                remark="Not said, so assumed: " + "; ".join(question.assumed) + ".",
            )
        )
    return findings
