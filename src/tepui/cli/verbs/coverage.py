"""``tepui coverage``: who will see the picture? A map of levels, C/N and modes around one transmitter or several."""

import argparse
from pathlib import Path
from typing import TYPE_CHECKING, Any

from tepui.cli.parsing import UsageError, place, quantity, whole_number, width_hz
from tepui.cli.path_options import earth_radius_m

if TYPE_CHECKING:
    from tepui.desk.coverage_station import MapStation
    from tepui.prediction.coverage import MapSite

EXAMPLE = """\
tepui coverage station.toml --reach "50 km" --out map
tepui coverage --site HI45kt07 --frequency "436 MHz" --tx-height "20 m" --eirp "42.4 dBm" --width "2 MHz" \\
  --rx-gain "13 dBi" --rx-height "10 m" --rx-noise "7 dB" --reach "50 km" --pixel "90 m" --terrain tiles --out map
columns of a list of transmitters: name place height_m eirp_dbm, optionally azimuth_deg beam_width_deg pattern delay_us,
and of a repeater fed_by kind (transposer, regenerative) feed_gain_dbi feed_noise_db feed_height_m"""
FFT_SIZES = {"2K": 2048, "4K": 4096, "8K": 8192}
DEFAULTS = {
    "azimuth": "0 deg",
    "fft": "8K",
    "guard": "1/32",
    "rx_height": "10 m",
    "clutter_loss": "0 dB",
    "model": "p526",
    "implementation_loss": "2 dB",
    "margin": "6 dB",
}
NEEDED = {
    "frequency": "436 MHz",
    "width": "2 MHz",
    "rx_gain": "13 dBi",
    "rx_noise": "7 dB",
}


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    _add_transmitters(parser.add_argument_group("transmitters"))
    _add_receiver(parser.add_argument_group("who receives"))
    _add_ground(parser.add_argument_group("the ground and the model"))
    _add_work(parser.add_argument_group("the map and the work"))


def _add_transmitters(group: Any) -> None:
    add = group.add_argument
    add("station", metavar="STATION", nargs="?", type=place, help="station file: its own transmitter and who should "
        "receive; options given beside it come first")  # fmt: skip
    add("--site", metavar="PLACE", action="append", help="transmitter: locator, coordinates or a name in the station "
        "file; repeat for several, all with the same antenna and power")  # fmt: skip
    add("--transmitters", metavar="FILE.csv", type=place, help="transmitters and repeaters each with its own figures")
    add("--combine", choices=("strongest", "together"), default="strongest", help="several: each on a channel of its "
        "own, or all on one frequency and in time (strongest)")  # fmt: skip
    add("--name", help="name of the first transmitter")
    add("--frequency", metavar="F", help='centre of the channel: "436 MHz"')
    add("--tx-height", metavar="H", help='transmit antenna above ground: "20 m"')
    add("--eirp", metavar="P", help='mean e.i.r.p. on the axis: "42.4 dBm"')
    add("--beam-width", metavar="A", help='half-power width of the transmit antenna, else round: "40 deg"')
    add("--tx-pattern", metavar="FILE.csv", type=place, help="its pattern instead: angle_deg,loss_db from its axis")
    add("--azimuth", metavar="A", help="true bearing of its axis (0 deg)")
    add("--width", metavar="W", help='channel width: "2 MHz"')
    add("--fft", choices=tuple(FFT_SIZES), help="FFT size (8K)")
    add("--guard", metavar="G", help="guard interval (1/32)")


def _add_receiver(group: Any) -> None:
    add = group.add_argument
    add("--rx-gain", metavar="G", help='receive antenna, feeder taken off: "13 dBi"')
    add("--rx-height", metavar="H", help="receive antenna above ground (10 m)")
    add("--rx-noise", metavar="N", help='noise over k T0 at its terminals, surroundings in: "7 dB"')
    add("--channel", choices=("gaussian", "ricean", "rayleigh"), default="ricean", help="kind of channel (ricean)")
    add("--edition", choices=("V1.6.1", "V1.1.2"), default="V1.6.1", help="of EN 300 744 for the required C/N")
    add("--implementation-loss", metavar="L", help="of a real receiver (2 dB)")
    add("--margin", metavar="M", help="to keep after that (6 dB)")
    add("--stations", metavar="FILE.csv", type=place, help="who may receive: call,place,gain_dbi; what each should "
        "report")  # fmt: skip


def _add_ground(group: Any) -> None:
    add = group.add_argument
    add("--terrain", metavar="FILE", type=place, nargs="+", help="SRTM .hgt or GeoTIFF tiles, or folders of them")
    add("--terrain-kind", choices=("surface", "bare"), help="whether the tiles hold tree tops and roofs, or the ground")
    add("--missing-is-sea", action="store_true", help="take ground that no tile covers as sea, height 0")
    add("--clutter", metavar="FILE.tif", type=place, help="raster of the heights of trees and houses, on bare terrain")
    add("--clutter-height", metavar="H", help='the same height on all land: "10 m"')
    add("--zones", metavar="terrain|FILE.tif", help="land and sea, p1812 and p452: judged from the terrain, or a "
        "raster of 1 (sea), 3 (coastal land), 4 (inland)")  # fmt: skip
    add("--clutter-loss", metavar="L", help="loss to add everywhere for trees and houses (0 dB)")
    add("--model", choices=("p526", "p1812", "p452"), help="how the loss is worked out (p526)")
    add("--radial", action="store_true", help="radials stand for the pixels between them: faster, p526 only")
    add("--time", metavar="P", default="50 %", help="share of time (50 %%)")
    add("--locations", metavar="P", default="50 %", help="share of places, p1812 (50 %%)")
    add("--earth-radius", metavar="R", help='effective: "8500 km", or as a factor "4/3"')
    add("--polarisation", choices=("horizontal", "vertical"), default="horizontal", help="of the antennas")


