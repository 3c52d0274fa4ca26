"""Changes to the text of a station file that leave everything else as it was written: comments, order, empty lines.

Theory  A value that is there is exchanged in the parsed document, which keeps its comments; a key that is not there is
        put behind the last key that stands before it in the order of the rules. Whole tables are blocks of lines.
Source  [TOML] 1.0.0; tomlkit for the document that keeps its comments.
Holds   Text that is TOML. What comes out says what went in and the change, or the change is refused.
"""

import tomllib
from collections.abc import Mapping, Sequence
from typing import Any

import tomlkit
from tomlkit.exceptions import TOMLKitError

from tepui.ground.errors import FormatError, RangeError
from tepui.station.lines import key_lines

Where = tuple[str, int | None]  # table and number of the entry; None where the table occurs once


def plain(text: str) -> dict[str, Any]:
    """The text as the TOML reader has it.

    raises  FormatError where it is not TOML
    """
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as problem:
        raise FormatError(f"the text is not TOML ({problem}); mend it in the file first.") from problem


def with_value(text: str, where: Where, key: str, value: Any, *, order: Sequence[str]) -> str:
    """The text with one value put in, exchanged, or (None) taken out.

    order   keys of the table as the rules have them
    raises  FormatError, RangeError
    """
    wanted = plain(text)
    table, number = where
    entry = _entry(wanted, where)
    if entry is None:
        if number is not None:
            raise RangeError(f"the file has no entry {number + 1} of {table}; draw the sheet anew.")
        return text if value is None else f"{_ended(text)}\n[{table}]\n{key} = {_written(value)}\n"
    if value is None and key not in entry:
        return text
    if key in entry and entry[key] == value and type(entry[key]) is type(value):
        return text
    if key in entry:
        changed = _exchanged(text, where, key, value)
    else:
        changed = _inserted(text, where, key, value, entry=entry, order=order)
    if value is None:
        del entry[key]
    else:
        entry[key] = value
    if plain(changed) != wanted:
        raise FormatError(f"{key} cannot be changed here without touching its neighbours; change it in the file.")
    return changed


def with_entry(text: str, table: str, values: Mapping[str, str], *, after: int | None) -> str:
    """The text with one more [[table]], behind entry ``after``, else at the end of the file."""
    block = [f"[[{table}]]", *(f"{key} = {_written(value)}" for key, value in values.items())]
    spans = entry_spans(text, table)
    lines = text.splitlines()
    at = len(lines) if after is None or not 0 <= after < len(spans) else spans[after][1]
    before = [*lines[:at], *([""] if at and lines[at - 1].strip() else [])]
    return _text([*before, *block, *(lines[at:] if at < len(lines) else [])])


def without_entry(text: str, table: str, number: int) -> str:
    """The text without one [[table]]; a comment above it stays."""
    spans = entry_spans(text, table)
    if not 0 <= number < len(spans):
        raise RangeError(f"the file has no entry {number + 1} of {table}; draw the sheet anew.")
    lines = text.splitlines()
    first, end = spans[number]
    if end < len(lines) and not lines[end].strip():
        end += 1
    return _text([*lines[:first], *lines[end:]])


def with_neighbours_exchanged(text: str, table: str, number: int) -> str:
    """The text with entry ``number`` and the one behind it in each other's place."""
    spans = entry_spans(text, table)
    if not 0 <= number < len(spans) - 1:
        raise RangeError(f"there is no entry behind number {number + 1} of {table} to change places with.")
    lines = text.splitlines()
    (first, first_end), (second, second_end) = spans[number], spans[number + 1]
    return _text(
        [
            *lines[:first],
            *lines[second:second_end],
            *lines[first_end:second],
            *lines[first:first_end],
            *lines[second_end:],
        ]
    )


def entry_spans(text: str, table: str) -> list[tuple[int, int]]:
    """First line and line behind the last of every [[table]], counted from 0: its keys and what hangs on them."""
    found = key_lines(text)
    lines = text.splitlines()
    spans = []
    for number in range(len(lines)):
        if (table, number) not in found:
            break
        first = found[table, number] - 1
        inside = [line for path, line in found.items() if path[:2] == (table, number)]
        end = _end_of_value(lines, max(inside) - 1) if len(inside) > 1 else first + 1
        while end < len(lines) and lines[end].strip() and not lines[end].lstrip().startswith("["):
            end += 1
        spans.append((first, end))
    return spans


def _entry(parsed: Mapping[str, Any], where: Where) -> dict[str, Any] | None:
    table, number = where
    found = parsed.get(table)
    if number is None:
        return found if isinstance(found, dict) else None
    if isinstance(found, list) and 0 <= number < len(found) and isinstance(found[number], dict):
        entry: dict[str, Any] = found[number]
        return entry
    return None


def _exchanged(text: str, where: Where, key: str, value: Any) -> str:
    table, number = where
    try:
        document: Any = tomlkit.parse(text)
        entry = document[table] if number is None else document[table][number]
        if value is None:
            entry.remove(key)
        else:
            entry[key] = _item(value)
        return tomlkit.dumps(document)
    except TOMLKitError as problem:
        raise FormatError(f"{key} cannot be changed here ({problem}); change it in the file.") from problem


def _inserted(text: str, where: Where, key: str, value: Any, *, entry: Mapping[str, Any], order: Sequence[str]) -> str:
    table, number = where
    path = (table,) if number is None else (table, number)
    found = key_lines(text)
    lines = text.splitlines()
    if path not in found:
        raise FormatError(f"[{table}] is not written as a table of lines; change {key} in the file.")
    place = order.index(key) if key in order else len(order)
    before = [name for name in entry if name in order and order.index(name) < place and (*path, name) in found]
    if before:
        nearest = max(before, key=order.index)
        at = _end_of_value(lines, found[(*path, nearest)] - 1)
    else:
        at = found[path]
    return _text([*lines[:at], f"{key} = {_written(value)}", *lines[at:]])


def _end_of_value(lines: Sequence[str], first: int) -> int:
    """The line behind the value that begins on line ``first``, both counted from 0."""
    for end in range(first + 1, len(lines) + 1):
        try:
            tomllib.loads("\n".join(lines[first:end]))
        except tomllib.TOMLDecodeError:
            continue
        return end
    return first + 1


def _item(value: Any) -> Any:
    if isinstance(value, dict):
        parts = ", ".join(f"{key} = {tomlkit.item(part).as_string()}" for key, part in value.items())
        return tomlkit.parse(f"x = {{ {parts} }}")["x"]
    return tomlkit.item(value)


def _written(value: Any) -> str:
    written: str = _item(value).as_string()
    return written


def _ended(text: str) -> str:
    return text if not text or text.endswith("\n") else text + "\n"


def _text(lines: Sequence[str]) -> str:
    return "\n".join(lines) + "\n"
