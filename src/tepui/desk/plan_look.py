"""One frequency plan looked at closely, quickly enough to follow a hand that drags it; and all plans as they rank.

Theory  The question is the verb's own: a station file, and words that come before it. A look states one plan with the
        shape of each product and the filter's curve; the ranking keeps the best plan of every stretch.
Source  jobs/frequencies, chain/conversion/shape; no number is made here that the verb does not give.
Holds   A station file with a mixer; with two mixers the plan of the last one.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from tepui.chain.conversion.shape import density
from tepui.desk.frequency_options import WHOLE_RANGE, question_from
from tepui.desk.frequency_station import far_options, station_options
from tepui.files.mixer_tables import read_mixer_table
from tepui.files.station import open_station
from tepui.files.within import named_file
from tepui.ground.document import build_document
from tepui.ground.errors import InputError, RangeError
from tepui.ground.findings import Outcome
from tepui.ground.quantity import parse_quantities
from tepui.jobs.frequencies import FrequencyQuestion, plan_frequencies
from tepui.prediction.plan_lines import filter_loss_db
from tepui.station.nouns import Station

SHAPE_POINTS = 33
CURVE_POINTS = 301
NEAR_SHARE = 3.0  # how much of what counts as near is drawn
FLOOR_DB = -130.0
MOST_LISTED, FEW = 16, 5
REJECTED = "rejected"


@dataclass(frozen=True, kw_only=True)
class Reach:
    """What may be chosen.

    low_hz, high_hz, step_hz  of the modulator's frequency
    runs    per side, stretches (from, to, verdict) of the modulator's frequency
    listed  plans worth a line: rank, IF, LO, side, verdict, reason
    total   how many plans there are
    """

    wanted_hz: float
    low_hz: float
    high_hz: float
    step_hz: float
    runs: Mapping[str, tuple[tuple[float, float, str], ...]]
    listed: tuple[Mapping[str, Any], ...]
    total: int
    locals_hz: tuple[tuple[float, float], ...]


@dataclass(frozen=True, kw_only=True)
class Look:
    """One plan.

    document  as the verb gives it
    products  each with text, centre, ends, level, doubt, place, name and, for one with a width, its shape [Hz, dB]
    curves    the filter's loss: "close" and "whole" [Hz, dB]
    words     the command that says the same
    """

    document: Mapping[str, Any]
    if_hz: float
    lo_hz: float
    wanted_hz: float
    width_hz: float
    close_hz: tuple[float, float]
    whole_hz: tuple[float, float]
    needed_db: float
    goal_db: float
    products: tuple[Mapping[str, Any], ...]
    curves: Mapping[str, tuple[tuple[float, float], ...]]
    protected_hz: tuple[tuple[float, float], ...]
    words: tuple[str, ...]


def plan_of_file(path: Path) -> tuple[float, str] | None:
    """Modulator frequency and side that the file's oscillator gives; None where the file states no oscillator. [Hz]"""
    station = open_station(path)
    mixers = _mixers(station)
    if not mixers or mixers[-1].frequency is None:
        return None
    wanted, oscillator = station.channel.centre.value, mixers[-1].frequency.value
    return abs(wanted - oscillator), "high" if oscillator > wanted else "low"


def modulator_for(path: Path, lo_hz: float) -> float:
    """The modulator's frequency that an oscillator leaves for the wanted channel. [Hz]"""
    return abs(open_station(path).channel.centre.value - lo_hz)


def reach_of(path: Path, *, among: str = "", raster: str = "") -> Reach:
    """Every plan of a range of modulator frequencies, on both sides.

    raises  InputError
    """
    station = open_station(path)
    options = station_options(station)
    tuned = options.get("modulator") or WHOLE_RANGE
    given = {"signal": among or tuned, "side": "both", "raster": raster or options.get("raster") or "1 MHz"}
    question = _question(station, path, given)
    outcome = plan_frequencies(question)
    table = next(table for table in outcome.tables if table.name == "plans")
    rows = [dict(zip([key for key, _ in table.columns], row, strict=True)) for row in table.rows]
    found = parse_quantities(str(given["signal"]), kind="frequency")
    ends = [end for one in found for end in (one.low or one.value, one.high or one.value)]
    step = parse_quantities(str(given["raster"]), kind="frequency")[0].value
    asked = question.plan
    runs = {side: _runs([row for row in rows if row["side"] == side], step) for side in ("low", "high")}
    return Reach(
        wanted_hz=asked.wanted_hz,
        low_hz=min(ends),
        high_hz=max(ends),
        step_hz=step,
        runs=runs,
        listed=_best_of_each(rows, runs),
        total=len(rows),
        locals_hz=tuple((one.centre_hz - one.width_hz / 2, one.centre_hz + one.width_hz / 2)
                        for one in asked.locals_near),
    )  # fmt: skip


