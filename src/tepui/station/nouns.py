"""The tables of the station file as nouns; every field carries the rule by which it is read and published.

Theory  One definition: field, rule and meaning stand on one line each. Unknown is None.
Source  tepui's own file, format 1.
Holds   Units as ``figures.Figure`` states them; what must agree between tables is in ``order``.
"""

from dataclasses import dataclass, field
from fractions import Fraction

from tepui.ground.errors import RangeError
from tepui.signals.dvbt.mode import FFT_NAMES, Mode
from tepui.station.figures import Figure, Place
from tepui.station.instruments import Instrument
from tepui.station.path_nouns import NamedSite, PathPlan
from tepui.station.rules import choice, coordinates, count, figure, locator, number, ranges, special, text
from tepui.station.stages import Stage

FORMAT = 1
FFT_BY_NAME = {name: size for size, name in FFT_NAMES.items()}


@dataclass(frozen=True, kw_only=True)
class Site:
    """[station]: who and where."""

    call: str = text("callsign", required=True, example="Q1ABC")
    name: str | None = text("name of the place", example="Marl Bay")
    locator: str | None = locator("Maidenhead locator", example="HI45kt")
    coordinates: str | None = coordinates("latitude and longitude, where known better than the locator")
    antenna_height: Figure | None = figure("length", "antenna above ground", least=0.01, example="20 m")
    ambient: Figure | None = figure(
        "temperature", "hottest air around the box", least=213.15, most=353.15, example="40 degC"
    )
    enclosure: str | None = choice(("open", "vented", "closed"), "how the box exchanges air")
    air_rise: Figure | None = figure("temperature_difference", "rise of the air through the box", least=0.5, most=60)
    altitude: Figure | None = figure("length", "height above the sea, for thin air", least=-500, most=6000)
    place: Place | None = None


@dataclass(frozen=True, kw_only=True)
class Channel:
    """[channel]: where and how the signal is sent."""

    centre: Figure = figure("frequency", "middle of the channel", required=True, least=1e6, most=1e11)
    width: Figure = figure("frequency", "channel width", required=True, least=0.3e6, most=8e6, example="7 MHz")
    fft: str | None = choice(tuple(FFT_BY_NAME), "carriers of the transform")
    guard: str | None = choice(("1/4", "1/8", "1/16", "1/32"), "guard fraction")
    constellation: str | None = choice(("QPSK", "16QAM", "64QAM"), "constellation")
    code_rate: str | None = choice(("1/2", "2/3", "3/4", "5/6", "7/8"), "rate of the inner code")
    side: str | None = choice(("low", "high"), "oscillator below or above the channel")
    place: Place | None = None

    @property
    def mode(self) -> Mode | None:
        """The mode, where the table names all of it."""
        if not (self.fft and self.guard and self.constellation and self.code_rate):
            return None
        return Mode(
            width_hz=self.width.value,
            n_fft=FFT_BY_NAME[self.fft],
            guard=Fraction(self.guard),
            constellation=self.constellation,
            code_rate=Fraction(self.code_rate),
        )


@dataclass(frozen=True, kw_only=True)
class Target:
    """[target]: what the operator wants to keep to."""

    shoulder: Figure | None = figure("ratio", "shoulder to stay below", least=-80, most=-10, example="-32 dB")
    confidence: Figure | None = figure("percent", "that it is met", least=0.5, most=0.999, example="90 %")
    mer: Figure | None = figure("ratio", "MER to reach at the antenna", least=3, most=60, example="28 dB")
    power_max: Figure | None = figure("power", "most power the operator allows", example="10 W")
    power_basis: str | None = choice(("mean", "pep", "unclear"), "what that power means")
    place: Place | None = None


@dataclass(frozen=True, kw_only=True)
class Licence:
    """[licence]: limits the operator enters from their own papers; tepui knows none of its own."""

    band: tuple[Figure, ...] | None = ranges("frequency", "band the signal must stay in", example="1240..1300 MHz")
    eirp_max: Figure | None = figure("power", "limit on the radiated power", example="75 W")
    eirp_basis: str | None = choice(("mean", "pep", "unclear"), "what that power means")
    spurious_max: Figure | None = figure("level", "limit on any harmonic, image or other line", example="-30 dBm")
    exposure_max: Figure | None = special("exposure", "limit on power density where people may be, f in MHz")
    reflection: float | None = number("ground reflection: factor on the field", least=1, most=2.5, example="1.6")
    source: str | None = text("whose limits these are", example="licence sheet of 2031")
    place: Place | None = None


@dataclass(frozen=True, kw_only=True)
class Supply:
    """[supply]: what feeds the station."""

    voltage: Figure | None = figure("voltage", "of the main rail", least=1, most=400, example="13.8 V")
    current_max: Figure | None = figure("current", "what the supply can give", least=0)
    reserve: Figure | None = figure("percent", "kept in hand", least=0, most=2, example="25 %")
    cable_length: Figure | None = figure("length", "one way", least=0)
    cable_area: Figure | None = figure("area", "copper in one wire", least=1e-8, example="2.5 mm2")
    battery: Figure | None = figure("charge", "capacity, if it runs from a battery", least=0, example="36 Ah")
    battery_usable: Figure | None = figure("percent", "share of the capacity that may be taken", least=0, most=1)
    ripple: Figure | None = figure("voltage", "peak to peak on the main rail", least=0, example="20 mV")
    place: Place | None = None


@dataclass(frozen=True, kw_only=True)
class Consumer:
    """[[consumer]]: what draws current and is no stage."""

    name: str = text("name", required=True)
    supply: Figure = figure("voltage", "its rail", required=True, least=0.5, most=400)
    current: Figure = figure("current", "its current", required=True, least=0)
    converter: Figure | None = figure("percent", "efficiency of its converter", least=0.05, most=1, example="85 %")
    place: Place | None = None


