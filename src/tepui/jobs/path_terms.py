"""Every term of the model, one finding each, and the total with its doubt."""

import math

from tepui.chain.propagation import path_kernels as k
from tepui.ground.findings import Finding
from tepui.jobs.path_question import TIME_MODELS, PathQuestion
from tepui.jobs.statements import estimated, exact, unknown

SOURCES = {
    "free-space": "[P.525-4] free space",
    "knife-edge": "[P.526-15] 4.1, one edge",
    "p526": "[P.526-15] 4.5, delta-Bullington",
    "p1812": "[P.1812-8] annex 1",
    "p452": "[P.452-18] annex 1",
}
SCATTER_WORDS = "Scatter of path models against measurements: common practice (no published source)."
# Key, place in the row of terms, unit, factor to that unit, what it is, and which models have it.
ALL, DIFFRACTING = ("free-space", "knife-edge", "p526", *TIME_MODELS), ("p526", *TIME_MODELS)
TERMS = (
    ("loss_free_space_db", k.FREE, "dB", 1.0, "", ALL),
    ("loss_gas_db", k.GAS, "dB", 1.0, "Attenuation of air, already within the free-space loss.", ("p452",)),
    ("loss_bullington_actual_db", k.BULL_ACTUAL, "dB", 1.0, "Actual profile, median Earth radius.", DIFFRACTING),
    ("loss_bullington_smooth_db", k.BULL_SMOOTH, "dB", 1.0, "Smooth profile, median Earth radius.", DIFFRACTING),
    ("loss_spherical_db", k.SPHERICAL, "dB", 1.0, "Smooth spherical Earth, median Earth radius.", DIFFRACTING),
    ("loss_diffraction_db", k.DIFFRACTION_50, "dB", 1.0, "Median of time.", DIFFRACTING),
    ("loss_diffraction_time_db", k.DIFFRACTION_P, "dB", 1.0, "At the share of time asked.", TIME_MODELS),
    ("loss_line_of_sight_db", k.LOS_P, "dB", 1.0, "Free space with focusing at the share of time.", TIME_MODELS),
    ("loss_line_of_sight_beta_db", k.LOS_B, "dB", 1.0, "The same at the share of time with ducts.", TIME_MODELS),
    ("loss_ducting_db", k.DUCTING, "dB", 1.0, "Ducting and layer reflection.", TIME_MODELS),
    ("loss_troposcatter_db", k.SCATTER, "dB", 1.0, "", TIME_MODELS),
    ("horizon_angle_tx_deg", k.THETA_T, "°", 0.18 / math.pi, "Elevation of the transmitter's horizon.", TIME_MODELS),
    ("horizon_angle_rx_deg", k.THETA_R, "°", 0.18 / math.pi, "Elevation of the receiver's horizon.", TIME_MODELS),
    ("path_angle_deg", k.THETA, "°", 0.18 / math.pi, "Angular distance of the path.", TIME_MODELS),
    ("horizon_distance_tx_m", k.D_LT, "m", 1e3, "", TIME_MODELS),
    ("horizon_distance_rx_m", k.D_LR, "m", 1e3, "", TIME_MODELS),
    ("effective_height_tx_m", k.H_TE, "m", 1.0, "Above the smooth profile.", TIME_MODELS),
    ("effective_height_rx_m", k.H_RE, "m", 1.0, "Above the smooth profile.", TIME_MODELS),
    ("roughness_m", k.H_M, "m", 1.0, "Greatest height above the smooth profile between the horizons.", TIME_MODELS),
    ("duct_time_share", k.BETA_0, "1", 0.01, "Share of time with strong ducts.", TIME_MODELS),
)
FIELD_CONSTANT_DB = 199.36


