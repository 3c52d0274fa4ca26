"""The finding: the only thing the program says, and the table beside it.

Theory  A value without a doubt and a source is a rumour. low and high enclose 95 % [GUM and its Supplement 1]
        (k = 2 where Gaussian); the standing says how the value came to be known.
Source  docs/machine-interface.md, the published shape of the JSON document.
Holds   (about, key) occurs once in a document; NaN and infinity never appear.
"""

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any

STANDINGS = ("measured", "computed", "given", "at_most", "at_least", "unknown")
Value = float | int | bool | str | None


@dataclass(frozen=True, kw_only=True)
class Contribution:
    """One part of a doubt: its name and its share of the variance, 0 to 1."""

    name: str
    share: float


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One statement about one thing.

    about   ``recording:NAME``, ``set:NAME``, ``stage:NAME``, ``point:after NAME``, ``path:CALL`` or ``station``
    key     the quantity's one name (docs/nomenclature.md); its unit is the last part where it has one
    value   number, text or yes/no; None where the standing is ``unknown``
    unit    SI symbol, dB, dBm, dBc/Hz or 1; empty for texts and yes/no
    low, high   enclose 95 %; both None for texts, yes/no and unknown; one None for a bound
    limit   the user's or a rule's limit in the same unit, ``limit_sense`` says on which side to stay
    margin  above zero where the limit is met
    raises  ValueError where the parts contradict each other: that is our own fault, never the operator's
    """

    about: str
    key: str
    value: Value
    unit: str = ""
    low: float | None = None
    high: float | None = None
    standing: str
    source: str
    kind: str = "result"
    limit: float | None = None
    limit_sense: str | None = None
    limit_source: str | None = None
    margin: float | None = None
    remark: str = ""
    contributions: tuple[Contribution, ...] = ()

    def __post_init__(self) -> None:
        problem = _contradiction(self)
        if problem:
            raise ValueError(f"finding {self.about} {self.key}: {problem}")

    @property
    def is_number(self) -> bool:
        """Whether the value is a number with low and high (yes/no is not)."""
        return isinstance(self.value, int | float) and not isinstance(self.value, bool)


def _contradiction(finding: Finding) -> str:
    numbers = [finding.value, finding.low, finding.high, finding.limit, finding.margin]
    if any(isinstance(n, float) and not math.isfinite(n) for n in numbers):
        return "a number is not finite"
    if finding.standing not in STANDINGS:
        return f"standing {finding.standing!r} is not one of {STANDINGS}"
    if finding.kind not in ("result", "caution"):
        return f"kind {finding.kind!r} is neither result nor caution"
    if not finding.source:
        return "has no source"
    if finding.standing == "unknown":
        return (
            ""
            if finding.value is finding.low is finding.high is None and finding.remark
            else ("unknown carries no numbers, and a remark on what would settle it")
        )
    if not finding.is_number:
        return "" if finding.low is finding.high is None and finding.value is not None else "text or yes/no has a doubt"
    value = float(finding.value)  # type: ignore[arg-type]
    if finding.standing == "at_most":
        return "" if finding.low is None and finding.high == value else "at_most needs value = high and no low"
    if finding.standing == "at_least":
        return "" if finding.high is None and finding.low == value else "at_least needs value = low and no high"
    if finding.low is None or finding.high is None:
        return "a number without a doubt"
    return "" if finding.low <= value <= finding.high else "value outside low and high"


@dataclass(frozen=True, kw_only=True)
class Table:
    """Rows that belong together: columns as (key, unit), rows as tuples of the same length."""

    name: str
    columns: tuple[tuple[str, str], ...]
    rows: tuple[tuple[Value, ...], ...]

    def __post_init__(self) -> None:
        for row in self.rows:
            if len(row) != len(self.columns):
                raise ValueError(f"table {self.name}: a row of {len(row)} cells under {len(self.columns)} columns")
            if any(isinstance(cell, float) and not math.isfinite(cell) for cell in row):
                raise ValueError(f"table {self.name}: a cell is not finite")


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What a job hands back: findings, tables, and the arrays a picture is drawn from.

    pictures  name -> {array or number name -> value}; report/ knows how to draw each name
    """

    findings: tuple[Finding, ...]
    tables: tuple[Table, ...] = ()
    pictures: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        seen: set[tuple[str, str]] = set()
        for finding in self.findings:
            if (finding.about, finding.key) in seen:
                raise ValueError(f"finding {finding.about} {finding.key} occurs twice")
            seen.add((finding.about, finding.key))


def finding_named(findings: Iterable[Finding], key: str) -> Finding:
    """The one finding with this key.

    raises  KeyError where there is none
    """
    for finding in findings:
        if finding.key == key:
            return finding
    raise KeyError(key)
