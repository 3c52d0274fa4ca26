"""What the station sheet shows of the file, and what typed words make of it.

Theory  The text is taken apart anew for every answer: nothing is kept between a page and the disk.
Source  our own design; station.fields, station.editing.
Holds   The modules of the station file bring numpy: they are imported when first asked for, not by the first page.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from starlette.exceptions import HTTPException

from tepui.ground.errors import InputError
from tepui.web.levels_view import places_of
from tepui.web.station_text import stages_of

if TYPE_CHECKING:
    from tepui.station.fields import Field, Part

FIRST = "station"
TITLES = {"stage": "stage", "instrument": "instrument", "consumer": "consumer", "far": "far station",
          "local": "local service"}  # fmt: skip
BESIDE = {"source": ("programme",), "modulator": ("channel",), "mixer": ("plan", "local"), "amplifier": ("target",),
          "antenna": ("licence",), "far": ("far",)}  # tables of the file that a zone answers for  # fmt: skip


def sheet_parts(text: str, name: str, *, typed: "Mapping[str, Field]", trouble: str) -> dict[str, Any]:
    """The list of parts and the fields of one; empty where the text cannot be taken apart.

    raises  HTTPException 404 for a part that no station file has
    """
    from tepui.station.fields import fields_of, part_of, parts_of

    shown: dict[str, Any] = {"listed": (), "part": None, "fields": (), "trouble": trouble if text else ""}
    if not text:
        return shown
    try:
        listed = parts_of(text)
    except InputError:
        return shown
    try:
        part = part_of(text, name)
    except InputError as problem:
        if name.partition("-")[0] not in TITLES:
            raise HTTPException(404) from problem
        part = part_of(text, FIRST)
    fields = [typed.get(field.key, field) for field in fields_of(text, part)]
    faulty = {one.name: any(field.wrong for field in fields_of(text, one)) for one in listed}
    same = [one for one in listed if one.table == part.table]
    return shown | {
        "listed": listed,
        "faulty": faulty,
        "part": part,
        "fields": fields,
        "asked": _asked(part),
        "entry": TITLES.get(part.table, ""),
        "last": bool(same) and same[-1].name == part.name,
        "count": len(same),
        "others": [table for table in TITLES if not any(one.table == table for one in listed)],
    }


def _asked(part: "Part") -> "list[Field]":
    """What a new entry of the same table must say."""
    from tepui.station.fields import Field, Part, rules_for

    if part.number is None:
        return []
    anew = Part(name="", table=part.table, number=part.number, title="")
    return [Field(key=key, rule=rule, kind=rule.kind) for key, rule in rules_for(anew).items() if rule.required]


def changed_text(text: str, name: str, given: Mapping[str, str]) -> "tuple[str, dict[str, Field]]":
    """The text with the fields that were sent, and those fields as typed with their sentences.

    raises  InputError
    """
    from tepui.station.editing import with_value
    from tepui.station.fields import fields_of, part_of, problem_of, rules_for, value_typed

    part = part_of(text, name)
    order = list(rules_for(part))
    typed = {}
    for field in fields_of(text, part):
        if f"v.{field.key}" not in given:
            continue
        words = given[f"v.{field.key}"]
        origin, reading = given.get(f"o.{field.key}", ""), given.get(f"r.{field.key}", "")
        value = value_typed(field, words, origin=origin, reading=reading)
        wrong = "" if value is None else problem_of(field, value)
        if value is None and field.rule.required:
            example = f', such as "{field.rule.example}"' if field.rule.example else ""
            wrong = f"{field.key} is needed: {field.rule.meaning}{example}."
        typed[field.key] = replace(field, typed=words, origin=origin, reading=reading, wrong=wrong)
        if not wrong:
            text = with_value(text, part.where, field.key, value, order=order)
    return text, typed


def stage_parts(text: str, place: str) -> "list[tuple[Part, list[Field]]]":
    """What the file says of a zone of the strip: its parts, with the fields that are stated."""
    from tepui.station.fields import fields_of, parts_of

    zones = places_of(stages_of(text))
    try:
        listed = parts_of(text)
    except InputError:
        return []
    found = [
        part
        for part in listed
        if part.line
        and ((part.table == "stage" and zones.get(part.title) == place) or part.table in BESIDE.get(place, ()))
    ]
    return [(part, [field for field in fields_of(text, part) if field.stated]) for part in found]
