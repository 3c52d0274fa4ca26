"""One value of the file by its rule: text into figures, words, counts, or a sentence that begins with its place.

Theory  Every form of ``rules`` has one reader here. A refusal says where, what was found and what is allowed.
Source  tepui's own file; quantities by ground.quantity.
Holds   Values as the TOML reader gives them: text, whole numbers, numbers, true and false, lists, tables.
"""

import difflib
import re
from collections.abc import Callable
from itertools import pairwise
from typing import Any

from tepui.chain.antenna.places import parse_place, place_from_locator
from tepui.ground.errors import ChoiceError, FormatError, InputError, QuantityError, RangeError
from tepui.ground.finding_text import cell_text, scale_for
from tepui.ground.quantity import Quantity, parse_quantities, parse_quantity
from tepui.station.figures import Figure, Place, figure_from
from tepui.station.rules import ORIGINS, Rule
from tepui.station.stages import Response

_ORIGIN_KEYS = ("value", "origin", "reading")
_FORMULA = re.compile(r"f\s*/\s*(?P<under>[0-9]+(?:\.[0-9]+)?) ?(?P<unit>W/m2|W/m²)")
_CONSTANT_LOSS = re.compile(r"[+-]?[0-9.]+ ?dB\b.*")


def listed(words: Any) -> str:
    """Words as a list in a sentence: "a, b or c"."""
    names = [str(word) for word in words]
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " or " + names[-1]


def nearest(word: str, allowed: Any) -> str:
    """The cure "Nearest: gain." after a space, for a word that resembles an allowed one; else nothing."""
    close = difflib.get_close_matches(word, [str(one) for one in allowed], n=1)
    return f" Nearest: {close[0]}." if close else ""


def read_value(rule: Rule, raw: Any, place: Place, *, kind: str = "") -> Any:
    """The value of one key.

    kind    in place of the rule's, where the kind of stage decides (gain of an antenna)
    raises  InputError: one sentence with file, line, key, found and allowed
    """
    return _READERS[rule.form](rule, raw, place, kind or rule.kind)


def _quantity(raw: Any, kind: str, place: Place, reader: Callable[..., Any] = parse_quantity) -> Any:
    try:
        return reader(raw, kind=kind)
    except InputError as problem:
        raise QuantityError(f"{place}: {problem}") from problem


def _within(rule: Rule, quantity: Quantity, place: Place) -> None:
    ends = (quantity.value,) if quantity.low is None or not quantity.is_range else (quantity.low, quantity.high)
    for end in ends:
        _require_within(rule, float(end or 0.0), quantity.unit, f'"{quantity.text}"', place)


def _require_within(rule: Rule, value: float, unit: str, found: str, place: Place) -> None:
    if (rule.least is None or value >= rule.least) and (rule.most is None or value <= rule.most):
        return
    said = _celsius if rule.kind == "temperature" else _said
    low, high = (None if end is None else said(end, unit) for end in (rule.least, rule.most))
    allowed = f"between {low} and {high}" if low and high else f"at least {low}" if low else f"at most {high}"
    raise RangeError(f"{place}: {found} is not possible; {rule.meaning} must be {allowed}.")


def _celsius(value: float, unit: str) -> str:  # noqa: ARG001 - as _said
    return f"{value - 273.15:g} °C"


def _said(value: float, unit: str) -> str:
    return cell_text(value, scale_for(value, unit)) if unit != "K" else f"{value:g} K"


def _figure(rule: Rule, raw: Any, place: Place, kind: str) -> Figure:
    origin = reading = None
    if isinstance(raw, dict):
        unknown = [key for key in raw if key not in _ORIGIN_KEYS]
        if unknown:
            raise ChoiceError(
                f"{place}: {unknown[0]} is no part of a value; allowed are {listed(_ORIGIN_KEYS)}."
                f"{nearest(unknown[0], _ORIGIN_KEYS)}"
            )
        if "value" not in raw:
            raise FormatError(f'{place}: a value is missing; write {{ value = "{_sample(rule)}", origin = "guess" }}.')
        origin, reading = raw.get("origin"), raw.get("reading")
        if origin is not None and origin not in ORIGINS:
            raise ChoiceError(
                f"{place}: origin must be {listed(ORIGINS)}, not {origin!r}.{nearest(str(origin), ORIGINS)}"
            )
        if reading is not None and not isinstance(reading, str):
            raise FormatError(f"{place}: reading names a reading in words, not {reading!r}.")
        raw = raw["value"]
    quantity = _quantity(raw, kind, place)
    _within(rule, quantity, place)
    return figure_from(quantity, place=place, origin=origin, reading=reading)


def _sample(rule: Rule) -> str:
    return rule.example or "30 dB ± 2 dB"


def _ranges(rule: Rule, raw: Any, place: Place, kind: str) -> tuple[Figure, ...]:
    rows = raw if isinstance(raw, list) else [raw]
    found = [one for row in rows for one in _quantity(row, kind, place, parse_quantities)]
    if not found:
        raise FormatError(f'{place}: an empty list; write ranges such as "{_sample(rule)}".')
    return tuple(figure_from(one, place=place) for one in found)


def _text(rule: Rule, raw: Any, place: Place, kind: str) -> str:  # noqa: ARG001 - all readers take the same
    if not isinstance(raw, str) or not raw.strip():
        example = f', such as "{rule.example}"' if rule.example else ""
        raise FormatError(f"{place}: {rule.meaning} is a text in quotes{example}, not {raw!r}.")
    return raw.strip()


