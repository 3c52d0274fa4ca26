"""Reads docs/nomenclature.md, so that tests can hold the program to its words."""

from pathlib import Path

PAGE = Path(__file__).resolve().parent.parent / "docs" / "nomenclature.md"


def _tables() -> list[list[dict[str, str]]]:
    """Every table of the page as rows of heading -> cell, backticks taken off."""
    tables: list[list[dict[str, str]]] = []
    heading: list[str] | None = None
    for line in PAGE.read_text(encoding="utf-8").splitlines():
        if not line.startswith("|"):
            heading = None
            continue
        cells = [cell.strip().strip("`") for cell in line.strip("|").split("|")]
        if heading is None:
            heading = cells
            tables.append([])
        elif not set(line) <= set("|-: "):
            tables[-1].append(dict(zip(heading, cells, strict=True)))
    return tables


def nomenclature_rows() -> list[dict[str, str]]:
    """Every row that names a key: word, key, symbol, unit, meaning, source."""
    return [row for table in _tables() for row in table if "key" in row]


def nomenclature_keys() -> dict[str, str]:
    """Key -> unit, with the empty text for texts and yes/no, as findings and columns carry it."""
    return {row["key"]: "" if row["unit"] == "-" else row["unit"] for row in nomenclature_rows()}


def nomenclature_tables() -> dict[str, str]:
    """Name of each table of the document -> its word."""
    return {row["table"]: row["word"] for table in _tables() for row in table if "table" in row}
