"""The way back: the same ground from the other end, for a second picture or for a talk-back of another kind.

Theory  A passive path loses the same both ways at one frequency; what differs is who sends with what and who listens in
        which noise, so a picture one way promises no reply the other.
Source  reciprocity of passive media; [P.341] for the terms of a link.
Holds   One frequency each way. A talk-back of another kind is judged by the C/N the operator says it needs.
"""

from dataclasses import dataclass, replace

from tepui.chain.antenna.geodesic import Way
from tepui.chain.propagation.models import PathCase
from tepui.ground.doubt import estimate
from tepui.ground.findings import Finding, Outcome
from tepui.jobs.path_link import BUDGET, NOISE, RULE
from tepui.jobs.path_question import PathQuestion
from tepui.jobs.path_terms import SOURCES
from tepui.jobs.statements import estimated, exact
from tepui.prediction.link import Radiated, Receiving, link_budget
from tepui.signals.terrain import Profile

SUFFIX = "-back"


@dataclass(frozen=True, kw_only=True)
class TalkBack:
    """A talk-back that is no television.

    question      of the turned path, without a link
    needed_cn_db  in ``width_hz``
    """

    question: PathQuestion
    radiated: Radiated
    receiving: Receiving
    width_hz: float
    needed_cn_db: float
    margin_db: float


def turned_case(case: PathCase) -> PathCase:
    """The same path seen from its other end."""
    profile = case.profile
    turned = Profile(
        distance_m=profile.length_m - profile.distance_m[::-1],
        height_m=profile.height_m[::-1],
        clutter_m=None if profile.clutter_m is None else profile.clutter_m[::-1],
        zone=None if profile.zone is None else profile.zone[::-1],
        source=profile.source,
    )
    return replace(
        case,
        profile=turned,
        tx_height_m=case.rx_height_m,
        rx_height_m=case.tx_height_m,
        coast_tx_m=case.coast_rx_m,
        coast_rx_m=case.coast_tx_m,
    )


def turned_way(way: Way | None) -> Way | None:
    """The same way from its other end."""
    if way is None:
        return None
    return replace(way, start=way.end, end=way.start, bearing_out=way.bearing_back, bearing_back=way.bearing_out)


def talk_back(asked: TalkBack) -> Outcome:
    """Levels and margin of the way back."""
    question = asked.question
    about = f"path:{question.name}"
    budget = link_budget(
        radiated=asked.radiated,
        loss=question.link_loss,
        receiving=asked.receiving,
        width_hz=asked.width_hz,
        transmitter_mer_db=None,
    )
    margin = estimate(budget.cn.value - asked.needed_cn_db, **budget.cn.contributions)
    source = SOURCES[question.case.model]
    found: list[Finding] = [
        estimated(about, "loss_total_db", question.loss, "dB", source=source, standing="computed",
                  remark=f"At {question.case.frequency_hz / 1e6:g} MHz, from the far station to this one."),
        estimated(about, "eirp_dbm", budget.eirp, "dBm", source=BUDGET, standing="computed", remark="Mean, of the far "
                  "station."),
        estimated(about, "receive_level_dbm", budget.level, "dBm", source=BUDGET, standing="computed",
                  remark="At the terminals of the own antenna."),
        exact(about, "system_noise_db", budget.system_noise_db, "dB", source=NOISE, standing="computed"),
        exact(about, "noise_power_dbm", budget.noise_dbm, "dBm", source=NOISE, standing="computed",
              remark=f"In {asked.width_hz / 1e3:g} kHz."),
        estimated(about, "cn_db", budget.cn, "dB", source=BUDGET, standing="computed"),
        estimated(
            about,
            "margin_db",
            margin,
            "dB",
            source=BUDGET,
            standing="computed",
            limit=asked.margin_db,
            limit_source=RULE,
            margin=margin.value - asked.margin_db,
            remark=f"Over the {asked.needed_cn_db:g} dB that the talk-back needs, as the operator says.",
        ),
    ]  # fmt: skip
    return Outcome(findings=tuple(found))
