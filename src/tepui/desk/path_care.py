"""Care beside a path or a station: rain, the receiver beside, exposure and the licence sheet of each candidate."""

from dataclasses import replace
from pathlib import Path

from tepui.desk.path_request import CareRequest, PathRequest
from tepui.files.pattern import read_pattern
from tepui.files.rules import read_rules
from tepui.ground.doubt import Estimate
from tepui.ground.findings import Finding, Outcome, Table
from tepui.jobs.care import ExposureQuestion, LicenceQuestion, exposure_findings
from tepui.jobs.licence import licence_findings
from tepui.jobs.path_link import PEAK_DB
from tepui.jobs.path_more import beside_findings, rain_findings
from tepui.jobs.path_question import PathQuestion
from tepui.prediction.link import Radiated

CHANNEL = "channel:"


def with_care(outcome: Outcome, request: PathRequest, question: PathQuestion, *, of_station: bool) -> Outcome:
    """The outcome with rain after the path and, once, what concerns the own station."""
    link = question.link
    findings, tables = list(outcome.findings), list(outcome.tables)
    if request.rain_mm_h is not None:
        margin = next((one for one in findings if one.key == "margin_db"), None)
        findings += rain_findings(question, rate_mm_h=request.rain_mm_h, margin=margin)
    if of_station and request.beside is not None:
        findings += beside_findings(request.beside)
    if of_station and link is not None and request.link is not None:
        more, also = care_findings(
            request.care,
            about="station",
            frequency_hz=request.frequency_hz,
            channel_hz=request.link.width_hz,
            occupied_hz=link.mode.occupied_width_hz,
            radiated=link.radiated,
            pattern=request.link.tx_pattern,
        )
        findings += more
        tables += also
    return replace(outcome, findings=tuple(findings), tables=tuple(tables))


def care_findings(
    care: CareRequest,
    *,
    about: str,
    frequency_hz: float,
    channel_hz: float,
    occupied_hz: float,
    radiated: Radiated,
    pattern: Path | None,
    sheets_by_channel: bool = False,
) -> tuple[list[Finding], list[Table]]:
    """Exposure and licence sheet, where asked.

    about    whose exposure it is; sheets of several channels stand under ``channel:FREQUENCY``
    pattern  file of the antenna's pattern
    sheets_by_channel  whether a lone channel has its name too
    raises   InputError where a file cannot be used
    """
    findings: list[Finding] = []
    tables: list[Table] = []
    if care.exposure:
        more, also = exposure_findings(
            ExposureQuestion(
                about=about,
                frequency_hz=frequency_hz,
                eirp=radiated.eirp,
                power_dbm=radiated.power.value - radiated.feeder.value,
                pattern=None if pattern is None else read_pattern(pattern),
                aperture_m=care.aperture_m,
                long_array=care.long_array,
                gain_dbi=radiated.gain.value,
            )
        )
        findings += more
        tables += also
    if care.licence:
        rules = () if care.rules is None else read_rules(care.rules)
        centres = [frequency_hz, *(one for one in care.candidates_hz if one != frequency_hz)]
        sheets: list[tuple[str, list[Table]]] = []
        for centre_hz in dict.fromkeys(centres):
            lone = len(centres) == 1 and not sheets_by_channel
            name = about if lone else f"{CHANNEL}{centre_hz / 1e6:.10g} MHz"
            more, also = licence_findings(
                LicenceQuestion(
                    about=name,
                    centre_hz=centre_hz,
                    occupied_hz=occupied_hz,
                    channel_hz=channel_hz,
                    power=_bare(radiated.power),
                    pep_dbm=radiated.power.value + PEAK_DB,
                    eirp=radiated.eirp,
                    country=care.country,
                    rules=rules,
                )
            )
            findings += more
            sheets.append((name, also))
        tables += _joined(sheets)
    return findings, tables


def _bare(power: Estimate) -> Estimate:
    return Estimate(value=power.value, std=power.std, contributions=power.contributions)


def _joined(sheets: list[tuple[str, list[Table]]]) -> list[Table]:
    """Tables of one name of several channels as one, the channel in front."""
    if len(sheets) == 1:
        return sheets[0][1]
    named: dict[str, list[tuple[str, Table]]] = {}
    for name, tables in sheets:
        for table in tables:
            named.setdefault(table.name, []).append((name.removeprefix(CHANNEL), table))
    return [
        Table(
            name=name,
            columns=(("channel", ""), *tables[0][1].columns),
            rows=tuple((channel, *row) for channel, table in tables for row in table.rows),
        )
        for name, tables in named.items()
    ]
