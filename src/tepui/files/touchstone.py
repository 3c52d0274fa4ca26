"""Scattering parameters of a two-port from a Touchstone file.

Theory  An option line "# GHz S MA R 50", then rows: frequency and S11 S21 S12 S22, each as two numbers by the option's
        form; "!" begins a comment. A row whose frequency falls begins the noise data, which are left.
Source  [Touchstone] 1.1, from memory: default GHz, S, MA, 50 ohm; two-ports in the order 11 21 12 22.
Holds   Two-ports of version 1 in S. Others are refused by name.
"""

from pathlib import Path

import numpy as np

from tepui.ground.errors import FormatError
from tepui.signals.twoport import TwoPort

_UNITS = {"HZ": 1.0, "KHZ": 1e3, "MHZ": 1e6, "GHZ": 1e9}
MOST_BYTES = 64 << 20


def read_touchstone(path: Path) -> TwoPort:
    """The two-port of a file.

    raises  FormatError: one sentence with the line
    """
    try:
        if path.stat().st_size > MOST_BYTES:
            raise FormatError(f"{path} is larger than 64 megabytes, too large for a Touchstone file.")
        text = path.read_text(encoding="utf-8", errors="replace")
    except OSError as problem:
        raise FormatError(f"{path} cannot be opened ({problem.strerror or problem}).") from problem
    unit, form, resistance = 1e9, "MA", 50.0
    rows: list[list[float]] = []
    for number, line in enumerate(text.splitlines(), start=1):
        plain = line.partition("!")[0].strip()
        if not plain:
            continue
        if plain.startswith("["):
            raise FormatError(f"{path}, line {number}: {plain} is of Touchstone version 2; save it as version 1.")
        if plain.startswith("#"):
            unit, form, resistance = _options(path, number, plain)
            continue
        row = _row(path, number, plain)
        if rows and row[0] <= rows[-1][0]:
            break  # noise data begin
        rows.append(row)
    if len(rows) < 2:
        raise FormatError(f"{path} holds {len(rows)} rows of a two-port; two or more are needed.")
    numbers = np.array(rows)
    first, second = numbers[:, 1::2], numbers[:, 2::2]
    if form == "RI":
        values = first + 1j * second
    else:
        size = 10 ** (first / 20) if form == "DB" else first
        values = size * np.exp(1j * np.radians(second))
    s = np.stack([values[:, [0, 2]], values[:, [1, 3]]], axis=1)
    return TwoPort(frequency_hz=numbers[:, 0] * unit, s=s, z0_ohm=resistance)


def _options(path: Path, number: int, plain: str) -> tuple[float, str, float]:
    unit, form, resistance = 1e9, "MA", 50.0
    words = plain[1:].upper().split()
    while words:
        word = words.pop(0)
        if word in _UNITS:
            unit = _UNITS[word]
        elif word in ("MA", "DB", "RI"):
            form = word
        elif word == "R" and words:
            resistance = float(words.pop(0))
        elif word != "S":
            raise FormatError(f"{path}, line {number}: option {word} is not read; S, MA, DB, RI, R and Hz to GHz are.")
    return unit, form, resistance


def _row(path: Path, number: int, plain: str) -> list[float]:
    try:
        row = [float(cell) for cell in plain.split()]
    except ValueError as problem:
        raise FormatError(f"{path}, line {number}: {plain[:40]!r} is no row of numbers.") from problem
    if len(row) != 9:
        raise FormatError(f"{path}, line {number}: {len(row)} numbers; a row of a two-port has nine.")
    return row
