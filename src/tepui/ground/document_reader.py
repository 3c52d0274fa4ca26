"""A document that a verb printed, read back and checked, for those who keep it or report on it.

Theory  What was printed may come back changed by hand or by accident; every finding is built again, so that none is
        kept which the program would not have said.
Source  docs/machine-interface.md.
Holds   Schema 1. Fields added within the schema are left as they are.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Any

from tepui.ground.document import SCHEMA
from tepui.ground.errors import FormatError
from tepui.ground.findings import Contribution, Finding, Table, Value

_TYPES: Mapping[str, type | tuple[type, ...]] = {
    **{"tepui": str, "schema": int, "verb": str, "station": (str, type(None)), "practice": bool, "utc": str},
    **{"inputs": list, "findings": list, "tables": dict, "files": list},
}
_NUMBERS = ("low", "high", "limit", "margin")
_TEXTS = ("about", "key", "unit", "standing", "source", "kind", "remark")
_LARGEST = 2**63


@dataclass(frozen=True, kw_only=True)
class ReadDocument:
    """A document as nouns, and as the plain values it was read from."""

    plain: Mapping[str, Any]
    findings: tuple[Finding, ...]
    tables: tuple[Table, ...]

    @property
    def verb(self) -> str:
        """The verb that ran."""
        return str(self.plain["verb"])

    @property
    def practice(self) -> bool:
        """Whether anything in it came from the practice station."""
        return bool(self.plain["practice"])


def read_document(text: str, *, name: str) -> ReadDocument:
    """Read and check the text of a document.

    name    of the file, for refusals
    raises  FormatError, one sentence
    """
    try:
        plain = json.loads(text, parse_constant=_refuse_constant)
        json.dumps(plain, ensure_ascii=False, allow_nan=False).encode("utf-8")
    except (ValueError, RecursionError) as error:
        raise FormatError(
            f"{name} is not valid JSON ({str(error)[:80]}); give what a verb printed with --json."
        ) from error
    if not isinstance(plain, dict) or not {"tepui", "schema", "verb"} <= set(plain):
        raise FormatError(f"{name} is no document of tepui; give what a verb printed with --json.")
    if plain["schema"] != SCHEMA:
        raise FormatError(f"{name} is of schema {plain['schema']!r:.20}, and this program knows {SCHEMA} only.")
    for key, kinds in _TYPES.items():
        if key not in plain or not isinstance(plain[key], kinds):
            raise FormatError(f"{name} is no whole document of tepui: {key} is missing or of the wrong type.")
    for one in plain["inputs"]:
        if not _is_input(one):
            raise FormatError(f"{name}: an input must state path, bytes and sha256.")
    if not all(isinstance(one, str) for one in plain["files"]):
        raise FormatError(f"{name}: the files written must be texts.")
    found = tuple(_finding(one, name) for one in plain["findings"])
    if len({(one.about, one.key) for one in found}) < len(found):
        raise FormatError(f"{name} states one finding twice.")
    tables = tuple(_table(key, one, name) for key, one in sorted(plain["tables"].items()))
    return ReadDocument(plain=plain, findings=found, tables=tables)


def _is_input(one: Any) -> bool:
    return (
        isinstance(one, dict)
        and isinstance(one.get("path"), str)
        and isinstance(one.get("sha256"), str)
        and isinstance(one.get("bytes"), int)
        and abs(one["bytes"]) < _LARGEST
    )


def _finding(one: Any, name: str) -> Finding:
    if not isinstance(one, dict) or any(not isinstance(one.get(key), str) for key in _TEXTS):
        raise FormatError(f"{name}: a finding must state {', '.join(_TEXTS)} as texts.")
    what = f"{name}: finding {one['about'][:40]} {one['key'][:40]}"
    numbers = all(one.get(key) is None or _is_number(one[key]) for key in _NUMBERS)
    texts = all(one.get(key) is None or isinstance(one[key], str) for key in ("limit_sense", "limit_source"))
    if not numbers or not texts or not _is_value(one.get("value")):
        raise FormatError(f"{what} holds a value of the wrong type.")
    parts = one.get("contributions", [])
    if not isinstance(parts, list) or not all(
        isinstance(part, dict) and isinstance(part.get("name"), str) and _is_number(part.get("share")) for part in parts
    ):
        raise FormatError(f"{what} must name its contributions with their shares.")
    known = {field.name for field in fields(Finding)}
    stated = {key: value for key, value in one.items() if key in known}
    stated["contributions"] = tuple(Contribution(name=part["name"], share=part["share"]) for part in parts)
    try:
        return Finding(**stated)
    except (ValueError, TypeError) as error:
        raise FormatError(f"{name} holds a finding that contradicts itself ({error}).") from error


def _table(key: str, one: Any, name: str) -> Table:
    columns = one.get("columns") if isinstance(one, dict) else None
    rows = one.get("rows") if isinstance(one, dict) else None
    if not isinstance(columns, list) or not isinstance(rows, list):
        raise FormatError(f"{name}: table {key[:40]} must have columns and rows.")
    sound = all(
        isinstance(column, dict) and isinstance(column.get("key"), str) and isinstance(column.get("unit"), str)
        for column in columns
    )
    if not sound or not all(isinstance(row, list) and all(map(_is_value, row)) for row in rows):
        raise FormatError(f"{name}: table {key[:40]} holds a column or a cell of the wrong type.")
    try:
        return Table(
            name=key,
            columns=tuple((column["key"], column["unit"]) for column in columns),
            rows=tuple(tuple(row) for row in rows),
        )
    except ValueError as error:
        raise FormatError(f"{name}: {error}.") from error


def _is_value(value: Value) -> bool:
    return value is None or isinstance(value, str | bool) or _is_number(value)


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and abs(value) < _LARGEST


def _refuse_constant(word: str) -> None:
    raise ValueError(word)
