"""How findings, readings and tables stand on paper: words and marks, ready for the template.

Theory  The template sets text and computes nothing; every number has its mark, its doubt and its unit beside it.
Source  our own design; ground.finding_text says every value.
Holds   A4: tables of at most WIDEST columns are shown, the rest is in the files beside the report.
"""

from collections.abc import Mapping, Sequence
from typing import Any

from tepui.ground.finding_text import cell_text, label_text, limit_text, scale_for, value_parts
from tepui.ground.findings import Finding, Table
from tepui.report.record import Source

ROWS, WIDEST = 16, 11
WORDY = ("reason", "test", "instruction", "remark", "why", "advice")


def number_of(finding: Finding, *, practice: bool) -> dict[str, Any]:
    """A finding's value as the template sets it."""
    value, doubt, unit = value_parts(finding)
    return {
        "standing": finding.standing,
        "practice": practice,
        "value": minus(value),
        "doubt": minus(doubt),
        "unit": unit,
    }


def stated(
    value: str, *, standing: str = "given", practice: bool = False, doubt: str = "", unit: str = ""
) -> dict[str, Any]:
    """A value in words, as the template sets it."""
    return {"standing": standing, "practice": practice, "value": minus(value), "doubt": minus(doubt), "unit": unit}


def level(value_dbm: float, half_db: float | None, *, standing: str, practice: bool) -> dict[str, Any]:
    """A level with its doubt."""
    doubt = "" if half_db is None else f"± {half_db:.1f}"
    return stated(f"{value_dbm:.1f}", standing=standing, practice=practice, doubt=doubt, unit="dBm")


def value_of(body: Mapping[str, Any], *, practice: bool) -> dict[str, Any]:
    """A reading of the log, its doubt as it was told."""
    value, low, high = body["value"], body["low"], body["high"]
    doubt = ""
    if low is not None and high is not None:
        even = abs((high - value) - (value - low)) <= 1e-9 * max(abs(value), 1.0)
        doubt = f"± {high - value:.3g}" if even else f"({low:g} to {high:g})"
    return stated(f"{value:.6g}", standing="measured", practice=practice, doubt=doubt, unit=str(body["unit"]))


def minus(text: str) -> str:
    """A true minus before a digit."""
    out = []
    for place, letter in enumerate(text):
        following = text[place + 1 : place + 2]
        before = text[place - 1 : place] if place else ""
        true = letter == "-" and following.isdigit() and not before.isalnum()
        out.append("\N{MINUS SIGN}" if true else letter)
    return "".join(out)


def row_of(source: Source, one: Finding) -> dict[str, Any]:
    """A finding as a row of a table."""
    limit = minus(limit_text(one))
    note = " ".join(part for part in (f"{limit[:1].upper()}{limit[1:]}." if limit else "", one.remark) if part)
    return {
        "about": about_words(one),
        "word": label_text(one.key),
        "number": number_of(one, practice=source.document.practice),
        "note": note,
        "source": one.source,
    }


def about_words(one: Finding) -> str:
    """What a finding is about, in words."""
    return one.about.replace(":", " ", 1)


def gathered(source: Source, one: Finding) -> dict[str, str]:
    """A caution or an open question as a row."""
    value = "" if isinstance(one.value, bool) or one.value is None else " ".join(value_parts(one)).strip()
    words = ". ".join(part for part in (minus(value), limit_text(one), one.remark) if part)
    return {"word": label_text(one.key), "about": about_words(one), "remark": words, "from": source.ref}


def is_shown(table: Table) -> bool:
    """Long tables of curves stand in the pictures and in the files beside the report."""
    return bool(table.rows) and len(table.rows) <= 4 * ROWS and len(table.columns) <= WIDEST


def plain_table(table: Table, wanted: Sequence[str] = ()) -> dict[str, Any]:
    """A table's rows as text; each column in a scale of its own.

    wanted  keys of the columns to show; none shows all
    """
    keys = [key for key, _ in table.columns]
    places = [keys.index(key) for key in wanted if key in keys] or list(range(len(keys)))
    shown = table.rows[:ROWS]
    scales = []
    for place in places:
        sizes = [abs(row[place]) for row in shown if _is_number(row[place])]  # type: ignore[arg-type]
        scales.append(scale_for(max(sizes, default=0.0), table.columns[place][1]))
    return {
        "title": label_text(table.name),
        "columns": [
            label_text(keys[place]) + (f" ({scale.unit})" if scale.unit else "")
            for place, scale in zip(places, scales, strict=True)
        ],
        "wordy": [keys[place] in WORDY for place in places],
        "rows": [[_cell(row[place], scale) for place, scale in zip(places, scales, strict=True)] for row in shown],
        "more": len(table.rows) - len(shown),
    }


def _cell(cell: Any, scale: Any) -> str:
    return minus(f"{cell / 10.0**scale.exponent:.4g}") if _is_number(cell) else cell_text(cell)


def _is_number(cell: object) -> bool:
    return isinstance(cell, int | float) and not isinstance(cell, bool)
