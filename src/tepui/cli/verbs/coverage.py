"""``tepui coverage``: who will see the picture? A map of levels, C/N and modes around one transmitter or several."""

import argparse
from typing import TYPE_CHECKING

from tepui.cli.parsing import UsageError, place, quantity, whole_number, width_hz

if TYPE_CHECKING:
    from tepui.prediction.coverage import MapSite

EXAMPLE = """\
tepui coverage --site HI45kt07 --frequency "436 MHz" --tx-height "20 m" --eirp "42.4 dBm" --width "2 MHz" \\
  --rx-gain "13 dBi" --rx-height "10 m" --rx-noise "7 dB" --reach "50 km" --pixel "90 m" --terrain tiles --out map"""
FFT_SIZES = {"2K": 2048, "4K": 4096, "8K": 8192}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    add = parser.add_argument
    add("--site", metavar="PLACE", required=True, action="append", help="transmitter: locator or coordinates; repeat "
        "for several, all with the same antenna and power")  # fmt: skip
    add("--name", default="transmitter", help="name of the first transmitter")
    add("--frequency", metavar="F", required=True, help='centre of the channel: "436 MHz"')
    add("--tx-height", metavar="H", required=True, help='transmit antenna above ground: "20 m"')
    add("--eirp", metavar="P", required=True, help='mean e.i.r.p. on the axis: "42.4 dBm"')
    add("--beam-width", metavar="A", help='half-power width of the transmit antenna, else round: "40 deg"')
    add("--azimuth", metavar="A", default="0 deg", help="true bearing of its axis (0 deg)")
    add("--width", metavar="W", required=True, help='channel width: "2 MHz"')
    add("--fft", choices=tuple(FFT_SIZES), default="8K", help="FFT size (8K)")
    add("--guard", metavar="G", default="1/32", help="guard interval (1/32)")
    add("--rx-gain", metavar="G", required=True, help='receive antenna, feeder taken off: "13 dBi"')
    add("--rx-height", metavar="H", default="10 m", help="receive antenna above ground (10 m)")
    add("--rx-noise", metavar="N", required=True, help='noise over k T0 at its terminals, surroundings in: "7 dB"')
    add("--clutter-loss", metavar="L", default="0 dB", help="loss to add everywhere for trees and houses (0 dB)")
    add("--model", choices=("p526", "p1812", "p452"), default="p526", help="how the loss is worked out (p526)")
    add("--radial", action="store_true", help="radials stand for the pixels between them: faster, p526 only")
    add("--time", metavar="P", default="50 %", help="share of time (50 %%)")
    add("--locations", metavar="P", default="50 %", help="share of places, p1812 (50 %%)")
    add("--earth-radius", metavar="R", help='effective: "8500 km"')
    add("--polarisation", choices=("horizontal", "vertical"), default="horizontal", help="of the antennas")
    add("--reach", metavar="D", required=True, help='half the side of the map, to 150 km: "50 km"')
    add("--square", action="store_true", help="fill the square; else the circle in it")
    add("--pixel", metavar="D", default="90 m", help="side of a pixel, 30 to 250 m (90 m)")
    add("--terrain", metavar="FILE", type=place, nargs="+", help="SRTM .hgt or GeoTIFF tiles, or folders of them")
    add("--missing-is-sea", action="store_true", help="take ground that no tile covers as sea, height 0")
    add("--channel", choices=("gaussian", "ricean", "rayleigh"), default="ricean", help="kind of channel (ricean)")
    add("--edition", choices=("V1.6.1", "V1.1.2"), default="V1.6.1", help="of EN 300 744 for the required C/N")
    add("--implementation-loss", metavar="L", default="2 dB", help="of a real receiver (2 dB)")
    add("--margin", metavar="M", default="6 dB", help="to keep after that (6 dB)")
    add("--out", metavar="DIR", type=place, help="folder for GeoTIFF, GeoJSON, picture and finished parts; a run that "
        "was stopped goes on from them")  # fmt: skip
    add(
        "--stations",
        metavar="FILE.csv",
        type=place,
        help="who may receive: call,place,gain_dbi; what each should report",
    )
    add("--cluster", metavar="ADDRESS", help="scheduler of a Dask cluster: tcp://127.0.0.1:8786")
    add("--workers", metavar="N", type=whole_number, help="threads to use; no finding depends on it")


