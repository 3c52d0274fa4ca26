"""The options of ``frequencies`` and what a station file says, joined into one question in SI.

Theory  An option outranks the file, the file outranks a default, and every default that was needed is listed, so that
        the findings can say what was assumed.
Source  Defaults: table mixer_typical_values for loss and isolation; table common_practice for the filter's poles; the
        rest guesses of this program, named in ``assumed``.
Holds   Quantities as ground/quantity.py reads them; a list may carry its unit once, at its end.
"""

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np

from tepui.chain.conversion.mixer import MixerDrive
from tepui.chain.conversion.phase_noise import PhaseNoiseProfile
from tepui.chain.conversion.synthesiser import SynthesiserLimits
from tepui.chain.filters.coupled import BandpassDesign
from tepui.ground.errors import InputError, QuantityError, RangeError
from tepui.ground.quantity import Quantity, parse_quantities, parse_quantity
from tepui.jobs.frequencies import SHOW, FrequencyQuestion
from tepui.jobs.frequencies_far import FarQuestion
from tepui.jobs.frequencies_oscillator import OscillatorQuestion
from tepui.prediction.far_receiver import FarReceiver
from tepui.prediction.plan_far import FarStation
from tepui.prediction.plan_question import Cascade, LocalService, PlanQuestion, Protected
from tepui.signals.dvbt.mode import FFT_NAMES, Mode
from tepui.tables.load import load_table

Own = Mapping[tuple[int, int], tuple[float, float | None]]
WHOLE_RANGE = "45..870 MHz"
MOST_STEPS = 400_000
FFT_SIZES = {name: size for size, name in FFT_NAMES.items()}


class Options:
    """Options by name, read with their unit; ``assumed`` collects the defaults that were used."""

    def __init__(self, given: Mapping[str, Any]) -> None:
        self._given = given
        self.assumed: list[str] = []

    def text(self, name: str) -> str | None:
        """What was given, None where nothing was."""
        value = self._given.get(name)
        return None if value is None else str(value)

    def quantity(self, name: str, kind: str, default: str | None = None, *, words: str = "") -> Quantity | None:
        """One quantity; with a default it is never None, and ``words`` name what was assumed."""
        text = self.text(name)
        if text is None:
            if default is None:
                return None
            if words:
                self.assumed.append(f"{words} {default}")
            text = default
        found: Quantity = self._named(name, lambda: parse_quantity(text, kind=kind))
        return found

    def value(self, name: str, kind: str, default: str | None = None, *, words: str = "") -> float | None:
        """The number alone."""
        found = self.quantity(name, kind, default, words=words)
        if found is not None and found.is_range:
            raise QuantityError(f'{_option(name)}: "{found.text}" is a range; here one value is wanted.')
        return None if found is None else found.value

    def sure(self, name: str, kind: str, default: str, *, words: str = "") -> float:
        """The number alone, where there is a default."""
        found = self.value(name, kind, default, words=words)
        assert found is not None
        return found

    def doubted(self, name: str, kind: str, default: str, *, words: str, unsaid_db: float) -> tuple[float, float]:
        """The number and half of its 95 %; ``unsaid_db`` where the operator gave no doubt."""
        found = self.quantity(name, kind, default, words=words)
        assert found is not None
        if found.low is None or found.high is None:
            self.assumed.append(f"{words} ± {unsaid_db:g} dB")
            return found.value, unsaid_db
        return found.value, (found.high - found.low) / 2

    def several(self, name: str, kind: str = "frequency") -> tuple[Quantity, ...]:
        """Ranges and values of a list; a unit at its end serves all of it."""
        text = self.text(name)
        if text is None:
            return ()
        found: tuple[Quantity, ...] = self._named(name, lambda: parse_quantities(with_unit_throughout(text), kind=kind))
        return found

    def count(self, name: str, default: int, *, words: str = "") -> int:
        """A whole number."""
        value = self._given.get(name)
        if value is None and words:
            self.assumed.append(f"{words} {default}")
        return default if value is None else int(value)

    def ranges(self, name: str) -> tuple[tuple[float, float], ...]:
        """Ranges only."""
        found = []
        for one in self.several(name):
            if not one.is_range or one.low is None or one.high is None:
                raise QuantityError(
                    f'{_option(name)}: "{one.text}" is no range; write its ends, such as "470..862 MHz".'
                )
            found.append((one.low, one.high))
        return tuple(found)

    def _named(self, name: str, read: Callable[[], Any]) -> Any:
        try:
            return read()
        except InputError as problem:
            raise QuantityError(f"{_option(name)}: {problem}") from problem


