"""The measured memory polynomial of an amplifier, as an operator writes it down.

Theory  Two lines "reference_dbm, LEVEL" and "reach_dbm, LEVEL", then a heading and a row for each coefficient:
        delay_ns, order, real, imag. x and y are 1 at the reference level, at the input and at the output; reach is the
        strongest input envelope it was fitted with.
Source  tepui's own. [RFC4180] for the separated text.
Holds   A point as decimal mark; lines that begin with # are left.
"""

from pathlib import Path

from tepui.chain.amplifiers.memory import MemoryPolynomial, memory_polynomial
from tepui.files.separated import bare_number, separated_rows
from tepui.ground.errors import FormatError, InputError

LEVELS = ("reference_dbm", "reach_dbm")
COLUMNS = ("delay_ns", "order", "real", "imag")
KIND = "memory polynomial"


def read_memory_polynomial(path: Path) -> MemoryPolynomial:
    """The polynomial of a file.

    raises  FormatError
    """
    levels: dict[str, float] = {}
    heading: list[str] | None = None
    rows: list[tuple[float, int, complex]] = []
    for line, cells in separated_rows(path, kind=KIND):
        first = cells[0].lower()
        if heading is None and first in LEVELS:
            levels[first] = bare_number(path, line, first, cells[1] if len(cells) > 1 else "")
        elif heading is None:
            heading = [cell.lower() for cell in cells]
            missing = [name for name in COLUMNS if name not in heading]
            if missing:
                raise FormatError(
                    f"{path}, line {line}: no column {missing[0]}; a {KIND} has the lines {' and '.join(LEVELS)}, then "
                    f"the columns {', '.join(COLUMNS)}."
                )
        else:
            rows.append(_row(path, line, dict(zip(heading, cells, strict=False))))
    lacking = [name for name in LEVELS if name not in levels]
    if lacking:
        raise FormatError(f'{path} lacks the line "{lacking[0]}, LEVEL" in dBm before its heading.')
    try:
        return memory_polynomial(rows, reference_dbm=levels["reference_dbm"], reach_dbm=levels["reach_dbm"])
    except InputError as problem:
        raise FormatError(f"{path}: {problem}") from problem


def _row(path: Path, line: int, cells: dict[str, str]) -> tuple[float, int, complex]:
    delay, order, real, imag = (bare_number(path, line, name, cells.get(name, "")) for name in COLUMNS)
    if order != int(order):
        raise FormatError(f"{path}, line {line}: order is a whole number, not {order:g}.")
    return delay * 1e-9, int(order), complex(real, imag)