def term_findings(question: PathQuestion) -> list[Finding]:
    """What the model worked out on the way to its loss."""
    about, case, answer = f"path:{question.name}", question.case, question.answer
    source = SOURCES[case.model]
    found = [
        exact(
            about,
            key,
            answer.term(place) * factor,
            unit,
            source="[P.676-13] annex 1" if key == "loss_gas_db" else source,
            standing="computed",
            remark=remark,
        )
        for key, place, unit, factor, remark, models in TERMS
        if case.model in models
    ]
    if case.model == "knife-edge":
        view = question.view
        v = float(view.v[view.worst])
        found += [
            exact(about, "diffraction_parameter", v, "1", source=source, standing="computed"),
            exact(about, "loss_knife_edge_db", view.edge_db, "dB", source=source, standing="computed",
                  remark="The worst point alone as one sharp edge: the view that teaches, not the best estimate."),
        ]  # fmt: skip
    if question.air_db > 0:
        found.append(exact(about, "loss_air_db", question.air_db, "dB", source="[P.676-13] annex 1",
                           standing="computed", remark="Of oxygen and water vapour, which this model leaves "
                           "out; not in its loss, but counted in the link."))  # fmt: skip
    found += _setting(about, question, source)
    found.append(_total(about, question, source))
    if case.model == "p1812":
        field = FIELD_CONSTANT_DB + 20 * math.log10(case.frequency_hz / 1e9) - answer.loss_db
        found.append(exact(about, "field_strength_1kw_dbuvm", field, "dBµV/m", source="[P.1812-8] 4.10",
                           standing="computed", remark="For 1 kW e.r.p. from a half-wave dipole."))  # fmt: skip
    found.append(_fading(about, question, source))
    return found


def _setting(about: str, question: PathQuestion, source: str) -> list[Finding]:
    """What the model was told: Earth radius, shares, zones."""
    case, zones = question.case, question.answer.zones
    radius = 1e3 * case.median_radius_km
    given = "given" if case.earth_radius_m is not None else "computed"
    found = [
        Finding(about=about, key="path_model", value=case.model, standing="given", source=source),
        exact(about, "earth_radius_m", radius, "m", source=source, standing=given, remark="Effective, median of time."),
    ]
    if case.model in TIME_MODELS:
        assumed = "" if case.latitude_deg is not None else "Latitude 50 degrees assumed; give --latitude."
        if case.profile.zone is None and zones.sea_fraction > 0:
            assumed += " Land taken as one run, all of it inland; a profile with a zone column knows better."
        found += [
            exact(about, "time_share", case.time_share, "1", source="the operator", standing="given"),
            exact(about, "sea_fraction", zones.sea_fraction, "1", source="the operator", standing="given",
                  remark=assumed.strip()),
        ]  # fmt: skip
    if case.model == "p1812":
        found.append(exact(about, "location_share", case.location_share, "1", source="the operator", standing="given"))
    return found


def _total(about: str, question: PathQuestion, source: str) -> Finding:
    """The loss with its doubt and, in words, what weighs most."""
    parts = question.loss.contributions
    extra = ""
    if question.clutter_loss is not None:
        extra = f"The model gives {question.model_loss_db:.1f} dB; {question.clutter_loss.value:g} dB are added. "
    most = max(parts, key=lambda name: parts[name])
    return estimated(
        about,
        "loss_total_db",
        question.loss,
        "dB",
        source=source,
        standing="computed",
        remark=f"{extra}Most uncertain: {most}, ± {2 * parts[most]:.1f} dB. {SCATTER_WORDS}",
    )


def _fading(about: str, question: PathQuestion, source: str) -> Finding:
    if question.fading_db is None:
        return unknown(
            about,
            "fading_allowance_db",
            "dB",
            source=source,
            remark=f"{question.case.model} knows no share of time; ask again with --model p1812 or p452.",
        )
    return Finding(
        about=about,
        key="fading_allowance_db",
        value=question.fading_db,
        unit="dB",
        low=0.5 * question.fading_db,
        high=2 * question.fading_db,
        standing="computed",
        source=source,
        remark="Median loss less that of the best 1 % of time; the weak side is taken to be as deep, common practice "
        "(no published source), so keep it in hand for 99 % of the time.",
    )
