"""The text of a Touchstone file, screened before it is interpreted: is every number there, and is it a number?

Theory  Version 1: an option line "# GHz S MA R 50", then one row a frequency, 3 numbers for one port, 9 for two; five
        numbers are a row of the noise block. Version 2: keywords in brackets, the number of frequencies stated.
        "!" begins a comment.
Source  [Touchstone] 1.1 and 2.0 (IBIS Open Forum), from memory.
Holds   One and two ports. Rows are put in order of frequency here, which a version 1 reader would take for noise data.
"""

import math
import re
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

from tepui.ground.errors import FormatError

MOST_BYTES = 64 << 20
FORMS = ("MA", "DB", "RI")
UNITS = ("HZ", "KHZ", "MHZ", "GHZ")
KINDS = ("S", "Y", "Z", "G", "H")
NUMBERS = {1: 3, 2: 9}
NOISE_NUMBERS = 5


@dataclass(frozen=True, kw_only=True)
class ScreenedText:
    """A text that can be interpreted: ports, rows of numbers, and what had to be mended."""

    text: str
    n_ports: int
    remarks: tuple[str, ...]


def read_text(path: Path) -> str:
    """The text of a file.

    raises  FormatError where it is no text, or cannot be opened
    """
    try:
        if path.is_dir():
            raise FormatError(f"{path} is a folder; a Touchstone file is wanted.")
        if path.stat().st_size > MOST_BYTES:
            raise FormatError(f"{path} is larger than 64 megabytes, too large for a Touchstone file.")
        data = path.read_bytes()
    except OSError as problem:
        raise FormatError(f"{path} cannot be opened ({problem.strerror or problem}).") from problem
    if b"\0" in data and not data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise FormatError(f"{path} is binary; a Touchstone file is text, save the trace as .s1p or .s2p.")
    wide = data.startswith((b"\xff\xfe", b"\xfe\xff"))
    return data.decode("utf-16" if wide else "utf-8-sig", errors="replace")


def screened(path: Path, text: str) -> ScreenedText:
    """Check every row and put the rows in order.

    raises  FormatError: one sentence with the line and what is wrong with it
    """
    plain = [(number, line.partition("!")[0].strip()) for number, line in enumerate(text.splitlines(), start=1)]
    plain = [(number, line) for number, line in plain if line]
    if not plain:
        raise FormatError(f"{path} holds no data; measure again and save the trace as .s1p or .s2p.")
    if plain[0][1].lower().startswith("[version]"):
        return _second_version(path, plain)
    return _first_version(path, plain)


def _first_version(path: Path, lines: list[tuple[int, str]]) -> ScreenedText:
    option, noise = "", 0
    rows: list[tuple[list[float], str]] = []
    by_name = _ports_by_name(path)
    wanted = NUMBERS[by_name] if by_name else 0
    for number, line in lines:
        if line.startswith("#"):
            option = option or _options(path, number, line)
            continue
        if line.startswith("["):
            raise FormatError(f"{path}, line {number}: {line} belongs to version 2, which begins with [Version] 2.0.")
        row = _numbers(path, number, line)
        if wanted == 0:
            if len(row) not in NUMBERS.values():
                raise FormatError(f"{path}, line {number}: {len(row)} numbers; one port has 3 in a row, two have 9.")
            wanted = len(row)
        if len(row) == NOISE_NUMBERS and wanted == NUMBERS[2] and len(rows) > 1:
            noise += 1
            continue
        if len(row) != wanted:
            ports = "one port has 3" if wanted == NUMBERS[1] else "two ports have 9"
            raise FormatError(
                f"{path}, line {number}: {len(row)} numbers in a row, but {ports}; it seems cut off, so save it again."
            )
        rows.append((row, line))
    if len(rows) < 2:
        raise FormatError(f"{path} holds {len(rows)} frequencies; a response needs two or more.")
    remarks = [f"{noise} rows of noise data were left aside."] if noise else []
    remarks += [] if option else ["The option line was missing: GHz, S, MA, 50 ohm were taken, as the format says."]
    kept, mended = _ordered(rows)
    text = "\n".join([option or "# GHz S MA R 50", *kept]) + "\n"
    return ScreenedText(text=text, n_ports=1 if wanted == NUMBERS[1] else 2, remarks=(*remarks, *mended))


def _ordered(rows: list[tuple[list[float], str]]) -> tuple[list[str], list[str]]:
    """The rows by rising frequency, the last of equals kept, and what that took in words."""
    remarks = []
    frequencies = [row[0] for row, _ in rows]
    if any(after < before for before, after in pairwise(frequencies)):
        remarks.append("The rows were not in order of frequency and have been sorted.")
    by_frequency = {row[0]: line for row, line in rows}
    if len(by_frequency) < len(rows):
        remarks.append(f"{len(rows) - len(by_frequency)} repeated frequencies: the last of each was kept.")
    return [by_frequency[frequency] for frequency in sorted(by_frequency)], remarks


