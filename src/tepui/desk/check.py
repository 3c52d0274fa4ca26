"""The desk of ``check``: open the station file and all it names, run the job, print."""

import json
import sys
from dataclasses import replace
from pathlib import Path

from tepui.desk.hashes import InputHashes
from tepui.desk.path_care import care_findings
from tepui.desk.path_request import CareRequest
from tepui.desk.path_station import radiated_by
from tepui.files.station import named_files, open_station
from tepui.files.ticks import read_ticks, ticks_table
from tepui.files.within import named_file
from tepui.ground.document import build_document, document_text
from tepui.ground.errors import InputError
from tepui.ground.findings import Outcome
from tepui.ground.listing import outcome_text, page_for
from tepui.jobs.check import check
from tepui.jobs.levels_chain import chain_of
from tepui.station.keys import keys_text
from tepui.station.nouns import Station
from tepui.station.schema import station_schema


def run_check(
    path: Path, *, as_json: bool, strict: bool, care: CareRequest | None = None, ticks: Path | None = None
) -> int:
    """The verb: validate, predict, print, return the exit code.

    care    exposure and licence sheets beside, where asked; country and rules of the file stand in
    ticks   file of the operator's ticks, told as a table
    raises  InputError: the file contradicts itself or cannot be read
    """
    station = open_station(path)
    files = list(named_files(station, path))
    outcome = check(station)
    if care is not None:
        rules = care.rules or (None if station.path.rules is None else named_file(path, station.path.rules))
        care = replace(care, rules=rules, country=care.country or station.path.country)
        files += [] if rules is None else [rules]
        outcome = _with_care(outcome, care, station, path)
    if ticks is not None:
        outcome = replace(outcome, tables=(*outcome.tables, ticks_table(read_ticks(ticks), outcome.findings)))
        files.append(ticks)
    hashes = InputHashes(files)
    document = build_document(verb="check", outcomes=[outcome], inputs=hashes.result(), station=station.name)
    sys.stdout.write(document_text(document) if as_json else outcome_text(outcome, page_for(sys.stdout)) + "\n")
    return 1 if strict and limits_missed(outcome) else 0


def _with_care(outcome: Outcome, care: CareRequest, station: Station, path: Path) -> Outcome:
    """The outcome with published exposure levels and licence sheets after it.

    raises  InputError where nothing is known to be radiated, or a file cannot be used
    """
    radiated = radiated_by(station)
    if radiated is None:
        raise InputError(
            f"{station.file}: the levels do not reach an antenna with a gain, so there is nothing to work exposure or "
            "a licence sheet out from; 'tepui check' without them says what is missing."
        )
    chain = chain_of(station)
    antenna = chain.assembled.stages[chain.antenna or 0]
    size = None if antenna.diameter is None else antenna.diameter.value
    findings, tables = care_findings(
        replace(care, aperture_m=care.aperture_m or size),
        about=f"stage:{antenna.name}",
        frequency_hz=station.channel.centre.value,
        channel_hz=station.channel.width.value,
        occupied_hz=chain.mode.occupied_width_hz,
        radiated=radiated,
        pattern=None if antenna.pattern is None else named_file(path, antenna.pattern),
        sheets_by_channel=True,
    )
    return replace(outcome, findings=(*outcome.findings, *findings), tables=(*outcome.tables, *tables))


def print_schema() -> int:
    """The JSON schema of the station file."""
    sys.stdout.write(json.dumps(station_schema(), indent=1) + "\n")
    return 0


def print_keys() -> int:
    """Every key of the station file."""
    sys.stdout.write(keys_text())
    return 0


def limits_missed(outcome: Outcome) -> bool:
    """Whether a limit of the operator's is missed."""
    return any(finding.margin is not None and finding.margin < 0 for finding in outcome.findings)