def _locator(rule: Rule, raw: Any, place: Place, kind: str) -> str:
    word = _text(rule, raw, place, kind)
    try:
        place_from_locator(word)
    except FormatError as problem:
        raise FormatError(f"{place}: {problem}") from problem
    return word


def _coordinates(rule: Rule, raw: Any, place: Place, kind: str) -> str:
    word = _text(rule, raw, place, kind)
    try:
        parse_place(word)
    except InputError as problem:
        raise FormatError(f"{place}: {problem}") from problem
    return word


def _choice(rule: Rule, raw: Any, place: Place, kind: str) -> str:  # noqa: ARG001
    if raw not in rule.choices:
        found = f'"{raw}"' if isinstance(raw, str) else repr(raw)
        raise ChoiceError(
            f"{place}: {rule.meaning} must be {listed(rule.choices)}, not {found}.{nearest(str(raw), rule.choices)}"
        )
    return str(raw)


def _count(rule: Rule, raw: Any, place: Place, kind: str) -> int:  # noqa: ARG001
    if isinstance(raw, bool) or not isinstance(raw, int):
        raise FormatError(f"{place}: {rule.meaning} is a whole number without quotes, not {raw!r}.")
    _require_within(rule, raw, "1", str(raw), place)
    return raw


def _number(rule: Rule, raw: Any, place: Place, kind: str) -> float:  # noqa: ARG001
    if isinstance(raw, bool) or not isinstance(raw, int | float):
        raise FormatError(f"{place}: {rule.meaning} is a number without quotes, such as {rule.example}, not {raw!r}.")
    _require_within(rule, float(raw), "1", f"{raw:g}", place)
    return float(raw)


def _flag(rule: Rule, raw: Any, place: Place, kind: str) -> bool:  # noqa: ARG001
    if not isinstance(raw, bool):
        raise FormatError(f"{place}: {rule.meaning} is true or false, without quotes, not {raw!r}.")
    return raw


def _points(rule: Rule, raw: Any, place: Place, kind: str) -> tuple[tuple[Figure, ...], ...]:  # noqa: ARG001
    example = rule.example or "[]"
    if not isinstance(raw, list) or not raw:
        raise FormatError(f"{place}: {rule.meaning} is a list of texts such as {example}, not {raw!r}.")
    rows = []
    for row in raw:
        cells = row.split(":") if isinstance(row, str) else []
        if not 2 <= len(cells) <= len(rule.kinds):
            raise FormatError(f"{place}: {row!r} is no row of {rule.meaning}; write rows such as {example}.")
        parsed = [_quantity(cell.strip(), one, place) for cell, one in zip(cells, rule.kinds, strict=False)]
        rows.append(tuple(figure_from(one, place=place) for one in parsed))
    return tuple(rows)


def _response(rule: Rule, raw: Any, place: Place, kind: str) -> Response:  # noqa: ARG001
    if isinstance(raw, str) and raw.strip():
        if _CONSTANT_LOSS.fullmatch(raw.strip()):
            loss = _quantity(raw, "ratio", place)
            return Response(path=None, rows=((0.0, loss.value),), text=raw, place=place)
        return Response(path=raw.strip(), rows=(), text=raw, place=place)
    if not isinstance(raw, list) or len(raw) < 3:
        raise FormatError(
            f'{place}: write the loss ("0.7 dB"), a file ("filter.s2p", "loss.csv"), or three or more rows of MHz and '
            f"dB ([[-5, 0.9], [0, 0.8], [5, 7.6]]), not {raw!r}."
        )
    rows = sorted(_loss_row(row, place) for row in raw)
    if any(one[0] == other[0] for one, other in pairwise(rows)):
        raise FormatError(f"{place}: a frequency stands twice in the table; keep one of each.")
    return Response(path=None, rows=tuple(rows), text=f"table of {len(rows)} rows", place=place)


def _file(rule: Rule, raw: Any, place: Place, kind: str) -> Response:
    return Response(path=_text(rule, raw, place, kind), rows=(), text=str(raw), place=place)


def _loss_row(row: Any, place: Place) -> tuple[float, float]:
    """MHz and dB, bare or as text with units. [Hz, dB]"""
    cells = row.split(":") if isinstance(row, str) else row
    if not isinstance(cells, list) or len(cells) != 2:
        raise FormatError(f'{place}: {row!r} is no row of MHz and dB; write [-5, 0.9] or "-5 MHz: 0.9 dB".')
    pair = []
    for cell, factor, kind in zip(cells, (1e6, 1.0), ("frequency", "ratio"), strict=True):
        bare = isinstance(cell, int | float) and not isinstance(cell, bool)
        pair.append(float(cell) * factor if bare else _quantity(str(cell).strip(), kind, place).value)
    return pair[0], pair[1]


def _exposure(rule: Rule, raw: Any, place: Place, kind: str) -> Figure:  # noqa: ARG001
    """A density, or f / N in W/m2 with f in MHz: kept as its text, value not yet a number (the channel gives f)."""
    formula = _FORMULA.fullmatch(raw.strip()) if isinstance(raw, str) else None
    if formula:
        return Figure(
            value=1 / (float(formula["under"]) * 1e6),
            low=None,
            high=None,
            unit="W/m2/Hz",
            text=raw.strip(),
            place=place,
        )
    return figure_from(_quantity(raw, "power_density", place), place=place)


_READERS: dict[str, Callable[[Rule, Any, Place, str], Any]] = {
    "figure": _figure,
    "ranges": _ranges,
    "text": _text,
    "locator": _locator,
    "coordinates": _coordinates,
    "choice": _choice,
    "count": _count,
    "number": _number,
    "flag": _flag,
    "points": _points,
    "response": _response,
    "file": _file,
    "exposure": _exposure,
}
