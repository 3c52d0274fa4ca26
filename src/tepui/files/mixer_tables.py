"""Tables an operator writes for a frequency plan: levels of a mixer's products, and the spectrum of the local band.

Theory  Comma- or semicolon-separated text. Products: columns m, n, level_db and, if known, doubt_db, relative to the
        wanted product for single tones. Spectrum: rows of MHz and dB.
Source  tepui's own. [RFC4180] for the separated text.
Holds   A point as decimal mark; lines that begin with # are left.
"""

from collections.abc import Mapping
from pathlib import Path

import numpy as np
import numpy.typing as npt

from tepui.files.separated import bare_number, is_number, separated_rows
from tepui.ground.errors import FormatError

COLUMNS = ("m", "n", "level_db", "doubt_db")


def read_mixer_table(path: Path) -> Mapping[tuple[int, int], tuple[float, float | None]]:
    """Levels by (|m|, |n|): m multiplies the oscillator, n the signal.

    raises  FormatError
    """
    rows = separated_rows(path, kind="table of readings")
    heading = [cell.lower() for cell in rows[0][1]] if rows else []
    missing = [name for name in COLUMNS[:3] if name not in heading]
    if missing:
        raise FormatError(
            f"{path} has no column {missing[0]}; a mixer table has m, n, level_db and, if known, doubt_db."
        )
    found: dict[tuple[int, int], tuple[float, float | None]] = {}
    for line, cells in rows[1:]:
        row = dict(zip(heading, cells, strict=False))
        m, n = (bare_number(path, line, name, row.get(name, "")) for name in ("m", "n"))
        key = (abs(int(m)), abs(int(n)))
        if m != int(m) or n != int(n) or key == (0, 0):
            raise FormatError(f"{path}, line {line}: m and n are whole numbers and not both 0, not {m:g} and {n:g}.")
        doubt = row.get("doubt_db", "")
        level = bare_number(path, line, "level_db", row.get("level_db", ""))
        found[key] = (level, bare_number(path, line, "doubt_db", doubt) if doubt else None)
    if not found:
        raise FormatError(f"{path} holds a heading and no row.")
    return found


def read_band_table(path: Path) -> tuple[npt.NDArray[np.float64], npt.NDArray[np.float64]]:
    """Spectrum of a band: frequencies rising [Hz] and levels [dB].

    raises  FormatError
    """
    pairs = []
    for number, (line, cells) in enumerate(separated_rows(path, kind="table of readings")):
        if len(cells) < 2:
            raise FormatError(f"{path}, line {line}: a spectrum has two columns, MHz and dB.")
        if number == 0 and not is_number(cells[0]):
            continue
        pairs.append((bare_number(path, line, "MHz", cells[0]) * 1e6, bare_number(path, line, "dB", cells[1])))
    if len(pairs) < 8:
        raise FormatError(f"{path} holds {len(pairs)} points; a spectrum of the local band needs eight or more.")
    frequency, level = np.array(sorted(pairs)).T
    if np.any(np.diff(frequency) <= 0):
        raise FormatError(f"{path} states a frequency twice; keep one of each.")
    return frequency, level
