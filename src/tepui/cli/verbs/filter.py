"""``tepui filter``: what a band-pass filter must do and the metal to hand in; dimensions and predicted trace out."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from tepui.cli.parsing import place, quantity, width_hz

if TYPE_CHECKING:
    from tepui.jobs.filter_question import Rejection

EXAMPLE = """\
tepui filter --centre "1296 MHz" --width "30 MHz" --poles 3 --ripple "0.1 dB" --structure interdigital \\
  --rod "8 mm" --gap "25 mm" --unloaded-q 1200 --reject "1152 MHz: 60 dB" --plots drawings
tepui filter --centre "435 MHz" --width "12 MHz" --reject "405 MHz: 40 dB" --max-loss "2 dB" \\
  --rod "8 mm, 10 mm" --gap "25 mm, 30 mm" --min-tap "3 mm" --metal copper --json
tepui filter station.toml --rod "8 mm" --gap "25 mm" --yield 10000 --plots drawings"""


STRUCTURES = ("interdigital", "combline", "lumped")


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    add = parser.add_argument
    add("station", metavar="STATION", nargs="?", type=place, help="station file: its plan says what is asked of its "
        "filter; options given beside it come first")  # fmt: skip
    add("--stage", metavar="NAME", help="which filter of the station; the first behind the last mixer without it")
    add("--centre", metavar="F", help='centre of the pass band: "1296 MHz"')
    add("--width", metavar="W", help="equal-ripple width; 3 dB width where the ripple is 0 dB")
    add("--poles", metavar="N", help="number of resonators; without it the least that meets --reject is taken")
    add("--ripple", metavar="R", help='ripple of a Chebyshev response: "0.1 dB"; "0 dB" is Butterworth')
    add("--structure", metavar="NAME", default="interdigital", help="interdigital, combline or lumped")
    add("--rod", metavar="D", help='diameter of the rods to hand: "8 mm", or several: "6 mm, 8 mm, 10 mm"')
    add("--gap", metavar="H", help='distance of the two plates: "25 mm", or several: "20 mm, 25 mm"')
    add("--end-gap", metavar="G", help="from a rod's open end to the wall; 0.9 rod diameters without it")
    add("--angle", metavar="A", help='electrical length of comb-line rods, in degrees: "45"; else what screws can load')
    add("--min-tap", metavar="T", help='lowest tap the shop can make: "3 mm" (2.15 mm)')
    add("--unloaded-q", metavar="Q", help="unloaded Q of a rod; without it from metal, geometry and workmanship")
    add("--metal", metavar="NAME", default="brass", help="brass, copper, aluminium or silver (brass)")
    add("--inductor", metavar="L", help='of a lumped filter, in nanohenry: "47"')
    add("--reject", metavar="F: R", action="append", default=[], help='kept out: "1152 MHz" or "1152 MHz: 60 dB"')
    add("--max-loss", metavar="L", help='most loss at the centre: "1.5 dB"')
    add("--channel", metavar="W", help='width over which tilt and delay are told: "7 MHz"')
    add("--power", metavar="P", help='mean power through the filter, for heat and voltage: "10 W"')
    add("--drilling", metavar="T", default="0.1 mm", help='tolerance of hole positions, for the yield ("0.1 mm")')
    add("--yield", metavar="N", dest="trials", help="trials of a yield estimate over the shop's tolerances")
    add("--plots", metavar="DIR", type=Path, help="write drawing (SVG and PDF at 1:1) and trace into this folder")
    add("--strict", action="store_true", help="leave with 1 where a rejection or the loss asked is missed")


def run(arguments: argparse.Namespace) -> int:
    """Turn the options into SI and hand over."""
    given = arguments
    from tepui.chain.filters.goal import MOST_POLES
    from tepui.ground.errors import RangeError

    centre_hz = None if given.centre is None else quantity(given.centre, kind="frequency", option="--centre")
    band_hz = None if given.width is None else width_hz(given.width, option="--width")
    poles = None if given.poles is None else _count(given.poles, "--poles", most=MOST_POLES)
    ripple_db = None if given.ripple is None else quantity(given.ripple, kind="ratio", option="--ripple")
    lengths = {
        name: None if text is None else quantity(text, kind="length", option=option)
        for name, text, option in (
            ("least_tap_m", given.min_tap, "--min-tap"),
            ("gap_m", given.end_gap, "--end-gap"),
            ("drilling_m", given.drilling, "--drilling"),
        )
    }
    rods, gaps = _lengths(given.rod, "--rod"), _lengths(given.gap, "--gap")
    if given.structure not in STRUCTURES:
        raise RangeError(
            f"--structure must be {', '.join(STRUCTURES[:-1])} or {STRUCTURES[-1]}, not {given.structure}."
        )
    if given.structure != "lumped" and not (rods and gaps):
        raise RangeError(
            f'{given.structure} needs the metal to hand: --rod "8 mm" (diameter) and --gap "25 mm" (between plates).'
        )
    from tepui.desk.filter import FilterRequest, run_filter

    request = FilterRequest(
        station=given.station,
        stage=given.stage,
        centre_hz=centre_hz,
        width_hz=band_hz,
        poles=poles,
        ripple_db=ripple_db,
        structure=given.structure,
        diameters_m=rods,
        plates_m=gaps,
        lengths_m=lengths,
        angle_deg=None if given.angle is None else _number(given.angle, "--angle"),
        unloaded_q=None if given.unloaded_q is None else _number(given.unloaded_q, "--unloaded-q"),
        metal=given.metal,
        inductor_h=None if given.inductor is None else 1e-9 * _number(given.inductor, "--inductor"),
        rejections=[_rejection(text) for text in given.reject],
        most_loss_db=None if given.max_loss is None else quantity(given.max_loss, kind="ratio", option="--max-loss"),
        channel_hz=None if given.channel is None else width_hz(given.channel, option="--channel"),
        power_w=None if given.power is None else quantity(given.power, kind="power", option="--power"),
        trials=0 if given.trials is None else _count(given.trials, "--yield", most=1_000_000),
        plots=given.plots,
    )
    return run_filter(request, as_json=given.json, strict=given.strict)


def _lengths(text: str | None, option: str) -> list[float]:
    """One length or several, apart by commas; a unit at the end goes for those without one. [m]"""
    from tepui.ground.checks import require_positive

    parts = [part.strip() for part in (text or "").split(",") if part.strip()]
    unit = parts[-1].lstrip("+-0123456789.eE ") if parts else ""
    found = [
        quantity(part if any(c.isalpha() for c in part) else f"{part} {unit}", kind="length", option=option)
        for part in parts
    ]
    for one in found:
        require_positive(option, one, unit="m")
    return found


def _count(text: str, option: str, *, most: int) -> int:
    from tepui.ground.errors import RangeError

    if not text.isdecimal() or not 1 <= int(text) <= most:
        raise RangeError(f"{option} must be a whole number from 1 to {most}, not {text}.")
    return int(text)


def _number(text: str, option: str) -> float:
    from tepui.ground.errors import RangeError

    try:
        value = float(text)
    except ValueError:
        value = -1.0
    if not 0 < value < 1e7:
        raise RangeError(f"{option} must be a bare number above zero, such as 1200, not {text}.")
    return value


def _rejection(text: str) -> "Rejection":
    from tepui.jobs.filter_question import Rejection

    where, _, level = text.partition(":")
    return Rejection(
        frequency_hz=quantity(where.strip(), kind="frequency", option="--reject"),
        wanted_db=quantity(level.strip(), kind="ratio", option="--reject") if level.strip() else None,
    )
