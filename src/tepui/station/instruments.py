"""[[instrument]]: what the operator measures with, and what it really shows of this signal.

Theory  Detectors set on a single carrier read a Gaussian signal wrongly by a fixed amount; prediction knows how much.
Source  tepui's own file, format 1.
Holds   Doubts of two kinds: ``accuracy`` is one offset shared by all readings, ``repeat`` is new at each.
"""

from dataclasses import dataclass

from tepui.station.figures import Figure, Place
from tepui.station.rules import choice, count, figure, ranges, text

INSTRUMENT_KINDS = (
    "thermal head",
    "log detector",
    "envelope detector",
    "peak detector",
    "diode probe",
    "receiver",
    "spectrum screen",
)
_RECEIVERS = ("receiver", "spectrum screen")


@dataclass(frozen=True, kw_only=True)
class Instrument:
    """One instrument."""

    name: str = text("name, used with readings", required=True)
    kind: str = choice(INSTRUMENT_KINDS, "what is inside", required=True)
    accuracy: Figure | None = figure("ratio", "95 % offset all its readings share", least=0, most=20, example="0.5 dB")
    repeat: Figure | None = figure("ratio", "95 % scatter of one reading", least=0, most=20, example="0.2 dB")
    pads: Figure | None = figure("ratio", "attenuation ahead of it, taken into account", least=0, most=120)
    pad_power: Figure | None = figure("power", "mean power the first pad bears", example="5 W")
    max_input: Figure | None = figure("level", "most its own connector bears, peaks counted", example="-10 dBm")
    min_input: Figure | None = figure("level", "least it can show")
    tunes: tuple[Figure, ...] | None = ranges("frequency", "where it works", example="0.05..3 GHz")
    law: str | None = choice(("square", "linear"), "law of a diode probe at this level")
    bits: int | None = count("of its converter", least=6, most=24)
    rate: Figure | None = figure("sample_rate", "sample rate", least=1e4, example="2.4 MHz")
    usable: Figure | None = figure("frequency", "width it shows flat", least=1e3, example="1.8 MHz")
    dc_width: Figure | None = figure("frequency", "width lost to the line at its centre", least=0)
    mer: Figure | None = figure("ratio", "MER it reaches on a perfect signal", least=10, most=70, example="38 dB")
    place: Place | None = None

    @property
    def is_receiver(self) -> bool:
        """Whether it shows a spectrum."""
        return self.kind in _RECEIVERS
