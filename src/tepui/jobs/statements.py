"""Short ways to state a finding: a text, an exact number, an estimate, a thing unknown.

Theory  Every statement carries its source and, where it is a number, its doubt; see ground/findings.py.
Source  docs/machine-interface.md.
Holds   For results; cautions are built where they are born.
"""

import math

from tepui.ground.doubt import Estimate
from tepui.ground.findings import Contribution, Finding


def text(about: str, key: str, value: str | bool, *, source: str, remark: str = "") -> Finding:
    """A text or yes/no that was read off the signal."""
    return Finding(about=about, key=key, value=value, standing="measured", source=source, remark=remark)


def exact(
    about: str,
    key: str,
    value: float,
    unit: str,
    *,
    source: str,
    standing: str = "measured",
    remark: str = "",
) -> Finding:
    """A number without doubt: a count, a name, exact arithmetic."""
    return Finding(
        about=about,
        key=key,
        value=value,
        unit=unit,
        low=value,
        high=value,
        standing=standing,
        source=source,
        remark=remark,
    )


def unknown(about: str, key: str, unit: str, *, source: str, remark: str) -> Finding:
    """What cannot be said, and in ``remark`` what would settle it."""
    return Finding(about=about, key=key, value=None, unit=unit, standing="unknown", source=source, remark=remark)


def bound(
    about: str,
    key: str,
    value: float,
    unit: str,
    *,
    sense: str,
    source: str,
    remark: str = "",
    limit: float | None = None,
    limit_source: str | None = None,
    margin: float | None = None,
) -> Finding:
    """A number the truth does not pass: ``sense`` is at_most or at_least; a limit given is one to stay above."""
    return Finding(
        about=about,
        key=key,
        value=value,
        unit=unit,
        low=value if sense == "at_least" else None,
        high=value if sense == "at_most" else None,
        standing=sense,
        source=source,
        remark=remark,
        limit=limit,
        limit_sense=None if limit is None else "at_least",
        limit_source=limit_source,
        margin=margin,
    )


def estimated(
    about: str,
    key: str,
    value: Estimate,
    unit: str,
    *,
    source: str,
    remark: str = "",
    least: float = -math.inf,
    limit: float | None = None,
    limit_source: str | None = None,
    margin: float | None = None,
    standing: str = "measured",
) -> Finding:
    """An estimate with its interval and the shares of its contributions, the largest first.

    least   what the quantity cannot be below by its nature
    limit   one to stay above
    """
    total = sum(part * part for part in value.contributions.values()) or 1.0
    parts = sorted(value.contributions.items(), key=lambda item: -item[1])
    return Finding(
        about=about,
        key=key,
        value=float(value.value),
        unit=unit,
        low=max(float(value.low), least),
        high=float(value.high),
        standing=standing,
        source=source,
        remark=remark,
        limit=limit,
        limit_sense=None if limit is None else "at_least",
        limit_source=limit_source,
        margin=margin,
        contributions=tuple(Contribution(name=name, share=float(part * part / total)) for name, part in parts if part),
    )
