"""Generic parts: figures that fill what a stage does not state, each marked as coming from the library.

Theory  ``part = "gain block"`` names a row of the table; what the stage states itself always outranks it.
Source  tables/generic_parts, mostly common practice: a start for planning.
Holds   Parts of the stage's own kind.
"""

import math
from dataclasses import replace
from typing import Any

from tepui.ground.errors import ChoiceError
from tepui.station.figures import Figure, Place
from tepui.station.nouns import Station
from tepui.station.rules import rules_of
from tepui.station.stages import Stage
from tepui.station.values import listed, nearest, read_value
from tepui.tables.load import load_table

CABLE_SPREAD = 0.25  # published tables of one designation differ by so much at 1.3 GHz


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


def cable_loss_db(cable: str, *, length_m: float, frequency_hz: float) -> float:
    """Loss of a cable of a generic designation. [dB]

    raises  ChoiceError where the table has no such cable or no coefficients for it
    """
    rows = {row["cable"]: row for row in load_table("coax_loss") if row["k1_db_100m_per_sqrt_mhz"]}
    if cable not in rows:
        raise ChoiceError(f'the table has no cable "{cable}"; it has {listed(rows)}.{nearest(cable, rows)}')
    row, mhz = rows[cable], frequency_hz / 1e6
    per_100m: float = float(row["k1_db_100m_per_sqrt_mhz"]) * math.sqrt(mhz) + float(row["k2_db_100m_per_mhz"]) * mhz
    return per_100m * length_m / 100


def with_cable(stage: Stage, *, frequency_hz: float) -> Stage:
    """The stage with the loss of its cable, where it states a cable and a length and no loss.

    raises  ChoiceError
    """
    if stage.cable is None or stage.length is None or stage.loss is not None:
        return stage
    place = stage.length.place
    try:
        loss = cable_loss_db(stage.cable, length_m=stage.length.value, frequency_hz=frequency_hz)
    except ChoiceError as problem:
        raise ChoiceError(f'{place.file}, line {place.line}, cable of stage "{stage.name}": {problem}') from problem
    text = f"{loss:.2f} dB ± {CABLE_SPREAD * loss:.2f} dB"
    read = read_value(rules_of(Stage)["loss"], text, place)
    return replace(stage, loss=replace(read, origin="library"))
