"""The text of a station file into nouns, or one sentence: file, line, key, what was found, what is allowed.

Theory  The TOML reader gives the values, ``lines`` their places, the rules of each noun the rest. Nothing is guessed
        and nothing is passed over: a key that no rule knows is refused with the nearest one.
Source  [TOML] 1.0.0; tepui's own file, format 1.
Holds   Text in, nouns out: files that the text names are opened by whoever opened the text.
"""

import re
import tomllib
from collections.abc import Mapping
from typing import Any

from tepui.ground.errors import ChoiceError, FormatError
from tepui.station.figures import Place
from tepui.station.lines import Path, key_lines
from tepui.station.nouns import FORMAT, LISTED, NEEDED, SINGLE, Station
from tepui.station.order import check_order
from tepui.station.rules import rules_of
from tepui.station.stages import STAGE_KINDS, Stage
from tepui.station.values import listed, nearest, read_value

_AT = re.compile(r" \(at line (\d+), column \d+\)$")
_BARE = re.compile(r"\s*([A-Za-z0-9_-]+)\s*=\s*([+-]?[0-9][^\"']*[A-Za-z%])\s*(?:#.*)?$")
_SEMICOLON = re.compile(r"=\s*(?:\"[^\"]*\"|[^\s;]+)\s*;")


def read_station(text: str, *, file: str) -> Station:
    """The station of a file's text.

    file    its name, for sentences
    raises  InputError
    """
    parsed = _parsed(text, file)
    lines = key_lines(text)
    _check_tables(parsed, file, lines)
    parts: dict[str, Any] = {}
    for table, (noun, field) in SINGLE.items():
        if table in parsed:
            parts[field] = _noun(noun, parsed[table], file=file, lines=lines, path=(table,), title=f"[{table}]")
    for table, (noun, field) in LISTED.items():
        rows = parsed.get(table, [])
        parts[field] = tuple(
            _noun(noun, row, file=file, lines=lines, path=(table, n), title=f"[[{table}]]")
            for n, row in enumerate(rows)
        )
    station = Station(file=file, **parts)
    check_order(station, lines)
    return station


def _parsed(text: str, file: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        said = str(problem)
        at = _AT.search(said)
        number = int(at[1]) if at else len(text.splitlines())
        found = text.splitlines()[number - 1] if 0 < number <= len(text.splitlines()) else ""
        raise FormatError(f"{file}, line {number}{_cure(found, _AT.sub('', said))}") from problem
    except RecursionError as problem:
        raise FormatError(f"{file} nests its brackets too deeply for a station file; no value needs it.") from problem


def _cure(line: str, said: str) -> str:
    """What the line most likely lacks, else what the TOML reader said."""
    bare = _BARE.match(line)
    if bare:
        return f', {bare[1]}: {bare[2].strip()} stands without quotes; write {bare[1]} = "{bare[2].strip()}".'
    if _SEMICOLON.search(line):
        return ': a line holds one key; begin a new line where the ";" stands.'
    if "overwrite" in said or "duplicate" in said.lower() or "twice" in said:
        return f': "{line.strip()}" states a key or table a second time; keep one.'
    return f': "{line.strip()}" is not TOML ({said[:1].lower()}{said[1:]}); quantities and words stand in quotes.'


def _check_tables(parsed: Mapping[str, Any], file: str, lines: Mapping[Path, int]) -> None:
    """Refuse a wrong format, unknown tables, and tables of the wrong shape."""
    known = ("format", *SINGLE, *LISTED)
    for name, value in parsed.items():
        line = lines.get((name,), lines.get((name, 0), 1))
        if name not in known:
            written = [f"[{one}]" for one in SINGLE] + [f"[[{one}]]" for one in LISTED]
            raise ChoiceError(
                f"{file}, line {line}: {name} is no table of a station file; allowed are format, {listed(written)}."
                f"{nearest(name, known)}"
            )
        if name in SINGLE and not isinstance(value, dict):
            raise FormatError(f"{file}, line {line}, {name}: this table occurs once; write [{name}] on its own line.")
        if name in LISTED and not (isinstance(value, list) and all(isinstance(row, dict) for row in value)):
            raise FormatError(f"{file}, line {line}, {name}: this table may occur often; write [[{name}]].")
    if parsed.get("format") != FORMAT or isinstance(parsed.get("format"), bool):
        found = f"not {parsed['format']!r}" if "format" in parsed else "and it is missing"
        raise FormatError(f"{file}, line {lines.get(('format',), 1)}, format: must be {FORMAT}, {found}; put it first.")
    for name in NEEDED:
        if name not in parsed:
            raise FormatError(f"{file}, line 1, {name}: the table [{name}] is missing; every station has it.")


def _noun(noun: type, raw: Mapping[str, Any], *, file: str, lines: Mapping[Path, int], path: Path, title: str) -> Any:
    """One table by the rules of its noun."""
    rules = rules_of(noun)
    top = lines.get(path, 1)
    kind = raw.get("kind") if noun is Stage else None
    named = f' "{raw["name"]}"' if isinstance(raw.get("name"), str) else ""
    about = f" of {title.strip('[]')}{named}"
    allowed = [key for key, rule in rules.items() if noun is not Stage or not rule.stages or kind in rule.stages]
    values: dict[str, Any] = {}
    if noun is Stage and kind is not None and kind not in STAGE_KINDS:
        place = Place(file=file, line=lines.get((*path, "kind"), top), key=f"kind{about}")
        read_value(rules["kind"], kind, place)
    for key, value in raw.items():
        line = lines.get((*path, key), top)
        if key not in rules:
            raise ChoiceError(
                f"{file}, line {line}, {key}{about}: no such key; allowed are {listed(allowed)}.{nearest(key, allowed)}"
            )
        if key not in allowed:
            raise ChoiceError(
                f"{file}, line {line}, {key}{about}: a key of {listed(rules[key].stages)}, and this stage is of kind "
                f"{kind}; allowed here are {listed(allowed)}."
            )
        own = "gain" if kind == "antenna" and key == "gain" else ""
        values[key] = read_value(rules[key], value, Place(file=file, line=line, key=f"{key}{about}"), kind=own)
    for key, rule in rules.items():
        if rule.required and key not in values:
            example = f' = "{rule.example}"' if rule.example else ""
            raise FormatError(f"{file}, line {top}, {key}{about}: missing; write {key}{example} ({rule.meaning}).")
    return noun(**values, place=Place(file=file, line=top, key=title + named))
