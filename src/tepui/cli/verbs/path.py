"""``tepui path``: will it get there? Loss term by term, and the link over it where both ends are told."""

import argparse
from typing import TYPE_CHECKING, Any

from tepui.cli.parsing import UsageError, place, quantity, width_hz

if TYPE_CHECKING:
    from tepui.desk.path import LinkRequest
    from tepui.prediction.beside import Beside

EXAMPLE = """\
tepui path --profile ridge.csv --frequency "1 GHz" --tx-height "30 m" --rx-height "30 m" --model p526 --json
tepui path --from HI45kt --to HI46ob --frequency "436 MHz" --tx-height "72 m" --rx-height "32 m" \\
  --width "2 MHz" --tx-power "33 dBm" --tx-gain "11 dBi" --rx-gain "13 dBi" --rx-noise-figure "3 dB"
columns of a profile: d_km h_m, optionally clutter_m and zone (sea, coast, inland)"""
FFT_SIZES = {"2K": 2048, "4K": 4096, "8K": 8192}
MODEL_NAMES = ("free-space", "knife-edge", "p526", "p1812", "p452")
RADIUS_WORDS = "4/3"


def add_arguments(parser: argparse.ArgumentParser) -> None:
    """Declare what the verb takes."""
    _add_path(parser.add_argument_group("the path"))
    _add_model(parser.add_argument_group("the model"))
    _add_link(parser.add_argument_group("the link (told once --tx-power is given)"))
    _add_care(parser.add_argument_group("care (with the link)"))
    _add_beside(parser.add_argument_group("an own receiver beside the own transmitter (with the link)"))
    parser.add_argument("--strict", action="store_true", help="leave with 1 where no mode keeps the margin")


def _add_path(group: Any) -> None:
    add = group.add_argument
    add("--from", dest="start", metavar="PLACE", help='locator, "52.21, 4.30" or 52°12\'30"N 4°18\'0"E')
    add("--to", dest="end", metavar="PLACE", help="the same for the far end")
    add("--name", help="name of the path in the findings; else the far end or the profile")
    add("--profile", metavar="FILE.csv", type=place, help="heights along the path, from the transmitter on")
    add("--terrain", metavar="FILE", type=place, nargs="+", help="SRTM .hgt or GeoTIFF tiles, or folders of them")
    add("--terrain-kind", choices=("surface", "bare"), help="whether the tiles hold tree tops and roofs, or the ground")
    add("--missing-is-sea", action="store_true", help="take ground that no tile covers as sea, height 0")
    add("--fill-voids", action="store_true", help="bridge voids of any length in the tiles by a straight line")
    add("--clutter-height", metavar="H", help='trees or houses on all of a bare terrain but the ends: "10 m"')
    add("--declination", metavar="A", help='of the compass, east positive, for magnetic bearings: "2.5 deg"')
    add("--frequency", metavar="F", required=True, help='centre of the channel: "436 MHz"')
    add("--tx-height", metavar="H", required=True, help='transmit antenna above ground: "30 m"')
    add("--rx-height", metavar="H", required=True, help='receive antenna above ground: "10 m"')


def _add_model(group: Any) -> None:
    add = group.add_argument
    add("--model", choices=MODEL_NAMES, default="p526", help="how the loss is worked out (p526)")
    add("--earth-radius", metavar="R", help='effective: "8500 km", or as a factor "4/3"')
    add("--delta-n", metavar="N", default="45", help="fall of refractivity in the lowest kilometre (45)")
    add("--n0", metavar="N", default="325", help="surface refractivity at sea level (325)")
    add("--time", metavar="P", default="50 %", help='share of time: "1 %%" to "50 %%" (50 %%)')
    add("--locations", metavar="P", default="50 %", help='share of places reached, p1812 ("50 %%")')
    add("--location-spread", metavar="S", default="5.5 dB", help='standard deviation among places ("5.5 dB")')
    add("--polarisation", choices=("horizontal", "vertical"), default="horizontal", help="of both antennas")
    add("--sea-fraction", metavar="P", default="0", help='share of the path over sea: "40 %%" or 0.4 (0)')
    add("--coast-tx", metavar="D", default="500 km", help="transmitter to the coast along the path (500 km)")
    add("--coast-rx", metavar="D", default="500 km", help="receiver to the coast along the path (500 km)")
    add("--latitude", metavar="A", help='of the path, where no places are given: "48 deg"')
    add("--pressure", metavar="P", default="1013", help="of the air in hPa, p452 (1013)")
    add("--temperature", metavar="T", default="15 degC", help="of the air, p452 (15 degC)")
    add("--rain", metavar="R", help="rain rate along the path in mm/h, from 1 GHz: 30")
    add("--clutter-loss", metavar="L", help='loss to add for trees and houses: "17 dB" or "17 dB ± 8 dB"')


