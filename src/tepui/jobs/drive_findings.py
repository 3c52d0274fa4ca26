"""What a drive series says as a whole: what to set, what holds there, what the sides mean, what to keep in mind.

Theory  The curve and its doubt come from the fit; drive_setting.py, drive_operation.py, drive_confirm.py,
        drive_asymmetry.py, drive_cautions.py and drive_moved.py each state one part.
Source  each finding names its own.
Holds   as drive_series.py.
"""

from tepui.ground.findings import Finding
from tepui.jobs.drive_asymmetry import asymmetry_findings
from tepui.jobs.drive_cautions import caution_findings
from tepui.jobs.drive_confirm import confirm_findings, wants_confirming
from tepui.jobs.drive_moved import moved_findings
from tepui.jobs.drive_operation import operation_findings
from tepui.jobs.drive_series import Series
from tepui.jobs.drive_setting import setting_findings


def series_findings(series: Series) -> list[Finding]:
    """Findings about the whole series."""
    about = f"set:{series.question.name}"
    findings = setting_findings(about, series)
    if series.result is not None:
        findings += operation_findings(about, series, series.result)
        if wants_confirming(series):
            findings += confirm_findings(about, series, series.result)
    return [
        *findings,
        *asymmetry_findings(about, series),
        *caution_findings(about, series),
        *moved_findings(about, series),
    ]
