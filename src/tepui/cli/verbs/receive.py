"""``tepui receive``: recordings in, findings and the transport stream out."""

import argparse

from tepui.cli.parsing import place, quantity, sample_rate_hz, whole_number, width_hz

EXAMPLE = """\
tepui receive on-air.sigmf-meta --out on-air.ts --plots pictures
tepui receive samples.raw --type ci16 --rate "8 MS/s" --frequency "437 MHz" --json"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    parser.add_argument(
        "recordings", metavar="REC", nargs="+", type=place, help="SigMF, WAV (I/Q in two channels) or raw samples"
    )
    parser.add_argument("--out", metavar="STREAM.ts", type=place, help="write the transport stream here")
    parser.add_argument("--plots", metavar="DIR", type=place, help="write pictures into this folder")
    parser.add_argument(
        "--picture", metavar="FILE.png", type=place, help="write a picture of the programme here, if any"
    )
    parser.add_argument("--type", metavar="TYPE", help="sample type of a raw file: cu8, ci8, ci16_le, cf32_le ...")
    parser.add_argument("--rate", metavar="RATE", help='sample rate of a raw file: "8 MS/s", "8 MHz" or 8e6')
    parser.add_argument("--frequency", metavar="F", help='frequency the receiver was tuned to: "437 MHz"')
    parser.add_argument("--width", metavar="W", help='channel width, where it is not to be found blind: "2 MHz"')
    parser.add_argument("--workers", metavar="N", type=whole_number, help="threads to use; no finding depends on it")
    parser.add_argument("--strict", action="store_true", help="leave with 1 where a limit is missed")


def run(arguments: argparse.Namespace) -> int:
    """Turn the options into SI and hand over."""
    given = arguments
    rate_hz = None if given.rate is None else sample_rate_hz(given.rate, option="--rate")
    width = None if given.width is None else width_hz(given.width, option="--width")
    frequency_hz = (
        None if given.frequency is None else quantity(given.frequency, kind="frequency", option="--frequency")
    )

    from tepui.desk.setup import ensure_kernels

    ensure_kernels()
    from tepui.desk.receive import run_receive

    return run_receive(
        given.recordings,
        out=given.out,
        plots=given.plots,
        picture=given.picture,
        sample_type=given.type,
        rate_hz=rate_hz,
        frequency_hz=frequency_hz,
        width_hz=width,
        workers=given.workers,
        as_json=given.json,
        strict=given.strict,
    )
