"""The chain seen once for all findings: assembled, its levels before and after readings, its quality behind each stage.

Theory  Everything the findings of a station state is a view of this one object, so that no two of them disagree.
Source  prediction.cascade, readings and quality.
Holds   One station, one set of readings.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from tepui.ground.doubt import COVERAGE_FACTOR, Estimate
from tepui.prediction.cascade import Node, cascade
from tepui.prediction.draws import drawn_levels
from tepui.prediction.quality import Quality, qualities
from tepui.prediction.readings import LevelReading, Model, Updated, model_of, update
from tepui.signals.dvbt.mode import Mode
from tepui.station.assemble import Assembled, assemble
from tepui.station.instruments import Instrument
from tepui.station.nouns import Station
from tepui.station.stages import Stage

INSTRUMENT_STD_DB = 0.5  # an offset that was not stated: 1 dB at 95 %, common practice


@dataclass(frozen=True, kw_only=True, eq=False)
class Chain:
    """A station's chain as far as it can be said.

    nodes     before any reading
    updated   with the readings that stand
    """

    station: Station
    assembled: Assembled
    nodes: tuple[Node, ...]
    model: Model
    readings: tuple[LevelReading, ...]
    updated: Updated
    quality: tuple[Quality, ...]

    @property
    def mode(self) -> Mode:
        """The mode, or the one assumed for shoulders."""
        return self.assembled.mode

    @property
    def levels(self) -> tuple[Estimate, ...]:
        """Level behind each stage, readings taken in."""
        return self.updated.levels

    def index(self, name: str) -> int | None:
        """Place of a stage among the links, None beyond them."""
        names = [link.name for link in self.assembled.links]
        return names.index(name) if name in names else None

    def level_before(self, name: str) -> Estimate | None:
        """Level at a stage's input."""
        n = self.index(name)
        return None if not n else self.levels[n - 1]

    @property
    def output(self) -> int | None:
        """Index of the last amplifier, whose output is the transmitter's; None without one."""
        places = [n for n, link in enumerate(self.assembled.links) if link.kind == "amplifier"]
        return places[-1] if places else None

    @property
    def output_stage(self) -> Stage | None:
        """The last amplifier."""
        return None if self.output is None else self.assembled.stages[self.output]

    @property
    def antenna(self) -> int | None:
        """Index of the antenna, where the chain reaches it."""
        places = [n for n, link in enumerate(self.assembled.links) if link.kind == "antenna"]
        return places[-1] if places else None


def offset_std_db(instrument: Instrument) -> float:
    """Standard uncertainty of the offset that all readings of an instrument share. [dB]"""
    if instrument.accuracy is None:
        return INSTRUMENT_STD_DB
    return instrument.accuracy.value / COVERAGE_FACTOR


def chain_of(station: Station, readings: Sequence[LevelReading] = ()) -> Chain:
    """Put the chain together and take the readings in."""
    assembled = assemble(station)
    nodes = cascade(assembled.links, occupied_hz=assembled.mode.occupied_width_hz)
    model = model_of(assembled.links, {one.name: offset_std_db(one) for one in station.instruments})
    updated = update(model, readings)
    drawn = drawn_levels(model, [one.reading for one in updated.judged if one.accepted])
    quality = qualities(assembled.links, nodes, updated.levels, mode=assembled.mode, drawn=drawn)
    return Chain(
        station=station,
        assembled=assembled,
        nodes=nodes,
        model=model,
        readings=tuple(readings),
        updated=updated,
        quality=quality,
    )