def _add_link(group: Any) -> None:
    add = group.add_argument
    add("--width", metavar="W", help='channel width: "2 MHz"')
    add("--fft", choices=tuple(FFT_SIZES), default="8K", help="FFT size (8K)")
    add("--guard", metavar="G", default="1/32", help="guard interval (1/32)")
    add("--tx-power", metavar="P", help='mean power into the feeder: "33 dBm ± 1 dB"')
    add("--tx-feeder", metavar="L", default="0 dB", help="loss of the transmit feeder (0 dB)")
    add("--tx-gain", metavar="G", help='of the transmit antenna: "11 dBi"')
    add("--tx-mer", metavar="M", help='MER of the transmitter itself: "32 dB"')
    add("--tx-pointing", metavar="A", default="0 deg", help="angle away from the far station (0 deg)")
    add("--rx-gain", metavar="G", help='of the receive antenna: "13 dBi"')
    add("--rx-feeder", metavar="L", default="0 dB", help="loss of the receive feeder (0 dB)")
    add("--rx-noise-figure", metavar="N", help='of the receiver: "3 dB"')
    add("--rx-pointing", metavar="A", default="0 deg", help="angle away from the transmitter (0 deg)")
    add("--polarisation-turn", metavar="A", default="0 deg", help="between the two antennas (0 deg)")
    add("--preamplifier-gain", metavar="G", help='of a preamplifier: "18 dB"')
    add("--preamplifier-noise-figure", metavar="N", help='of it: "0.8 dB"')
    add("--preamplifier-place", choices=("mast", "receiver"), default="mast", help="before or after the feeder (mast)")
    add("--external-noise", metavar="N", help='noise of the surroundings over k T0: "4 dB"')
    add("--antenna-temperature", metavar="T", help='the same as a temperature: "150 K"')
    add("--noise-place", metavar="PLACE", help="city, residential, rural: the same below 250 MHz")
    add("--channel", choices=("auto", "gaussian", "ricean", "rayleigh"), default="auto", help="kind of channel (auto)")
    add("--edition", choices=("V1.6.1", "V1.1.2"), default="V1.6.1", help="of EN 300 744 for the required C/N")
    add("--implementation-loss", metavar="L", default="2 dB", help="of a real receiver (2 dB)")
    add("--margin", metavar="M", default="6 dB", help="to keep after that (6 dB)")


def _add_beside(group: Any) -> None:
    add = group.add_argument
    add("--own-tx-noise", metavar="N", help='transmitter\'s noise at the receive frequency: "-150 dBc/Hz"')
    add("--own-isolation", metavar="A", help='between both antennas: "40 dB"')
    add("--own-rx-width", metavar="W", help='of the receiver: "2 MHz"')
    add("--own-rx-noise-figure", metavar="N", help='of the receiver: "3 dB"')
    add("--own-rx-blocking", metavar="P", help='the strongest carrier it stands: "-30 dBm"')


def _add_care(group: Any) -> None:
    add = group.add_argument
    add("--exposure", action="store_true", help="distances to the published levels of exposure")
    add("--tx-aperture", metavar="D", help='diameter of the dish or length of the array: "0.9 m"')
    add("--licence", action="store_true", help="the channel beside band edges, segments and the rules at hand")
    add("--country", metavar="CC", help="two letters, for national rules at hand: DE")
    add("--rules", metavar="FILE.csv", type=place, help="rules of your own: country,f_low_mhz,f_high_mhz,quantity,...")


