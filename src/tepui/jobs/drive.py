"""Drive: a series of settings in; where the shoulder meets the target, what to set, and what the next dB costs.

Theory  drive_series.py brings the readings into order and fits the curve; here it becomes findings, tables, a picture.
Source  as drive_series.py.
Holds   as drive_series.py.
"""

from collections.abc import Sequence

from tepui.ground.findings import Finding, Outcome
from tepui.jobs.drive_findings import series_findings
from tepui.jobs.drive_pictures import drive_pictures
from tepui.jobs.drive_readings import reading_findings
from tepui.jobs.drive_series import DriveQuestion, SeriesRow, reduce_series
from tepui.jobs.drive_tables import series_tables


def drive_series(rows: Sequence[SeriesRow], question: DriveQuestion) -> Outcome:
    """Everything a series tells.

    raises  RangeError for a series that cannot be used
    """
    series = reduce_series(rows, question)
    found = series_findings(series)
    opened = [row.recording.name for row in rows if row.recording is not None and row.recording.is_open]
    if opened:
        found.append(_not_parted(f"set:{question.name}", opened))
    of_receptions = [finding for row in rows if row.recording is not None for finding in row.recording.findings]
    tables = series_tables(series)
    pictures = drive_pictures(series, rows, found)
    return Outcome(findings=(*found, *reading_findings(series), *of_receptions), tables=tables, pictures=pictures)


def _not_parted(about: str, names: Sequence[str]) -> Finding:
    """One pad tells the transmitter's shoulders and the receiver's together."""
    which = f"{names[0]} and {len(names) - 1} more" if len(names) > 1 else names[0]
    return Finding(
        about=about,
        key="receiver_not_parted",
        value=True,
        kind="caution",
        standing="measured",
        source="shoulders of narrow recordings, [TR101290] 9.7",
        remark=f"{which}: one setting of pad and front end does not tell the transmitter's products from the "
        "receiver's, so these shoulders hold both. Record the highest setting with a pad 10 dB larger too: if its "
        "shoulders stay, the receiver adds nothing.",
    )