def _add_work(group: Any) -> None:
    add = group.add_argument
    add("--reach", metavar="D", required=True, help='half the side of the map, to 150 km: "50 km"')
    add("--square", action="store_true", help="fill the square; else the circle in it")
    add("--pixel", metavar="D", default="90 m", help="side of a pixel, 30 to 250 m (90 m)")
    add("--out", metavar="DIR", type=place, help="folder for GeoTIFF, GeoJSON, picture and finished parts; a run that "
        "was stopped goes on from them")  # fmt: skip
    add("--cluster", metavar="ADDRESS", help="scheduler of a Dask cluster: tcp://127.0.0.1:8786")
    add("--workers", metavar="N", type=whole_number, help="threads to use; no finding depends on it")


def run(arguments: argparse.Namespace) -> int:
    """Turn the options into SI, those of a station file among them, and hand over."""
    told: dict[str, Any] = {}
    station = None
    if arguments.station is not None:
        from tepui.desk.coverage_station import map_station

        station = map_station(arguments.station, sites=arguments.site)
        told = station.options
    over = {name: value for name, value in vars(arguments).items() if value is not None and value is not False}
    missing = dict.fromkeys(vars(arguments))
    given = argparse.Namespace(**{**missing, **DEFAULTS, **told, **over})
    for name, example in NEEDED.items():
        if getattr(given, name) is None:
            raise UsageError(f'--{name.replace("_", "-")} is needed, such as "{example}".')
    return _run(given, station)


def _run(given: argparse.Namespace, station: "MapStation | None") -> int:
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
        radial=bool(given.radial),
        reach_m=reach_m,
        time_share=read(given.time, "percent", "--time"),
        location_share=read(given.locations, "percent", "--locations"),
        vertical=given.polarisation == "vertical",
        earth_radius_m=earth_radius_m(given.earth_radius),
    )
    if given.cluster is not None and given.workers is not None:
        raise UsageError("--workers is for threads here; the cluster has its own.")
    if given.clutter is not None and given.clutter_height is not None:
        raise UsageError("give either --clutter or --clutter-height, not both.")
    clutter_db = read(given.clutter_loss, "ratio", "--clutter-loss")
    if clutter_db < 0:
        raise UsageError(f"--clutter-loss must be at least 0 dB (trees and houses add nothing), not {clutter_db:g} dB.")
    sites, files = _sites(given)
    question = CoverageQuestion(
        sites=sites,
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
        clutter_loss_db=clutter_db,
        channel=given.channel,
        edition="V1.6.1" if given.edition == "V1.6.1" else "V1.1.2 to V1.5.1",
        implementation_loss_db=read(given.implementation_loss, "ratio", "--implementation-loss"),
        margin_db=read(given.margin, "ratio", "--margin"),
        combine=given.combine,
    )
    height = given.clutter_height
    request = CoverageRequest(
        question=question,
        reach_m=reach_m,
        pixel_m=read(given.pixel, "length", "--pixel"),
        terrain=tuple(given.terrain or ()),
        terrain_kind=given.terrain_kind,
        missing_is_sea=bool(given.missing_is_sea),
        clutter=given.clutter,
        clutter_height_m=None if height is None else read(height, "length", "--clutter-height"),
        zones=given.zones,
        square=bool(given.square),
        out=given.out,
        cluster=given.cluster,
        workers=given.workers,
        stations=given.stations,
        listed=() if station is None else station.listed,
        inputs=(*files, *(() if station is None else station.inputs)),
        station=None if station is None else station.name,
        remarks=() if station is None else station.remarks,
    )
    ensure_kernels()
    return run_coverage(request, as_json=given.json)


def _sites(given: argparse.Namespace) -> "tuple[tuple[MapSite, ...], tuple[Path, ...]]":
    """The transmitters, and the files that told them.

    raises  UsageError where none is told, or all of them twice
    """
    from tepui.chain.antenna.places import parse_place
    from tepui.prediction.coverage import MapSite

    if given.transmitters is not None:
        from tepui.files.transmitters import read_transmitters

        if given.site is not None and given.station is None:
            raise UsageError("give either --transmitters or --site, not both.")
        return read_transmitters(given.transmitters), (given.transmitters,)
    if given.site is None:
        raise UsageError('--site is needed, such as "HI45kt07", or a station file, or --transmitters.')
    for name, example in (("tx_height", "20 m"), ("eirp", "42.4 dBm")):
        if getattr(given, name) is None:
            raise UsageError(f'--{name.replace("_", "-")} is needed, such as "{example}".')
    pattern, files = _pattern(given)
    sites = tuple(
        MapSite(
            name=(given.name or "transmitter") if number == 0 else text,
            place=parse_place(text),
            height_m=quantity(given.tx_height, kind="length", option="--tx-height"),
            eirp_dbm=quantity(given.eirp, kind="level", option="--eirp"),
            pattern=pattern,
            azimuth_deg=quantity(given.azimuth, kind="angle", option="--azimuth"),
        )
        for number, text in enumerate(given.site)
    )
    return sites, files


def _pattern(given: argparse.Namespace) -> Any:
    """The transmit antenna's pattern, and its file."""
    from tepui.chain.antenna.pattern import beam

    if given.tx_pattern is not None and given.beam_width is not None:
        raise UsageError("give either --tx-pattern or --beam-width, not both.")
    if given.tx_pattern is not None:
        from tepui.files.pattern import read_pattern

        return read_pattern(given.tx_pattern), (given.tx_pattern,)
    if given.beam_width is not None:
        return beam(width_deg=quantity(given.beam_width, kind="angle", option="--beam-width")), ()
    return None, ()