def _ports_by_name(path: Path) -> int:
    """Ports as the file's name says them, 0 where it says nothing.

    raises  FormatError for more than two
    """
    match = re.fullmatch(r"\.s(\d+)p", path.suffix.lower())
    if match is None:
        return 0
    ports = int(match[1])
    if ports not in NUMBERS:
        raise FormatError(f"{path} is of {ports} ports; a filter has one (.s1p) or two (.s2p): save these alone.")
    return ports


def _options(path: Path, number: int, line: str) -> str:
    """The option line, put in order.

    raises  FormatError for a word the format does not have
    """
    unit, kind, form, resistance = "GHZ", "S", "MA", "50"
    words = line[1:].upper().split()
    while words:
        word = words.pop(0)
        if word in UNITS:
            unit = word
        elif word in KINDS:
            kind = word
        elif word in FORMS:
            form = word
        elif word == "R" and words:
            resistance = words.pop(0)
            if not _above_zero(resistance):
                raise FormatError(f"{path}, line {number}: R {resistance} is no resistance in ohm, such as R 50.")
        else:
            raise FormatError(
                f"{path}, line {number}: {word} is no option; allowed are {' '.join(UNITS)}, {' '.join(KINDS)}, "
                f"{' '.join(FORMS)} and R with ohms."
            )
    return f"# {unit} {kind} {form} R {resistance}"


def _above_zero(word: str) -> bool:
    try:
        return 0 < float(word) < math.inf
    except ValueError:
        return False


def _numbers(path: Path, number: int, line: str) -> list[float]:
    try:
        row = [float(word) for word in line.split()]
    except ValueError as problem:
        shown = "".join(letter if letter.isprintable() else "?" for letter in line[:40])
        cure = "; write decimals with a point" if "," in line else ""
        raise FormatError(f'{path}, line {number}: "{shown}" is no row of numbers{cure}.') from problem
    if not all(map(math.isfinite, row)):
        raise FormatError(f"{path}, line {number}: a value is not a finite number; measure this point again.")
    if row and row[0] < 0:
        raise FormatError(f"{path}, line {number}: the frequency {row[0]:g} is below zero.")
    return row


def _second_version(path: Path, lines: list[tuple[int, str]]) -> ScreenedText:
    """Version 2: the keywords say how many numbers must follow; half matrices are written out whole."""
    said: dict[str, str] = {}
    option, counted, reading = "# GHz S MA R 50", list[float](), ""
    for number, line in lines:
        match = re.match(r"\[([^\]]+)\]\s*(.*)", line)
        if match:
            reading = match[1].strip().lower()
            said[reading] = match[2].strip()
        elif reading == "network data":
            counted += _numbers(path, number, line)
        elif line.startswith("#"):
            option = _options(path, number, line)
        elif reading == "reference":
            said[reading] += f" {line}"
    ports, points = _count(path, said, "number of ports"), _count(path, said, "number of frequencies")
    if ports not in NUMBERS:
        raise FormatError(f"{path} is of {ports} ports; a filter has one or two: save these alone.")
    if "network data" not in said:
        raise FormatError(f"{path} has no [Network Data]; it seems cut off, so save it again.")
    half = ports == 2 and said.get("matrix format", "full").lower() != "full"
    each = 1 + 2 * (3 if half else ports * ports)
    if len(counted) != points * each:
        raise FormatError(
            f"{path} states {points} frequencies of {each} numbers and holds {len(counted)} numbers; "
            "it seems cut off, so save it again."
        )
    if points < 2:
        raise FormatError(f"{path} holds {points} frequencies; a response needs two or more.")
    rows = [counted[start : start + each] for start in range(0, len(counted), each)]
    return ScreenedText(text=_written_whole(option, said, rows, half=half), n_ports=ports, remarks=())


def _written_whole(option: str, said: dict[str, str], rows: list[list[float]], *, half: bool) -> str:
    """Version 2 with full matrices and nothing but the network data."""
    order = "21_12" if half else said.get("two-port data order", "21_12")
    head = ["[Version] 2.0", option, f"[Number of Ports] {said['number of ports']}"]
    head += [f"[Two-Port Data Order] {order}"] if said["number of ports"] == "2" else []
    head += [f"[Number of Frequencies] {len(rows)}"]
    head += [f"[Reference] {said['reference']}"] if said.get("reference") else []
    full = [[*row[:5], *row[3:5], *row[5:]] for row in rows] if half else rows
    data = [" ".join(repr(number) for number in row) for row in full]
    return "\n".join([*head, "[Network Data]", *data, "[End]"]) + "\n"


def _count(path: Path, said: dict[str, str], keyword: str) -> int:
    words = said.get(keyword, "").split()
    if not words or not words[0].isdecimal():
        raise FormatError(f"{path}: version 2 needs [{keyword.title()}] with a whole number.")
    return int(words[0])