def _option(name: str) -> str:
    return "--if" if name == "signal" else "--" + name.replace("_", "-")


def with_unit_throughout(text: str) -> str:
    """A list whose unit stands at its end, with the unit at every member.

    >>> with_unit_throughout("474, 578, 690 MHz")
    '474 MHz, 578 MHz, 690 MHz'
    """
    parts = re.split(r",\s+", text.strip())
    last = re.search(r"[0-9]\s*([A-Za-z][A-Za-z/]*)\s*$", parts[-1])
    if last is None:
        return text
    return ", ".join(part if re.search(r"[A-Za-z]", part) else f"{part} {last.group(1)}" for part in parts)


def stepped(found: tuple[Quantity, ...], step_hz: float, *, option: str) -> tuple[float, ...]:
    """Values as they are, ranges in steps from their lower end. [Hz]"""
    if not step_hz > 0:
        raise RangeError(f"The step of {option} must be above zero.")
    values: list[float] = []
    for one in found:
        if one.is_range and one.low is not None and one.high is not None:
            count = int(np.floor((one.high - one.low) / step_hz + 1e-9)) + 1
            if count > MOST_STEPS:
                raise RangeError(
                    f"{option} has {count} steps; {MOST_STEPS} are looked through at once: a coarser raster."
                )
            values += (one.low + step_hz * np.arange(count)).tolist()
        else:
            values.append(one.value)
    return tuple(values)


def question_from(
    given: Mapping[str, Any],
    *,
    locals_found: tuple[LocalService, ...] = (),
    own: Own | None = None,
    fars: tuple[tuple[str, Mapping[str, Any]], ...] = (),
) -> FrequencyQuestion:
    """The whole question.

    fars    stations that should receive, each with its name and its options
    raises  InputError: one sentence
    """
    options = Options(given)
    wanted, width = options.value("wanted", "frequency"), options.value("width", "frequency")
    if wanted is None or width is None:
        missing = "--wanted" if wanted is None else "--width"
        raise RangeError(f'{missing} is needed, or a station file: the wanted channel, such as --wanted "1286 MHz" '
                         '--width "7 MHz".')  # fmt: skip
    mode = Mode(width_hz=width, n_fft=FFT_SIZES[given.get("fft") or "8K"], guard=Fraction(1, 32), constellation="QPSK",
                code_rate=Fraction(1, 2))  # fmt: skip
    oscillator = _oscillator(options, given, mode)
    far_questions = tuple(far for name, one in fars if (far := _far(Options(one), mode, name=name)) is not None)
    plan = _plan(options, given, wanted_hz=wanted, mode=mode, locals_found=locals_found, own=own)
    plan = replace(
        plan,
        fars=tuple(FarStation(name=far.name, receiver=far.receiver) for far in far_questions),
        transmit_ppm=0.0 if oscillator is None else oscillator.reference_ppm or 0.0,
    )
    return FrequencyQuestion(
        plan=plan,
        oscillator=oscillator,
        fars=far_questions,
        number=options.count("plan", 1),
        show=options.count("show", SHOW),
    )


