"""The station file as fields to fill in: what each key holds now, as typed, and what typed words become in the file.

Theory  A field is a rule and the raw value under it. Words are handed to the same reader as the file, so that a page
        and an editor are refused with the same sentence.
Source  station.rules, station.values.
Holds   Text that is TOML; what it holds may be wrong, and then the field says so.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from tepui.ground.errors import ChoiceError, InputError
from tepui.ground.units import KINDS
from tepui.station.editing import Where, plain
from tepui.station.figures import Place
from tepui.station.lines import key_lines
from tepui.station.nouns import LISTED, SINGLE
from tepui.station.rules import ORIGINS, Rule, rules_of
from tepui.station.stages import STAGE_KINDS, Stage
from tepui.station.values import read_value

FILE = "station.toml"
WHOLE = ("count", "quality")  # kinds of figure that may stand as a bare number
_AGAIN = {"consumer": "name", "instrument": "name", "stage": "name", "far": "call", "local": "frequency"}


@dataclass(frozen=True, kw_only=True)
class Part:
    """One table of the file.

    name   in an address: "channel", "stage-3"
    title  for people: the stage's own name where it has one
    line   where it begins in the text; 0 while it is not there
    """

    name: str
    table: str
    number: int | None
    title: str
    kind: str = ""
    line: int = 0

    @property
    def where(self) -> Where:
        """Its place in the file."""
        return self.table, self.number


@dataclass(frozen=True, kw_only=True)
class Field:
    """One key as a page shows it.

    typed    what stands in it, as one would type it; empty where the key is not in the file
    origin, reading  whose word a figure is, and the reading it came from
    units    that may be written; empty where there is none
    wrong    one sentence, empty where the value can be used
    line     in the text; 0 where the key is not there
    """

    key: str
    rule: Rule
    kind: str
    typed: str = ""
    origin: str = ""
    reading: str = ""
    wrong: str = ""
    line: int = 0

    @property
    def units(self) -> tuple[str, ...]:
        """Units that may be written behind the number."""
        return tuple(KINDS[self.kind].units) if self.rule.form in ("figure", "ranges") else ()

    @property
    def stated(self) -> bool:
        """Whether it stands in the file."""
        return self.line > 0

    @property
    def many_lines(self) -> bool:
        """Whether it is a list of rows."""
        return self.rule.form in ("points", "response")


def parts_of(text: str) -> list[Part]:
    """Every table there is or may be, in the order of the file's description."""
    parsed, lines = plain(text), key_lines(text)
    found = [Part(name=table, table=table, number=None, title=table, line=lines.get((table,), 0)) for table in SINGLE]
    for table in LISTED:
        rows = parsed.get(table, [])
        for number, row in enumerate(rows if isinstance(rows, list) else []):
            told: Mapping[str, Any] = row if isinstance(row, dict) else {}
            found.append(
                Part(
                    name=f"{table}-{number + 1}",
                    table=table,
                    number=number,
                    title=str(told.get(_AGAIN[table], "")) or f"{table} {number + 1}",
                    kind=str(told.get("kind", "")),
                    line=lines.get((table, number), 0),
                )
            )
    return found


def part_of(text: str, name: str) -> Part:
    """The part of that name.

    raises  ChoiceError
    """
    for part in parts_of(text):
        if part.name == name:
            return part
    raise ChoiceError(f"{name} is no part of this station file; choose one from its list of parts.")


def rules_for(part: Part) -> Mapping[str, Rule]:
    """The rules of the keys that this part may hold."""
    noun = ({**SINGLE, **LISTED})[part.table][0]
    rules = rules_of(noun)
    if noun is not Stage or part.kind not in STAGE_KINDS:
        return rules
    return {key: rule for key, rule in rules.items() if not rule.stages or part.kind in rule.stages}


def fields_of(text: str, part: Part) -> list[Field]:
    """The fields of one part, each with its sentence where its value cannot be used."""
    parsed, lines = plain(text), key_lines(text)
    entry: Any = parsed.get(part.table, {} if part.number is None else [])
    entry = entry if part.number is None else entry[part.number]
    path = (part.table,) if part.number is None else (part.table, part.number)
    fields = []
    for key, rule in rules_for(part).items():
        kind = "gain" if (part.kind, key) == ("antenna", "gain") else rule.kind
        empty = Field(key=key, rule=rule, kind=kind)
        if key not in entry:
            needed = f"{key} is needed: {rule.meaning}." if rule.required and part.line else ""
            fields.append(replace(empty, wrong=needed))
            continue
        typed, origin, reading = _typed(rule, entry[key])
        told = replace(empty, typed=typed, origin=origin, reading=reading, line=lines.get((*path, key), part.line))
        fields.append(replace(told, wrong=problem_of(told, entry[key])))
    return fields


def problem_of(field: Field, raw: Any) -> str:
    """Why a value cannot be used, in one sentence; empty where it can."""
    place = Place(file=FILE, line=field.line or 1, key=field.key)
    try:
        read_value(field.rule, raw, place, kind=field.kind)
    except InputError as problem:
        said = str(problem).removeprefix(f"{place}: ")
        return said[:1].upper() + said[1:]
    return ""


def value_typed(field: Field, typed: str, *, origin: str = "", reading: str = "") -> Any:
    """What the words of a field become in the file; None takes the key out."""
    words = typed.strip()
    if not words:
        return None
    form = field.rule.form
    if form == "flag":
        return {"true": True, "false": False}.get(words, words)
    if form in ("count", "number"):
        return _number(words, whole=form == "count")
    if field.many_lines:
        return _rows(words, form)
    value = _number(words, whole=True) if form == "figure" and field.kind in WHOLE else words
    if form == "figure" and (origin in ORIGINS or reading.strip()):
        parts = {"value": value, "origin": origin, "reading": reading.strip()}
        return {key: part for key, part in parts.items() if part}
    return value


def _typed(rule: Rule, raw: Any) -> tuple[str, str, str]:
    """As one would type it, with origin and reading."""
    if isinstance(raw, dict):
        told = {key: str(raw.get(key, "")) for key in ("value", "origin", "reading")}
        return told["value"], told["origin"], told["reading"]
    if isinstance(raw, bool):
        return str(raw).lower(), "", ""
    if isinstance(raw, list):
        between = "\n" if rule.form in ("points", "response") else ", "
        return between.join(_row_text(row) for row in raw), "", ""
    return str(raw), "", ""


def _row_text(row: Any) -> str:
    if not isinstance(row, list):
        return str(row)
    return ", ".join(f"{cell:g}" if isinstance(cell, float) else str(cell) for cell in row)


def _number(words: str, *, whole: bool) -> int | float | str:
    try:
        return int(words)
    except ValueError:
        pass
    try:
        return words if whole else float(words)
    except ValueError:
        return words


def _rows(words: str, form: str) -> Any:
    """Rows of a list, one a line; of a filter's loss also one text alone, a file's name or a number."""
    lines = [line.strip() for line in words.splitlines() if line.strip()]
    if form == "response" and len(lines) == 1 and ":" not in lines[0] and "," not in lines[0]:
        return lines[0]
    return [_row(line) for line in lines]


def _row(line: str) -> str | list[float]:
    cells: Sequence[str] = line.split(",")
    try:
        return [float(cell) for cell in cells] if len(cells) > 1 else line
    except ValueError:
        return line
