"""Options of ``spectrum --screen``: levels read off a display, and how the display was set."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tepui.cli.parsing import UsageError, place, quantity, whole_number, width_hz
from tepui.ground.errors import QuantityError

if TYPE_CHECKING:
    from tepui.desk.screen import ScreenRequest
    from tepui.jobs.screen_told import Told

DETECTORS = ("power", "log", "linear", "peak")
FILTERS = ("gaussian", "4-pole", "5-pole", "hann", "blackman-harris", "flat-top")
LEVELS = ("top", "middle", "noise", "baseline", "line", "beside")
ALONE = (
    *("top", "middle", "noise", "baseline", "shoulder", "shoulder_lower", "shoulder_upper", "line", "beside", "rbw"),
    *("vbw", "detector", "rbw_filter", "averages", "sweep_time", "points", "held", "doubt", "total_power", "save"),
)

OTHERS = (
    *("plots", "type", "rate", "frequency", "centre", "calibration", "usable", "mer", "mask", "workers", "strict"),
    *("instrument", "quick", "dc_width", "level", "max_input", "gain", "front", "behind", "step_pad", "out", "rows"),
    *("pads", "duration"),
)
NAMES = {"rows": "list", "duration": "for"}


def add_screen_options(group: "argparse._ArgumentGroup") -> None:
    """Declare them."""
    add = group.add_argument
    add(
        "--screen",
        metavar="FILE.csv",
        nargs="?",
        const="",
        help="no recording: reckon with levels read off a display, told by the options below, or one row a look",
    )
    add("--top", metavar="P", help='highest value of the trace in band ("-35 dBm"); left out, levels are dB over it')
    add("--middle", metavar="P", help="in its place the middle height of the trace in band, where it scatters")
    add("--noise", metavar="P", help="the trace with the signal off or the input terminated, nothing else changed")
    add("--shoulder", metavar="P", help='worse side, 500 kHz outside: "-33 dB"; or "A, B, C" at 300, 500 and 700 kHz')
    add("--shoulder-lower", metavar="P", help="the same below the channel")
    add("--shoulder-upper", metavar="P", help="the same above the channel")
    add("--baseline", metavar="P", help="what the modulator alone shows 500 kHz outside, at the same level")
    add("--line", metavar="P", help="top of a discrete line: an oscillator's leak or a spur")
    add("--beside", metavar="P", help="the trace right beside that line")
    add("--rbw", metavar="F", help='resolution bandwidth ("30 kHz")')
    add("--rbw-filter", choices=FILTERS, help="its shape; of a Fourier transform the window")
    add("--vbw", metavar="F", help="video bandwidth")
    add("--detector", choices=DETECTORS, help="mean of powers, of decibels, of envelopes, or the highest value")
    add("--averages", metavar="N", type=whole_number, help="traces averaged")
    add("--sweep-time", metavar="T", help="time of one sweep, with --points")
    add("--points", metavar="N", type=whole_number, help="points of the trace")
    add("--held", metavar="N", type=whole_number, help="sweeps of which the highest is held, with --detector peak")
    add("--doubt", metavar="D", help='95 %% doubt of a level that tells none ("0.3 dB"); or "-35 dBm ± 1 dB" in place')
    add("--total-power", action="store_true", help="shoulders also as power in 4 kHz over the total power")
    add("--save", metavar="FILE.csv", type=place, help="write settings and shoulders for 'tepui drive --readings'")


def refuse_alone(given: argparse.Namespace) -> None:
    """Refuse options that say nothing without --screen.

    raises  UsageError
    """
    for name in ALONE:
        if getattr(given, name) not in (None, False):
            option = f"--{name.replace('_', '-')}"
            raise UsageError(f"{option} goes with levels read off a display: add --screen, or leave {option} out.")


def screen_request(given: argparse.Namespace) -> "ScreenRequest":
    """The question in SI.

    raises  InputError
    """
    from tepui.desk.screen import ScreenRequest
    from tepui.jobs.screen_told import READING_DOUBT_DB, LookTold

    if given.recordings or given.receiver is not None or given.tunings is not None or given.settings is not None:
        raise UsageError("--screen needs no recording and no receiver: leave them out, or --screen.")
    for name in OTHERS:
        if getattr(given, name) not in (None, False, []):
            option = f"--{NAMES.get(name, name).replace('_', '-')}"
            raise UsageError(f"{option} has no place beside --screen, which reckons with levels: leave it out.")
    table = Path(given.screen) if given.screen else None
    levels: dict[str, Any] = {name: _level(getattr(given, name), f"--{name}") for name in LEVELS}
    shoulders = {
        side: _levels(getattr(given, name), f"--{name.replace('_', '-')}")
        for side, name in (("lower", "shoulder_lower"), ("upper", "shoulder_upper"), ("worst", "shoulder"))
    }
    if table is None and given.save is not None:
        raise UsageError("--save writes a drive series: it needs --screen FILE.csv, with the column setting_dbm.")
    if table is not None and (any(levels.values()) or any(shoulders.values())):
        raise UsageError("--screen FILE.csv has the levels in its rows: leave the options that name levels out.")
    if shoulders["worst"] and (shoulders["lower"] or shoulders["upper"]):
        raise UsageError("--shoulder is the worse of the two sides: give it, or --shoulder-lower and --shoulder-upper.")
    told = LookTold(
        name="reading",
        **levels,
        shoulders=shoulders,
        width_hz=None if given.width is None else width_hz(given.width, option="--width"),
        n_fft=None if given.fft is None else {"2K": 2048, "4K": 4096, "8K": 8192}[given.fft],
        rbw_hz=_positive(given.rbw, "--rbw", "frequency"),
        shape=given.rbw_filter,
        vbw_hz=_positive(given.vbw, "--vbw", "frequency"),
        detector=given.detector,
        averages=given.averages,
        sweep_s=_positive(given.sweep_time, "--sweep-time", "time"),
        points=given.points,
        held=given.held,
        pad_db=_pad(given.attenuator),
        doubt_db=READING_DOUBT_DB if given.doubt is None else quantity(given.doubt, kind="ratio", option="--doubt"),
    )
    return ScreenRequest(table=table, told=told, total_power=given.total_power, save=given.save)


def _level(text: str | None, option: str) -> "Told | None":
    """A level in dBm, or in dB over the trace's top.

    raises  QuantityError that names the option
    """
    from tepui.ground.quantity import parse_quantity
    from tepui.jobs.screen_told import LEVEL, RATIO, Told

    if text is None:
        return None
    kind, unit = ("level", LEVEL) if "dBm" in text or "dBW" in text else ("ratio", RATIO)
    try:
        found = parse_quantity(text, kind=kind)
    except QuantityError as problem:
        more = " In dBm it is what the display shows, in dB over the trace's top." if "dB" not in text else ""
        raise QuantityError(f"{option}: {problem}{more}") from problem
    half = None if found.low is None or found.high is None else (found.high - found.low) / 2
    if half == 0:
        raise QuantityError(f'{option}: "{text}" has a doubt of zero, which no reading has; leave it out or state one.')
    return Told(value=found.value, half_db=half, unit=unit)


def _levels(text: str | None, option: str) -> "tuple[Told, ...]":
    if text is None:
        return ()
    found = [_level(part.strip(), option) for part in text.split(",")]
    return tuple(one for one in found if one is not None)


def _positive(text: str | None, option: str, kind: str) -> float | None:
    from tepui.ground.checks import require_positive

    if text is None:
        return None
    value = quantity(text, kind=kind, option=option)
    require_positive(option, value, unit="Hz" if kind == "frequency" else "s")
    return value


def _pad(text: str | None) -> float | None:
    from tepui.ground.checks import require_between

    if text is None:
        return None
    value = quantity(text, kind="ratio", option="--attenuator")
    require_between("--attenuator", value, 0, 150, unit="dB", source="a loss is positive; this program's limit")
    return value
