"""``log check`` and ``log trend`` at the desk: the checks of the month, entered, due, and compared over time."""

import sys
from collections.abc import Sequence
from datetime import UTC, datetime
from pathlib import Path

from tepui.desk.log import Common, say, text_of_file
from tepui.desk.log_entries import check_revisions, value_of_word
from tepui.desk.log_shown import entries_table, entries_text
from tepui.ground.document import build_document, document_text
from tepui.ground.document_reader import read_document
from tepui.ground.errors import InputError
from tepui.ground.finding_text import label_text
from tepui.ground.listing import outcome_text, page_for
from tepui.jobs.log_trend import MONTHLY_FIVE, MonthlyCheck, check_trend
from tepui.logbook.kinds import MONTH, Body
from tepui.logbook.store import Log


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


def run_trend(common: Common, keys: Sequence[str]) -> int:
    """Compare the checks of the months."""
    with Log(common.log) as log:
        bodies = [(entry.revision.body, entry.revision.practice) for entry in log.entries("check")]
        remarks = log.remarks
    known = {str(body["key"]) for body, _ in bodies}
    for key in keys:
        if key not in known:
            held = ", ".join(sorted(known)) or "none"
            raise InputError(f"{key[:60]} was never checked; the log holds checks of {held}.")
    checks = [
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
    if not checks:
        raise InputError(f"{common.log} holds no check yet; 'tepui log check mer_db=\"31.2 dB\"' enters the first.")
    outcome = check_trend(checks)
    practice = any(check.practice for check in checks)
    for remark in remarks:
        print(f"tepui: {remark}", file=sys.stderr)
    document = build_document(verb="log", outcomes=[outcome], practice=practice)
    head = "PRACTICE: made by the simulated bench, not measured on any transmitter.\n\n" if practice else ""
    text = head + outcome_text(outcome, page_for(sys.stdout)) + "\n"
    sys.stdout.write(document_text(document) if common.as_json else text)
    return 0