def run(arguments: argparse.Namespace) -> int:
    """Turn the options into SI and hand over."""
    given = arguments
    from fractions import Fraction

    from tepui.desk.coverage import CoverageRequest, run_coverage
    from tepui.desk.setup import ensure_kernels
    from tepui.ground.quantity import parse_fraction
    from tepui.jobs.coverage import CoverageQuestion
    from tepui.prediction.coverage import MapConditions
    from tepui.signals.dvbt.mode import Mode

    def read(text: str, kind: str, option: str) -> float:
        return quantity(text, kind=kind, option=option)

    reach_m = read(given.reach, "length", "--reach")
    conditions = MapConditions(
        model=given.model,
        frequency_hz=width_hz(given.frequency, option="--frequency"),
        rx_height_m=read(given.rx_height, "length", "--rx-height"),
        radial=given.radial,
        reach_m=reach_m,
        time_share=read(given.time, "percent", "--time"),
        location_share=read(given.locations, "percent", "--locations"),
        vertical=given.polarisation == "vertical",
        earth_radius_m=None if given.earth_radius is None else read(given.earth_radius, "length", "--earth-radius"),
    )
    if given.cluster is not None and given.workers is not None:
        raise UsageError("--workers is for threads here; the cluster has its own.")
    question = CoverageQuestion(
        sites=_sites(given),
        conditions=conditions,
        mode=Mode(
            width_hz=width_hz(given.width, option="--width"),
            n_fft=FFT_SIZES[given.fft],
            guard=parse_fraction(given.guard),
            constellation="QPSK",
            code_rate=Fraction(1, 2),
        ),
        rx_gain_dbi=read(given.rx_gain, "gain", "--rx-gain"),
        system_noise_db=read(given.rx_noise, "noise", "--rx-noise"),
        clutter_loss_db=read(given.clutter_loss, "ratio", "--clutter-loss"),
        channel=given.channel,
        edition="V1.6.1" if given.edition == "V1.6.1" else "V1.1.2 to V1.5.1",
        implementation_loss_db=read(given.implementation_loss, "ratio", "--implementation-loss"),
        margin_db=read(given.margin, "ratio", "--margin"),
    )
    request = CoverageRequest(
        question=question,
        reach_m=reach_m,
        pixel_m=read(given.pixel, "length", "--pixel"),
        terrain=tuple(given.terrain or ()),
        missing_is_sea=given.missing_is_sea,
        square=given.square,
        out=given.out,
        cluster=given.cluster,
        workers=given.workers,
        stations=given.stations,
    )
    ensure_kernels()
    return run_coverage(request, as_json=given.json)


def _sites(given: argparse.Namespace) -> "tuple[MapSite, ...]":
    from tepui.chain.antenna.pattern import beam
    from tepui.chain.antenna.places import parse_place
    from tepui.prediction.coverage import MapSite

    width = None if given.beam_width is None else quantity(given.beam_width, kind="angle", option="--beam-width")
    return tuple(
        MapSite(
            name=given.name if number == 0 else text,
            place=parse_place(text),
            height_m=quantity(given.tx_height, kind="length", option="--tx-height"),
            eirp_dbm=quantity(given.eirp, kind="level", option="--eirp"),
            pattern=None if width is None else beam(width_deg=width),
            azimuth_deg=quantity(given.azimuth, kind="angle", option="--azimuth"),
        )
        for number, text in enumerate(given.site)
    )
