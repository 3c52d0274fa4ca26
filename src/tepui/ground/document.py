"""The JSON document: the public machine interface, from a verb's outcomes to text.

Theory  One document per run: what went in (with hashes), what was found, which files came out. The text is the same
        for the same content: keys sorted, one finding and one table row per line, ASCII only.
Source  docs/machine-interface.md. [RFC8259] JSON has neither NaN nor infinity.
Holds   Schema 1. (about, key) occurs once; tables of one name are joined under a leading column ``about``.
"""

import json
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from typing import Any

from tepui import __version__
from tepui.ground.findings import Finding, Outcome, Table

SCHEMA = 1


@dataclass(frozen=True, kw_only=True)
class InputFile:
    """A file that was read: its path as given, its size and the sha256 of its bytes in hexadecimal."""

    path: str
    size_bytes: int
    sha256: str


def utc_now() -> str:
    """The time of day as the document carries it, to the second."""
    return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def build_document(
    *,
    verb: str,
    outcomes: Sequence[Outcome],
    inputs: Sequence[InputFile] = (),
    files: Sequence[str] = (),
    practice: bool = False,
    station: str | None = None,
    utc: str | None = None,
) -> dict[str, Any]:
    """The document of one run, ready for ``document_text``.

    files     paths written, as given to the operator
    practice  whether anything in it came from the practice station
    utc       ISO 8601 with a Z; None takes the time of day
    raises    ValueError where two outcomes state the same (about, key): our own fault
    """
    findings = [finding for outcome in outcomes for finding in outcome.findings]
    named = [(finding.about, finding.key) for finding in findings]
    twice = [name for name, times in Counter(named).items() if times > 1]
    if twice:
        raise ValueError(f"stated twice in one document: {twice}")
    return {
        "tepui": __version__,
        "schema": SCHEMA,
        "verb": verb,
        "station": station,
        "practice": practice,
        "utc": utc or utc_now(),
        "inputs": [{"path": file.path, "bytes": file.size_bytes, "sha256": file.sha256} for file in inputs],
        "findings": [_plain_finding(finding) for finding in findings],
        "tables": {name: _plain_table(table) for name, table in _tables(outcomes).items()},
        "files": list(files),
    }


def document_text(document: Mapping[str, Any]) -> str:
    """The document as text that ends with a newline: keys sorted, one finding or row per line.

    raises  ValueError for NaN and infinity
    """
    return _laid_out(document, depth=0) + "\n"


def _plain_finding(finding: Finding) -> dict[str, Any]:
    return {**asdict(finding), "contributions": [asdict(part) for part in finding.contributions]}


def _plain_table(table: Table) -> dict[str, Any]:
    return {
        "columns": [{"key": key, "unit": unit} for key, unit in table.columns],
        "rows": [[_plain(cell) for cell in row] for row in table.rows],
    }


def _plain(cell: Any) -> Any:
    return cell.item() if hasattr(cell, "item") else cell


def _tables(outcomes: Sequence[Outcome]) -> dict[str, Table]:
    owned: dict[str, list[tuple[str, Table]]] = {}
    for outcome in outcomes:
        about = outcome.findings[0].about if outcome.findings else ""
        for table in outcome.tables:
            owned.setdefault(table.name, []).append((about, table))
    return {name: tables[0][1] if len(tables) == 1 else _joined(name, tables) for name, tables in owned.items()}


def _joined(name: str, tables: Sequence[tuple[str, Table]]) -> Table:
    """Rows of all under the columns of any, null where a table lacks one."""
    columns = tuple(dict.fromkeys(column for _, table in tables for column in table.columns))
    rows = []
    for about, table in tables:
        place = {column: number for number, column in enumerate(table.columns)}
        rows += [(about, *(row[place[one]] if one in place else None for one in columns)) for row in table.rows]
    return Table(name=name, columns=(("about", ""), *columns), rows=tuple(rows))


def _laid_out(value: Any, *, depth: int) -> str:
    """JSON text, broken into lines as far down as a finding, an input, a table row."""
    inner, outer = "  " * (depth + 1), "  " * depth
    if isinstance(value, Mapping) and "about" not in value and any(map(_has_parts, value.values())):
        parts = [f"{inner}{json.dumps(key)}: {_laid_out(value[key], depth=depth + 1)}" for key in sorted(value)]
        return "{\n" + ",\n".join(parts) + f"\n{outer}}}"
    if isinstance(value, list) and any(map(_has_parts, value)):
        return "[\n" + ",\n".join(inner + _laid_out(part, depth=depth + 1) for part in value) + f"\n{outer}]"
    return json.dumps(value, sort_keys=True, allow_nan=False)


def _has_parts(value: Any) -> bool:
    return isinstance(value, Mapping | list)