def _plan(
    options: Options, given: Mapping[str, Any], *, wanted_hz: float, mode: Mode, locals_found: tuple[LocalService, ...],
    own: Own | None,
) -> PlanQuestion:  # fmt: skip
    width = mode.width_hz
    signal = options.several("signal")
    if not signal:
        options.assumed.append(f"IF anywhere in {WHOLE_RANGE}")
        signal = parse_quantities(WHOLE_RANGE, kind="frequency")
    raster = options.sure("raster", "frequency", "0.25 MHz")
    oscillator = options.ranges("oscillator")
    if len(oscillator) > 1:
        raise RangeError("--oscillator takes one range.")
    harmonic, harmonic_doubt = options.doubted(
        "multiplier_harmonics", "ratio", "-30 dB ± 10 dB", words="", unsaid_db=10
    )
    limit = options.sure("protect_limit", "ratio", "-60 dB")
    locals_near = (*_locals(given, width_hz=width), *locals_found)
    words = "shielding between local services and the mixer" if locals_near else ""
    shielding = options.sure("shielding", "ratio", "40 dB", words=words)
    protected = [pair for text in given.get("protect") or () for pair in Options({"protect": text}).ranges("protect")]
    return PlanQuestion(
        wanted_hz=wanted_hz,
        width_hz=width,
        signal_width_hz=mode.occupied_width_hz,
        if_hz=stepped(signal, raster, option="--if"),
        side=given.get("side") or "both",
        near_hz=options.value("near", "frequency") or 1.5 * width,
        drive=_drive(options),
        design=_design(options, wanted_hz=wanted_hz, width_hz=width),
        mixer="own table" if own is not None else given.get("mixer") or "typical",
        own=own,
        order=options.count("order", 9 if given.get("second_if") is None else 7),
        max_m=given.get("most_m"),
        max_n=given.get("most_n"),
        goal_db=options.sure("goal", "ratio", "60 dB", words="goal for oscillator and image"),
        oscillator_hz=oscillator[0] if oscillator else None,
        step_hz=options.value("step", "frequency"),
        multiplied=options.count("multiply", 1),
        harmonic_db=harmonic,
        harmonic_doubt_db=harmonic_doubt,
        modulator_hz=options.ranges("modulator") or None,
        locals_near=locals_near,
        shielding_db=shielding,
        protected=tuple(Protected(low_hz=low, high_hz=high, limit_db=limit) for low, high in protected),
        direct=bool(given.get("direct")),
        cascade=_cascade(options),
        measured=given.get("filter_curve"),
        assumed=tuple(options.assumed),
    )


def _cascade(options: Options) -> Cascade | None:
    second = options.several("second_if")
    if not second:
        return None
    step = options.sure("second_raster", "frequency", "10 MHz", words="step of the second IF")
    options.assumed.append("3-pole filter of 5 channels' width behind the first mixer")
    return Cascade(second_if_hz=stepped(second, step, option="--second-if"))


def _drive(options: Options) -> MixerDrive:
    typical = load_table("mixer_typical_values")

    def middle(quantity: str) -> str:
        low, high = (float(typical.cell(end, quantity=quantity)) for end in ("low", "high"))
        return f"{(low + high) / 2:g} dB ± {(high - low) / 2:g} dB"

    loss, loss_doubt = options.doubted(
        "loss", "ratio", middle("conversion loss passive diode"), words="conversion loss", unsaid_db=1
    )
    isolation, isolation_doubt = options.doubted(
        "lo_isolation",
        "ratio",
        middle("LO to RF isolation passive diode"),
        words="isolation of the oscillator",
        unsaid_db=6,
    )
    leak, leak_doubt = options.doubted(
        "if_isolation", "ratio", "25 dB ± 10 dB", words="isolation of the signal", unsaid_db=10
    )
    harmonic, harmonic_doubt = options.doubted(
        "harmonics", "ratio", "-40 dB ± 10 dB", words="second harmonic of the modulator", unsaid_db=10
    )
    return MixerDrive(
        signal_dbm=options.sure("level", "level", "-10 dBm", words="signal into the mixer"),
        lo_dbm=options.sure("lo_level", "level", "7 dBm", words="oscillator into the mixer"),
        loss_db=loss,
        loss_doubt_db=loss_doubt,
        lo_isolation_db=isolation,
        lo_isolation_doubt_db=isolation_doubt,
        if_isolation_db=leak,
        if_isolation_doubt_db=leak_doubt,
        harmonic_db=harmonic,
        harmonic_doubt_db=harmonic_doubt,
    )


def _design(options: Options, *, wanted_hz: float, width_hz: float) -> BandpassDesign:
    filter_width = options.value("filter_width", "frequency")
    if filter_width is None:
        filter_width = 5 * width_hz
        options.assumed.append(f"filter of {filter_width / 1e6:g} MHz ripple width")
    return BandpassDesign(
        centre_hz=wanted_hz,
        width_hz=filter_width,
        n_poles=options.count("filter_poles", 3, words="poles of the filter"),
        ripple_db=options.sure("filter_ripple", "ratio", "0.1 dB", words="ripple of the filter"),
        unloaded_q=options.count("filter_q", 1200, words="unloaded Q of its resonators"),
    )


