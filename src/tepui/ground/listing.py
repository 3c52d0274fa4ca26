"""Findings and tables as lines for a terminal: grouped by what they are about, as wide as the window.

Theory  One line per finding: its name in words, its value, its standing; what needs a sentence stands below it.
        Nothing depends on colour; headings are bold where a terminal is there to show it.
Source  our own design; ground.finding_text says every value.
Holds   Text in, text out: who writes it to which stream is the caller's affair.
"""

import os
import shutil
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TextIO, TypeGuard

from tepui.ground.finding_text import STANDING_WORDS, Scale, cell_text, label_text, limit_text, scale_for, value_text
from tepui.ground.findings import Finding, Outcome, Table, Value

WIDEST, NARROWEST = 120, 40
INDENT = "  "
TABLE_ROWS = 12
FEW = 20
DIGITS, MOST_DIGITS = 4, 7
EXACT_UNITS = ("Hz",)


@dataclass(frozen=True, kw_only=True)
class Page:
    """What the lines are made for: the width in characters, and whether headings may be bold."""

    width: int = 80
    bold: bool = False


def page_for(stream: TextIO) -> Page:
    """The page a stream offers: the terminal's own width and bold headings, or 80 plain columns."""
    if not stream.isatty():
        return Page()
    columns = shutil.get_terminal_size().columns
    plain = "NO_COLOR" in os.environ or os.environ.get("TERM") == "dumb" or os.name == "nt"
    return Page(width=min(max(columns, NARROWEST), WIDEST), bold=not plain)


def outcome_text(outcome: Outcome, page: Page) -> str:
    """Every finding grouped by what it is about, then cautions, then every table.

    After more than a window can hold, the limits missed are said once more: the end is what a reader is left with.
    """
    results = [finding for finding in outcome.findings if finding.kind == "result"]
    cautions = [finding for finding in outcome.findings if finding.kind == "caution"]
    blocks = [_group_text(about, group, page) for about, group in _grouped(results)]
    if cautions:
        lines = [line for finding in cautions for line in _caution_lines(finding, page)]
        blocks.append("\n".join([_heading("Cautions", page), *lines]))
    blocks += [table_text(table, page) for table in outcome.tables]
    missed = [line for finding in results if (finding.margin or 0) < 0 for line in _missed_lines(finding, page)]
    if missed and len(results) > FEW:
        blocks.append("\n".join([_heading("Limits missed", page), *missed]))
    return "\n\n".join(blocks)


def table_text(table: Table, page: Page, *, rows: int = TABLE_ROWS) -> str:
    """A table under its name; numbers right-aligned, one prefix for all columns of a unit, long ones cut with a remark.

    A table wider than the page goes on below itself, its first column repeated.

    rows  how many rows are shown
    """
    shown = table.rows[:rows]
    scales = {unit: scale_for(_largest(table, unit, shown), unit) for _, unit in table.columns}
    columns = [
        _column(key, scales[unit], [row[n] for row in shown], exact=unit in EXACT_UNITS)
        for n, (key, unit) in enumerate(table.columns)
    ]
    lines = [_heading(label_text(table.name), page)]
    for part in _beside(columns, page.width - len(INDENT)):
        lines += [(INDENT + "  ".join(cells)).rstrip() for cells in zip(*part, strict=True)]
    if len(table.rows) > rows:
        lines.append(f"{INDENT}{len(table.rows) - rows} more rows in the JSON document")
    return "\n".join(_cut(line, page) for line in lines)


def _beside(columns: Sequence[list[str]], room: int) -> list[list[list[str]]]:
    """Columns that fit beside each other, in turn; each group after the first begins with the first column."""
    groups: list[list[list[str]]] = [[]]
    for column in columns:
        if len(groups[-1]) > 1 and sum(len(one[0]) + 2 for one in groups[-1]) + len(column[0]) > room:
            groups.append([columns[0]])
        groups[-1].append(column)
    return groups


def _grouped(findings: Iterable[Finding]) -> list[tuple[str, list[Finding]]]:
    groups: dict[str, list[Finding]] = {}
    for finding in findings:
        groups.setdefault(finding.about, []).append(finding)
    return list(groups.items())


