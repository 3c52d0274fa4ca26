"""On which line of a TOML file each key stands, so that a refusal can point at it.

Theory  TOML puts one key = value a line and opens a table with [name] or [[name]]; only arrays and texts in triple
        quotes run over several lines. Lines inside those are skipped by counting brackets outside of texts.
Source  [TOML] 1.0.0.
Holds   Files that the TOML reader has accepted: this scan finds places, it judges nothing.
"""

import re
from collections.abc import Mapping

Path = tuple[str | int, ...]
_HEADER = re.compile(r"\s*(\[\[?)\s*([^\]]+?)\s*\]\]?\s*(?:#.*)?$")
_KEY = re.compile(
    r"""\s*((?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*')(?:\s*\.\s*(?:[A-Za-z0-9_-]+|"[^"]*"|'[^']*'))*)\s*=(.*)$"""
)
_PART = re.compile(r"""[A-Za-z0-9_-]+|"[^"]*"|'[^']*'""")
_TEXT = re.compile(r'"(?:\\.|[^"\\])*"|\'[^\']*\'')


def _parts(name: str) -> Path:
    return tuple(part.strip("\"'") for part in _PART.findall(name))


def key_lines(text: str) -> Mapping[Path, int]:
    """Line of every table and key, counted from 1.

    returns  path -> line; the path of the second [[stage]]'s name is ("stage", 1, "name"), of the table ("stage", 1)
    """
    found: dict[Path, int] = {}
    table: Path = ()
    counts: dict[Path, int] = {}
    depth, quotes = 0, ""
    for number, line in enumerate(text.splitlines(), start=1):
        if quotes:
            if quotes in line:
                quotes = ""
            continue
        if depth > 0:
            depth += _depth(line)
            continue
        header, key = _HEADER.match(line), _KEY.match(line)
        if header:
            table = _parts(header[2])
            if header[1] == "[[":
                counts[table] = counts.get(table, -1) + 1
                table = (*table, counts[table])
            found.setdefault(table, number)
        elif key:
            found.setdefault((*table, *_parts(key[1])), number)
            value = key[2]
            opened = next((mark for mark in ('"""', "'''") if value.count(mark) % 2), "")
            if opened:
                quotes = opened
            else:
                depth = _depth(value)
    return found


def _depth(value: str) -> int:
    """Brackets opened less brackets closed, outside of texts and comments."""
    bare = _TEXT.sub("", value).partition("#")[0]
    return bare.count("[") + bare.count("{") - bare.count("]") - bare.count("}")
