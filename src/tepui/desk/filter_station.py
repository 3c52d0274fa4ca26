"""What a station file asks of one of its filters: centre, width, power, and what must be kept out by how much.

Theory  Behind the last mixer the plan of the file's own oscillator says it: the oscillator's line and the image must
        come down by the goal, and so must every other product outside the channel. Elsewhere only centre, width and
        power are known.
Source  prediction/plan; station/order for levels and frequencies.
Holds   One filter at a time; products closer than the channel's own edge are the plan's affair, not a filter's.
"""

from dataclasses import dataclass
from pathlib import Path

from tepui.desk.frequency_options import question_from
from tepui.desk.frequency_station import station_options
from tepui.files.mixer_tables import read_mixer_table
from tepui.files.station import open_station
from tepui.files.within import named_file
from tepui.ground.errors import ChoiceError, RangeError
from tepui.jobs.filter_question import Rejection
from tepui.prediction.plan import FilterTable, find_plans
from tepui.prediction.plan_lines import plan_lines
from tepui.station.nouns import Station
from tepui.station.order import nominal_inputs, stage_inputs_hz
from tepui.station.stages import Stage

WIDE = 5.0  # channel widths of a filter whose width the file does not say, as the frequency plan takes it
PRODUCTS = 3


@dataclass(frozen=True, kw_only=True)
class StationFilter:
    """One filter of a station as a question; ``said`` are sentences on where its parts come from.

    places_hz   wanted, LO and image by name, where there is a mixer
    """

    station: Station
    stage: Stage
    centre_hz: float
    width_hz: float
    poles: int | None
    ripple_db: float | None
    unloaded_q: float | None
    channel_hz: float
    power_w: float | None
    rejections: tuple[Rejection, ...]
    places_hz: dict[str, float]
    said: tuple[str, ...]


def station_filter(path: Path, *, name: str | None) -> StationFilter:
    """The filter of a station file.

    name    of the stage; None takes the first behind the last mixer
    raises  InputError where the file has no such filter
    """
    station = open_station(path)
    stage = _stage(station, name, path)
    carried = stage_inputs_hz(station)[stage.name]
    level = next(level for one, level in nominal_inputs(station) if one is stage)
    said = []
    centre = stage.centre.value if stage.centre is not None else carried
    if centre is None:
        raise RangeError(
            f"{path}: nothing says at what frequency the signal passes {stage.name}; state the mixer's frequency, or "
            "the filter's centre."
        )
    channel_hz = station.channel.width.value
    width = stage.width.value if stage.width is not None else WIDE * channel_hz
    if stage.width is None:
        said.append(f"Its width is not in the file: {WIDE:g} channels are taken; --width says another.")
    rejections: tuple[Rejection, ...] = ()
    places: dict[str, float] = {}
    if _behind_mixer(station, stage):
        rejections, places, more = _from_plan(station, path)
        said += more
    return StationFilter(
        station=station,
        stage=stage,
        centre_hz=centre,
        width_hz=width,
        poles=stage.poles,
        ripple_db=None if stage.ripple is None else stage.ripple.value,
        unloaded_q=None if stage.unloaded_q is None else stage.unloaded_q.value,
        channel_hz=channel_hz,
        power_w=None if level is None else 10 ** (level / 10) / 1000,
        rejections=rejections,
        places_hz=places,
        said=tuple(said),
    )


def _stage(station: Station, name: str | None, path: Path) -> Stage:
    filters = [stage for stage in station.stages if stage.kind == "filter"]
    if name is not None:
        found = [stage for stage in filters if stage.name == name]
        if not found:
            known = ", ".join(stage.name for stage in filters) or "none"
            raise ChoiceError(f"{path} has no filter named {name}; its filters: {known}.")
        return found[0]
    if not filters:
        raise RangeError(
            f'{path} has no stage of kind "filter"; add one, or ask without a file by --centre and --width.'
        )
    return next((stage for stage in filters if _behind_mixer(station, stage)), filters[0])


def _behind_mixer(station: Station, stage: Stage) -> bool:
    """Whether the last mixer stands before a stage."""
    names = [one.name for one in station.stages]
    mixers = [n for n, one in enumerate(station.stages) if one.kind == "mixer"]
    return bool(mixers) and mixers[-1] < names.index(stage.name)


def _from_plan(station: Station, path: Path) -> tuple[tuple[Rejection, ...], dict[str, float], list[str]]:
    """Rejections, places and remarks by the plan of the oscillator in the file."""
    options = station_options(station)
    own = None
    if "mixer_table" in options:
        own = read_mixer_table(named_file(path, str(options.pop("mixer_table"))))
    if "signal" not in options:
        return (), {}, ["The mixer's frequency is not in the file, so no rejection is asked; --reject says one."]
    question = question_from(options, own=own).plan
    plans = find_plans(question)
    wanted, lo = question.wanted_hz, float(plans.lo_hz[0])
    image = abs(2 * lo - wanted)
    needed = [
        Rejection(frequency_hz=lo, wanted_db=round(max(plans.lo_needed_db, 0.0), 1), name="LO"),
        Rejection(frequency_hz=image, wanted_db=plans.image_needed_db, name="image"),
    ]
    half = question.width_hz / 2
    others = [
        one
        for one in plan_lines(plans, 0, question, table=FilterTable(question))
        if not one.name and abs(one.line.centre_hz - wanted) > 2 * half and one.line.centre_hz > 1e6
        and min(abs(one.line.low_hz - wanted), abs(one.line.high_hz - wanted)) > half
    ]  # fmt: skip
    others.sort(key=lambda one: -one.behind_db)
    for one in others[:PRODUCTS]:
        wants = round(one.level_db + question.goal_db, 1)
        if wants > 0:
            needed.append(Rejection(frequency_hz=one.line.centre_hz, wanted_db=wants, name=one.line.text()))
    told = (
        f"Asked by the plan of {path.name}: everything outside the channel {question.goal_db:g} dB below the wanted "
        f"signal; LO {lo / 1e6:g} MHz, image {image / 1e6:g} MHz."
    )
    if question.assumed:
        told += f" Assumed there: {'; '.join(question.assumed)}."
    return tuple(needed), {"wanted": wanted, "LO": lo, "image": image}, [told]
