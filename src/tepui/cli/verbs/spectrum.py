"""``tepui spectrum``: a wide recording or many narrow ones in; shoulders, width, peaks, ripple, lines, floor out."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from tepui.cli.parsing import quantity, sample_rate_hz, whole_number, width_hz
from tepui.ground.errors import InputError

if TYPE_CHECKING:
    from tepui.ground.doubt import Estimate

FFT_SIZES = {"2K": 2048, "4K": 4096, "8K": 8192}
MER_DOUBT_DB = 0.3  # 95 %, of an MER told without its doubt; ours
DC_WIDTH_HZ = 0.1e6  # common practice, where the receiver is not described

EXAMPLE = """\
tepui spectrum on-air.sigmf-meta --plots pictures
tepui spectrum sweep-pad-10 sweep-pad-20 sweep-pad-30 --centre "1286 MHz" --width "7 MHz" --plots pictures
tepui spectrum --settings evening.csv --calibration noise.wav
tepui spectrum --tunings --centre "1286 MHz" --width "7 MHz" --fft 8K --usable "1.8 MHz" --dc-width "0.1 MHz"
tepui spectrum samples.raw --type ci16 --rate "16 MS/s" --frequency "1286 MHz" --json"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    parser.add_argument(
        "recordings",
        metavar="REC",
        nargs="*",
        type=Path,
        help="SigMF, WAV (I/Q in two channels) or raw samples, or a folder; many that are too narrow for the channel "
        "and overlap are stitched into one spectrum",
    )
    parser.add_argument("--plots", metavar="DIR", type=Path, help="write pictures into this folder")
    parser.add_argument("--type", metavar="TYPE", help="sample type of a raw file: cu8, ci8, ci16_le, cf32_le ...")
    parser.add_argument("--rate", metavar="RATE", help='sample rate of a raw file: "16 MS/s", "16 MHz" or 16e6')
    parser.add_argument("--frequency", metavar="F", help='frequency the receiver was tuned to: "1286 MHz"')
    parser.add_argument("--width", metavar="W", help='channel width, where it is not to be found blind: "2 MHz"')
    parser.add_argument("--centre", metavar="F", help="the channel's centre, with --width, where no DVB-T is found")
    parser.add_argument(
        "--settings",
        metavar="FILE",
        type=Path,
        help="table (CSV) of recording, frequency_hz, attenuator_db and more: what raw samples and WAV cannot say",
    )
    parser.add_argument(
        "--calibration",
        metavar="REC",
        nargs="+",
        action="extend",
        default=[],
        type=Path,
        help="noise alone, or the input terminated, by the narrow receiver: its filters and its floor",
    )
    parser.add_argument("--usable", metavar="W", help='width that a narrow receiver shows truly: "1.8 MHz"')
    parser.add_argument(
        "--mer",
        metavar="M",
        help='MER of a wide recording of the same signal, "31 dB ± 0.3 dB": what is not noise is distortion',
    )
    parser.add_argument(
        "--tunings",
        action="store_true",
        help="measure nothing: tell where to tune a narrow receiver, from --centre, --width and --usable",
    )
    parser.add_argument("--fft", choices=tuple(FFT_SIZES), default="8K", help="FFT size, for --tunings (8K)")
    parser.add_argument("--dc-width", metavar="W", help="width of the receiver's line at zero, for --tunings (0.1 MHz)")
    parser.add_argument("--level", metavar="P", help='level ahead of the pads, for --tunings: "+10 dBm"')
    parser.add_argument("--max-input", metavar="P", help='what the receiver\'s input stands, for --tunings: "-10 dBm"')
    parser.add_argument("--mask", metavar="NAME", help="a mask of the table to keep under, as a target")
    parser.add_argument(
        "--workers", metavar="N", type=whole_number, help="threads to use; the findings do not depend on it"
    )
    parser.add_argument("--strict", action="store_true", help="leave with 1 where the mask named is missed")


