"""``tepui mode``: every mode of a channel width with what it carries and bears, and one recommended."""

import argparse

from tepui.cli.parsing import place

EXAMPLE = """\
tepui mode --width "7 MHz"
tepui mode --width "2 MHz" --cn "15.6 dB" --margin "8 dB" --json
tepui mode --width "6 MHz" --fft 8K --guard 1/32 --constellation QPSK --code-rate 3/4 --audio "0.2 Mbit/s"
tepui mode station.toml"""


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    add = parser.add_argument
    add("station", metavar="STATION", nargs="?", type=place, help="station file; options given beside it come first")
    add("--width", metavar="W", help='channel width, 0.3 to 8 MHz: "7 MHz"')
    add("--fft", choices=("2K", "4K", "8K"), help="only this FFT size")
    add("--guard", choices=("1/4", "1/8", "1/16", "1/32"), help="only this guard fraction")
    add("--constellation", choices=("QPSK", "16QAM", "64QAM"), help="only this constellation")
    add("--code-rate", choices=("1/2", "2/3", "3/4", "5/6", "7/8"), help="only this code rate")
    add("--cn", metavar="C", help='carrier to noise ratio the path gives: "15.6 dB"')
    add("--margin", metavar="M", help='to keep above the required ratio, implementation loss included ("8 dB")')
    add("--echo", metavar="D", help='longest echo, as a time or a path difference: "12 us" or "4 km"')
    add("--doppler", metavar="F", help='largest Doppler shift: "90 Hz"')
    add("--speed", metavar="V", help='largest speed in km/h, for the shift; needs --centre: "100 km/h"')
    add("--rate", metavar="R", help='least net bit rate: "5 Mbit/s"')
    add("--centre", metavar="F", help='middle of the channel on the air: "1286 MHz"')
    add("--if", dest="signal", metavar="F", help="what the modulator is tuned to, for the card")
    add("--edition", choices=("V1.6.1", "V1.1.2 to V1.5.1"), help="edition of the required ratios (V1.6.1)")
    add("--reception", choices=("Gaussian", "Ricean F1", "Rayleigh P1"), help="kind of reception (Ricean F1)")
    add("--audio", metavar="R", help='bit rate of the sound ("0.2 Mbit/s")')
    add("--tables", metavar="R", help='bit rate of the tables ("0.06 Mbit/s")')
    add("--headroom", metavar="P", help='share left empty ("5 %%")')


def run(arguments: argparse.Namespace) -> int:
    """Hand the options over; the desk turns them into SI beside what a station file says."""
    from tepui.desk.mode import run_mode

    return run_mode(vars(arguments), as_json=arguments.json)
