"""The forms of the verbs a page can start: which options they offer, and the words of the command they make.

Theory  A page asks the same questions as the command line and hands the same words to it, so that there is one set of
        checks and one set of sentences. What is left empty is left out.
Source  cli/verbs/*.
Holds   Options that take one value of text; recordings and tables are names of the bench's folder.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from tepui.web.state import SUFFIXES, TABLES, TRACES, BenchState


@dataclass(frozen=True, kw_only=True)
class Option:
    """One field: the option it sets, its label, an example, and choices where there are few.

    blank  what the empty choice means
    """

    name: str
    label: str
    hint: str = ""
    example: str = ""
    choices: tuple[str, ...] = ()
    blank: str = "from the recording"

    @property
    def flag(self) -> str:
        """As on the command line."""
        return f"--{self.name}"


@dataclass(frozen=True, kw_only=True)
class Form:
    """A verb as a page starts it.

    many     more than one recording may be chosen; ``table`` the option that takes a table instead
    files    whether it works on files of the folder
    station  whether it takes the station file, where there is one
    traces   whether its files are traces of an analyser
    """

    verb: str
    place: str
    part: str
    title: str
    lead: str
    button: str
    options: tuple[Option, ...] = ()
    folded: tuple[Option, ...] = ()
    many: bool = False
    table: str = ""
    pictures: bool = True
    files: bool = True
    station: bool = False
    traces: bool = False


RAW = (
    Option(name="type", label="Sample type", hint="of a raw file", example="cu8"),
    Option(name="rate", label="Sample rate", hint="of a raw file", example="2.4 MS/s"),
    Option(name="frequency", label="Tuned to", hint="where the file does not say it", example="1286 MHz"),
    Option(name="width", label="Channel width", hint="where it is not to be found blind", example="7 MHz"),
)
FORMS = {
    form.verb: form
    for form in (
        Form(
            verb="mode",
            place="modulator",
            part="Mode",
            title="Mode",
            lead="All modes of the channel width: rate, robustness, echo reach; one is recommended.",
            button="Choose",
            options=(
                Option(name="width", label="Channel width", hint="else the station's", example="7 MHz"),
                Option(name="cn", label="C/N that the path gives", example="15.6 dB"),
                Option(name="echo", label="Longest echo", example="12 us"),
                Option(name="rate", label="Least net bit rate", example="5 Mbit/s"),
            ),
            pictures=False,
            files=False,
            station=True,
        ),
        Form(
            verb="frequencies",
            place="mixer",
            part="Frequencies",
            title="Frequencies",
            lead="All products of every IF and oscillator, ranked plans, and why the rest lost.",
            button="Plan",
            options=(
                Option(name="wanted", label="Wanted channel", hint="else the station's", example="1286 MHz"),
                Option(name="width", label="Channel width", hint="else the station's", example="7 MHz"),
                Option(name="if", label="Modulator frequencies", example="474..860 MHz"),
                Option(name="raster", label="Raster", example="1 MHz"),
                Option(name="side", label="Oscillator", choices=("", "low", "high", "both")),
                Option(name="local", label="Strong local service", example="690 MHz"),
            ),
            files=False,
            station=True,
        ),
        Form(
            verb="filter",
            place="filter",
            part="Design",
            title="Filter: from metal to trace",
            lead="Rods, spacings, taps and screws from what the shop has, with the trace that these dimensions make.",
            button="Design",
            options=(
                Option(name="centre", label="Centre", example="1286 MHz"),
                Option(name="width", label="Equal-ripple width", example="20 MHz"),
                Option(name="poles", label="Resonators", example="3"),
                Option(name="ripple", label="Ripple", example="0.1 dB"),
                Option(name="structure", label="Structure", choices=("interdigital", "combline", "lumped")),
                Option(name="rod", label="Diameter of the rods", example="8 mm"),
                Option(name="gap", label="Distance of the plates", example="25 mm"),
                Option(name="reject", label="To be kept out", example="477 MHz: 60 dB"),
            ),
            folded=(
                Option(name="unloaded-q", label="Unloaded Q", example="1200"),
                Option(name="metal", label="Metal", choices=("", "brass", "copper", "aluminium", "silver")),
                Option(name="max-loss", label="Most loss at the centre", example="1.5 dB"),
                Option(name="power", label="Mean power", example="10 W"),
            ),
            files=False,
        ),
        Form(
            verb="tune",
            place="filter",
            part="Tune",
            title="Tune: from trace to screw",
            lead="A measured trace tells which resonator to turn which way, by how much, and what no screw can mend.",
            button="Read the trace",
            options=(
                Option(name="centre", label="Centre it should have", example="1286 MHz"),
                Option(name="width", label="Equal-ripple width", example="20 MHz"),
                Option(name="poles", label="Resonators", example="3"),
                Option(name="ripple", label="Ripple", example="0.1 dB"),
            ),
            folded=(Option(name="unloaded-q", label="Unloaded Q", hint="where it is known", example="1200"),),
            many=True,
            pictures=False,
            traces=True,
        ),
        Form(
            verb="spectrum",
            place="amplifier",
            part="Shoulders",
            title="Spectrum and shoulders",
            lead="A recording of the transmitter becomes shoulders, width, peaks, ripple, lines and floor.",
            button="Measure",
            options=(
                Option(
                    name="mask", label="Mask to keep under", hint="a target, never a law", example="GE06_noncritical"
                ),
                Option(name="centre", label="Channel centre", hint="where no DVB-T is found", example="1286 MHz"),
            ),
            folded=RAW,
            many=True,
        ),
        Form(
            verb="drive",
            place="amplifier",
            part="Drive",
            title="Drive",
            lead="A series of settings tells where the shoulder meets the target, and what the next decibel costs.",
            button="Find the setting",
            options=(
                Option(name="target", label="Target for the shoulder", example="-32 dB"),
                Option(name="confidence", label="Confidence", hint="that the setting meets it", example="90 %"),
                Option(
                    name="baseline",
                    label="Modulator alone shows",
                    hint="shoulder, same receiver level",
                    example="-38 dB",
                ),
                Option(name="step", label="Step of the modulator", example="0.1 dB"),
            ),
            folded=(
                Option(name="model", label="Form of the amplifier", choices=("auto", "cubic", "polynomial", "rapp")),
                Option(name="fft", label="FFT size", choices=("", "2K", "4K", "8K")),
                Option(name="width", label="Channel width", example="7 MHz"),
                Option(name="doubt", label="Doubt of a shoulder read", example="0.3 dB"),
                Option(name="supply", label="Supply voltage", example="13.8 V"),
            ),
            many=True,
            table="readings",
        ),
        Form(
            verb="check",
            place="antenna",
            part="Care",
            title="Care: limits, exposure, supply and heat",
            lead="Every prediction the station file allows, and every verdict that it leaves to you.",
            button="Work it out",
            pictures=False,
            files=False,
            station=True,
        ),
        Form(
            verb="path",
            place="path",
            part="Path",
            title="Path",
            lead="Loss term by term, the obstacle, levels and the margin of every mode.",
            button="Predict",
            options=(
                Option(name="from", label="From", hint="locator or latitude, longitude", example="HI45kt"),
                Option(name="to", label="To", example="HI46ob"),
                Option(name="frequency", label="Frequency", example="1286 MHz"),
                Option(name="tx-height", label="Height of the transmit antenna", example="20 m"),
                Option(name="rx-height", label="Height of the receive antenna", example="10 m"),
                Option(name="tx-power", label="Transmit power, mean", example="37 dBm"),
                Option(name="tx-gain", label="Transmit antenna", example="18 dBi"),
                Option(name="rx-gain", label="Receive antenna", example="13 dBi"),
                Option(name="rx-noise-figure", label="Receiver noise figure", example="3 dB"),
                Option(name="width", label="Channel width", example="7 MHz"),
            ),
            folded=(
                Option(name="clutter-loss", label="Trees and houses", example="10 dB"),
                Option(name="model", label="Model", choices=("", "free-space", "knife-edge", "p526", "p1812", "p452")),
            ),
            files=False,
            station=True,
        ),
        Form(
            verb="receive",
            place="far",
            part="Receive",
            title="Receive",
            lead="A recording is decoded: mode, quality with its doubt, echoes, and whether the packets are whole.",
            button="Receive",
            folded=RAW,
        ),
    )
}


def words_of(form: Form, given: Mapping[str, str], chosen: Sequence[str], state: BenchState) -> list[str]:
    """The words of the command.

    given    option names and texts; chosen  names of the folder's files
    raises   InputError for a name that is none of the folder's files
    """
    words = [form.verb]
    if form.station and state.chain.station.is_file():
        words.append(str(state.chain.station))
    for name in chosen:
        path = state.path_of(name)
        if form.table and path.suffix.lower() in TABLES:
            words += [f"--{form.table}", str(path)]
        else:
            words.append(str(path))
    for option in (*form.options, *form.folded):
        text = given.get(option.name, "").strip()
        if text:
            words += [option.flag, text]
    return words


def endings(form: Form) -> tuple[str, ...]:
    """Endings of the files that a form lists."""
    if form.traces:
        return (*TRACES, *TABLES)
    return (*SUFFIXES, *TABLES) if form.table else SUFFIXES