def run(arguments: argparse.Namespace) -> int:
    """Turn the options into SI and hand over."""
    rate_hz = None if arguments.rate is None else sample_rate_hz(arguments.rate, option="--rate")
    frequency_hz = _hertz(arguments.frequency, "--frequency")
    centre_hz = _hertz(arguments.centre, "--centre")
    channel_hz = None if arguments.width is None else width_hz(arguments.width, option="--width")
    usable_hz = _hertz(arguments.usable, "--usable")
    if arguments.tunings:
        return _tunings(arguments, centre_hz=centre_hz, channel_hz=channel_hz, usable_hz=usable_hz, rate_hz=rate_hz)
    if not arguments.recordings and arguments.settings is None:
        raise InputError("there is no recording: name one, a folder of them, or a table of settings with --settings.")
    from tepui.desk.setup import ensure_kernels

    ensure_kernels()
    from tepui.desk.spectrum import SpectrumRequest, run_spectrum

    request = SpectrumRequest(
        paths=arguments.recordings,
        plots=arguments.plots,
        sample_type=arguments.type,
        rate_hz=rate_hz,
        frequency_hz=frequency_hz,
        width_hz=channel_hz,
        centre_hz=centre_hz,
        mask=arguments.mask,
        workers=arguments.workers,
        settings=arguments.settings,
        calibration=arguments.calibration,
        usable_hz=usable_hz,
        mer=None if arguments.mer is None else _mer(arguments.mer),
    )
    return run_spectrum(request, as_json=arguments.json, strict=arguments.strict)


def _tunings(
    arguments: argparse.Namespace,
    *,
    centre_hz: float | None,
    channel_hz: float | None,
    usable_hz: float | None,
    rate_hz: float | None,
) -> int:
    if arguments.recordings:
        raise InputError(
            f"--tunings measures nothing, so {arguments.recordings[0]} has no place beside it: leave it out, and tell "
            "the channel and the receiver by options."
        )
    named = (("--centre", centre_hz), ("--width", channel_hz), ("--usable", usable_hz))
    missing = [name for name, value in named if value is None]
    if centre_hz is None or channel_hz is None or usable_hz is None:
        raise InputError(f'--tunings needs {" and ".join(missing)} as well, such as --usable "1.8 MHz".')
    from tepui.desk.tunings import run_tunings
    from tepui.jobs.tunings import TuningRequest

    request = TuningRequest(
        centre_hz=centre_hz,
        width_hz=channel_hz,
        n_fft=FFT_SIZES[arguments.fft],
        usable_hz=usable_hz,
        dc_width_hz=DC_WIDTH_HZ if arguments.dc_width is None else _told(arguments.dc_width, "--dc-width"),
        rate_hz=rate_hz,
        level_dbm=_level(arguments.level, "--level"),
        max_input_dbm=_level(arguments.max_input, "--max-input"),
    )
    return run_tunings(request, as_json=arguments.json)


def _told(text: str, option: str) -> float:
    return quantity(text, kind="frequency", option=option)


def _level(text: str | None, option: str) -> float | None:
    return None if text is None else quantity(text, kind="level", option=option)


def _mer(text: str) -> "Estimate":
    """An MER with its doubt; MER_DOUBT_DB where none is told.

    raises  QuantityError that names the option; RangeError beyond what MER can be
    """
    from tepui.ground.checks import require_between
    from tepui.ground.doubt import estimate
    from tepui.ground.errors import QuantityError
    from tepui.ground.quantity import parse_quantity

    try:
        told = parse_quantity(text, kind="ratio")
    except QuantityError as problem:
        raise QuantityError(f"--mer: {problem}") from problem
    require_between("--mer", told.value, 0, 80, unit="dB", source="MER of anything that can be received")
    half = MER_DOUBT_DB if told.low is None or told.high is None else (told.high - told.low) / 2
    return estimate(told.value, reading=half / 2)


def _hertz(text: str | None, option: str) -> float | None:
    return None if text is None else quantity(text, kind="frequency", option=option)
