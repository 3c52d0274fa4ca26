"""``tepui spectrum``: a wide recording or many narrow ones in; shoulders, width, peaks, ripple, lines, floor out."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from tepui.cli.live_options import add_receiver_options, asked_on_terminal, receiver_choice
from tepui.cli.parsing import UsageError, place, quantity, sample_rate_hz, whole_number, width_hz
from tepui.cli.screen_options import add_screen_options, refuse_alone, screen_request
from tepui.ground.errors import InputError

if TYPE_CHECKING:
    from tepui.desk.spectrum import SpectrumRequest
    from tepui.desk.tunings import TuningsRequest
    from tepui.ground.doubt import Estimate

FFT_SIZES = {"2K": 2048, "4K": 4096, "8K": 8192}
MER_DOUBT_DB = 0.3  # 95 %, of an MER told without its doubt; ours

EXAMPLE = """\
tepui spectrum on-air.sigmf-meta --plots pictures
tepui spectrum sweep-pad-10 sweep-pad-20 sweep-pad-30 --centre "1286 MHz" --width "7 MHz" --plots pictures
tepui spectrum --settings evening.csv --calibration noise.wav
tepui spectrum --tunings station.toml
tepui spectrum --tunings --centre "1286 MHz" --width "7 MHz" --fft 8K --usable "1.8 MHz" --dc-width "0.1 MHz"
tepui spectrum --receiver practice --out evening --plots pictures
tepui spectrum --receiver NAME --tunings station.toml --front LNA --behind IF --pads "20 dB, 30 dB, 40 dB" --out evening
tepui spectrum --screen --top "-35 dBm" --noise "-72 dBm" --shoulder "-66 dBm" --rbw "30 kHz" --width "7 MHz"
tepui spectrum --screen --line "-20 dB" --beside "-42 dB" --rbw "30 kHz" --detector log --width "7 MHz"
tepui spectrum --screen looks.csv --width "7 MHz" --rbw "30 kHz" --detector log --save series.csv
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
    parser.add_argument("--rate", metavar="RATE", help='sample rate of a raw file or a receiver: "16 MS/s" or 16e6')
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
    parser.add_argument("--mask", metavar="NAME", help="a mask of the table to keep under, as a target")
    parser.add_argument(
        "--workers", metavar="N", type=whole_number, help="threads to use; the findings do not depend on it"
    )
    parser.add_argument("--strict", action="store_true", help="leave with 1 where the mask named is missed")
    _add_tunings(parser.add_argument_group("where to tune a narrow receiver"))
    add_screen_options(parser.add_argument_group("levels read off a display, in place of recordings"))
    live = parser.add_argument_group("a receiver that runs, in place of recordings")
    add_receiver_options(live, needed=False, rate=False)
    live.add_argument("--out", metavar="DIR", type=place, help="a new folder for the recordings made, which are kept")
    live.add_argument("--list", metavar="FILE", dest="rows", type=place, help="tunings of your own, as for 'record'")
    live.add_argument("--pads", metavar="A,B,C", help='pads to record every tuning with ("10 dB, 20 dB, 30 dB")')
    live.add_argument("--for", metavar="T", dest="duration", help='length of each recording ("0.2 s")')


def _add_tunings(group: "argparse._ArgumentGroup") -> None:
    add = group.add_argument
    add(
        "--tunings",
        metavar="STATION",
        nargs="?",
        const="",
        type=str,
        help="measure nothing, tell where to tune: the receiver and channel of this station file, or what the options "
        "tell; with --receiver that list is recorded and measured",
    )
    add("--instrument", metavar="NAME", help="which receiver of the station file, where it has several")
    add("--quick", action="store_true", help="the quick two tunings (or three) in place of the whole sweep")
    add("--fft", choices=tuple(FFT_SIZES), help="FFT size, for --tunings and --screen (the station's, or 8K)")
    add("--dc-width", metavar="W", help="width of the receiver's line at zero, for --tunings (0.1 MHz)")
    add("--level", metavar="P", help='level ahead of the pads, for --tunings: "+10 dBm"')
    add("--max-input", metavar="P", help='what the receiver\'s input stands, for --tunings: "-10 dBm"')


