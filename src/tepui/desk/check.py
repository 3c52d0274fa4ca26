"""The desk of ``check``: open the station file and all it names, run the job, print."""

import json
import sys
from pathlib import Path

from tepui.desk.hashes import InputHashes
from tepui.files.station import named_files, open_station
from tepui.ground.document import build_document, document_text
from tepui.ground.findings import Outcome
from tepui.ground.listing import outcome_text, page_for
from tepui.jobs.check import check
from tepui.station.keys import keys_text
from tepui.station.schema import station_schema


def run_check(path: Path, *, as_json: bool, strict: bool) -> int:
    """The verb: validate, predict, print, return the exit code.

    raises  InputError: the file contradicts itself or cannot be read
    """
    station = open_station(path)
    hashes = InputHashes(named_files(station, path))
    outcome = check(station)
    document = build_document(verb="check", outcomes=[outcome], inputs=hashes.result(), station=station.name)
    sys.stdout.write(document_text(document) if as_json else outcome_text(outcome, page_for(sys.stdout)) + "\n")
    return 1 if strict and limits_missed(outcome) else 0


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
