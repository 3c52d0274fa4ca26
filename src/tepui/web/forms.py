"""The forms of the verbs a page can start: which options they offer, and the sheets beside them.

Theory  A page asks the same questions as the command line and hands the same words to it (form_words.py), so that there
        is one set of checks and one set of sentences.
Source  cli/verbs/*.
Holds   Options that take one value of text; recordings and tables are names of the bench's folder.
"""

from dataclasses import dataclass

from tepui.desk.workshop import PLACE


@dataclass(frozen=True, kw_only=True)
class Option:
    """One field: the option it sets, its label, an example, and choices where there are few.

    blank  what the empty choice means
    new  its text names something new in the folder; this is what the name begins with where it is left empty
    """

    name: str
    label: str
    hint: str = ""
    example: str = ""
    choices: tuple[str, ...] = ()
    blank: str = "not said"
    new: str = ""

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
    kept     more words of the command: files it keeps in the result's own folder
    key      the form's own name, where a verb has several
    typed    headings of a table that may be typed in instead of chosen, the one for each number of columns
    bare     whether it may begin without a file
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
    kept: tuple[str, ...] = ()
    key: str = ""
    typed: tuple[str, ...] = ()
    bare: bool = False

    @property
    def name(self) -> str:
        """In addresses."""
        return self.key or self.verb

    @property
    def link(self) -> str:
        """Where its sheet is."""
        return f"/do/{self.name}"


@dataclass(frozen=True, kw_only=True)
class Sheet:
    """A sheet of a stage that is no form; ``leads`` where it stands before the forms."""

    place: str
    part: str
    title: str
    lead: str
    link: str
    name: str = ""
    leads: bool = False


SHEETS = (
    Sheet(
        place="source",
        part="Modes",
        title="Modes of this channel",
        lead="What each mode carries and what it needs, with the one in the file among them.",
        link="/mode",
        leads=True,
    ),
    Sheet(
        place="mixer",
        part="Plan",
        title="Frequency plan",
        lead="Drag modulator and oscillator and see every product move with its true width.",
        link="/frequencies",
        leads=True,
    ),
    Sheet(
        place="antenna",
        part="Care",
        title="Licence and care",
        lead="What stands on paper about limits, exposure, supply and heat, to be ticked off by you.",
        link="/care",
        leads=True,
    ),
    Sheet(
        place="path",
        part="Path",
        title="Path",
        lead="The way to a far station: distance, obstacle, loss and margin.",
        link="/path",
        leads=True,
    ),
    Sheet(
        place="path",
        part="Map",
        title="Map",
        lead="Who will see the picture, over the terrain around.",
        link="/map",
        leads=True,
    ),
    Sheet(
        place="filter",
        part="At the screws",
        title="At the screws",
        lead="A folder is watched: each new trace of the analyser becomes one line for each screw, large.",
        link="/screws",
    ),
    Sheet(
        place="amplifier",
        part="Live",
        title="Edge watch",
        lead="Both shoulders and the whole signal, live, while the drive is turned.",
        link="/watch",
    ),
)
RAW = (
    Option(name="type", label="Sample type", hint="of a raw file", example="cu8"),
    Option(name="rate", label="Sample rate", hint="of a raw file", example="2.4 MS/s"),
    Option(name="frequency", label="Tuned to", hint="where the file does not say it", example="1286 MHz"),
    Option(name="width", label="Channel width", hint="where it is not to be found blind", example="7 MHz"),
)
RECEIVER = (
    Option(name="receiver", label="Receiver", hint="practice, or one that tepui receivers lists", example="practice"),
    Option(name="gain", label="Gain", hint="of one element", example="LNA=20 dB"),
    Option(name="attenuator", label="Pads before the receiver", example="20 dB"),
)
RECEIVER_MORE = (
    Option(name="rate", label="Sample rate", hint="else the receiver's nearest to 2.4 MS/s", example="2.4 MS/s"),
    Option(name="front", label="Gain element ahead", hint="of the first stage that distorts", example="LNA"),
    Option(name="behind", label="Gain element behind it", example="IF"),
    Option(name="step-pad", label="Gain element that is a pad", example="PAD"),
)
FORMS = {
    form.name: form
    for form in (
        Form(
            verb="mode",
            place="source",
            part="By hand",
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
            part="Search",
            title="Search for frequencies",
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
            lead="A recording becomes shoulders, width, peaks, ripple, lines and floor; narrow ones at two or three "
            "pads are solved together.",
            button="Measure",
            options=(
                Option(
                    name="mask", label="Mask to keep under", hint="a target, never a law", example="GE06_noncritical"
                ),
                Option(name="centre", label="Channel centre", hint="where no DVB-T is found", example="1286 MHz"),
            ),
            folded=(*RAW, Option(name="usable", label="Usable width of a narrow receiver", example="1.8 MHz")),
            many=True,
        ),
        Form(
            verb="spectrum",
            key="tunings",
            place="amplifier",
            part="Tunings",
            title="Where to tune a narrow receiver",
            lead="Two tunings for both shoulders, or a whole sweep; what comes out can be recorded unattended.",
            button="List them",
            options=(
                Option(name="centre", label="Channel centre", example="1286 MHz"),
                Option(name="width", label="Channel width", example="7 MHz"),
                Option(name="usable", label="Usable width of the receiver", example="1.8 MHz"),
                Option(name="dc-width", label="Width of its line at zero", example="0.1 MHz"),
                Option(name="fft", label="FFT size", choices=("8K", "4K", "2K")),
                Option(name="level", label="Level ahead of the pads", example="10 dBm"),
                Option(name="max-input", label="What the receiver's input stands", example="-10 dBm"),
            ),
            pictures=False,
            files=False,
            kept=("--tunings",),
        ),
        Form(
            verb="record",
            place="amplifier",
            part="Record",
            title="Record",
            lead="One frequency, or a list of tunings one after the other, unattended; every recording whole.",
            button="Record",
            options=(
                *RECEIVER,
                Option(name="frequency", label="Tune to", hint="where no list is chosen", example="1282.5 MHz"),
                Option(name="for", label="Length of each", hint="where the list does not say it", example="1 s"),
                Option(
                    name="out", label="Its name here", hint="else made from the time", example="pad-10", new="taken"
                ),
                Option(name="setting", label="Drive setting to be noted", example="-3 dBm"),
            ),
            folded=RECEIVER_MORE,
            table="list",
            pictures=False,
            bare=True,
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
                Option(name="fft", label="FFT size", choices=("", "2K", "4K", "8K"), blank="from the recording"),
                Option(name="width", label="Channel width", example="7 MHz"),
                Option(name="doubt", label="Doubt of a shoulder read", example="0.3 dB"),
                Option(name="supply", label="Supply voltage", example="13.8 V"),
            ),
            many=True,
            table="readings",
            typed=("", "setting_dbm,shoulder_worst_db", "setting_dbm,shoulder_lower_db,shoulder_upper_db"),
        ),
        Form(
            verb="check",
            place="antenna",
            part="All figures",
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
            part="By hand",
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
                Option(
                    name="model",
                    label="Model",
                    choices=("", "free-space", "knife-edge", "p526", "p1812", "p452"),
                    blank="as in the file",
                ),
            ),
            files=False,
            station=True,
        ),
        Form(
            verb="receive",
            place="far",
            part="Receive",
            title="Receive",
            lead="A recording is decoded: mode, quality with its doubt, echoes, whole packets or not, and the picture.",
            button="Receive",
            folded=RAW,
            kept=("--out", f"{PLACE}/received.ts", "--picture", f"{PLACE}/picture.png"),
        ),
    )
}