def run(arguments: argparse.Namespace) -> int:
    """Turn the options into SI and hand over."""
    given = arguments
    if given.screen is not None:
        from tepui.desk.screen import run_screen

        return run_screen(screen_request(given), as_json=given.json)
    refuse_alone(given)
    if given.receiver is not None:
        return _live(given)
    for option, value in (
        ("--out", given.out),
        ("--list", given.rows),
        ("--pads", given.pads),
        ("--for", given.duration),
    ):
        if value is not None:
            raise UsageError(
                f"{option} goes with a receiver that runs: name it with --receiver, or leave {option} out."
            )
    if given.tunings is not None:
        if given.recordings:
            raise InputError(
                f"--tunings measures nothing, so {given.recordings[0]} has no place beside it: leave it out."
            )
        from tepui.desk.tunings import run_tunings

        return run_tunings(_tunings(given), as_json=given.json)
    if not given.recordings and given.settings is None:
        raise InputError("there is no recording: name one, a folder of them, or a table of settings with --settings.")
    from tepui.desk.setup import ensure_kernels

    ensure_kernels()
    from tepui.desk.spectrum import run_spectrum

    return run_spectrum(_request(given), as_json=given.json, strict=given.strict)


def _request(given: argparse.Namespace) -> "SpectrumRequest":
    from tepui.desk.spectrum import SpectrumRequest

    return SpectrumRequest(
        paths=given.recordings,
        plots=given.plots,
        sample_type=given.type,
        rate_hz=None if given.rate is None else sample_rate_hz(given.rate, option="--rate"),
        frequency_hz=_hertz(given.frequency, "--frequency"),
        width_hz=None if given.width is None else width_hz(given.width, option="--width"),
        centre_hz=_hertz(given.centre, "--centre"),
        mask=given.mask,
        workers=given.workers,
        settings=given.settings,
        calibration=given.calibration,
        usable_hz=_hertz(given.usable, "--usable"),
        mer=None if given.mer is None else _mer(given.mer),
    )


def _tunings(given: argparse.Namespace) -> "TuningsRequest":
    from tepui.desk.tunings import TuningsRequest
    from tepui.jobs.station_tunings import Told

    told = Told(
        centre_hz=_hertz(given.centre, "--centre"),
        width_hz=None if given.width is None else width_hz(given.width, option="--width"),
        n_fft=None if given.fft is None else FFT_SIZES[given.fft],
        usable_hz=_hertz(given.usable, "--usable"),
        dc_width_hz=_hertz(given.dc_width, "--dc-width"),
        rate_hz=None if given.rate is None else sample_rate_hz(given.rate, option="--rate"),
        level_dbm=_level(given.level, "--level"),
        max_input_dbm=_level(given.max_input, "--max-input"),
    )
    station = Path(given.tunings) if given.tunings else None
    return TuningsRequest(station=station, instrument=given.instrument, told=told, quick=given.quick)


def _live(given: argparse.Namespace) -> int:
    """Record with a receiver that runs, then measure."""
    if given.recordings or given.settings is not None:
        what = given.recordings[0] if given.recordings else "--settings"
        raise UsageError(f"--receiver records anew, so {what} has no place beside it: leave one of them out.")
    if given.out is None:
        raise UsageError("--receiver needs --out DIR, a new folder in which the recordings are kept.")
    if given.rows is not None and (given.tunings is not None or given.pads is not None):
        raise UsageError("--list names tunings and pads itself: leave --tunings and --pads out, or --list.")
    from tepui.ground.checks import require_between

    duration_s = None if given.duration is None else quantity(given.duration, kind="time", option="--for")
    if duration_s is not None:
        require_between("--for", duration_s, 1e-3, 60, unit="s", source="this program's limit")
    pads = None
    if given.pads is not None:
        pads = tuple(quantity(part.strip(), kind="ratio", option="--pads") for part in given.pads.split(","))
    choice = receiver_choice(given)
    from tepui.desk.setup import ensure_kernels

    ensure_kernels()
    from tepui.desk.spectrum_live import LiveRequest, run_live

    request = LiveRequest(
        receiver=choice,
        out=given.out,
        rows=given.rows,
        tunings=_tunings(given),
        pads_db=pads,
        duration_s=duration_s,
        spectrum=_request(given),
    )
    return run_live(request, ask=asked_on_terminal, as_json=given.json, strict=given.strict)


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