def _locals(given: Mapping[str, Any], *, width_hz: float) -> tuple[LocalService, ...]:
    found = []
    for text in given.get("local") or ():
        match = re.fullmatch(r"\s*(?P<place>[^-−]*?[A-Za-z])[\s,]*(?P<level>[-−+]?\s*[0-9.]+\s*dBm)?\s*", str(text))
        if match is None:
            raise QuantityError(f'--local: "{text}" is no local service: write "690 MHz" or "690 MHz -35 dBm".')
        options = Options({"local": match["place"], "level": match["level"]})
        place = options.quantity("local", "frequency")
        assert place is not None
        level = options.value("level", "level")
        if place.is_range and place.low is not None and place.high is not None:
            found.append(LocalService(centre_hz=place.value, width_hz=place.high - place.low, level_dbm=level))
        else:
            found.append(LocalService(centre_hz=place.value, width_hz=width_hz, level_dbm=level))
    return tuple(found)


def _oscillator(options: Options, given: Mapping[str, Any], mode: Mode) -> OscillatorQuestion | None:
    names = ("reference", "reference_error", "phase_noise", "modulator_mer", "shoulder", "measured_mer")
    if all(given.get(name) is None for name in names):
        return None
    error = options.value("reference_error", "ppm")
    return OscillatorQuestion(
        mode=mode,
        reference_ppm=None if error is None else abs(error),
        limits=_limits(options),
        profile=_profile(options),
        modulator_mer_db=options.value("modulator_mer", "ratio"),
        shoulder_db=options.value("shoulder", "ratio"),
        measured_mer_db=options.value("measured_mer", "ratio"),
        receiver_to_hz=options.value("receiver_to", "frequency"),
    )


def _limits(options: Options) -> SynthesiserLimits | None:
    reference = options.value("reference", "frequency")
    if reference is None:
        return None
    vco = options.ranges("vco")
    dividers = options.text("dividers") or "1"
    if not re.fullmatch(r"[0-9]{1,4}(,\s*[0-9]{1,4})*", dividers.strip()):
        raise RangeError(f'--dividers: "{dividers}" is no list of whole numbers: write "1, 2, 4, 8".')
    divided = tuple(sorted({int(one) for one in dividers.split(",")}))
    if divided[0] < 1:
        raise RangeError("--dividers: every output divider is 1 or more.")
    return SynthesiserLimits(
        reference_hz=Fraction(reference).limit_denominator(1000),
        pfd_max_hz=options.sure("pfd_max", "frequency", "32 MHz"),
        mod_max=options.count("mod_max", 4095),
        int_min=options.count("int_min", 23),
        dividers=divided,
        vco_hz=vco[0] if vco else None,
        loop_hz=options.sure("loop", "frequency", "50 kHz"),
    )


def _profile(options: Options) -> PhaseNoiseProfile | None:
    text = options.text("phase_noise")
    if text is None:
        return None
    points = []
    for part in re.split(r",\s+", text.strip()):
        pair = re.fullmatch(r"(?P<offset>[^:]+?)\s*:\s*(?P<level>.+)", part) or re.fullmatch(
            r"(?P<offset>.*?Hz)\s+(?P<level>[-−].+)", part
        )
        if pair is None:
            raise QuantityError(f'--phase-noise: "{part}" is no point: write "1 kHz: -93 dBc/Hz".')
        point = Options({"phase_noise": pair["offset"], "level": pair["level"]})
        offset, level = point.value("phase_noise", "frequency"), point.value("level", "phase_noise")
        assert offset is not None
        assert level is not None
        points.append((offset, level))
    return PhaseNoiseProfile(
        offset_hz=tuple(offset for offset, _ in points),
        level_dbc_hz=tuple(level for _, level in points),
        slope_db_decade=options.sure("slope", "ratio", "-20 dB"),
    )


def _far(options: Options, mode: Mode, *, name: str) -> FarQuestion | None:
    tunes = options.ranges("far_tunes")
    if not tunes:
        return None
    error = options.value("far_error", "ppm")
    return FarQuestion(
        name=name,
        mode=mode,
        receiver=FarReceiver(
            tunes=tunes,
            raster_hz=options.value("far_raster", "frequency"),
            converter_hz=options.value("far_converter", "frequency"),
            converter_ppm=0.0 if error is None else abs(error),
            pull_in_hz=options.value("pull_in", "frequency"),
        ),
    )
