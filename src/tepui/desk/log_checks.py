"""``log check`` and ``log trend`` at the desk: the checks of the month, entered, due, and compared over time."""

import sys
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from tepui.desk.keep import require_folder
from tepui.desk.log import Common, say, text_of_file
from tepui.desk.log_entries import check_revisions, value_of_word
from tepui.desk.log_far import far_of_log
from tepui.desk.log_shown import entries_table, entries_text
from tepui.ground.document import build_document, document_text
from tepui.ground.document_reader import read_document
from tepui.ground.errors import InputError
from tepui.ground.finding_text import label_text
from tepui.ground.listing import outcome_text, page_for
from tepui.jobs.log_far import far_trend
from tepui.jobs.log_trend import MonthlyCheck, check_trend
from tepui.jobs.monthly import MONTHLY_FIVE
from tepui.logbook.kinds import MONTH, Body
from tepui.logbook.store import Entry, Log


def run_check(
    common: Common, words: Sequence[str], documents: Sequence[Path], *, instrument: str | None, month: str | None
) -> int:
    """Enter a round of the monthly check; without values say what this month still lacks."""
    told = month or (common.utc or datetime.now(UTC).strftime("%Y-%m"))[:7]
    if not MONTH.fullmatch(told):
        raise InputError(f"--month must be YYYY-MM, such as 2026-01, not {told[:20]!r}.")
    values = [(value_of_word(word), False) for word in words]
    for path in documents:
        values += measured_in(path)
    if not values:
        if documents:
            names = ", ".join(MONTHLY_FIVE)
            raise InputError(f"none of the documents states one of {names} as a measured number; give KEY=VALUE.")
        return _due(common, told)
    with Log(common.log, create=True, write=True) as log:
        before = [one.revision.body for one in log.entries("check") if one.revision.body["month"] == told]
        revisions = check_revisions(before, values, common.stamp, month=told, instrument=instrument)
        entries = log.add_all(revisions)
        practice = any(one.practice for one in revisions)
        say(
            entries_table(entries),
            entries_text(entries, width=10_000),
            remarks=log.remarks,
            practice=practice,
            as_json=common.as_json,
        )
    return 0


def measured_in(path: Path) -> list[tuple[Body, bool]]:
    """The monthly quantities that a document states as measured."""
    document = read_document(text_of_file(path, what="a document that a verb printed with --json"), name=str(path))
    return [
        (
            {"key": one.key, "value": float(one.value), "unit": one.unit, "low": one.low, "high": one.high},  # type: ignore[arg-type]
            document.practice,
        )
        for one in document.findings
        if one.key in MONTHLY_FIVE and one.is_number and one.standing == "measured"
    ]


def _due(common: Common, month: str) -> int:
    with Log(common.log) as log:
        entries = [one for one in log.entries("check") if one.revision.body["month"] == month]
        remarks = log.remarks
    done = {entry.revision.body["key"] for entry in entries}
    due = [key for key in MONTHLY_FIVE if key not in done]
    lines = [entries_text(entries, width=10_000)] if entries else [f"Nothing was checked in {month} yet."]
    if due:
        lines.append(f"Due in {month}: " + ", ".join(f"{label_text(key)} ({key})" for key in due) + ".")
    say(
        entries_table(entries),
        "\n".join(lines),
        remarks=remarks,
        practice=any(entry.revision.practice for entry in entries),
        as_json=common.as_json,
    )
    return 0


def run_trend(common: Common, keys: Sequence[str], *, plots: Path | None = None) -> int:
    """Compare the checks of the months, and what far stations read with what was predicted."""
    if plots is not None:
        require_folder(plots)
    with Log(common.log) as log:
        entries = log.entries()
        remarks = log.remarks
    checks = _chosen_checks(entries, keys)
    reports, readings, predictions = far_of_log(entries) if not keys else ([], [], [])
    if not checks and not reports and not readings:
        raise InputError(f"{common.log} holds no check yet; 'tepui log check mer_db=\"31.2 dB\"' enters the first.")
    outcomes = [check_trend(checks)] if checks else []
    outcomes += [far_trend(reports, readings, predictions)] if reports or readings else []
    marks = [one.practice for one in checks] + [one.practice for one in reports] + [one.practice for one in readings]
    practice = any(marks)
    written: list[str] = []
    pictures = {name: data for outcome in outcomes for name, data in outcome.pictures.items()}
    if plots is not None and pictures:
        from tepui.report.pictures import draw_pictures

        plots.mkdir(exist_ok=True)
        written = [str(path) for path in draw_pictures(pictures, plots, practice=practice)]
    for remark in remarks:
        print(f"tepui: {remark}", file=sys.stderr)
    document = build_document(verb="log", outcomes=outcomes, practice=practice, files=written)
    head = "PRACTICE: made by the simulated bench, not measured on any transmitter.\n\n" if practice else ""
    told = "\n\n".join(outcome_text(outcome, page_for(sys.stdout)) for outcome in outcomes)
    told += "".join(f"\n  {name}" for name in written)
    sys.stdout.write(document_text(document) if common.as_json else f"{head}{told}\n")
    return 0


def _chosen_checks(entries: Sequence[Entry], keys: Sequence[str]) -> list[MonthlyCheck]:
    """The rounds of the quantities named, or of all.

    raises  InputError for one that was never checked
    """
    bodies = [(entry.revision.body, entry.revision.practice) for entry in entries if entry.revision.kind == "check"]
    known = {str(body["key"]) for body, _ in bodies}
    for key in keys:
        if key not in known:
            held = ", ".join(sorted(known)) or "none"
            raise InputError(f"{key[:60]} was never checked; the log holds checks of {held}.")
    return [
        MonthlyCheck(
            month=str(body["month"]),
            key=str(body["key"]),
            value=float(body["value"]),
            unit=str(body["unit"]),
            practice=practice,
        )
        for body, practice in bodies
        if not keys or body["key"] in keys
    ]
