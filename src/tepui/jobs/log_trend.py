"""Checks of the month over time: has anything moved by more than two checks differ anyway?

Theory  Rounds repeated within one month, everything taken apart and put back between them, give the standard deviation
        of repeatability s_r, pooled over the months. Two single checks of an unchanged station differ by at most
        r = t sqrt(2) s_r in 95 of 100 cases. A mean of n rounds scatters less, so that the limit for the difference of
        two means is t s_r sqrt(1/n1 + 1/n2).
Source  [ISO5725] part 6, repeatability limit r = 2.8 s_r, from memory; Student's t for few repeats, and the interval
        of s_r by chi-square, common practice.
Holds   Normal scatter, the same in every month. Systematic errors of one instrument cancel in the difference.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import stats

from tepui.ground.finding_text import label_text
from tepui.ground.findings import Finding, Outcome, Table

SOURCE = "repeatability limit after [ISO5725] part 6, from memory, with Student's t"
COLUMNS = (
    *(("month", ""), ("quantity", ""), ("value", ""), ("value_unit", ""), ("rounds", "1"), ("band_low", "")),
    *(("band_high", ""), ("practice", "")),
)


@dataclass(frozen=True, kw_only=True)
class MonthlyCheck:
    """One round of one quantity: the month as YYYY-MM, key, value and unit."""

    month: str
    key: str
    value: float
    unit: str
    practice: bool


@dataclass(frozen=True, kw_only=True)
class _Month:
    month: str
    values: tuple[float, ...]
    practice: bool

    @property
    def mean(self) -> float:
        return float(np.mean(self.values))


def check_trend(checks: Sequence[MonthlyCheck]) -> Outcome:
    """What the checks say, quantity by quantity."""
    findings: list[Finding] = []
    rows: list[tuple[str | float | int | bool | None, ...]] = []
    panels: list[dict[str, Any]] = []
    for key, unit in sorted({(check.key, check.unit) for check in checks}):
        own = [check for check in checks if (check.key, check.unit) == (key, unit)]
        months = [
            _Month(
                month=month,
                values=tuple(check.value for check in own if check.month == month),
                practice=any(check.practice for check in own if check.month == month),
            )
            for month in sorted({check.month for check in own})
        ]
        spread, freedom = _repeatability(months)
        stated = _findings(key, unit, months, spread=spread, freedom=freedom)
        findings += stated
        panels.append(_panel(key, unit, months, spread=spread, freedom=freedom))
        for one in months:
            half = None if spread is None else float(stats.t.ppf(0.975, freedom)) * spread / len(one.values) ** 0.5
            band = (None, None) if half is None else (one.mean - half, one.mean + half)
            rows.append((one.month, key, one.mean, unit, len(one.values), *band, one.practice))
    picture = {"panels": panels, "finding": _worst(findings)}
    table = Table(name="trend", columns=COLUMNS, rows=tuple(rows))
    return Outcome(findings=tuple(findings), tables=(table,), pictures={"trend": picture})


def _panel(key: str, unit: str, months: Sequence[_Month], *, spread: float | None, freedom: int) -> dict[str, Any]:
    """What the drawing of one quantity shows: its rounds, and the band in which two checks differ by chance."""
    limit = None
    if spread:
        limit = (
            float(stats.t.ppf(0.975, freedom))
            * spread
            * (1 / len(months[0].values) + 1 / len(months[-1].values)) ** 0.5
        )
    return {
        "key": key,
        "unit": unit,
        "months": [one.month for one in months],
        "rounds": [one.values for one in months],
        "means": [one.mean for one in months],
        "limit": limit,
    }


def _worst(findings: Sequence[Finding]) -> Finding | None:
    """The quantity that has moved furthest for what it scatters by; else one that cannot be told."""
    ratios = [one for one in findings if one.key == "change_over_repeatability"]
    known = [one for one in ratios if one.value is not None]
    return max(known, key=lambda one: float(one.value), default=ratios[0] if ratios else None)


def _repeatability(months: Sequence[_Month]) -> tuple[float | None, int]:
    """Pooled standard deviation of the rounds within months, and its degrees of freedom."""
    freedom = sum(len(one.values) - 1 for one in months)
    if not freedom:
        return None, 0
    squares = sum(float(np.sum((np.array(one.values) - one.mean) ** 2)) for one in months)
    return (squares / freedom) ** 0.5, freedom


def _findings(
    key: str, unit: str, months: Sequence[_Month], *, spread: float | None, freedom: int
) -> tuple[Finding, ...]:
    about, word = f"set:{key}", label_text(key)
    first, last = months[0], months[-1]
    change = last.mean - first.mean
    shown = "dB" if unit == "dBm" else unit
    told = f"{word} went from {first.mean:.6g} to {last.mean:.6g} {unit}, by {change:+.3g} {shown}, since {first.month}"
    if len(months) < 2:
        remark = f"One month is known, {first.month} with {first.mean:.6g} {unit}; check again next month."
        return (_unknown(about, "change_over_repeatability", remark),)
    if not spread:
        what = "no round was repeated" if spread is None else "every repeat gave the very same number"
        remark = (
            f"{told}; {what}, so nobody knows what such a check scatters by: take the set-up apart, put it back and "
            "check three times in one month, with one more digit."
        )
        return (_unknown(about, "change_over_repeatability", remark),)
    limit = float(stats.t.ppf(0.975, freedom)) * spread * (1 / len(first.values) + 1 / len(last.values)) ** 0.5
    low, high = (abs(change) / limit * (q / freedom) ** 0.5 for q in stats.chi2.ppf((0.025, 0.975), freedom))
    ratio = abs(change) / limit
    said = f"{told}; by chance it differs by up to {limit:.2g} {shown} in 95 of 100 cases ({freedom} repeats)."
    moved = ratio > 1
    return (
        Finding(
            about=about,
            key="change_over_repeatability",
            value=ratio,
            unit="1",
            low=min(low, ratio),
            high=max(high, ratio),
            standing="computed",
            source=SOURCE,
            remark=said,
        ),
        Finding(
            about=about,
            key="change_beyond_repeatability",
            kind="caution" if moved else "result",
            value=moved,
            standing="computed",
            source=SOURCE,
            remark="More than chance explains: find out what changed." if moved else "No more than chance explains.",
        ),
    )


def _unknown(about: str, key: str, remark: str) -> Finding:
    return Finding(about=about, key=key, value=None, unit="1", standing="unknown", source=SOURCE, remark=remark)
