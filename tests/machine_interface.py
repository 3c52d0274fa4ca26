"""The shape of the JSON document, written down from docs/machine-interface.md and not from the code that makes it."""

import json
import math
from typing import Any

from nomenclature import nomenclature_keys, nomenclature_tables

DOCUMENT = {"tepui", "schema", "verb", "station", "practice", "utc", "inputs", "findings", "tables", "files"}
FINDING = {
    *("about", "key", "kind", "value", "unit", "low", "high", "standing", "limit", "limit_sense", "limit_source"),
    *("margin", "source", "remark", "contributions"),
}
ABOUTS = ("recording:", "set:", "stage:", "point:after ", "path:", "channel:", "screen:")
STANDINGS = {"measured", "computed", "given", "at_most", "at_least", "unknown"}


def read_document(text: str) -> dict[str, Any]:
    """Read a document, refusing NaN and infinity, and check it from top to bottom."""
    document = json.loads(text, parse_constant=_refuse_constant)
    check_document(document)
    return document


def _refuse_constant(word: str) -> None:
    raise AssertionError(f"{word} in a document")


def check_document(document: dict[str, Any]) -> None:
    """Assert the shape of a whole document and that every key and unit is in the nomenclature."""
    assert set(document) == DOCUMENT
    assert document["schema"] == 1
    assert isinstance(document["tepui"], str)
    assert isinstance(document["practice"], bool)
    assert document["station"] is None or isinstance(document["station"], str)
    assert len(document["utc"]) == 20
    assert document["utc"][10] + document["utc"][-1] == "TZ"
    for file in document["inputs"]:
        assert set(file) == {"path", "bytes", "sha256"}
        assert len(file["sha256"]) == 64
        assert file["bytes"] >= 0
    assert all(isinstance(path, str) for path in document["files"])
    named = [(finding["about"], finding["key"]) for finding in document["findings"]]
    assert len(set(named)) == len(named)
    for finding in document["findings"]:
        check_finding(finding)
    units = nomenclature_keys()
    for name, table in document["tables"].items():
        assert name in nomenclature_tables(), f"table {name} is not in docs/nomenclature.md"
        assert set(table) == {"columns", "rows"}
        for column in table["columns"]:
            assert units.get(column["key"]) == column["unit"], f"column {column} is not so in docs/nomenclature.md"
        assert all(len(row) == len(table["columns"]) for row in table["rows"])


def check_finding(finding: dict[str, Any]) -> None:
    """Assert the shape and the inner agreement of one finding."""
    name = f"{finding['about']} {finding['key']}"
    assert set(finding) == FINDING, name
    assert finding["about"] == "station" or finding["about"].startswith(ABOUTS), name
    assert finding["kind"] in ("result", "caution"), name
    assert finding["standing"] in STANDINGS, name
    assert finding["source"], name
    assert nomenclature_keys().get(finding["key"]) == finding["unit"], f"{name} is not so in docs/nomenclature.md"
    value, low, high = finding["value"], finding["low"], finding["high"]
    if finding["standing"] == "unknown":
        assert value is low is high is None, name
        assert finding["remark"], name
    elif finding["standing"] == "at_most":
        assert (low, high) == (None, value), name
    elif finding["standing"] == "at_least":
        assert (low, high) == (value, None), name
    elif isinstance(value, str | bool):
        assert low is high is None, name
    else:
        assert low <= value <= high, name
    assert all(math.isfinite(n) for n in (value, low, high) if isinstance(n, float)), name
    assert finding["limit_sense"] in (None, "at_most", "at_least"), name
    for part in finding["contributions"]:
        assert set(part) == {"name", "share"}, name
        assert 0 <= part["share"] <= 1, name