@dataclass(frozen=True, kw_only=True)
class Programme:
    """[programme]: what the bit rate is spent on."""

    service: str | None = text("name that the stream announces")
    audio: Figure | None = figure("rate", "bit rate of the sound", example="0.2 Mbit/s")
    tables: Figure | None = figure("rate", "bit rate of the tables", example="0.06 Mbit/s")
    headroom: Figure | None = figure("percent", "left empty", least=0, most=0.9, example="5 %")
    place: Place | None = None


@dataclass(frozen=True, kw_only=True)
class Far:
    """[[far]]: a station that should receive."""

    call: str = text("callsign", required=True)
    name: str | None = text("name of the place")
    locator: str | None = locator("Maidenhead locator")
    coordinates: str | None = coordinates("latitude and longitude, where known better than the locator")
    antenna_height: Figure | None = figure("length", "antenna above ground", least=0.01, example="10 m")
    antenna_gain: Figure | None = figure("gain", "gain of its antenna", example="13 dBi")
    feeder_loss: Figure | None = figure("ratio", "loss of its feeder", least=0)
    noise_figure: Figure | None = figure("noise", "of its receiver", least=0)
    external_noise: Figure | None = figure("ratio", "of its surroundings over k T0", example="4 dB")
    preamplifier_gain: Figure | None = figure("ratio", "of a preamplifier at its mast head", least=0, example="18 dB")
    preamplifier_noise_figure: Figure | None = figure("noise", "of that preamplifier", least=0, example="0.8 dB")
    power: Figure | None = figure("level", "mean power of its transmitter, for the way back", example="30 dBm")
    tunes: tuple[Figure, ...] | None = ranges("frequency", "what its receiver tunes", example="174..230 MHz")
    raster: Figure | None = figure("frequency", "distance of the channels it offers", least=1, example="8 MHz")
    converter: Figure | None = figure("frequency", "oscillator of a converter before it", least=1e6, example="9750 MHz")
    converter_error: Figure | None = figure("ppm", "95 % error of that oscillator", example="15 ppm")
    pull_in: Figure | None = figure("frequency", "error its receiver follows", least=0, example="125 kHz")
    place: Place | None = None


@dataclass(frozen=True, kw_only=True)
class Plan:
    """[plan]: what a search for frequencies may try and must keep clean."""

    signal: tuple[Figure, ...] | None = ranges("frequency", "IFs to try", example="474..858 MHz")
    raster: Figure | None = figure("frequency", "step through a range of them", least=1e3, example="1 MHz")
    second_if: tuple[Figure, ...] | None = ranges("frequency", "with two mixers: where the second IF may lie")
    goal: Figure | None = figure("ratio", "how far oscillator and image must lie below the signal", least=0, most=120)
    order: int | None = count("highest |m| + |n| of products", least=2, most=15)
    protect: tuple[Figure, ...] | None = ranges("frequency", "spectrum to keep clean", example="1215..1240 MHz")
    protect_limit: Figure | None = figure("ratio", "level there below the signal", most=0, example="-60 dB")
    shielding: Figure | None = figure("ratio", "from local services in the shack to the mixer", least=0, most=150)
    place: Place | None = None


@dataclass(frozen=True, kw_only=True)
class Local:
    """[[local]]: a strong service near the station that may leak into the modulator's cables."""

    frequency: Figure = figure("frequency", "middle of its channel", required=True, least=1e6, example="690 MHz")
    level: Figure | None = figure("level", "how strong it is in the shack", example="-35 dBm")
    place: Place | None = None


@dataclass(frozen=True, kw_only=True)
class Station:
    """The whole file.

    stages  in signal order
    """

    file: str
    station: Site
    channel: Channel
    target: Target = field(default_factory=Target)
    licence: Licence = field(default_factory=Licence)
    supply: Supply = field(default_factory=Supply)
    programme: Programme = field(default_factory=Programme)
    stages: tuple[Stage, ...] = ()
    instruments: tuple[Instrument, ...] = ()
    consumers: tuple[Consumer, ...] = ()
    fars: tuple[Far, ...] = ()
    plan: Plan = field(default_factory=Plan)
    path: PathPlan = field(default_factory=PathPlan)
    sites: tuple[NamedSite, ...] = ()
    locals_near: tuple[Local, ...] = ()

    @property
    def name(self) -> str:
        """Call and place, as the document and the pages name the station."""
        return " ".join(part for part in (self.station.call, self.station.name) if part)

    def stage(self, name: str) -> Stage:
        """The stage of that name.

        raises  RangeError, naming those there are
        """
        for stage in self.stages:
            if stage.name == name:
                return stage
        raise RangeError(f"{self.file} has no stage {name}; it has {', '.join(stage.name for stage in self.stages)}.")


# Tables that occur once, and tables in a list, by their name in the file: (noun, field of Station).
SINGLE: dict[str, tuple[type, str]] = {
    "station": (Site, "station"),
    "channel": (Channel, "channel"),
    "target": (Target, "target"),
    "licence": (Licence, "licence"),
    "supply": (Supply, "supply"),
    "programme": (Programme, "programme"),
    "plan": (Plan, "plan"),
    "path": (PathPlan, "path"),
}
LISTED: dict[str, tuple[type, str]] = {
    "stage": (Stage, "stages"),
    "instrument": (Instrument, "instruments"),
    "consumer": (Consumer, "consumers"),
    "far": (Far, "fars"),
    "site": (NamedSite, "sites"),
    "local": (Local, "locals_near"),
}
NEEDED = ("station", "channel")