def _group_text(about: str, findings: Sequence[Finding], page: Page) -> str:
    rows = _rows(findings)
    name_width = max(len(label_text(row[0].key)) for row in rows)
    room = page.width - len(INDENT) - name_width - 2 - max(len(_standing(row)) for row in rows) - 2
    values = [textwrap.wrap(_value(row), max(room, NARROWEST // 2)) or [""] for row in rows]
    value_width = max(len(line) for value in values for line in value)
    lines = [_heading(about.replace(":", " ", 1), page)]
    for row, (first, *more) in zip(rows, values, strict=True):
        start = f"{INDENT}{label_text(row[0].key):<{name_width}}  "
        lines.append(f"{start}{first:<{value_width}}  {_standing(row)}".rstrip())
        lines += [" " * len(start) + line for line in more]
        for finding in row:
            for sentence in (limit_text(finding), finding.remark):
                lines += _wrapped(sentence, page, first=2 * INDENT)
    return "\n".join(lines)


def _rows(findings: Sequence[Finding]) -> list[list[Finding]]:
    """Findings that share a line: one quantity in several units (dBm and W), said one after the other."""
    rows: list[list[Finding]] = []
    for finding in findings:
        last = rows[-1][0] if rows else None
        if (
            last
            and (label_text(last.key), last.standing) == (label_text(finding.key), finding.standing)
            and (last.is_number and finding.is_number and last.unit != finding.unit)
        ):
            rows[-1].append(finding)
        else:
            rows.append([finding])
    return rows


def _value(row: Sequence[Finding]) -> str:
    return ", ".join(value_text(finding) for finding in row)


def _standing(row: Sequence[Finding]) -> str:
    return "" if row[0].standing == "unknown" else STANDING_WORDS[row[0].standing]


def _caution_lines(finding: Finding, page: Page) -> list[str]:
    value = "" if isinstance(finding.value, bool) or finding.value is None else f" {value_text(finding)}"
    about = finding.about.replace(":", " ", 1)
    remark = f": {finding.remark}" if finding.remark else ""
    return _wrapped(f"{label_text(finding.key)}{value} ({about}){remark}", page, first=INDENT)


def _missed_lines(finding: Finding, page: Page) -> list[str]:
    about = finding.about.replace(":", " ", 1)
    return _wrapped(
        f"{label_text(finding.key)} ({about}): {value_text(finding)}, {limit_text(finding)}", page, first=INDENT
    )


def _wrapped(text: str, page: Page, *, first: str) -> list[str]:
    return textwrap.wrap(text, page.width, initial_indent=first, subsequent_indent=2 * INDENT)


def _largest(table: Table, unit: str, rows: Sequence[tuple[Value, ...]]) -> float:
    places = [n for n, (_, of) in enumerate(table.columns) if of == unit]
    cells = [row[n] for row in rows for n in places]
    return max((abs(cell) for cell in cells if _is_number(cell)), default=0.0)


def _is_number(value: Value) -> TypeGuard[int | float]:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _column(key: str, scale: Scale, values: Sequence[Value], *, exact: bool) -> list[str]:
    """Heading and cells of one column, all of the same width; ``exact`` shows what differs as different."""
    numbers = any(_is_number(value) for value in values)
    power = 10.0**scale.exponent
    digits = _digits([value / power for value in values if _is_number(value)]) if exact else DIGITS
    cells = []
    for value in values:
        if isinstance(value, float) or (isinstance(value, int) and not isinstance(value, bool) and scale.exponent):
            cells.append(f"{value / power:.{digits}g}")
        else:
            cells.append(cell_text(value))
    heading = label_text(key) + (f" ({scale.unit})" if scale.unit else "")
    width = max(len(heading), *map(len, cells)) if cells else len(heading)
    aligned = [f"{cell:>{width}}" if numbers else f"{cell:<{width}}" for cell in cells]
    return [f"{heading:>{width}}" if numbers else f"{heading:<{width}}", *aligned]


def _digits(numbers: Sequence[float]) -> int:
    """The fewest digits that change no number by more than a millionth: a frequency is a setting to be typed in."""
    for digits in range(DIGITS, MOST_DIGITS):
        if all(abs(float(f"{number:.{digits}g}") - number) <= 1e-6 * abs(number) for number in numbers):
            return digits
    return MOST_DIGITS


def _heading(text: str, page: Page) -> str:
    return f"\x1b[1m{text}\x1b[0m" if page.bold else text


def _cut(line: str, page: Page) -> str:
    return line if len(line) <= page.width or "\x1b" in line else line[: page.width - 1] + "…"
