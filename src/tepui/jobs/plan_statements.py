"""Short ways to state what was computed or given, rather than measured; cautions; and what cannot be said.

Theory  Every statement carries its source and, where it is a number, its doubt; see ground/findings.py.
Source  docs/machine-interface.md.
Holds   For jobs that plan.
"""

from tepui.ground.doubt import Estimate
from tepui.ground.findings import Contribution, Finding

PLAN = "plan from the station file"
SIGNIFICANT = 4  # of what follows without a doubt of its own from figures stated without one


def computed(
    about: str,
    key: str,
    value: float,
    unit: str,
    *,
    source: str,
    low: float | None = None,
    high: float | None = None,
    remark: str = "",
    limit: float | None = None,
    sense: str = "at_most",
    limit_source: str | None = None,
    standing: str = "computed",
    contributions: tuple[Contribution, ...] = (),
    digits: int | None = SIGNIFICANT,
) -> Finding:
    """A number that follows by a stated model; the margin is taken at the value.

    low, high  its ends; a number without them follows exactly from what was stated, and is rounded to ``digits``
    """
    if low is None and high is None and digits is not None:
        value = float(f"{value:.{digits}g}")
    margin = None if limit is None else (limit - value if sense == "at_most" else value - limit)
    return Finding(
        about=about,
        key=key,
        value=float(value),
        unit=unit,
        low=float(value if low is None else min(low, value)),
        high=float(value if high is None else max(high, value)),
        standing=standing,
        source=source,
        remark=remark,
        limit=limit,
        limit_sense=None if limit is None else sense,
        limit_source=limit_source,
        margin=margin,
        contributions=contributions,
    )


def from_estimate(
    about: str, key: str, value: Estimate, unit: str, *, source: str, remark: str = "", **more: object
) -> Finding:
    """An estimate with its interval and the largest shares of its doubt."""
    return computed(
        about,
        key,
        value.value,
        unit,
        low=value.low,
        high=value.high,
        source=source,
        remark=remark,
        contributions=parts_of(value),
        **more,  # type: ignore[arg-type]
    )


def parts_of(value: Estimate) -> tuple[Contribution, ...]:
    """Contributions of an estimate, the largest first."""
    total = sum(part * part for part in value.contributions.values()) or 1.0
    parts = sorted(value.contributions.items(), key=lambda item: -item[1])
    return tuple(Contribution(name=name, share=float(part * part / total)) for name, part in parts if part > 0)


def words(
    about: str, key: str, value: str | bool, *, source: str = PLAN, remark: str = "", standing: str = "computed"
) -> Finding:
    """A text or yes/no."""
    return Finding(about=about, key=key, value=value, standing=standing, source=source, remark=remark)


def caution(about: str, key: str, remark: str, *, source: str = PLAN) -> Finding:
    """Something to mind before going on."""
    return Finding(about=about, key=key, value=True, standing="computed", kind="caution", source=source, remark=remark)


def not_known(about: str, key: str, unit: str, remark: str, *, source: str = PLAN) -> Finding:
    """A verdict that cannot be made, and what would make it possible."""
    return Finding(about=about, key=key, value=None, unit=unit, standing="unknown", source=source, remark=remark)
