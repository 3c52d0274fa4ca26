"""What else moved while a drive series was read: the receiver's gain, the case of the amplifier, the side looked at.

Theory  A series compares readings, so all but the drive must stay. A receiver's gain moves its own products and floor;
        a warmer amplifier has another gain and another limit; a side that was not read may be the worse one.
Source  common practice (no published source); the limits are this program's own.
Holds   What the table states; nothing is known of columns that are not there.
"""

from tepui.ground.findings import Finding
from tepui.jobs.drive_computed import OPERATOR
from tepui.jobs.drive_series import Series

CASE_MOVED_K = 15.0


def moved_findings(about: str, series: Series) -> list[Finding]:
    """Cautions about what a table says beside the drive."""
    gains = [r.receiver_gain_db for r in series.readings if r.receiver_gain_db is not None and r.worst is not None]
    cases = [r.case_c for r in series.readings if r.case_c is not None and r.worst is not None]
    findings = []
    if gains and max(gains) > min(gains):
        words = (
            "The receiver's gain was changed within the series, so its own products and floor, and a baseline, are not "
            "the same in all readings: hold the level at the receiver with the pad and leave the gain alone."
        )
        findings.append(_spread(about, "receiver_gain_moved_db", max(gains) - min(gains), "dB", words))
    if cases and max(cases) - min(cases) > CASE_MOVED_K:
        words = (
            f"The case went from {min(cases):g} to {max(cases):g} °C within the series: part of what the curve calls "
            "drive is heat. Read quickly, or let it settle at each setting and say so."
        )
        findings.append(_spread(about, "case_moved_k", max(cases) - min(cases), "K", words))
    both = [r for r in series.readings if r.lower is not None and r.upper is not None]
    single = [r for r in series.readings if (r.lower is None) != (r.upper is None)]
    if both and single:
        settings = ", ".join(f"{reading.setting_dbm:g}" for reading in single)
        findings.append(
            Finding(
                about=about,
                key="one_side_only",
                value=True,
                kind="caution",
                standing="given",
                source=OPERATOR,
                remark=f"Only one side was read at {settings} dBm and is taken for the worse one; the other may be. "
                "Read both sides everywhere.",
            )
        )
    return findings


def _spread(about: str, key: str, value: float, unit: str, remark: str) -> Finding:
    return Finding(about=about, key=key, value=value, unit=unit, low=value, high=value, kind="caution",
                   standing="given", source=OPERATOR, remark=remark)  # fmt: skip
