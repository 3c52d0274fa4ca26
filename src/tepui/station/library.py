"""Generic parts: figures that fill what a stage does not state, each marked as coming from the library.

Theory  ``part = "gain block"`` names a row of the table; what the stage states itself always outranks it.
Source  tables/generic_parts, mostly common practice: a start for planning.
Holds   Parts of the stage's own kind.
"""

from dataclasses import replace
from typing import Any

from tepui.ground.errors import ChoiceError
from tepui.station.figures import Figure, Place
from tepui.station.nouns import Station
from tepui.station.rules import rules_of
from tepui.station.stages import Stage
from tepui.station.values import listed, nearest, read_value
from tepui.tables.load import load_table


def part_names(kind: str | None = None) -> tuple[str, ...]:
    """Names of the parts in the library, of one kind of stage or of all."""
    return tuple(dict.fromkeys(row["part"] for row in load_table("generic_parts") if kind in (None, row["kind"])))


def with_library(station: Station) -> Station:
    """The station with every stage's gaps filled from the part it names.

    raises  ChoiceError where the library has no such part of that kind
    """
    return replace(station, stages=tuple(_filled(stage, station.file) for stage in station.stages))


def _filled(stage: Stage, file: str) -> Stage:
    if stage.part is None:
        return stage
    line = stage.place.line if stage.place is not None else 1
    place = Place(file=file, line=line, key=f'part of stage "{stage.name}"')
    known = part_names(stage.kind)
    if stage.part not in known:
        raise ChoiceError(
            f'{place}: the library has no {stage.kind} "{stage.part}"; it has {listed(known) if known else "none"}.'
            f"{nearest(stage.part, known)}"
        )
    rules = rules_of(Stage)
    added: dict[str, Any] = {}
    for row in load_table("generic_parts"):
        key = row["key"]
        if row["part"] != stage.part or getattr(stage, key) is not None:
            continue
        raw = int(row["value"]) if rules[key].form == "count" else row["value"]
        own = "gain" if stage.kind == "antenna" and key == "gain" else ""
        value = read_value(rules[key], raw, place, kind=own)
        added[key] = replace(value, origin="library") if isinstance(value, Figure) else value
    return replace(stage, **added, from_library=dict.fromkeys(added, stage.part))
