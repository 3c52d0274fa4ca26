"""The JSON schema of the station file, for editors that complete and check while one types; made from the rules.

Theory  Each rule becomes the pattern of what it allows. What a pattern cannot say (ranges of values, order of stages)
        is left to ``tepui check``.
Source  [JSON Schema] 2020-12.
Holds   Every text the reader takes matches; some that match the reader refuses.
"""

import re
from typing import Any

from tepui.ground.units import KINDS
from tepui.station.nouns import FORMAT, LISTED, NEEDED, SINGLE
from tepui.station.rules import ORIGINS, Rule, rules_of
from tepui.station.stages import STAGE_KINDS, Stage

_NUMBER = r"[+\-−–]?\s*[0-9]+(?:\.[0-9]+)?(?:[eE][+-]?[0-9]{1,2})?"
_GAP = r"\s*"


def station_schema() -> dict[str, Any]:
    """The schema as a JSON object."""
    properties: dict[str, Any] = {"format": {"const": FORMAT, "description": "format of this file"}}
    for table, (noun, _) in SINGLE.items():
        properties[table] = _table(noun)
    for table, (noun, _) in LISTED.items():
        items = {"oneOf": [_stage(kind) for kind in STAGE_KINDS]} if noun is Stage else _table(noun)
        properties[table] = {"type": "array", "items": items}
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "tepui station file",
        "type": "object",
        "properties": properties,
        "required": ["format", *NEEDED],
        "additionalProperties": False,
    }


def _table(noun: type) -> dict[str, Any]:
    rules = rules_of(noun)
    return _object({key: _value(rule) for key, rule in rules.items()}, [k for k, r in rules.items() if r.required])


def _stage(kind: str) -> dict[str, Any]:
    """A stage of one kind: its own keys only."""
    rules = {key: rule for key, rule in rules_of(Stage).items() if not rule.stages or kind in rule.stages}
    properties = {
        key: _value(rule, own="gain" if (kind, key) == ("antenna", "gain") else "") for key, rule in rules.items()
    }
    properties["kind"] = {"const": kind, "description": rules["kind"].meaning}
    return _object(properties, [key for key, rule in rules.items() if rule.required])


def _object(properties: dict[str, Any], required: list[str]) -> dict[str, Any]:
    return {"type": "object", "properties": properties, "required": required, "additionalProperties": False}


LOCATOR = r"^\s*[A-Ra-r]{2}[0-9]{2}(?:[A-Xa-x]{2}(?:[0-9]{2}(?:[A-Xa-x]{2})?)?)?\s*$"


def _value(rule: Rule, *, own: str = "") -> dict[str, Any]:
    kind = own or rule.kind
    shape: dict[str, Any]
    if rule.form == "figure":
        bare = _text(_figure_pattern(kind))
        choices = [bare, _origin(bare)]
        if kind in ("count", "quality"):
            choices.append({"type": "integer", "minimum": 0})
        shape = {"anyOf": choices}
    elif rule.form == "ranges":
        one = rf"{_either(kind)}"
        row = _text(rf"^\s*{one}(?:,\s+{one})*\s*$")
        shape = {"anyOf": [row, {"type": "array", "items": row, "minItems": 1}]}
    elif rule.form == "locator":
        shape = _text(LOCATOR)
    elif rule.form == "choice":
        shape = {"enum": list(rule.choices)}
    elif rule.form == "count":
        shape = _numeric("integer", rule)
    elif rule.form == "number":
        shape = _numeric("number", rule)
    elif rule.form == "flag":
        shape = {"type": "boolean"}
    elif rule.form == "points":
        first, *rest = (_either(one) for one in rule.kinds)
        row = _text(rf"^\s*{first}\s*:\s*{rest[0]}" + "".join(rf"(?:\s*:\s*{one})?" for one in rest[1:]) + r"\s*$")
        shape = {"type": "array", "items": row, "minItems": 1}
    elif rule.form == "response":
        cell = {"type": ["number", "string"]}
        pair = {"type": "array", "items": cell, "minItems": 2, "maxItems": 2}
        shape = {"anyOf": [_text(r"\S"), {"type": "array", "items": {"anyOf": [_text(":"), pair]}, "minItems": 3}]}
    elif rule.form == "exposure":
        shape = {
            "anyOf": [
                _text(r"^\s*f\s*/\s*[0-9]+(?:\.[0-9]+)?\s?(?:W/m2|W/m²)\s*$"),
                _text(_figure_pattern("power_density")),
            ]
        }
    else:
        shape = _text(r"\S")
    return {**shape, "description": rule.meaning}


def _numeric(form: str, rule: Rule) -> dict[str, Any]:
    limits = {"minimum": rule.least, "maximum": rule.most}
    return {"type": form, **{name: limit for name, limit in limits.items() if limit is not None}}


def _text(pattern: str) -> dict[str, Any]:
    return {"type": "string", "pattern": pattern}


def _origin(value: dict[str, Any]) -> dict[str, Any]:
    parts = {"value": value, "origin": {"enum": list(ORIGINS)}, "reading": _text("")}
    return _object(parts, ["value"])


def _units(names: Any) -> str:
    return "(?:" + "|".join(re.escape(name) for name in names) + ")"


def _either(kind: str) -> str:
    """Pattern of a value with or without a doubt, or of a range."""
    rule = KINDS[kind]
    unit = _GAP + _units(rule.units) if rule.units else ""
    doubts = [*rule.doubts, "%"] if rule.relative and "%" not in rule.doubts else list(rule.doubts)
    doubt = rf"(?:\s*(?:±|\+-|\+/-)\s*{_NUMBER}(?:{_GAP}{_units(doubts)})?)?"
    return rf"(?:{_NUMBER}{unit}{doubt}|{_NUMBER}\s*\.\.\s*{_NUMBER}{unit})"


def _figure_pattern(kind: str) -> str:
    return rf"^\s*{_either(kind)}\s*$"
