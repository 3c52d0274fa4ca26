"""``path``: will it get there? One path, the model named, every term, the link over it, and what is uncertain."""

from tepui.ground.findings import Finding, Outcome
from tepui.jobs.path_geometry import geometry_findings, profile_picture, profile_table
from tepui.jobs.path_link import link_findings
from tepui.jobs.path_question import PathQuestion
from tepui.jobs.path_terms import term_findings
from tepui.tables.load import load_table

UNKNOWN_WORDS = {
    "model": "a recording of the other station's level over some days",
    "clutter guess": "a look along the path from the mast, or one reception report with its level",
    "location": "one level read at the place itself",
    "locator boxes": "coordinates or ten-character locators of both stations",
    "transmitter": "a power meter at the transmitter's output",
    "transmit feeder": "a measurement of the feeder with its connectors",
    "transmit antenna": "the field at a known distance",
}


def predict_path(question: PathQuestion) -> Outcome:
    """Findings of one path.

    raises  InputError where the path cannot be worked out
    """
    about = f"path:{question.name}"
    linked, tables = link_findings(question)
    findings = [*geometry_findings(question), *term_findings(question), *linked]
    findings.append(_dominant(about, question))
    findings += _channel_cautions(about, question)
    if question.link is not None:
        findings.append(_care(about))
    wanted = ("margin_db", "loss_total_db")
    beside = next(one for key in wanted for one in findings if one.key == key and one.is_number)
    pictures = {"path_profile": profile_picture(question, beside)}
    return Outcome(findings=tuple(findings), tables=(*tables, profile_table(question)), pictures=pictures)


def _dominant(about: str, question: PathQuestion) -> Finding:
    parts = question.loss.contributions
    most = max(parts, key=lambda name: parts[name])
    if most == "clutter guess" and question.clutter_loss is not None:
        name = f"clutter guess of {question.clutter_loss.value:g} dB"
    else:
        name = most
    return Finding(
        about=about,
        key="dominant_unknown",
        value=name,
        standing="computed",
        source="[GUM] 5.1",
        remark=f"± {2 * parts[most]:.1f} dB of the loss's ± {2 * question.loss.std:.1f} dB (95 %). "
        f"{UNKNOWN_WORDS[most].capitalize()} would settle it.",
    )


def _channel_cautions(about: str, question: PathQuestion) -> list[Finding]:
    """Satellite segments and navigation signals that the channel touches."""
    centre = question.case.frequency_hz / 1e6
    half = 0.0 if question.link is None else question.link.mode.occupied_width_hz / 2e6
    low, high = centre - half, centre + half
    found: list[Finding] = []
    if question.link is not None:
        found += [
            Finding(about=about, key=f"channel_{side}_hz", value=1e6 * edge, unit="Hz", low=1e6 * edge, high=1e6 * edge,
                    standing="computed", source="[EN300744] 4.4", remark="Outermost carrier.")
            for side, edge in (("lower", low), ("upper", high))
        ]  # fmt: skip
    touched = [
        row
        for row in load_table("amateur_satellite_segments")
        if float(row["f_low_mhz"]) <= high and float(row["f_high_mhz"]) >= low
    ]
    if touched:
        row = touched[0]
        found.append(
            Finding(
                about=about,
                key="satellite_segment",
                kind="caution",
                value=f"{row['f_low_mhz']}-{row['f_high_mhz']} MHz",
                standing="computed",
                source=f"{row['source']} ({row['confidence']})",
                remark="The channel touches a segment of the amateur-satellite service, where weak signals from space "
                "are received; the licence and the band plan of the place decide.",
            )
        )
    return found


def _care(about: str) -> Finding:
    return Finding(
        about=about,
        key="exposure_to_check",
        kind="caution",
        value=True,
        standing="computed",
        source="ICNIRP 2020, 47 CFR 1.1310",
        remark="Keep people out of the beam and off the mast while it transmits; work out the distances with "
        "tepui path --exposure, and let local codes and licensed practice decide.",
    )
