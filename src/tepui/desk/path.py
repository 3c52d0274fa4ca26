"""``path`` at the desk: open the profile or the terrain, ask the job, draw, print the findings."""

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from tepui.desk.hashes import InputHashes
from tepui.desk.keep import require_folder
from tepui.desk.path_care import with_care
from tepui.desk.path_question import back_of, ground_of, question_of, way_of
from tepui.desk.path_request import PathRequest
from tepui.files.elevation import terrain_files
from tepui.ground.document import build_document, document_text
from tepui.ground.findings import Finding, Outcome
from tepui.ground.listing import outcome_text, page_for
from tepui.jobs.path import predict_path
from tepui.jobs.path_back import TalkBack, talk_back

SHOWN_TABLES = ("mode_margins", "wind_down", "exposure_distances", "exposure_by_direction", "rules_at_hand")
DIGITS = (4, 9)


def run_path(
    requests: Sequence[PathRequest],
    *,
    as_json: bool,
    strict: bool,
    inputs: Sequence[Path] = (),
    station: str | None = None,
    plots: Path | None = None,
) -> int:
    """The verb: work out, draw, print, return the exit code.

    requests  one a far station; what concerns the own station is said with the first
    inputs    the station file and what it names
    raises    InputError where something cannot be used
    """
    if plots is not None:
        require_folder(plots)
    hashes = InputHashes(_files(requests, inputs))
    outcomes: list[Outcome] = []
    linked = next((number for number, request in enumerate(requests) if request.link is not None), 0)
    for number, request in enumerate(requests):
        outcomes += _worked_out(request, of_station=number == linked)
    files = [] if plots is None else _drawn(outcomes, plots)
    document = build_document(verb="path", outcomes=outcomes, inputs=hashes.result(), station=station, files=files)
    sys.stdout.write(document_text(document) if as_json else "\n".join(map(_text, outcomes)))
    chosen = [f for outcome in outcomes for f in outcome.findings if f.key == "mode_choice"]
    return 1 if strict and any(one.standing == "unknown" for one in chosen) else 0


def _files(requests: Sequence[PathRequest], inputs: Sequence[Path]) -> list[Path]:
    """Every file that is read, each once.

    raises  InputError for terrain that is none
    """
    found = list(inputs)
    for request in requests:
        link = request.link
        named = [request.profile, request.care.rules]
        named += [] if link is None else [link.tx_pattern, link.rx_pattern]
        found += [path for path in named if path is not None]
        if request.terrain and request.profile is None:
            found += terrain_files(request.terrain)
    return list(dict.fromkeys(found))


def _worked_out(request: PathRequest, *, of_station: bool) -> list[Outcome]:
    way = way_of(request)
    profile, remarks = ground_of(request, way)
    question = question_of(request, way, profile)
    outcome = _with_remarks(predict_path(question), (*request.remarks, *remarks))
    outcome = with_care(outcome, request, question, of_station=of_station)
    back = back_of(request, question)
    if back is None:
        return [outcome]
    if isinstance(back, TalkBack):
        return [outcome, talk_back(back)]
    return [outcome, replace(predict_path(back), pictures={})]  # one drawing of the ground is enough


def _drawn(outcomes: Sequence[Outcome], folder: Path) -> list[str]:
    from tepui.report.pictures import draw_pictures

    folder.mkdir(exist_ok=True)
    pictured = [outcome for outcome in outcomes if outcome.pictures]
    written: list[str] = []
    for outcome in pictured:
        place = folder
        if len(pictured) > 1:
            name = outcome.findings[0].about.partition(":")[2]
            place = folder / "".join(letter if letter.isalnum() or letter in "-_" else "_" for letter in name)
            place.mkdir(exist_ok=True)
        written += [str(path) for path in draw_pictures(outcome.pictures, place, practice=False)]
    return written


def _with_remarks(outcome: Outcome, remarks: tuple[str, ...]) -> Outcome:
    """What was noticed about the ground goes with the first finding."""
    if not remarks:
        return outcome
    first, *rest = outcome.findings
    return replace(outcome, findings=(replace(first, remark=" ".join([first.remark, *remarks]).strip()), *rest))


def _text(outcome: Outcome) -> str:
    tables = tuple(table for table in outcome.tables if table.name in SHOWN_TABLES)
    shown = replace(outcome, findings=tuple(_rounded(finding) for finding in outcome.findings), tables=tables)
    return outcome_text(shown, page_for(sys.stdout)) + "\n"


def _rounded(finding: Finding) -> Finding:
    """A computed number without doubt shows no more digits than anyone reads: hundredths of a dB, four digits else."""
    exact = finding.is_number and finding.low == finding.high == finding.value and isinstance(finding.value, float)
    if not exact:
        return finding
    value = float(finding.value)  # type: ignore[arg-type]
    shown = (
        round(value, 2) + 0.0 if finding.unit.startswith("dB") else float(f"{value:.{DIGITS[finding.unit == 'Hz']}g}")
    )
    return replace(finding, value=shown, low=shown, high=shown)
