"""What a key of the station file may hold: the rule that reader, schema and page of words are all made from.

Theory  A rule is data: a form, the kind of quantity, its range, the meaning in one line. Each field of a noun has one.
Source  tepui's own file; quantities as ground.quantity has them.
Holds   Nothing here reads text; ``read`` does, and ``schema`` says the same to an editor.
"""

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

RULE = "rule"
ORIGINS = ("measured", "data sheet", "guess", "library")


@dataclass(frozen=True, kw_only=True)
class Rule:
    """What one key may hold.

    form      "figure", "ranges", "text", "locator", "coordinates", "choice", "count", "number", "flag", "response",
              "file", "points" or "exposure"
    meaning   one line for people
    kind      kind of quantity (ground.units.KINDS) of a figure or of ranges; of points the two kinds
    required  whether the table is refused without it
    least, most   allowed values in SI, both inside
    choices   of a choice
    stages    kinds of stage the key belongs to; empty for all
    example   as one would write it
    """

    form: str
    meaning: str
    kind: str = ""
    kinds: tuple[str, ...] = ()
    required: bool = False
    least: float | None = None
    most: float | None = None
    choices: tuple[str, ...] = ()
    stages: tuple[str, ...] = ()
    example: str = ""


def _field(rule: Rule) -> Any:
    default = dataclasses.MISSING if rule.required else None
    return dataclasses.field(default=default, metadata={RULE: rule})


def figure(kind: str, meaning: str, **more: Any) -> Any:
    """One quantity with its doubt: "18 dB ± 1.5 dB", "10..12 dB", or { value, origin, reading }."""
    return _field(Rule(form="figure", kind=kind, meaning=meaning, **more))


def ranges(kind: str, meaning: str, **more: Any) -> Any:
    """A list of ranges or single values in one text: "174..230 MHz, 470..862 MHz"."""
    return _field(Rule(form="ranges", kind=kind, meaning=meaning, **more))


def text(meaning: str, **more: Any) -> Any:
    """Any text that is not empty."""
    return _field(Rule(form="text", meaning=meaning, **more))


def locator(meaning: str, **more: Any) -> Any:
    """A Maidenhead locator of 4 to 10 characters."""
    return _field(Rule(form="locator", meaning=meaning, **more))


def coordinates(meaning: str, **more: Any) -> Any:
    """Latitude and longitude: "52.2083, 4.3" or 52°12'30"N 4°18'0"E."""
    return _field(Rule(form="coordinates", meaning=meaning, example="52.2083, 4.3", **more))


def choice(choices: tuple[str, ...], meaning: str, **more: Any) -> Any:
    """One of a few words."""
    return _field(Rule(form="choice", choices=choices, meaning=meaning, **more))


def count(meaning: str, **more: Any) -> Any:
    """A whole number."""
    return _field(Rule(form="count", meaning=meaning, **more))


def number(meaning: str, **more: Any) -> Any:
    """A bare number, for what has no unit."""
    return _field(Rule(form="number", meaning=meaning, **more))


def flag(meaning: str, **more: Any) -> Any:
    """true or false."""
    return _field(Rule(form="flag", meaning=meaning, **more))


def points(kinds: tuple[str, ...], meaning: str, **more: Any) -> Any:
    """A list of texts, each a row of quantities of these kinds: ["1 kHz: -93 dBc/Hz", "1 MHz: -120 dBc/Hz"]."""
    return _field(Rule(form="points", kinds=kinds, meaning=meaning, **more))


def special(form: str, meaning: str, **more: Any) -> Any:
    """A form of its own: "response" of a filter, a "file", "exposure" limit."""
    return _field(Rule(form=form, meaning=meaning, **more))


def rules_of(noun: type) -> Mapping[str, Rule]:
    """The rules of a noun by key, in the order of the file."""
    return {field.name: field.metadata[RULE] for field in dataclasses.fields(noun) if RULE in field.metadata}
