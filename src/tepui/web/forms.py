"""The forms of the verbs a page can start: which options they offer, and the words of the command they make.

Theory  A page asks the same questions as the command line and hands the same words to it, so that there is one set of
        checks and one set of sentences. What is left empty is left out.
Source  cli/verbs/*.
Holds   Options that take one value of text; recordings and tables are names of the bench's folder.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from tepui.web.state import SUFFIXES, TABLES, BenchState


@dataclass(frozen=True, kw_only=True)
class Option:
    """One field: the option it sets, its label, an example, and choices where there are few."""

    name: str
    label: str
    hint: str = ""
    example: str = ""
    choices: tuple[str, ...] = ()

    @property
    def flag(self) -> str:
        """As on the command line."""
        return f"--{self.name}"


@dataclass(frozen=True, kw_only=True)
class Form:
    """A verb as a page starts it.

    many   more than one recording may be chosen; ``table`` the option that takes a table instead
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
    return (*SUFFIXES, *TABLES) if form.table else SUFFIXES
