"""[[stage]]: one link of the chain, in signal order; a test point "after NAME" follows it.

Theory  Each kind of stage has its keys; a key of another kind is refused with the kinds it belongs to.
Source  tepui's own file, format 1. Compression and intercept of amplifiers are referred to the output, of mixers to the
        input, as data sheets have them.
Holds   Levels are mean powers; p1db, oip3 and saturated are single-carrier data.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from tepui.chain.amplifiers.memory import MemoryPolynomial
from tepui.station.figures import Figure, Place
from tepui.station.rules import choice, count, figure, flag, points, ranges, special, text

STAGE_KINDS = (
    "modulator",
    "pad",
    "mixer",
    "filter",
    "amplifier",
    "isolator",
    "coupler",
    "passive",
    "feeder",
    "antenna",
)
PASSIVE = ("pad", "filter", "isolator", "coupler", "passive", "feeder")
LOSSY = (*PASSIVE, "mixer")
AMP = ("amplifier",)
MIX = ("mixer",)
MOD = ("modulator",)
FILTER = ("filter",)
POWERED = ("modulator", "mixer", "amplifier", "passive", "isolator")


@dataclass(frozen=True, kw_only=True, eq=False)
class Curve:
    """Loss over frequency, as a filter's file, table or prototype gives it.

    frequency_hz  (n,) rising, absolute
    loss_db       (n,) above zero is loss
    how           in words: "table", "Touchstone file", "Chebyshev prototype of 3 poles"
    assumed       whether it is a prototype: what metal does far from the channel is not in it
    """

    frequency_hz: npt.NDArray[np.float64]
    loss_db: npt.NDArray[np.float64]
    how: str
    assumed: bool = False


@dataclass(frozen=True, kw_only=True)
class Response:
    """What the file says of a filter: a file to open, or rows of a table; exactly one is set."""

    path: str | None
    rows: tuple[tuple[float, float], ...]
    text: str
    place: Place


@dataclass(frozen=True, kw_only=True)
class Stage:
    """One stage; which keys belong to which kind is in the rules."""

    name: str = text("name; the test point is called after it", required=True)
    kind: str = choice(STAGE_KINDS, "what it is", required=True)
    part: str | None = text("name of a generic part in the library, whose figures fill what is not stated")
    wanted: bool | None = flag("true while it is still to be bought")
    note: str | None = text("anything")
    # levels
    level: Figure | None = figure("level", "mean output", stages=MOD, least=-80, most=40, example="0 dBm ± 1 dB")
    step: Figure | None = figure("ratio", "step of the level", stages=MOD, least=0.01, most=6, example="0.1 dB")
    tunes: tuple[Figure, ...] | None = ranges("frequency", "what it tunes", stages=("modulator", "mixer", "filter"))
    raster: Figure | None = figure("frequency", "step of its tuning", stages=("modulator", "mixer"), least=0)
    harmonics: Figure | None = figure("ratio", "its second harmonic relative to the signal", stages=MOD, most=0)
    mer: Figure | None = figure("ratio", "its own MER", stages=MOD, least=10, most=70, example="38 dB")
    shoulder: Figure | None = figure("ratio", "its own shoulder", stages=MOD, least=-90, most=-10)
    gain: Figure | None = figure("ratio", "gain", stages=("amplifier", "antenna"), example="18 dB ± 1.5 dB")
    loss: Figure | None = figure("ratio", "loss", stages=LOSSY, least=0, most=200, example="0.7 dB ± 0.2 dB")
    noise_figure: Figure | None = figure("noise", "noise figure", stages=("amplifier", "mixer"), least=0, most=60)
    holds: tuple[Figure, ...] | None = ranges("frequency", "where its figures hold; elsewhere their doubt doubles")
    # limits and distortion
    max_input: Figure | None = figure("level", "most it bears at its input, mean", example="13 dBm")
    p1db: Figure | None = figure("level", "output where gain has fallen 1 dB", stages=AMP, example="46 dBm")
    oip3: Figure | None = figure("level", "third-order intercept at the output", stages=AMP)
    saturated: Figure | None = figure("level", "saturated output", stages=AMP)
    input_p1db: Figure | None = figure("level", "input where loss has grown 1 dB", stages=MIX, example="1 dBm")
    iip3: Figure | None = figure("level", "third-order intercept at the input", stages=MIX)
    drive_curve: tuple[tuple[Figure, ...], ...] | None = points(
        ("level", "level", "angle"),
        "single-carrier input, output and, if read, phase",
        stages=AMP,
        example='["-10 dBm: 20 dBm", "0 dBm: 29.2 dBm"]',
    )
    memory_polynomial: Response | None = special("file", "file of its measured memory polynomial", stages=AMP)
    harmonic_2: Figure | None = figure("ratio", "second harmonic relative to the signal", stages=AMP, most=0)
    harmonic_3: Figure | None = figure("ratio", "third harmonic relative to the signal", stages=AMP, most=0)
    # mixing
    frequency: Figure | None = figure("frequency", "oscillator at the mixer", stages=MIX, least=1e5)
    lo_level: Figure | None = figure("level", "oscillator level it is made for", stages=MIX, example="7 dBm")
    lo_isolation: Figure | None = figure("ratio", "oscillator to output", stages=MIX, least=0, example="28 dB ± 6 dB")
    oscillator_mer: Figure | None = figure("ratio", "MER that its phase noise allows", stages=MIX, least=5, most=70)
    if_isolation: Figure | None = figure("ratio", "signal to output", stages=MIX, least=0, example="25 dB ± 10 dB")
    spurs: str | None = text("file of its products' levels: columns m, n, level_db, doubt_db", stages=MIX)
    oscillator_tunes: tuple[Figure, ...] | None = ranges("frequency", "what the oscillator makes", stages=MIX)
    multiplier: int | None = count("factor of the oscillator's multiplier", stages=MIX, least=1, most=64)
    reference: Figure | None = figure("frequency", "reference of the oscillator", stages=MIX, least=1e5)
    reference_error: Figure | None = figure("ppm", "95 % error of that reference", stages=MIX, example="0.5 ppm")
    phase_noise: tuple[tuple[Figure, ...], ...] | None = points(
        ("frequency", "phase_noise"),
        "of the oscillator before its multiplier",
        stages=MIX,
        example='["1 kHz: -93 dBc/Hz", "200 kHz: -93 dBc/Hz"]',
    )
    # filter
    response: Response | None = special("response", "loss: a file, rows of MHz and dB, or a number", stages=FILTER)
    centre: Figure | None = figure("frequency", "middle of a filter to be designed", stages=FILTER, least=1e5)
    width: Figure | None = figure("frequency", "its ripple width", stages=FILTER, least=1e3, example="20 MHz")
    poles: int | None = count("resonators", stages=FILTER, least=1, most=9)
    ripple: Figure | None = figure("ratio", "ripple; 0 dB for maximally flat", stages=FILTER, least=0, most=3)
    unloaded_q: Figure | None = figure("quality", "unloaded Q of a resonator", stages=FILTER, least=10, most=1e5)
    drift: Figure | None = figure("drift", "centre against temperature", stages=FILTER, example="23 ppm/K")
    # feeder and antenna
    cable: str | None = text("generic designation, for loss from the table", stages=("feeder",), example="RG-213/U")
    length: Figure | None = figure("length", "of the cable", stages=("feeder",), least=0)
    diameter: Figure | None = figure("length", "largest size, for its near field", stages=("antenna",), least=0)
    pattern: str | None = text("file of its pattern: angle_deg,loss_db from its axis", stages=("antenna",))
    azimuth: Figure | None = figure("angle", "true bearing of its axis", stages=("antenna",), least=0, most=360)
    # supply and heat
    supply: Figure | None = figure("voltage", "its rail", stages=POWERED, least=0.5, most=3000, example="13.8 V")
    current: Figure | None = figure("current", "current when driven", stages=POWERED, least=0, example="5.2 A")
    idle: Figure | None = figure("current", "current without drive", stages=AMP, least=0)
    start_current: Figure | None = figure("current", "current while starting", stages=POWERED, least=0)
    converter: Figure | None = figure("percent", "efficiency of its converter", stages=POWERED, least=0.05, most=1)
    amplifier_class: str | None = choice(("A", "AB", "B"), "class of its last transistor", stages=AMP)
    case_max: Figure | None = figure("temperature", "hottest its case may be", stages=POWERED, example="80 degC")
    interface: Figure | None = figure("thermal_resistance", "case to sink", stages=POWERED, example="0.15 K/W")
    sink: Figure | None = figure("thermal_resistance", "its sink to air", stages=POWERED)
    junction_max: Figure | None = figure("temperature", "hottest its junction may be", stages=AMP)
    junction_case: Figure | None = figure("thermal_resistance", "junction to case", stages=AMP)
    fan: bool | None = flag("whether a fan blows on its sink", stages=POWERED)
    # not keys of the file: what was opened or looked up beside it
    curve: Curve | None = None
    memory: MemoryPolynomial | None = None
    from_library: Mapping[str, str] | None = None
    place: Place | None = None

    @property
    def point(self) -> str:
        """Name of the test point behind it."""
        return f"after {self.name}"
