"""Every table of a record as CSV and as one JSON file, for those who reckon on.

Theory  Cells are written as the documents hold them, in SI, unit in the heading; nothing is rounded.
Source  [RFC4180] for the separated text; [RFC8259].
Holds   A text cell that a spreadsheet might take for a formula gets an apostrophe before it: common practice.
"""

import csv
import io
import json
from collections.abc import Sequence
from typing import Any

from tepui.report.record import Record

FINDING_COLUMNS = (
    *("document", "about", "key", "kind", "value", "unit", "low", "high", "standing", "limit", "limit_sense"),
    *("limit_source", "margin", "source", "remark"),
)
LOG_KINDS = ("reading", "check", "contact")
WORDS_OF_ADIF = ("adif", "adif_header")


def table_files(record: Record) -> dict[str, bytes]:
    """Name -> bytes of every file."""
    tables: dict[str, tuple[list[str], list[list[Any]]]] = {"findings": (list(FINDING_COLUMNS), _findings(record))}
    for source in record.sources:
        for table in source.document.tables:
            heads = [f"{key} [{unit}]" if unit else key for key, unit in table.columns]
            tables[f"{source.ref}-{source.document.verb}-{table.name}"] = (heads, [list(row) for row in table.rows])
    for kind in LOG_KINDS:
        rows = record.rows_of(kind)
        if rows:
            names = [name for name in rows[0].body if name not in WORDS_OF_ADIF]
            cells = [[row.utc, row.practice, *(row.body[name] for name in names)] for row in rows]
            tables[f"log-{kind}"] = (["utc", "practice", *names], cells)
    files = {f"{name}.csv": _csv(*table) for name, table in sorted(tables.items())}
    document = {
        "tepui": record.program,
        "practice": record.practice,
        "utc": record.utc,
        "tables": {name: {"columns": heads, "rows": rows} for name, (heads, rows) in sorted(tables.items())},
    }
    files["tables.json"] = (json.dumps(document, indent=1, allow_nan=False) + "\n").encode("ascii")
    return files


def _findings(record: Record) -> list[list[Any]]:
    return [
        [source.ref, *(getattr(one, name) for name in FINDING_COLUMNS[1:])]
        for source in record.sources
        for one in source.document.findings
    ]


def _csv(heads: Sequence[str], rows: Sequence[Sequence[Any]]) -> bytes:
    held = io.StringIO()
    writer = csv.writer(held)
    writer.writerow(heads)
    writer.writerows([[_cell(cell) for cell in row] for row in rows])
    return held.getvalue().encode("utf-8")


def _cell(value: Any) -> Any:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, str) and value[:1] in ("=", "+", "-", "@", "\t", "\r"):
        return "'" + value
    return "" if value is None else value