def run(arguments: argparse.Namespace) -> int:
    """Turn the options into SI and hand over."""
    given = arguments
    from tepui.desk.path import PathRequest, run_path
    from tepui.desk.setup import ensure_kernels

    request = PathRequest(
        start=given.start,
        end=given.end,
        name=given.name,
        profile=given.profile,
        terrain=tuple(given.terrain or ()),
        terrain_kind=given.terrain_kind,
        missing_is_sea=given.missing_is_sea,
        fill_voids=given.fill_voids,
        clutter_height_m=_optional(given.clutter_height, kind="length", option="--clutter-height"),
        declination_deg=_optional(given.declination, kind="angle", option="--declination"),
        frequency_hz=width_hz(given.frequency, option="--frequency"),
        tx_height_m=quantity(given.tx_height, kind="length", option="--tx-height"),
        rx_height_m=quantity(given.rx_height, kind="length", option="--rx-height"),
        model=given.model,
        earth_radius_m=_radius_m(given.earth_radius),
        delta_n=_bare(given.delta_n, "--delta-n"),
        n_0=_bare(given.n0, "--n0"),
        time_share=quantity(given.time, kind="percent", option="--time"),
        location_share=quantity(given.locations, kind="percent", option="--locations"),
        location_std_db=quantity(given.location_spread, kind="ratio", option="--location-spread"),
        vertical=given.polarisation == "vertical",
        sea_fraction=_share(given.sea_fraction, "--sea-fraction"),
        coast_tx_m=quantity(given.coast_tx, kind="length", option="--coast-tx"),
        coast_rx_m=quantity(given.coast_rx, kind="length", option="--coast-rx"),
        latitude_deg=_optional(given.latitude, kind="angle", option="--latitude"),
        pressure_hpa=_bare(given.pressure, "--pressure"),
        temperature_k=quantity(given.temperature, kind="temperature", option="--temperature"),
        clutter_loss=_doubted(given.clutter_loss, kind="ratio", option="--clutter-loss"),
        link=_link(given),
        exposure=given.exposure,
        tx_aperture_m=_optional(given.tx_aperture, kind="length", option="--tx-aperture"),
        licence=given.licence or given.country is not None or given.rules is not None,
        country=None if given.country is None else given.country.upper(),
        rules=given.rules,
        rain_mm_h=None if given.rain is None else _bare(given.rain, "--rain"),
        beside=_beside(given),
    )
    if request.link is None and (request.exposure or request.licence):
        raise UsageError("exposure and licence need the link: give --tx-power and what goes with it.")
    ensure_kernels()
    return run_path(request, as_json=given.json, strict=given.strict)


def _link(given: argparse.Namespace) -> "LinkRequest | None":
    """The link's options; None where no transmit power is told.

    raises  UsageError naming what is missing
    """
    needed = {
        "--tx-power": given.tx_power,
        "--tx-gain": given.tx_gain,
        "--rx-gain": given.rx_gain,
        "--rx-noise-figure": given.rx_noise_figure,
        "--width": given.width,
    }
    missing = [option for option, text in needed.items() if text is None]
    if len(missing) == len(needed):
        return None
    if missing:
        raise UsageError(f"a link needs {', '.join(needed)}; missing: {', '.join(missing)}.")
    if (given.preamplifier_gain is None) != (given.preamplifier_noise_figure is None):
        raise UsageError("a preamplifier needs both --preamplifier-gain and --preamplifier-noise-figure.")
    from tepui.desk.path import LinkRequest
    from tepui.ground.quantity import parse_fraction

    def decibels(text: str, option: str, kind: str = "ratio") -> float:
        return quantity(text, kind=kind, option=option)

    return LinkRequest(
        width_hz=width_hz(given.width, option="--width"),
        n_fft=FFT_SIZES[given.fft],
        guard=parse_fraction(given.guard),
        power=_doubted(given.tx_power, kind="level", option="--tx-power"),
        tx_feeder=_doubted(given.tx_feeder, kind="ratio", option="--tx-feeder"),
        tx_gain=_doubted(given.tx_gain, kind="gain", option="--tx-gain"),
        tx_mer_db=_optional(given.tx_mer, kind="ratio", option="--tx-mer"),
        tx_pointing_deg=decibels(given.tx_pointing, "--tx-pointing", "angle"),
        rx_gain_dbi=decibels(given.rx_gain, "--rx-gain", "gain"),
        rx_feeder_db=decibels(given.rx_feeder, "--rx-feeder"),
        rx_noise_figure_db=decibels(given.rx_noise_figure, "--rx-noise-figure", "noise"),
        rx_pointing_deg=decibels(given.rx_pointing, "--rx-pointing", "angle"),
        polarisation_turn_deg=decibels(given.polarisation_turn, "--polarisation-turn", "angle"),
        preamplifier_gain_db=_optional(given.preamplifier_gain, kind="ratio", option="--preamplifier-gain"),
        preamplifier_noise_db=_optional(
            given.preamplifier_noise_figure, kind="noise", option="--preamplifier-noise-figure"
        ),
        preamplifier_place=given.preamplifier_place,
        external_noise_db=_optional(given.external_noise, kind="ratio", option="--external-noise"),
        antenna_k=_optional(given.antenna_temperature, kind="temperature", option="--antenna-temperature"),
        noise_place=given.noise_place,
        channel=given.channel,
        edition="V1.6.1" if given.edition == "V1.6.1" else "V1.1.2 to V1.5.1",
        implementation_loss_db=decibels(given.implementation_loss, "--implementation-loss"),
        margin_db=decibels(given.margin, "--margin"),
    )