def look_at(path: Path, *, if_hz: float, side: str) -> Look:
    """One plan.

    raises  InputError
    """
    station = open_station(path)
    text = f"{if_hz / 1e6:.10g} MHz"
    question = _question(station, path, {"signal": text, "side": side})
    outcome = plan_frequencies(question)
    if not outcome.pictures:
        raise RangeError("The channel and the modulator's frequency are the same: there is nothing to mix.")
    data = outcome.pictures["frequency_plan"]
    asked = question.plan
    close = (asked.wanted_hz - NEAR_SHARE * asked.near_hz, asked.wanted_hz + NEAR_SHARE * asked.near_hz)
    whole = (0.0, asked.wanted_hz + 2.15 * max(if_hz, abs(asked.wanted_hz - if_hz), asked.near_hz))
    return Look(
        document=build_document(verb="frequencies", outcomes=[outcome], inputs=(), station=station.name),
        if_hz=float(data["if_hz"]),
        lo_hz=float(data["lo_hz"]),
        wanted_hz=asked.wanted_hz,
        width_hz=asked.signal_width_hz,
        close_hz=close,
        whole_hz=whole,
        needed_db=float(data["needed_db"]),
        goal_db=asked.goal_db,
        products=tuple(_product(one, asked.signal_width_hz) for one in (*data["products"], *_beyond(outcome, data))),
        curves={name: _curve(question, ends) for name, ends in (("close", close), ("whole", whole))},
        protected_hz=tuple((one.low_hz, one.high_hz) for one in asked.protected),
        words=("frequencies", path.name, "--if", text, "--side", side),
    )


def _mixers(station: Station) -> list[Any]:
    return [stage for stage in station.stages if stage.kind == "mixer"]


def _question(station: Station, path: Path, given: Mapping[str, Any]) -> FrequencyQuestion:
    if not _mixers(station):
        raise InputError("This station has no mixer: the modulator's signal goes out on the frequency it is made on.")
    options = {**station_options(station), **given}
    own = None
    if "mixer_table" in options:
        own = read_mixer_table(named_file(path, str(options["mixer_table"])))
    fars = tuple((far.call, far_options(far)) for far in station.fars)
    return question_from(options, own=own, fars=fars)


def _runs(rows: Sequence[Mapping[str, Any]], step_hz: float) -> tuple[tuple[float, float, str], ...]:
    """Neighbours with one verdict joined."""
    runs: list[tuple[float, float, str]] = []
    for row in sorted(rows, key=lambda row: float(row["if_hz"])):
        place, verdict = float(row["if_hz"]), str(row["verdict"])
        if runs and runs[-1][2] == verdict and place - runs[-1][1] < step_hz:
            runs[-1] = runs[-1][0], place + step_hz / 2, verdict
        else:
            runs.append((place - step_hz / 2, place + step_hz / 2, verdict))
    return tuple(runs)


def _best_of_each(
    rows: Sequence[Mapping[str, Any]], runs: Mapping[str, Sequence[tuple[float, float, str]]]
) -> tuple[Mapping[str, Any], ...]:
    """The best plan of every stretch that is not rejected; where all are, the best few."""
    kept: dict[tuple[str, float], Mapping[str, Any]] = {}
    for row in rows:
        side = str(row["side"])
        run = next((one for one in runs.get(side, ()) if one[0] <= row["if_hz"] < one[1]), None)
        if run is not None and row["verdict"] != REJECTED:
            kept.setdefault((side, run[0]), row)
    return tuple(kept.values())[:MOST_LISTED] or tuple(rows[:FEW])


def _beyond(outcome: Outcome, data: Mapping[str, Any]) -> list[tuple[Any, ...]]:
    """Products with a name that lie beyond the verb's own picture: an image above all."""
    table = next(table for table in outcome.tables if table.name == "products_behind_filter")
    seen = {one[0] for one in data["products"]}
    found = []
    for row in table.rows:
        told: dict[str, Any] = dict(zip([key for key, _ in table.columns], row, strict=True))
        if told["product"] in seen or told["place"] == "channel":
            continue
        centre, width = float(told["centre_hz"]), float(told["width_hz"])
        doubt = float(told["behind_filter_db_high"]) - float(told["behind_filter_db"])
        order = round(width / data["signal_width_hz"])
        found.append((told["product"], order, centre, centre - width / 2, centre + width / 2,
                      float(told["level_db"]), doubt, told["place"], "image" if order == 1 else ""))  # fmt: skip
    return found


def _product(told: Sequence[Any], width_hz: float) -> Mapping[str, Any]:
    text, order, centre, low, high, level, doubt, place, name = told
    shape: tuple[tuple[float, float], ...] = ()
    if order:
        x = np.linspace(-order / 2, order / 2, SHAPE_POINTS)[1:-1]
        spread = level + 10 * np.log10(np.maximum(density(x, n=order), 1e-13))
        shape = tuple(zip((centre + x * width_hz).tolist(), np.maximum(spread, FLOOR_DB).tolist(), strict=True))
    return {"text": text, "order": order, "centre_hz": centre, "low_hz": low, "high_hz": high, "level_db": level,
            "doubt_db": doubt, "place": place, "name": name, "shape": shape}  # fmt: skip


def _curve(question: FrequencyQuestion, ends: tuple[float, float]) -> tuple[tuple[float, float], ...]:
    frequency = np.linspace(max(ends[0], 1e5), ends[1], CURVE_POINTS)
    loss = filter_loss_db(question.plan, frequency)
    return tuple(zip(frequency.tolist(), loss.tolist(), strict=True))