def _beside(given: argparse.Namespace) -> "Beside | None":
    """The receiver beside the transmitter; None where nothing is told of it.

    raises  UsageError naming what is missing
    """
    told = {
        "--own-tx-noise": (given.own_tx_noise, "phase_noise"),
        "--own-isolation": (given.own_isolation, "ratio"),
        "--own-rx-width": (given.own_rx_width, "frequency"),
        "--own-rx-noise-figure": (given.own_rx_noise_figure, "noise"),
        "--own-rx-blocking": (given.own_rx_blocking, "level"),
    }
    missing = [option for option, (text, _) in told.items() if text is None]
    if len(missing) == len(told):
        return None
    if given.tx_power is None:
        missing.append("--tx-power")
    if missing:
        raise UsageError(f"a receiver beside the transmitter needs {', '.join(told)} and the link; missing: "
                         f"{', '.join(missing)}.")  # fmt: skip
    from tepui.prediction.beside import Beside

    values = {option: quantity(text, kind=kind, option=option) for option, (text, kind) in told.items()}
    return Beside(
        power_dbm=_doubted(given.tx_power, kind="level", option="--tx-power").value,
        tx_noise_dbc_hz=values["--own-tx-noise"],
        isolation_db=values["--own-isolation"],
        receive_width_hz=width_hz(given.own_rx_width, option="--own-rx-width"),
        noise_figure_db=values["--own-rx-noise-figure"],
        blocking_dbm=values["--own-rx-blocking"],
    )


def _optional(text: str | None, *, kind: str, option: str) -> float | None:
    return None if text is None else quantity(text, kind=kind, option=option)


def _doubted(text: str | None, *, kind: str, option: str) -> Any:
    """A quantity with its doubt; None where not given.

    raises  QuantityError
    """
    if text is None:
        return None
    from tepui.ground.errors import InputError, QuantityError
    from tepui.ground.quantity import parse_quantity

    try:
        return parse_quantity(text, kind=kind)
    except InputError as problem:
        raise QuantityError(f"{option}: {problem}") from problem


def _bare(text: str, option: str) -> float:
    """A number whose unit the option's name fixes.

    raises  QuantityError
    """
    from tepui.ground.errors import QuantityError

    try:
        return float(text)
    except ValueError as problem:
        raise QuantityError(f'{option} takes a bare number such as 45, not "{text}".') from problem


def _share(text: str, option: str) -> float:
    """A share from 0 to 1, or in per cent."""
    return quantity(text, kind="percent", option=option) if "%" in text else _bare(text, option)


def _radius_m(text: str | None) -> float | None:
    """An effective Earth radius: a length, or a factor such as 4/3 or 1.33 of 6371 km."""
    if text is None:
        return None
    from tepui.ground.quantity import parse_fraction

    if "/" in text:
        return 6371e3 * float(parse_fraction(text))
    if text.replace(".", "", 1).isdigit() and float(text) < 10:
        return 6371e3 * float(text)
    return quantity(text, kind="length", option="--earth-radius")
